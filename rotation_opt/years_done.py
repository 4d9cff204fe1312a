"""What was really done on each field in the years gone by, from its file.

The years done stand in a CSV file: field, year, practice_or_crop, note, and the days on which the crop was
really sown, cut and harvested (``dates_told.py``) where they were not the usual ones. Only what was not as
planned need stand there, and a row may leave practice_or_crop empty for what was planned; a missed cut or a
failed stand is told by the practice it comes to (a key with fewer cuts, the crop sown in its place) and by
the note.
"""

from __future__ import annotations

import csv
import dataclasses
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from rotation_opt import dates_told, text_file, words
from rotation_opt.dates_told import Told
from rotation_opt.errors import Fault, InputError
from rotation_opt.farm import build
from rotation_opt.farm.names import Names
from rotation_opt.plan_followed import FollowedPlan
from rotation_opt.records import Farm, Practice
from rotation_opt.tables import Tables

COLUMNS = ("field", "year", "practice_or_crop", "note", *dates_told.COLUMNS)
NEEDED = COLUMNS[:3]
LONGEST_NOTE = 300


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """What grew on one field in one year; ``name`` is a practice key, or that of a crop; empty: as planned.

    ``dates`` are those that were told, ``place`` the file and line, for faults.
    """

    field: str
    year: int
    name: str
    note: str
    dates: Told = dataclasses.field(default_factory=Told)
    place: str = dataclasses.field(default="", compare=False)


# ---------------------------------------------------------------- the years done


def read_done(path: Path, farm: Farm, tables: Tables) -> tuple[Done, ...]:
    """Rows of a file of years done.

    Parameters
    ----------
    path : Path
        CSV file in UTF-8, commas or semicolons between.
    farm : Farm
        Whose fields it names; its first year is the first one that can be done.
    tables : Tables

    Raises
    ------
    InputError
        With every fault found: file, line, column, what was found, what is allowed, nearest spelling.
    """
    text = text_file.read(path, "the CSV file of what was done")
    lines = text.splitlines()
    separator = ";" if lines and lines[0].count(";") > lines[0].count(",") else ","
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True))
    except csv.Error as fault:
        raise InputError(
            [Fault(path.name, f"text that is no CSV ({fault})", "allowed is one row a line")]
        ) from None
    header = tuple(_column(cell) for cell in rows[0]) if rows else ()
    missing = [name for name in NEEDED if name not in header]
    if missing:
        found = f"no column {words.listed(missing, 'and')}"
        others = words.listed(COLUMNS[len(NEEDED) :], "and")
        first = f"the first line names the columns {words.listed(NEEDED, 'and')}, and {others} at will"
        raise InputError([Fault(f"{path.name} line 1", found, first)])
    if faults := list(_header_faults(f"{path.name} line 1", header)):
        raise InputError(faults)
    reader = _Rows(path.name, farm, tables)
    for number, row in enumerate(rows[1:], start=2):
        if any(cell.strip() for cell in row[len(header) :]):
            allowed = f"allowed are {len(header)}; text with a comma in it stands in quotes"
            reader.faults.append(Fault(f"{path.name} line {number}", f"{len(row)} cells", allowed))
        elif any(cell.strip() for cell in row):
            reader.take(number, dict(zip(header, (cell.strip() for cell in row), strict=False)))
    if not reader.faults and not reader.found:
        reader.faults.append(
            Fault(
                path.name,
                "no row",
                "needed is at least one field of the last year done, so that it is known which year that is",
            )
        )
    if reader.faults:
        raise InputError(reader.faults)
    return tuple(reader.found)


def _column(text: str) -> str:
    """Name of a column; days also by the other names that growers give them."""
    name = text.strip().casefold()
    return name if name in COLUMNS else words.find(name, dates_told.COLUMNS) or name


def _header_faults(place: str, header: Sequence[str]) -> Iterator[Fault]:
    """Columns that would be passed over in silence; others of the grower's own may stay."""
    for name in COLUMNS:
        if header.count(name) > 1:
            yield Fault(place, f"two columns {name}", "each column stands there once")
    for name in header:
        near = "" if name in COLUMNS else words.nearest(name, dates_told.COLUMNS)
        if near and near not in header:
            allowed = f"columns for days are {words.listed(list(dates_told.COLUMNS), 'and')}"
            yield Fault(place, f"a column {_said(name)}", allowed, f"Did you mean {near}?")


class _Rows:
    """Rows understood so far, and faults."""

    def __init__(self, file: str, farm: Farm, tables: Tables) -> None:
        self.faults: list[Fault] = []
        self.found: list[Done] = []
        self._file, self._farm = file, farm
        self._names = Names(tables, farm.region)
        self._fields: dict[str, tuple[str, ...]] = {field.name: () for field in farm.fields}

    def take(self, number: int, row: Mapping[str, str]) -> None:
        """One row."""
        before = len(self.faults)
        field = self._field(number, row.get("field", ""))
        year = self._year(number, row.get("year", ""))
        name = self._grown(number, row.get("practice_or_crop", ""))
        note = row.get("note", "")
        if len(note) > LONGEST_NOTE or not all(sign.isprintable() for sign in note):
            self._fault(number, "note", "a note", f"allowed are up to {LONGEST_NOTE} letters on one line")
        dates = dates_told.told(f"{self._file} line {number}", row, self.faults)
        if any((each.field, each.year) == (field, year) for each in self.found):
            self._fault(number, "field", f"{field} in {year} once more", "each field and year stands once")
        if len(self.faults) == before:
            place = f"{self._file} line {number}"
            self.found.append(Done(field=field, year=year, name=name, note=note, dates=dates, place=place))

    def _fault(self, number: int, column: str, found: str, allowed: str, hint: str = "") -> None:
        self.faults.append(Fault(f"{self._file} line {number}, column {column}", found, allowed, hint))

    def _field(self, number: int, text: str) -> str:
        found = words.find(text, self._fields) if text else None
        if found is None:
            near = words.nearest(text, self._fields) if text else ""
            allowed = f"the fields of this farm are {words.listed(list(self._fields), 'and')}"
            hint = f'Did you mean "{near}"?' if near else ""
            self._fault(number, "field", _said(text), allowed, hint)
        return found or ""

    def _year(self, number: int, text: str) -> int:
        first, last = self._farm.first_year, self._farm.first_year + 20
        year = int(text) if text.isascii() and text.isdigit() and len(text) == 4 else 0
        if not first <= year <= last:
            allowed = f"allowed is a harvest year from {first} on, the first year of the farm file"
            self._fault(number, "year", _said(text), allowed)
        return year

    def _grown(self, number: int, text: str) -> str:
        """Key of what grew; empty where nothing is said, which stands for what was planned."""
        if not text:
            return ""
        key = self._names.key("grown", text)
        if key is None:
            allowed = f"{self._names.allowed('grown', text)}, or nothing for what was planned"
            hint = self._names.hint("grown", text, without_commas=True)
            self._fault(number, "practice_or_crop", _said(text), allowed, hint)
        return key or ""


def _said(text: str) -> str:
    clean = "".join(sign if sign.isprintable() else "?" for sign in text[:40])
    return f'"{clean}"' if text else "nothing"


def paths_done(
    farm: Farm, rows: tuple[Done, ...], plan: FollowedPlan, tables: Tables
) -> dict[str, tuple[str, ...]]:
    """Practice keys of every field from the first year of the farm to the last year done.

    What no row tells of was done as planned. A bare crop was grown as planned where the plan has that crop
    and sows nothing under it, else in the usual way: oats alone are what is left where the stand under them
    has failed.

    Parameters
    ----------
    farm : Farm
    rows : tuple of Done
    plan : FollowedPlan
    tables : Tables

    Returns
    -------
    dict
        Field -> practice key a year; "" where its lease had ended.

    Raises
    ------
    InputError
        If neither a row nor the plan says what a field bore in a year.
    """
    told = {(row.field, row.year): row.name for row in rows}
    last = max(row.year for row in rows)
    found: dict[str, tuple[str, ...]] = {}
    faults = []
    for field in farm.fields:
        keys: list[str] = []
        for year in range(farm.first_year, last + 1):
            if field.lease_end_year is not None and year > field.lease_end_year:
                keys.append("")
                continue
            planned = plan.practices.get((field.name, year), "")
            name = told.get((field.name, year)) or planned
            if not name:
                place = f'what was done, field "{field.name}", {year}'
                faults.append(Fault(place, "nothing", "needed is a row, since the plan does not tell either"))
            elif planned and _as_planned(name, tables.practices[planned]):
                name = planned
            elif name in tables.crops:
                before = keys[-1] if keys else field.history[-1]
                name = build.practice_keys([name], tables, before)[0]
            keys.append(name)
        found[field.name] = tuple(keys)
    if faults:
        raise InputError(faults)
    return found


def _as_planned(name: str, planned: Practice) -> bool:
    return name == planned.key or (name == planned.crop and not planned.undersown)
