"""All trials of one weed, ready to be asked what a set of figures makes of them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from rotation_opt.tables import Tables, Trial, TrialSeason
from rotation_opt.trials.fields import Fields
from rotation_opt.trials.outcome import follow, outcome_of
from rotation_opt.weeds.parameters import LIKELY, WeedParameters, weed_parameters
from rotation_opt.weeds.reserve import STEPS_A_DAY

Array = NDArray[np.float64]

_ALONE = TrialSeason(key="", light=1.0, work=(), canopies=(), note="")
_LEAST = 1e-12


class TrialBench:
    """Runs the trials of one weed for many parameter draws at once.

    Parameters
    ----------
    tables : Tables
    trials : iterable of Trial
        All of one weed; those left out are passed over.

    Raises
    ------
    ValueError
        If they are not of one weed, or none of them is run.
    TableError
        If a figure is missing.
    """

    def __init__(self, tables: Tables, trials: Iterable[Trial]) -> None:
        self.trials = tuple(trial for trial in trials if trial.runs)
        weeds = sorted({trial.weed for trial in self.trials})
        if len(weeds) != 1:
            raise ValueError(f"trials of one weed are wanted, found those of {', '.join(weeds) or 'none'}")
        self.weed = weeds[0]
        self._tables = tables
        groups: dict[tuple[str, TrialSeason], int] = {}

        def number(trial: Trial, seasons: Sequence[TrialSeason]) -> tuple[int, ...]:
            alike = (replace(season, key="", note="") for season in seasons)
            return tuple(groups.setdefault((trial.station, season), len(groups)) for season in alike)

        self._treated, self._against = [], []
        for trial in self.trials:
            self._treated.append(number(trial, trial.treated))
            self._against.append(number(trial, trial.against or (_ALONE,) * len(trial.treated)))
        self._groups = tuple(groups)
        self.fields = Fields.of(self._groups, tables, weed_parameters(tables, weeds, [LIKELY]))

    def predict(self, parameters: WeedParameters, parts: int | None = None) -> Array:
        """Outcomes as percent of what they are compared with.

        Parameters
        ----------
        parameters : WeedParameters
            Of the one weed, D draws.
        parts : int, optional
            Steps a day; as many as usual if left out. One is several times faster and a little off.

        Returns
        -------
        ndarray (T, D)
            In the order of `trials`.
        """
        if parameters.weeds != (self.weed,):
            raise ValueError(f"parameters are of {', '.join(parameters.weeds)}, the trials of {self.weed}")
        if not self.fields.fit_for(parameters):
            self.fields = Fields.of(self._groups, self._tables, parameters)
        outcome = outcome_of(self.fields, parameters, parts or STEPS_A_DAY)
        power = parameters.shoot_power[0]
        percent = np.empty((len(self.trials), len(parameters.draws)))
        for n, trial in enumerate(self.trials):
            treated = follow(self._treated[n], trial.start, outcome, trial.measure, power)
            whole = "reserve" if trial.measure == "low" else trial.measure
            against = follow(self._against[n], trial.against_start, outcome, whole, power)
            percent[n] = 100.0 * treated / np.maximum(against, _LEAST)
        return percent
