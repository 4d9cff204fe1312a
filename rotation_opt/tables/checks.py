"""Whether the crop tables keep to columns.csv and to each other."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from rotation_opt.errors import Fault, TableError
from rotation_opt.tables.sheets import Column, Sheet

_SHOWN_FAULTS = 20


def check(sheets: Mapping[str, Sheet], columns: Mapping[str, Mapping[str, Column]]) -> None:
    """Refuse tables with faults: file, line, column, what was found, what is allowed.

    Raises
    ------
    TableError
        With the first 20 faults written out and the rest counted.
    """
    faults = [fault for sheet in sheets.values() for fault in table_faults(sheet, columns)]
    # last, because one key spelt wrong in its own table raises many of these
    faults += [fault for sheet in sheets.values() for fault in _reference_faults(sheet, columns, sheets)]
    if faults:
        lines = [str(fault) for fault in faults[:_SHOWN_FAULTS]]
        if len(faults) > _SHOWN_FAULTS:
            lines.append(f"... and {len(faults) - _SHOWN_FAULTS} more faults in the tables.")
        raise TableError("\n".join(lines))


def table_faults(sheet: Sheet, columns: Mapping[str, Mapping[str, Column]]) -> Iterable[Fault]:
    """Faults of one table taken by itself, in the order of the file."""
    described = {name: column for name, column in columns.get(sheet.name, {}).items() if ":" not in name}
    file = f"{sheet.name}.csv"
    if not described:
        near = nearest(sheet.name, list(columns))
        yield Fault(
            f"{file}", "a table that columns.csv does not describe", "every table is described there", near
        )
        return
    for name in sheet.header:
        if name not in described:
            allowed = f"columns are {', '.join(described)}"
            yield Fault(
                f"{file}, line 1", f"unknown column {name!r}", allowed, nearest(name, list(described))
            )
    for name in described:
        if name not in sheet.header:
            yield Fault(f"{file}, line 1", f"no column {name!r}", "columns.csv asks for it")
    known = {name: column for name, column in described.items() if name in sheet.header}
    unique = [name for name, column in known.items() if "unique" in column.allowed]
    seen: dict[tuple[str, ...], int] = {}
    for line, row in sheet.rows:
        for name, column in known.items():
            fault = _fault_of_cell(f"{file}, line {line}, column {name}", row[name], column)
            if fault:
                yield fault
        key = tuple(row[name] for name in unique)
        if unique and key in seen:
            place = f"{file}, line {line}, column {' + '.join(unique)}"
            yield Fault(place, " + ".join(key), f"each may stand once and line {seen[key]} has it already")
        seen.setdefault(key, line)
    if "quantity" in known or sheet.name == "weed_draws":
        yield from _figure_faults(sheet, columns)


def _reference_faults(
    sheet: Sheet, columns: Mapping[str, Mapping[str, Column]], sheets: Mapping[str, Sheet]
) -> Iterable[Fault]:
    """Cells that name something another table does not hold; nothing is compared with a missing table."""
    for name, column in columns.get(sheet.name, {}).items():
        table = next((token[3:] for token in column.allowed if token.startswith("in ")), "")
        choices = _keys_of(table, sheets)
        if not choices or name not in sheet.header:
            continue
        for line, row in sheet.rows:
            if row[name] == "none" and "none" in column.allowed:
                continue
            for part in row[name].split("|") if column.kind == "list" else [row[name]]:
                # "weed@group" and "crop:years" point at the table with what stands before the mark
                if part.strip() and part not in choices and part.split("@")[0].split(":")[0] not in choices:
                    allowed = f"allowed is a key of {table}.csv"
                    place = f"{sheet.name}.csv, line {line}, column {name}"
                    yield Fault(place, repr(part), allowed, nearest(part, choices))
    if sheet.name in {"succession", "weed_figures"} and "crops" in sheets:
        yield from _group_faults(sheet, sheets["crops"])


def _fault_of_cell(place: str, cell: str, column: Column) -> Fault | None:
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
        if "|" in token:
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
        if choices and part not in choices:
            return Fault(place, repr(part), f"allowed is {', '.join(choices)}", nearest(part, choices))
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


def _figure_faults(sheet: Sheet, columns: Mapping[str, Mapping[str, Column]]) -> Iterable[Fault]:
    """Faults of figures: unknown quantity, unit, range, and more than one row in use."""
    described = columns["weed_parameters" if sheet.name == "weed_draws" else sheet.name]
    quantities = {name.partition(":")[2]: column for name, column in described.items() if ":" in name}
    used: dict[tuple[str, str], int] = {}
    for line, row in sheet.rows:
        place = f"{sheet.name}.csv, line {line}, column"
        quantity = row.get("quantity", row.get("parameter", ""))
        column = quantities.get(quantity)
        if column is None:
            hint = nearest(quantity, list(quantities))
            yield Fault(
                f"{place} quantity", repr(quantity), f"columns.csv lists {len(quantities)} quantities", hint
            )
            continue
        if row.get("unit", column.unit) != column.unit:
            yield Fault(f"{place} unit", repr(row["unit"]), f"{quantity} is in {column.unit!r}")
        limits = next((token for token in column.allowed if ".." in token), "")
        numbers = {name: number_or_none(row.get(name, "none")) for name in ("low", "value", "high")}
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


def _keys_of(table: str, sheets: Mapping[str, Sheet]) -> list[str]:
    """Keys of a table (its first column); empty, so nothing is compared, where the file does not exist."""
    sheet = sheets.get(table)
    return [] if sheet is None else list(dict.fromkeys(row[sheet.header[0]] for _, row in sheet.rows))


def nearest(word: str, known: Sequence[str]) -> str:
    """A hint at the nearest known word, or an empty text."""
    near = difflib.get_close_matches(word, known, n=1)
    return f"Did you mean {near[0]!r}?" if near else ""


def _group_faults(sheet: Sheet, crops: Sheet) -> Iterable[Fault]:
    """Rules and yield losses that speak of a crop, family or group of crops that does not exist."""
    known = {
        name: sorted({row.get(name, "") for _, row in crops.rows}) for name in ("key", "family", "group")
    }
    for line, row in sheet.rows:
        for name in ("subject", "other"):
            cell = row.get(name, "none")
            if sheet.name == "weed_figures":
                kind, word = "group", cell.partition("@")[2]
                fits = word in {"", "any"}
            else:
                kind, _, word = cell.rpartition(":")
                fits = cell == "small_grain" or (name == "other" and cell == "none")
            choices = known.get(kind or "key", [])
            if not fits and word not in choices:
                place = f"{sheet.name}.csv, line {line}, column {name}"
                allowed = f"{kind or 'crop'} is one of {', '.join(choices)}"
                yield Fault(place, repr(cell), allowed, nearest(word, choices))


def number_or_none(cell: str) -> float | None:
    """Number in a cell, or None where there is none."""
    try:
        return float(cell)
    except ValueError:
        return None
