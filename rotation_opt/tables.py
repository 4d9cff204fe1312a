"""The crop tables: where they are, how they are read, and whether they keep to their own column list.

Every number the models use stands in ``crop_tables/`` with its source. ``columns.csv`` says what each
column and each quantity may hold; whatever does not keep to it is refused with file, line and column.
"""

from __future__ import annotations

import csv
import difflib
import functools
import io
import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any, cast

from rotation_opt.errors import Fault, TableError
from rotation_opt.records import (
    Caution,
    Crop,
    Figure,
    Machine,
    Operation,
    Practice,
    Rule,
    Source,
    Station,
    Step,
    Weed,
)

MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")

#: Figure tables by the name used in :meth:`Tables.number`, and the file each one is kept in.
FIGURE_FILES = {
    "crop": "crop_figures",
    "weed": "weed_figures",
    "weed_parameter": "weed_parameters",
    "machine": "machine_figures",
    "operation": "operation_figures",
    "money": "money_figures",
    "field_days": "field_days",
    "preceding": "preceding",
    "climate": "climate_figures",
    "canopy": "canopy_figures",
}
DRAW_TABLE = "weed_draw"
_SHOWN_FAULTS = 20
_Row = dict[str, str]


def folder() -> Traversable:
    """Where the shipped tables are: inside the installed package, or beside it in a checkout."""
    shipped = resources.files("rotation_opt") / "crop_tables"
    return shipped if shipped.is_dir() else Path(__file__).parent.parent / "crop_tables"


def read(where: Path | None = None) -> Tables:
    """Read and check all crop tables of one folder.

    Parameters
    ----------
    where : Path, optional
        Folder with the CSV files; the shipped tables if left out (these are read once and kept).

    Returns
    -------
    Tables

    Raises
    ------
    TableError
        If a table does not keep to ``columns.csv``: names file, line, column, what was found and what is
        allowed, for all faults (the first 20 are written out).
    """
    return _shipped() if where is None else _read(where)


@functools.cache
def _shipped() -> Tables:
    return _read(folder())


class Tables:
    """All crop tables, looked up by name.

    Classification tables are attributes (``crops``, ``weeds``, ``machines``, ``operations``,
    ``programmes``, ``practices``, ``rules``, ``stations``, ``sources``, ``cautions``); a table whose file
    does not exist raises TableError when it is asked for. Numbers come from :meth:`number`.

    Attributes
    ----------
    read_figures : set of (table, subject, quantity)
        Every figure looked up so far.
    """

    def __init__(
        self, place: str, records: Mapping[str, Any], figures: Mapping[tuple[str, str, str], Figure]
    ) -> None:
        self._place = place
        self._records = records
        self._figures = figures
        self.read_figures: set[tuple[str, str, str]] = set()

    def __repr__(self) -> str:
        return f"Tables({self._place!r}, {len(self._figures)} figures)"

    def _table(self, name: str) -> Any:
        try:
            return self._records[name]
        except KeyError:
            raise TableError(f"{self._place}: {name}.csv is missing; it is needed for this.") from None

    @property
    def crops(self) -> Mapping[str, Crop]:
        """Crops by key, in the order of the file."""
        return cast("Mapping[str, Crop]", self._table("crops"))

    @property
    def weeds(self) -> Mapping[str, Weed]:
        """Creeping perennials by key."""
        return cast("Mapping[str, Weed]", self._table("weeds"))

    @property
    def machines(self) -> Mapping[str, Machine]:
        """Machines by key."""
        return cast("Mapping[str, Machine]", self._table("machines"))

    @property
    def operations(self) -> Mapping[str, Operation]:
        """Kinds of pass by key."""
        return cast("Mapping[str, Operation]", self._table("operations"))

    @property
    def programmes(self) -> Mapping[str, tuple[Step, ...]]:
        """Steps of each programme of work, in their order."""
        return cast("Mapping[str, tuple[Step, ...]]", self._table("programmes"))

    @property
    def practices(self) -> Mapping[str, Practice]:
        """Practices by key, in the order of the file."""
        return cast("Mapping[str, Practice]", self._table("practices"))

    @property
    def rules(self) -> tuple[Rule, ...]:
        """Succession rules."""
        return cast("tuple[Rule, ...]", self._table("succession"))

    @property
    def stations(self) -> Mapping[str, Station]:
        """Monthly normals by station."""
        return cast("Mapping[str, Station]", self._table("climates"))

    @property
    def sources(self) -> Mapping[str, Source]:
        """Where figures come from, by key."""
        return cast("Mapping[str, Source]", self._table("sources"))

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """Sentences to print where work can hurt someone or money is projected."""
        return cast("tuple[Caution, ...]", self._table("cautions"))

    @property
    def draws(self) -> tuple[str, ...]:
        """Names of the parameter draws, in the order of the file."""
        return cast("tuple[str, ...]", self._table("weed_draws"))

    def number(self, table: str, subject: str, quantity: str) -> float:
        """Value of one figure, in the unit of ``columns.csv``.

        Parameters
        ----------
        table : str
            One of ``crop, weed, weed_parameter, machine, operation, money, field_days, preceding``.
        subject, quantity : str
            As in the table.

        Raises
        ------
        TableError
            If there is no such figure; names the file and the nearest spelling.
        """
        return self.figure(table, subject, quantity).value

    def number_or(self, table: str, subject: str, quantity: str, default: float) -> float:
        """Value of one figure, or `default` where the table has none for this subject."""
        return self.number(table, subject, quantity) if self.has(table, subject, quantity) else default

    def has(self, table: str, subject: str, quantity: str) -> bool:
        """Whether the table holds this figure."""
        return (table, subject, quantity) in self._figures

    def figure(self, table: str, subject: str, quantity: str) -> Figure:
        """One figure with range, unit, source and note; raises TableError if there is none."""
        key = (table, subject, quantity)
        found = self._figures.get(key)
        if found is None:
            raise TableError(self._why_missing(*key))
        self.read_figures.add(key)
        return found

    def figures(self, table: str) -> tuple[Figure, ...]:
        """All figures in use of one table, in the order of the file. Does not count as reading them."""
        return tuple(figure for key, figure in self._figures.items() if key[0] == table)

    def draw(self, name: str, weed: str, parameter: str) -> float:
        """Value of a fitted weed parameter in one draw."""
        return self.number(DRAW_TABLE, f"{name}:{weed}", parameter)

    def with_change(self, table: str, subject: str, quantity: str, value: float) -> Tables:
        """Copy of the tables with one figure changed; its reads are counted afresh.

        Draws change with ``table="weed_draw"`` and ``subject="<draw>:<weed>"``.
        """
        changed = replace(self.figure(table, subject, quantity), value=value)
        return Tables(self._place, self._records, {**self._figures, (table, subject, quantity): changed})

    def _why_missing(self, table: str, subject: str, quantity: str) -> str:
        if table != DRAW_TABLE and table not in FIGURE_FILES:
            return f"there is no figure table {table!r}; there are {', '.join(FIGURE_FILES)}."
        file = f"{FIGURE_FILES.get(table, 'weed_draws')}.csv"
        there = [key for key in self._figures if key[0] == table]
        if not there:
            return f"{self._place}: {file} is missing or empty; {subject} {quantity} was asked for."
        of_subject = sorted({key[2] for key in there if key[1] == subject})
        if not of_subject:
            hint = _nearest(subject, sorted({key[1] for key in there}))
            return f"{file}: there are no figures for {subject!r} ({quantity} was asked for). {hint}".rstrip()
        hint = _nearest(quantity, of_subject)
        return f"{file}: {subject!r} has no {quantity!r}; it has {', '.join(of_subject)}. {hint}".rstrip()


# ---------------------------------------------------------------- raw files


@dataclass(frozen=True, slots=True, kw_only=True)
class _Column:
    """One line of columns.csv. ``allowed`` holds tokens parted by "; ", see :func:`_fault_of_cell`."""

    kind: str
    unit: str
    allowed: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    """One CSV file: its header and its rows, each with its line number."""

    name: str
    header: tuple[str, ...]
    rows: tuple[tuple[int, _Row], ...]


def _read(where: Traversable) -> Tables:
    place = where.name
    sheets = {
        entry.name.removesuffix(".csv"): _sheet(entry)
        for entry in sorted(where.iterdir(), key=lambda entry: entry.name)
        if entry.name.endswith(".csv")
    }
    if "columns" not in sheets:
        raise TableError(f"{where}: columns.csv is missing; it says what the other tables may hold.")
    if missing := {"table", "column", "type", "unit", "allowed"} - set(sheets["columns"].header):
        raise TableError(f"columns.csv, line 1: no column {', '.join(sorted(missing))}.")
    columns: dict[str, dict[str, _Column]] = defaultdict(dict)
    for _, row in sheets["columns"].rows:
        allowed = tuple(token.strip() for token in row["allowed"].split(";"))
        columns[row["table"]][row["column"]] = _Column(kind=row["type"], unit=row["unit"], allowed=allowed)
    faults = [fault for sheet in sheets.values() for fault in _faults(sheet, columns, sheets)]
    if faults:
        lines = [str(fault) for fault in faults[:_SHOWN_FAULTS]]
        if len(faults) > _SHOWN_FAULTS:
            lines.append(f"... and {len(faults) - _SHOWN_FAULTS} more faults in the tables.")
        raise TableError("\n".join(lines))
    records = {name: build(sheets[name].rows) for name, build in _BUILDERS.items() if name in sheets}
    return Tables(place, records, dict(_figures_of(sheets)))


def _sheet(entry: Traversable) -> _Sheet:
    try:
        text = entry.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        raise TableError(f"{entry.name}: byte {fault.start} is not UTF-8; save the file as UTF-8.") from fault
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    rows: list[tuple[int, _Row]] = []
    try:
        header = tuple(next(reader, ()))
        if not header or len(set(header)) < len(header):
            found = ", ".join(header) or "nothing"
            raise TableError(f"{entry.name}, line 1: found {found}; a header names every column once.")
        for cells in reader:
            if len(cells) != len(header):
                place = f"{entry.name}, line {reader.line_num}"
                raise TableError(f"{place}: found {len(cells)} cells; the header has {len(header)} columns.")
            rows.append((reader.line_num, dict(zip(header, cells, strict=True))))
    except csv.Error as fault:
        raise TableError(
            f"{entry.name}, line {reader.line_num}: not a readable CSV line ({fault})."
        ) from fault
    return _Sheet(name=entry.name.removesuffix(".csv"), header=header, rows=tuple(rows))


# ---------------------------------------------------------------- checks


def _faults(
    sheet: _Sheet, columns: Mapping[str, Mapping[str, _Column]], sheets: Mapping[str, _Sheet]
) -> Iterable[Fault]:
    described = {name: column for name, column in columns.get(sheet.name, {}).items() if ":" not in name}
    file = f"{sheet.name}.csv"
    if not described:
        near = _nearest(sheet.name, list(columns))
        yield Fault(
            f"{file}", "a table that columns.csv does not describe", "every table is described there", near
        )
        return
    for name in sheet.header:
        if name not in described:
            allowed = f"columns are {', '.join(described)}"
            yield Fault(
                f"{file}, line 1", f"unknown column {name!r}", allowed, _nearest(name, list(described))
            )
    for name in described:
        if name not in sheet.header:
            yield Fault(f"{file}, line 1", f"no column {name!r}", "columns.csv asks for it")
    known = {name: column for name, column in described.items() if name in sheet.header}
    unique = [name for name, column in known.items() if "unique" in column.allowed]
    seen: dict[tuple[str, ...], int] = {}
    for line, row in sheet.rows:
        for name, column in known.items():
            fault = _fault_of_cell(f"{file}, line {line}, column {name}", row[name], column, sheets)
            if fault:
                yield fault
        key = tuple(row[name] for name in unique)
        if unique and key in seen:
            place = f"{file}, line {line}, column {' + '.join(unique)}"
            yield Fault(place, " + ".join(key), f"each may stand once and line {seen[key]} has it already")
        seen.setdefault(key, line)
    if "quantity" in known or sheet.name == "weed_draws":
        yield from _figure_faults(sheet, columns)


def _fault_of_cell(place: str, cell: str, column: _Column, sheets: Mapping[str, _Sheet]) -> Fault | None:
    """What is wrong with one cell.

    The allowed tokens: ``a..b`` a range (of a number, or of the number of characters of a text), ``a|b|c``
    choices, ``in <table>`` a key of that table, ``none`` the word none, ``unique`` no two lines alike,
    ``any`` anything that is not blank.
    """
    if not cell.strip():
        return Fault(place, "a blank cell", "write none where there is nothing")
    if cell == "none" and "none" in column.allowed:
        return None
    choices: list[str] = []
    limits: str = ""
    for token in column.allowed:
        if token.startswith("in "):
            choices = _keys_of(token[3:], sheets)
        elif "|" in token:
            choices = token.split("|")
        elif ".." in token:
            limits = token
    if column.kind in {"number", "integer"}:
        return _fault_of_number(place, cell, column.kind, limits)
    if column.kind == "flag":
        return None if cell in {"yes", "no"} else Fault(place, repr(cell), "yes or no is allowed")
    if column.kind == "date" and not _is_date(cell):
        return Fault(place, repr(cell), "a date like 2026-05-01 is allowed")
    if limits and not _within(len(cell), limits):
        return Fault(place, f"{cell!r} with {len(cell)} characters", f"{limits} characters are allowed")
    parts = cell.split("|") if column.kind == "list" else [cell]
    for part in parts:
        # "weed@group" and "crop:years" point at the table with what stands before the mark
        if choices and part not in choices and part.split("@")[0].split(":")[0] not in choices:
            few = ", ".join(choices) if len(choices) <= 12 else f"one of {len(choices)} known keys"
            return Fault(place, repr(part), f"allowed is {few}", _nearest(part, choices))
    return None


def _fault_of_number(place: str, cell: str, kind: str, limits: str) -> Fault | None:
    try:
        value = float(cell)
    except ValueError:
        value = math.nan
    if not math.isfinite(value) or (kind == "integer" and value != int(value)):
        return Fault(place, repr(cell), f"a{'n integer' if kind == 'integer' else ' number'} is allowed")
    if limits and not _within(value, limits):
        return Fault(place, cell, f"{limits} is allowed")
    return None


def _figure_faults(sheet: _Sheet, columns: Mapping[str, Mapping[str, _Column]]) -> Iterable[Fault]:
    """Faults of figures: unknown quantity, unit, range, and more than one row in use."""
    described = columns["weed_parameters" if sheet.name == "weed_draws" else sheet.name]
    quantities = {name.partition(":")[2]: column for name, column in described.items() if ":" in name}
    used: dict[tuple[str, str], int] = {}
    for line, row in sheet.rows:
        place = f"{sheet.name}.csv, line {line}, column"
        quantity = row.get("quantity", row.get("parameter", ""))
        column = quantities.get(quantity)
        if column is None:
            hint = _nearest(quantity, list(quantities))
            yield Fault(
                f"{place} quantity", repr(quantity), f"columns.csv lists {len(quantities)} quantities", hint
            )
            continue
        if row.get("unit", column.unit) != column.unit:
            yield Fault(f"{place} unit", repr(row["unit"]), f"{quantity} is in {column.unit!r}")
        limits = next((token for token in column.allowed if ".." in token), "")
        numbers = {name: _number_or_none(row.get(name, "none")) for name in ("low", "value", "high")}
        for name, value in numbers.items():
            if value is not None and limits and not _within(value, limits):
                yield Fault(f"{place} {name}", row[name], f"{quantity} lies in {limits}")
        ordered = [value for value in numbers.values() if value is not None]
        if ordered != sorted(ordered):
            yield Fault(f"{place} low, value, high", str(ordered), "they rise in this order")
        key = (row.get("subject", ""), quantity)
        if row.get("use") == "yes":
            if key in used:
                found = f"a second row in use for {' '.join(key)}"
                yield Fault(f"{place} use", found, f"one row is used and line {used[key]} is already")
            used.setdefault(key, line)


def _within(value: float, limits: str) -> bool:
    low, _, high = limits.partition("..")
    return (not low or value >= float(low)) and (not high or value <= float(high))


def _is_date(cell: str) -> bool:
    try:
        date.fromisoformat(cell)
    except ValueError:
        return False
    return True


def _keys_of(table: str, sheets: Mapping[str, _Sheet]) -> list[str]:
    """Keys of a table (its first column); empty, so nothing is compared, where the file does not exist."""
    sheet = sheets.get(table)
    return [] if sheet is None else list(dict.fromkeys(row[sheet.header[0]] for _, row in sheet.rows))


def _nearest(word: str, known: Sequence[str]) -> str:
    near = difflib.get_close_matches(word, known, n=1)
    return f"Did you mean {near[0]!r}?" if near else ""


# ---------------------------------------------------------------- records


def _number_or_none(cell: str) -> float | None:
    try:
        return float(cell)
    except ValueError:
        return None


def _text(cell: str) -> str:
    """A text cell whose ``none`` means nothing."""
    return "" if cell == "none" else cell


def _keyed(make: Callable[[_Row], Any]) -> Callable[[Sequence[tuple[int, _Row]]], dict[str, Any]]:
    return lambda rows: {row["key"]: make(row) for _, row in rows}


def _fields(kind: type[Any], row: _Row, **changed: object) -> Any:
    """Record from the cells named like its fields, with some of them converted."""
    cells: dict[str, object] = {name: row[name] for name in kind.__dataclass_fields__ if name in row}
    return kind(**{**cells, **changed})


def _crop(row: _Row) -> Crop:
    flags = {name: row[name] == "yes" for name in ("small_grain", "legume")}
    return cast("Crop", _fields(Crop, row, bushel_kg=_number_or_none(row["bushel_kg"]), **flags))


def _practice(row: _Row) -> Practice:
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


def _programmes(rows: Sequence[tuple[int, _Row]]) -> dict[str, tuple[Step, ...]]:
    whole = ("order", "offset_days", "interval_days", "times", "until_gap_days")
    steps: dict[str, list[Step]] = defaultdict(list)
    for _, row in rows:
        counts = {name: int(float(row[name])) for name in whole}
        steps[row["programme"]].append(_fields(Step, row, until=_text(row["until"]), **counts))
    return {name: tuple(sorted(those, key=lambda step: step.order)) for name, those in steps.items()}


def _stations(rows: Sequence[tuple[int, _Row]]) -> dict[str, Station]:
    months: dict[str, dict[str, tuple[float, ...]]] = defaultdict(dict)
    first: dict[str, _Row] = {}
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
            period=row["period"],
            source=row["source"],
            note=row["note"],
        )
        for key, row in first.items()
    }


_BUILDERS: Mapping[str, Callable[[Sequence[tuple[int, _Row]]], Any]] = {
    "sources": _keyed(lambda row: _fields(Source, row)),
    "crops": _keyed(_crop),
    "weeds": _keyed(lambda row: _fields(Weed, row)),
    "machines": _keyed(lambda row: _fields(Machine, row)),
    "operations": _keyed(lambda row: _fields(Operation, row)),
    "programmes": _programmes,
    "practices": _keyed(_practice),
    "succession": lambda rows: tuple(
        _fields(Rule, row, years=int(float(row["years"])), other=_text(row["other"])) for _, row in rows
    ),
    "climates": _stations,
    "cautions": lambda rows: tuple(_fields(Caution, row) for _, row in rows),
    "weed_draws": lambda rows: tuple(dict.fromkeys(row["draw"] for _, row in rows)),
}


def _figures_of(sheets: Mapping[str, _Sheet]) -> Iterable[tuple[tuple[str, str, str], Figure]]:
    for table, name in FIGURE_FILES.items():
        for _, row in sheets[name].rows if name in sheets else ():
            if row["use"] == "yes":
                numbers = {column: _number_or_none(row[column]) for column in ("value", "low", "high")}
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
