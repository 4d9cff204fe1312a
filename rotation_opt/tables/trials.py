"""Published outcomes of weed trials, with the seasons that stand for them here."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, cast

from rotation_opt.errors import TableError
from rotation_opt.records import CanopyPiece
from rotation_opt.tables.checks import number_or_none
from rotation_opt.tables.sheets import Row, Sheet

Measure = Literal["reserve", "shoots", "standing", "low", "annual_density", ""]
Bound = Literal["=", "<", ">", "order", ""]
Use = Literal["fit", "check", "order", "left_out"]

#: Tables that :func:`trials_of` puts together.
TRIAL_FILES = ("trials", "trial_seasons", "trial_years", "trial_work", "trial_canopies", "trial_left_out")
_SEEN = ("seen", "derived", "memory")


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialSeason:
    """One year of a trial field, from 1 November to 1 November."""

    key: str
    light: float  # share of full light that a cloth over everything lets through
    work: tuple[tuple[int, str], ...]  # day (0 = 1 January of the harvest year), operation
    canopies: tuple[CanopyPiece, ...]
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """One published outcome, or a limit from the trade or our judgement, and how it is run.

    Attributes
    ----------
    key, what, source, mark, note, reason, why_missed : str
        As in ``trials.csv``; `reason` is empty unless the outcome is left out, `why_missed` unless the model
        misses it by far.
    study : str
        Outcomes with the same study belong to one paper.
    weed, station : str
        Empty where there is none.
    measure : str
        ``reserve`` on the last 1 November, ``shoots`` at bud stage of the last season, ``standing`` shoots
        on 1 September of the last season, or ``low``, the smallest reserve from May to July of the last
        season against that on 1 November before.
    treated, against : tuple of TrialSeason
        Seasons in their order, equally many where both are given; `against` is empty where the outcome is
        compared with a field left alone as long.
    start, against_start : float
        Reserve at the start of each; 1 = full stand.
    published : float or None
        Percent of what it is compared with; None where the source gives no figure.
    bound : str
        ``=`` a figure, ``<`` an upper, ``>`` a lower limit, ``order`` only more or less.
    spread : float
        How far off in log units is still a good match; 0 for an order.
    least, most : float or None
        Percentages between which an order is kept.
    than : str
        Key of another row: `least` and `most` are percentages of what that comes to.
    use : str
        ``fit``, ``check``, ``order`` or ``left_out``.
    left_out, study_left_out : float or None
        Percent foretold by the fit that did not see this outcome, and by the one that saw nothing of its
        study (table trial_left_out.csv, written by the fit); None where it is not fitted to.
    """

    key: str
    what: str
    study: str
    source: str
    mark: str
    weed: str
    station: str
    measure: Measure
    treated: tuple[TrialSeason, ...]
    against: tuple[TrialSeason, ...]
    start: float
    against_start: float
    published: float | None
    bound: Bound
    spread: float
    least: float | None
    most: float | None
    than: str
    use: Use
    note: str
    reason: str
    why_missed: str
    left_out: float | None
    study_left_out: float | None

    @property
    def runs(self) -> bool:
        """Whether it can be run at all."""
        return self.use != "left_out"

    @property
    def counted(self) -> bool:
        """Whether it is an outcome seen in the field, which errors are counted on.

        Limits from the trade or judged by us are fitted and shown, but never counted.
        """
        return self.use in ("fit", "check") and self.mark in _SEEN


def trials_of(sheets: Mapping[str, Sheet]) -> dict[str, Trial]:
    """All trials by key, in the order of the file.

    Raises
    ------
    TableError
        If a row asks for something that is not there; names file and row.
    """
    seasons = _seasons(sheets)
    arms: dict[tuple[str, str], list[tuple[int, str, int]]] = defaultdict(list)
    for _, row in sheets["trial_seasons"].rows:
        place = int(float(row["order"])), row["season"], int(float(row["times"]))
        arms[row["trial"], row["arm"]].append(place)

    def arm(trial: str, name: str) -> tuple[TrialSeason, ...]:
        steps = sorted(arms[trial, name])
        return tuple(seasons[season] for _, season, times in steps for _ in range(times))

    apart = {row["trial"]: row for _, row in sheets["trial_left_out"].rows}
    found = {}
    for line, row in sheets["trials"].rows:
        key = row["key"]
        trial = _trial(row, arm(key, "treated"), arm(key, "against"), apart.get(key, {}))
        if fault := _fault(trial):
            raise TableError(f"trials.csv, line {line}: {trial.key} {fault}.")
        found[trial.key] = trial
    return found


def _trial(
    row: Row, treated: tuple[TrialSeason, ...], against: tuple[TrialSeason, ...], apart: Mapping[str, str]
) -> Trial:
    def text(column: str) -> str:
        return "" if row[column] == "none" else row[column]

    return Trial(
        key=row["key"],
        what=row["what"],
        study=row["study"],
        source=row["source"],
        mark=row["mark"],
        weed=text("weed"),
        station=text("station"),
        measure=cast("Measure", text("measure")),
        treated=treated,
        against=against,
        start=number_or_none(row["start"]) or 1.0,
        against_start=number_or_none(row["against_start"]) or 1.0,
        published=number_or_none(row["published"]),
        bound=cast("Bound", text("bound")),
        spread=number_or_none(row["spread"]) or 0.0,
        least=number_or_none(row["least"]),
        most=number_or_none(row["most"]),
        than=text("than"),
        use=cast("Use", row["use"]),
        note=text("note"),
        reason=text("reason"),
        why_missed=text("why_missed"),
        left_out=number_or_none(apart.get("left_out", "none")),
        study_left_out=number_or_none(apart.get("study_left_out", "none")),
    )


def _fault(trial: Trial) -> str:
    """What makes a row useless, or nothing."""
    if not trial.runs:
        return "" if trial.reason else "is left out without a reason"
    if not trial.treated:
        return "has no seasons in trial_seasons.csv"
    if not trial.weed or not trial.station or not trial.measure:
        return "is to be run without a weed, a station or a measure"
    if trial.against and len(trial.against) != len(trial.treated):
        return f"compares {len(trial.treated)} seasons with {len(trial.against)} in trial_seasons.csv"
    if (trial.use == "order") != (trial.bound == "order"):
        return f"is used as {trial.use} with bound {trial.bound!r}"
    if trial.use == "order":
        return "" if trial.least is not None or trial.most is not None else "has neither least nor most"
    return "" if trial.published else "has no published percentage above 0"


def _seasons(sheets: Mapping[str, Sheet]) -> dict[str, TrialSeason]:
    work: dict[str, list[tuple[int, str]]] = defaultdict(list)
    for _, row in sheets["trial_work"].rows:
        first, interval, times = (int(float(row[name])) for name in ("first_day", "interval", "times"))
        work[row["season"]] += [(first + interval * n, row["operation"]) for n in range(times)]
    canopies: dict[str, list[CanopyPiece]] = defaultdict(list)
    for line, row in sheets["trial_canopies"].rows:
        canopies[row["season"]].append(_canopy(row, line))
    return {
        row["key"]: TrialSeason(
            key=row["key"],
            light=float(row["light"]),
            work=tuple(sorted(work[row["key"]])),
            canopies=tuple(canopies[row["key"]]),
            note="" if row["note"] == "none" else row["note"],
        )
        for _, row in sheets["trial_years"].rows
    }


def _canopy(row: Row, line: int) -> CanopyPiece:
    try:
        cuts = () if row["cuts"] == "none" else tuple(int(day) for day in row["cuts"].split("|"))
    except ValueError:
        place = f"trial_canopies.csv, line {line}, column cuts"
        raise TableError(f"{place}: found {row['cuts']!r}; days joined by | are allowed.") from None
    return CanopyPiece(
        crop=row["crop"],
        start=cast('Literal["sown", "regrowth"]', row["start"]),
        start_day=int(float(row["first_day"])),
        end_day=int(float(row["last_day"])),
        cut_days=cuts,
        sowing_rate_ratio=float(row["sowing_rate_ratio"]),
        row_spacing_m=float(row["row_spacing_m"]),
        stand_year=int(float(row["stand_year"])),
        under=row["under"] == "yes",
    )
