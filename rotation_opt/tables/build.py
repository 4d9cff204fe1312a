"""Rows of the crop tables turned into the records that the other rooms pass around."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, cast

from rotation_opt.errors import TableError
from rotation_opt.records import (
    AnnualWeed,
    Caution,
    Crop,
    Figure,
    Machine,
    Operation,
    PatchPractice,
    Practice,
    Rule,
    Source,
    Station,
    Step,
    Weed,
)
from rotation_opt.tables.checks import number_or_none
from rotation_opt.tables.sheets import Row, Sheet

MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")

#: Figure tables by the name used in :meth:`Tables.number`, and the file each one is kept in.
FIGURE_FILES = {
    "crop": "crop_figures",
    "weed": "weed_figures",
    "weed_parameter": "weed_parameters",
    "machine": "machine_figures",
    "operation": "operation_figures",
    "patch": "patch_practice_figures",
    "money": "money_figures",
    "field_days": "field_days",
    "preceding": "preceding",
    "climate": "climate_figures",
    "canopy": "canopy_figures",
    "annual_weed": "annual_weed_figures",
    "variability": "variability",
}
DRAW_TABLE = "weed_draw"


def _text(cell: str) -> str:
    """A text cell whose ``none`` means nothing."""
    return "" if cell == "none" else cell


def _keyed(make: Callable[[Row], Any]) -> Callable[[Sequence[tuple[int, Row]]], dict[str, Any]]:
    return lambda rows: {row["key"]: make(row) for _, row in rows}


def _fields(kind: type[Any], row: Row, **changed: object) -> Any:
    """Record from the cells named like its fields, with some of them converted."""
    cells: dict[str, object] = {name: row[name] for name in kind.__dataclass_fields__ if name in row}
    return kind(**{**cells, **changed})


def _crop(row: Row) -> Crop:
    flags = {name: row[name] == "yes" for name in ("small_grain", "legume")}
    return cast("Crop", _fields(Crop, row, bushel_kg=number_or_none(row["bushel_kg"]), **flags))


def _practice(row: Row) -> Practice:
    texts = (
        "needs_stand",
        "leaves_stand",
        "between",
        "cover",
        "sow",
        "in_crop",
        "harvest",
        "undersown",
        "cut_use",
    )
    numbers = ("row_spacing_m", "sowing_rate_ratio", "yield_ratio")
    changed: dict[str, object] = {name: _text(row[name]) for name in texts}
    changed.update({name: float(row[name]) for name in numbers})
    changed.update(
        usual=row["usual"] == "yes",
        sowing_shift_days=int(float(row["sowing_shift_days"])),
        cuts=int(float(row["cuts"])),
        tags=frozenset(_text(row["tags"]).split("|")) - {""},
    )
    return cast("Practice", _fields(Practice, row, **changed))


def _patch_practice(row: Row) -> PatchPractice:
    whole = ("offset_days", "interval_days", "times", "until_gap_days")
    counts = {name: int(float(row[name])) for name in whole}
    texts = {name: _text(row[name]) for name in ("operation", "until", "again")}
    return cast("PatchPractice", _fields(PatchPractice, row, **texts, **counts))


def _programmes(rows: Sequence[tuple[int, Row]]) -> dict[str, tuple[Step, ...]]:
    whole = ("order", "offset_days", "interval_days", "times", "until_gap_days")
    steps: dict[str, list[Step]] = defaultdict(list)
    for _, row in rows:
        counts = {name: int(float(row[name])) for name in whole}
        texts = {name: _text(row[name]) for name in ("until", "again")}
        steps[row["programme"]].append(_fields(Step, row, **texts, **counts))
    return {name: tuple(sorted(those, key=lambda step: step.order)) for name, those in steps.items()}


def _stations(rows: Sequence[tuple[int, Row]]) -> dict[str, Station]:
    months: dict[str, dict[str, tuple[float, ...]]] = defaultdict(dict)
    first: dict[str, Row] = {}
    for line, row in rows:
        key = row["station"]
        months[key][row["variable"]] = tuple(float(row[month]) for month in MONTHS)
        first.setdefault(key, row)
        if first[key]["latitude"] != row["latitude"]:
            raise TableError(f"climates.csv, line {line}, column latitude: {key!r} has two latitudes.")
    for key, series in months.items():
        if missing := {"tmax_c", "tmin_c"} - series.keys():
            raise TableError(f"climates.csv: station {key!r} has no {', '.join(sorted(missing))}.")
    return {
        key: Station(
            key=key,
            country=row["country"],
            latitude=float(row["latitude"]),
            longitude=float(row["longitude"]),
            elevation_m=float(row["elevation_m"]),
            tmax_c=months[key]["tmax_c"],
            tmin_c=months[key]["tmin_c"],
            precip_mm=months[key].get("precip_mm"),
            tmax_daily_sd_c=months[key].get("tmax_sd_c"),
            tmin_daily_sd_c=months[key].get("tmin_sd_c"),
            month_sd_c=months[key].get("month_sd_c"),
            period=row["period"],
            source=row["source"],
            note=row["note"],
        )
        for key, row in first.items()
    }


#: How to build each classification table that :class:`Tables` offers.
BUILDERS: Mapping[str, Callable[[Sequence[tuple[int, Row]]], Any]] = {
    "sources": _keyed(lambda row: _fields(Source, row)),
    "crops": _keyed(_crop),
    "weeds": _keyed(lambda row: _fields(Weed, row)),
    "annual_weeds": _keyed(lambda row: _fields(AnnualWeed, row)),
    "machines": _keyed(lambda row: _fields(Machine, row)),
    "operations": _keyed(lambda row: _fields(Operation, row)),
    "programmes": _programmes,
    "practices": _keyed(_practice),
    "patch_practices": _keyed(_patch_practice),
    "succession": lambda rows: tuple(
        _fields(Rule, row, years=int(float(row["years"])), other=_text(row["other"])) for _, row in rows
    ),
    "climates": _stations,
    "cautions": lambda rows: tuple(_fields(Caution, row, rank=int(row["rank"])) for _, row in rows),
    "weed_draws": lambda rows: tuple(dict.fromkeys(row["draw"] for _, row in rows)),
}


def figures_of(sheets: Mapping[str, Sheet]) -> Iterable[tuple[tuple[str, str, str], Figure]]:
    """All figures in use and all draws, keyed by table name, subject and quantity."""
    for table, name in FIGURE_FILES.items():
        for _, row in sheets[name].rows if name in sheets else ():
            if row["use"] == "yes":
                numbers = {column: number_or_none(row[column]) for column in ("value", "low", "high")}
                yield (table, row["subject"], row["quantity"]), _fields(Figure, row, table=table, **numbers)
    units = (
        {row["quantity"]: row["unit"] for _, row in sheets["weed_parameters"].rows}
        if "weed_parameters" in sheets
        else {}
    )
    for _, row in sheets["weed_draws"].rows if "weed_draws" in sheets else ():
        subject, quantity = f"{row['draw']}:{row['weed']}", row["parameter"]
        yield (
            (DRAW_TABLE, subject, quantity),
            Figure(
                table=DRAW_TABLE,
                subject=subject,
                quantity=quantity,
                value=float(row["value"]),
                low=None,
                high=None,
                unit=units.get(quantity, "none"),
                source=row["source"],
                mark=cast("Any", row["mark"]),
                where="none",
                note=row["note"],
            ),
        )
