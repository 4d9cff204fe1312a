"""Visits of the scouting log held against what the courses of the weeds foretold.

Courses foretell the mean of a field's patches at bud stage; patches differ from it as they were counted.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rotation_opt.arrays import NOT_FARMED, SelectionData
from rotation_opt.bands import BandCourse
from rotation_opt.scouting_log import Visit, folded, mean_per_m2

Array = NDArray[np.float64]
When = tuple[str, str, int]  # field, weed, harvest year

AT_BUD = ("stem", "bud", "flower")  # stages near enough to the one that shoots are foretold for
NO_SHOOTS = 1e-3  # per m2: a course that foretells none at all would rule out any count [judgement]
NONE_SEEN = 0.5  # shoots in all frames that stand for none, where a logarithm is asked for [usual practice]
_LEAST_BEND = 1e-6  # of a likelihood that says nothing
_STEP = 0.1  # of the log of a density, for the curvature of a likelihood

Likelihood = Callable[[Visit, Array], Array]
"""Log of the chance of a visit's counts, for each of some expected shoots per m2."""


@dataclass(frozen=True, slots=True)
class Counted:
    """Patches of one weed on one field in one year, together, as counted.

    Courses foretell the mean of a field's patches. A patch that holds more than that mean is expected to:
    ``ratio`` is its own density by the mean of all, each by its area. How patches stand to one another is
    known no better than they were counted, so the likelihood is raised to a ``power``, at most 1, with which
    it is as sharp as that mean is sure.
    """

    mean: float  # not below what stands for none [shoots/m2]
    doubt: float  # variance of its logarithm
    ratio: Mapping[str, float]
    power: float

    @classmethod
    def of(cls, patches: Mapping[str, Sequence[Visit]], chance: Likelihood) -> Counted:
        visits = [visit for each in patches.values() for visit in each]
        areas = [next((visit.area_ha for visit in each if visit.area_ha), None) for each in patches.values()]
        known = None not in areas
        area = np.array([each if known and each else 1.0 for each in areas])
        densities = np.array([mean_per_m2(each) for each in patches.values()])
        mean = float(np.average(densities, weights=area))
        least = _none_seen(visits)
        if mean <= least:
            return cls(least, _doubt(visits, least, chance), dict.fromkeys(patches, 1.0), 1.0)
        part = area * densities / (area @ densities)  # of all shoots
        doubts = np.array(
            [
                _doubt(each, max(density, _none_seen(each)), chance)
                for each, density in zip(patches.values(), densities, strict=True)
            ]
        )
        doubt = float(part**2 @ doubts)
        as_if_ratios_were_known = 1.0 / (1.0 / doubts).sum()
        return cls(
            mean,
            doubt,
            dict(zip(patches, densities / mean, strict=True)),
            min(1.0, float(as_if_ratios_were_known / doubt)),
        )

    def spreads_off(self, foretold: Array) -> float:
        """How far the count lies from the likely course, by the spread of courses, (K,), and its doubt."""
        logs = np.log(foretold)
        return float(abs(np.log(self.mean) - logs[0]) / np.sqrt(np.var(logs[1:]) + self.doubt))


@dataclass(frozen=True, slots=True)
class Used:
    """A visit held against the courses."""

    visit: Visit
    counted: Counted
    foretold: Array  # by each course, (K,) [shoots/m2]

    @property
    def when(self) -> When:
        return _when(self.visit)

    def log_likelihood(self, chance: Likelihood) -> Array:
        """Of each course."""
        expected = self.counted.ratio[folded(self.visit.patch)] * self.foretold
        return self.counted.power * np.asarray(chance(self.visit, np.maximum(expected, NO_SHOOTS)))


def _when(visit: Visit) -> When:
    return visit.field, visit.weed, visit.year


def _held(visits: Sequence[tuple[Visit, Array]], chance: Likelihood) -> list[Used]:
    """Visits with what was counted on their field in that year."""
    years: dict[When, dict[str, list[Visit]]] = {}
    for visit, _ in visits:
        years.setdefault(_when(visit), {}).setdefault(folded(visit.patch), []).append(visit)
    counted = {when: Counted.of(patches, chance) for when, patches in years.items()}
    return [Used(visit, counted[_when(visit)], foretold) for visit, foretold in visits]


def _none_seen(visits: Sequence[Visit]) -> float:
    """Density that stands for none. [shoots/m2]"""
    return NONE_SEEN / sum(visit.frame_m2 * len(visit.counts) for visit in visits)


def _doubt(visits: Sequence[Visit], shoots_per_m2: float, chance: Likelihood) -> float:
    """Variance of the log of a density as counted, from how sharply the likelihood bends there."""
    around = shoots_per_m2 * np.exp(_STEP * np.array([-1.0, 0.0, 1.0]))
    low, here, high = np.sum([chance(visit, around) for visit in visits], axis=0)
    if not np.isfinite(low + here + high):
        return 1.0 / _LEAST_BEND
    return float(1.0 / max(-(low - 2.0 * here + high) / _STEP**2, _LEAST_BEND))


def usable(
    visits: Sequence[Visit],
    data: SelectionData,
    done: Sequence[Sequence[int]],
    courses: Sequence[BandCourse],
    chance: Likelihood,
) -> tuple[list[Used], list[tuple[Visit, str]]]:
    """Visits that can be held against the courses, and the others with the reason why not.

    Parameters
    ----------
    visits : sequence of Visit
    data : SelectionData
    done : sequence of sequence of int
        Practices really done, field by field, one a year.
    courses : sequence of BandCourse
        What was foretold of them, field by field.
    chance : callable
        Log-likelihood of a visit's counts, given expected shoots per m2, (K,) -> (K,).
    """
    place = {land.name: number for number, land in enumerate(data.fields)}
    used: list[tuple[Visit, Array]] = []
    left_out: list[tuple[Visit, str]] = []
    for visit in visits:
        year = int(visit.date[:4]) - data.first_year
        field, weed = place.get(visit.field), visit.weed
        if field is None:
            left_out.append((visit, "the farm has no field of that name"))
        elif not 0 <= year < len(done[field]) or done[field][year] == NOT_FARMED:
            left_out.append((visit, "not of a year that was farmed and done"))
        elif weed not in data.weeds or data.fields[field].infested_share[data.weeds.index(weed)] <= 0.0:
            left_out.append((visit, "this weed had not been counted on this field before the plan"))
        elif visit.stage not in AT_BUD:
            left_out.append((visit, f"counted at stage {visit.stage}, but shoots are foretold for bud stage"))
        elif not len(visit.counts):
            left_out.append((visit, "it holds no count"))
        else:
            foretold = courses[field].shoots[year, data.weeds.index(weed)]
            used.append((visit, np.maximum(foretold, NO_SHOOTS)))
    return _held(used, chance), left_out
