"""A filled worksheet read back: every cell that is at fault named by sheet and cell."""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Any

from openpyxl import load_workbook
from openpyxl.utils import get_column_letter
from openpyxl.workbook.workbook import Workbook

from rotation_opt.errors import Fault, InputError
from rotation_opt.farm import blocks, checks, reading
from rotation_opt.farm.names import Names
from rotation_opt.farm.text import Where, show
from rotation_opt.farm_edit.values import NotUnderstood, kind_of, plain, value
from rotation_opt.tables import Tables
from rotation_opt.words import find, listed, nearest
from rotation_opt.worksheet.layout import (
    MODELS,
    NAMES,
    UNIT,
    Ask,
    Sheet,
    all_labels,
    choices,
    plain_label,
    sheets,
)

LARGEST_BYTES, LARGEST_INSIDE = 5_000_000, 100_000_000
_LAST_ROW, _LAST_COLUMN = 2000, 60  # no farm has more of anything; cells beyond are not looked for
_LAST_HEAD_ROW = 12
_SPAN = re.compile(r"(\d{1,2}-\d{1,2})\s*(?:to|until|-|–|/)\s*(\d{1,2}-\d{1,2})", re.IGNORECASE)
_ABOUT = "Written from the worksheet {name}."


@dataclass(frozen=True, slots=True)
class _Cell:
    sheet: str
    row: int
    column: int
    raw: Any
    formula: bool = False
    percent: bool = False  # shown as per cent: "35%" typed into a cell is kept as 0.35

    @property
    def name(self) -> str:
        return f"{self.sheet}!{get_column_letter(self.column)}{self.row}"

    @property
    def order(self) -> tuple[int, int, int]:
        return NAMES.index(self.sheet), self.row, self.column

    @property
    def empty(self) -> bool:
        return not self.formula and (self.raw is None or (isinstance(self.raw, str) and not _bare(self.raw)))


@dataclass(slots=True)
class _Report(reading.Report):
    """Faults by cell, in the order of the workbook."""

    cells: dict[Where, _Cell] = field(default_factory=dict)
    empty: dict[Where, _Cell] = field(default_factory=dict)  # where a key would stand that is not given
    at_cells: list[tuple[tuple[int, int, int], Fault]] = field(default_factory=list)
    not_understood: set[str] = field(default_factory=set)  # cells of which nothing more need be told

    def add(  # noqa: PLR0917
        self, path: Where, block: str, key: str, found: str, allowed: str, hint: str = ""
    ) -> None:
        cell = next((self.cells[path[:n]] for n in range(len(path), 0, -1) if path[:n] in self.cells), None)
        if cell is not None and cell.name in self.not_understood:
            return
        empty = self.empty_cell(path, found)
        if empty is not None:
            self.tell(empty, empty.name, "nothing", allowed, hint)
        elif cell is None:
            name = _SHEET_OF.get(block.strip("[]"), NAMES[0])
            self.tell(
                _Cell(name, 1, 1, None), name, "nothing filled in", allowed.partition(", under")[0], hint
            )
        else:
            where = cell.name if path in self.cells or not key else f"{cell.name}, {key}"
            self.tell(cell, where, found, allowed, hint)

    def empty_cell(self, path: Where, found: str) -> _Cell | None:
        """The first cell in which a key that is missing could stand."""
        if not found.startswith("no "):
            return None
        keys = re.findall(r"\w+", found)[1:]
        return next((self.empty[(*path, key)] for key in keys if (*path, key) in self.empty), None)

    def tell(self, cell: _Cell, where: str, found: str, allowed: str, hint: str = "") -> None:
        for in_file, in_cell in _IN_CELLS:
            allowed = allowed.replace(in_file, in_cell)
        fault = Fault(where, found, allowed, hint)
        if all(fault != other for _, other in self.at_cells):
            self.at_cells.append((cell.order, fault))

    def faults(self) -> list[Fault]:
        return [fault for _, fault in sorted(self.at_cells, key=lambda entry: entry[0])]


_IN_CELLS = ((" in quotation marks", ""), ("true or false", "yes or no"))  # how a file says it, and a cell
_SHEET_OF = {"farm": "Farm", "field": "Fields", "labour": "Labour", "limits": "Limits", "machine": "Machines"}


def read(path: Path, tables: Tables) -> dict[str, Any]:
    """What a filled worksheet says, as the nested tables of a farm file.

    Parameters
    ----------
    path : Path
        An .xlsx file, first written by :func:`rotation_opt.worksheet.write`.
    tables : Tables

    Returns
    -------
    dict
        Checked by the rules of a farm file; only other files that it names are not looked for.

    Raises
    ------
    InputError
        With every cell that is at fault.
    """
    formulas, values = _open(path)
    report = _Report(path.name, {})
    content: dict[str, Any] = {}
    for name in NAMES:
        _Reader(name, report, content).read(_cells(name, formulas, values))
    farm = content.get("farm", {})
    region = farm.get("region") or ("uk" if farm.get("units") == "metric" else "us")
    names = Names(tables, "uk" if region == "uk" else "us")
    found = reading.read_blocks(content, names, report)
    checks.check(found, tables, names, report)
    if report.at_cells:
        raise InputError(report.faults())
    return content


def _open(path: Path) -> tuple[Workbook, Workbook]:
    """The workbook with its formulas, and with what was worked out from them when it was saved."""
    what = "allowed is an Excel workbook (.xlsx) written by rotation-opt worksheet"

    def refuse(found: str, hint: str = "") -> InputError:
        return InputError([Fault(str(path), found, what, hint)])

    try:
        if path.is_dir():
            raise refuse("a folder")
        if path.stat().st_size > LARGEST_BYTES:
            raise refuse("more than 5 MB")
        raw = path.read_bytes()
    except OSError as fault:
        raise refuse(f"a file that cannot be opened ({fault.strerror})") from None
    hint = "In the spreadsheet program choose: Save as, Excel workbook (.xlsx)."
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as packed:
            inside = sum(entry.file_size for entry in packed.infolist())
    except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError):
        raise refuse("a file that is not an .xlsx workbook", hint) from None
    if inside > LARGEST_INSIDE:
        raise refuse("more than 100 MB once unpacked")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of parts of a workbook that are of no use here
            books = tuple(load_workbook(io.BytesIO(raw), data_only=only) for only in (False, True))
    except Exception:  # the library words a broken workbook in dozens of ways
        raise refuse("a workbook that cannot be read", hint) from None
    there = [page.title for page in books[0].worksheets]
    missing = [name for name in NAMES if name not in there]
    if missing:
        raise InputError(
            [
                Fault(
                    path.name,
                    f"no sheet {listed([repr(name) for name in missing], 'and')}",
                    f"a worksheet has the sheets {listed(list(NAMES), 'and')}",
                    "Do not rename or remove sheets.",
                )
            ]
        )
    return books[0], books[1]


def _cells(name: str, formulas: Workbook, values: Workbook) -> list[list[_Cell]]:
    """Rows of cells that hold something."""
    rows: list[list[_Cell]] = []
    said = values[name]
    page = formulas[name]
    for line in page.iter_rows(
        max_row=min(page.max_row, _LAST_ROW), max_col=min(page.max_column, _LAST_COLUMN)
    ):
        row = []
        for cell in line:
            if cell.value is None:
                continue
            raw: Any = cell.value
            formula = False
            if cell.data_type == "f":
                raw = said.cell(row=cell.row, column=cell.column).value
                formula = raw is None
            found = _Cell(
                name, cell.row, int(cell.column or 1), raw, formula, "%" in (cell.number_format or "")
            )
            if not found.empty:
                row.append(found)
        if row:
            rows.append(row)
    return rows


@dataclass(slots=True)
class _Reader:
    """One sheet."""

    name: str
    report: _Report
    content: dict[str, Any]

    def read(self, rows: list[list[_Cell]]) -> None:
        sheet = next(one for one in sheets("us") if one.name == self.name)
        labels = all_labels(self.name)
        if sheet.block:
            self.grid(sheet, labels, rows)
        else:
            self.questions(labels, rows)

    def questions(self, labels: Mapping[str, Ask], rows: list[list[_Cell]]) -> None:
        asked: list[tuple[Ask, _Cell]] = []
        for row in rows:
            label = next((cell for cell in row if cell.column == 1), None)
            answer = next((cell for cell in row if cell.column == 2), None)
            ask = labels.get(plain_label(_bare(str(label.raw)))) if label is not None else None
            if answer is None:
                if ask is not None and label is not None:
                    self.report.empty.setdefault((ask.block, ask.key), _Cell(self.name, label.row, 2, None))
                continue
            if ask is None:
                near = nearest(_bare(str(label.raw)), list(labels)) if label is not None else ""
                hint = f"Did you mean {labels[near].label!r}?" if near else ""
                allowed = "the questions in column A stay as they are"
                self.report.tell(answer, answer.name, "an answer beside no question", allowed, hint)
                continue
            asked.append((ask, answer))
        owners = {ask.block for ask in labels.values()}
        for owner in sorted(owners & {*blocks.NEEDED_BLOCKS, *(ask.block for ask, _ in asked)}):
            mine = [(ask, cell) for ask, cell in asked if ask.block == owner]
            self.content[owner] = self.block(mine, owner, (owner,))
            if mine:
                self.report.cells.setdefault((owner,), mine[0][1])

    def grid(self, sheet: Sheet, labels: Mapping[str, Ask], rows: list[list[_Cell]]) -> None:
        heads: dict[int, Ask] = {}
        first = plain_label(sheet.asks[0].label)
        start = next(
            (
                row[0].row
                for row in rows
                if row[0].row <= _LAST_HEAD_ROW and plain_label(str(row[0].raw)) == first
            ),
            None,
        )
        if start is None:
            allowed = f"the head of its first column is {sheet.asks[0].label!r}"
            top = _Cell(self.name, 1, 1, None)
            self.report.tell(top, self.name, "no row of heads", allowed, "Leave rows 1 to 5 as they are.")
            return
        for cell in next(row for row in rows if row[0].row == start):
            ask = labels.get(plain_label(str(cell.raw)))
            if ask is not None:
                heads[cell.column] = ask
        for row in rows:
            if row[0].row <= start + 1:  # the heads and the help below them
                continue
            pairs = []
            for cell in row:
                if cell.column in heads:
                    pairs.append((heads[cell.column], cell))
                else:
                    allowed = "entries stand below a head of the worksheet"
                    self.report.tell(cell, cell.name, _shown(cell.raw), allowed)
            if pairs:
                self.entry(sheet, pairs, heads)

    def entry(self, sheet: Sheet, pairs: list[tuple[Ask, _Cell]], heads: Mapping[int, Ask]) -> None:
        """One row: a block of its own, or a patch of its field."""
        if sheet.block == "machine" and [ask.key for ask, _ in pairs] == ["name"]:
            return
        if sheet.block == "patch":
            self.patch(pairs, heads)
            return
        place = len(self.content.setdefault(sheet.block, []))
        where: Where = (sheet.block, place)
        self.report.cells[where] = pairs[0][1]
        self.empty_in_row(pairs[0][1].row, heads, where)
        self.content[sheet.block].append(self.block(pairs, sheet.block, where))

    def empty_in_row(self, row: int, heads: Mapping[int, Ask], where: Where) -> None:
        for column, ask in heads.items():
            self.report.empty.setdefault((*where, ask.key or ask.label), _Cell(self.name, row, column, None))

    def patch(self, pairs: list[tuple[Ask, _Cell]], heads: Mapping[int, Ask]) -> None:
        fields = self.content.get("field", [])
        names = [str(one.get("name", "")) for one in fields]
        owner = next((cell for ask, cell in pairs if ask.key == "field"), None)
        allowed = f"allowed is a field of the sheet Fields: {listed(names)}" if names else "there is no field"
        if owner is None:
            first = pairs[0][1]
            self.report.tell(first, f"{self.name}!A{first.row}", "no field", allowed)
            return
        said = _typed(owner.raw)
        name = find(said, dict.fromkeys(names, ()))
        if name is None:
            near = nearest(said, names)
            hint = f"Did you mean {near!r}?" if near else ""
            self.report.tell(owner, owner.name, _shown(owner.raw), allowed, hint)
            return
        place = names.index(name)
        patches = fields[place].setdefault("patch", [])
        where: Where = ("field", place, "patch", len(patches))
        self.report.cells[where] = owner
        self.empty_in_row(owner.row, heads, where)
        patches.append(self.block([pair for pair in pairs if pair[0].key != "field"], "patch", where))

    def block(self, pairs: Sequence[tuple[Ask, _Cell]], block: str, where: Where) -> dict[str, Any]:
        """Values of one block by key, each with the cell it came from."""
        found: dict[str, Any] = {}
        lists: dict[str, list[tuple[Ask, _Cell]]] = {}
        units = {plain_label(ask.label): cell for ask, cell in pairs if not ask.key}
        used: set[str] = set()
        for ask, cell in pairs:
            if ask.entry is not None:
                lists.setdefault(ask.key, []).append((ask, cell))
                continue
            key = ask.key
            if UNIT in key:
                used.add(plain_label(ask.unit))
                key = self.with_unit(ask, cell, units.get(plain_label(ask.unit)), where)
            if key:
                self.put(found, key, cell, kind_of(MODELS[block], key), where)
        for key, several in lists.items():
            self.entries(found, key, several, block, where)
        for label, cell in units.items():
            if label not in used:
                self.report.tell(cell, cell.name, f"{_shown(cell.raw)} alone", "a unit goes with an amount")
        return found

    def with_unit(self, ask: Ask, cell: _Cell, unit: _Cell | None, where: Where) -> str:
        """The key that amount and unit make together; empty if they make none."""
        picks = next(other.pick for other in all_labels(self.name).values() if other.label == ask.unit)
        allowed = f"allowed are {listed(list(choices()[picks]))}"
        if unit is None:
            empty = self.report.empty.get((*where, ask.unit), cell)
            self.report.tell(empty, empty.name, "nothing", f"{allowed}, as there is an amount")
            return ""
        said = " ".join(_typed(unit.raw).casefold().split())
        if said not in choices()[picks]:
            near = nearest(said, choices()[picks])
            hint = f"Did you mean {near}?" if near else ""
            self.report.tell(unit, unit.name, _shown(unit.raw), allowed, hint)
            return ""
        return ask.key.replace(UNIT, said.replace(" ", "_"))

    def entries(
        self, found: dict[str, Any], key: str, several: list[tuple[Ask, _Cell]], block: str, where: Where
    ) -> None:
        """A list from cells beside or below each other, without a gap."""
        kind = "number" if kind_of(MODELS[block], key) == "numbers" else "text"
        several.sort(key=lambda pair: pair[0].entry or 0)
        labels = sorted((ask.entry, ask.label) for ask in all_labels(self.name).values() if ask.key == key)
        there = {ask.entry for ask, _ in several}
        last = several[-1][0].entry
        if key == "history" or kind == "number":
            last = labels[-1][0]
        first = 0 if key != "history" else several[0][0].entry
        missing = [
            label
            for entry, label in labels
            if (first or 0) <= (entry or 0) <= (last or 0) and entry not in there
        ]
        if missing:
            cell = several[0][1]
            shown = listed(missing[:3], "and") + (" and others" if len(missing) > 3 else "")
            told = f"{self.name}!row {cell.row}" if block in blocks.MANY else cell.name
            self.report.tell(cell, told, f"nothing under {shown}", "these cells are filled without a gap")
            self.report.not_understood.add(cell.name)
        values: list[Any] = []
        for _, cell in several:
            holder: dict[str, Any] = {}
            self.put(holder, key, cell, kind, where)
            self.report.cells[(*where, key, len(values))] = cell
            values.append(holder[key])
        found[key] = values
        self.report.cells[(*where, key)] = several[0][1]

    def put(self, found: dict[str, Any], key: str, cell: _Cell, kind: str, where: Where) -> None:
        """One value, as the key wants it."""
        try:
            found[key] = _meant(_without_percent(cell) if key.endswith("_pct") else cell, kind)
        except NotUnderstood as fault:
            self.report.tell(cell, cell.name, _shown(cell.raw), fault.allowed, fault.hint)
            self.report.not_understood.add(cell.name)
            found[key] = _typed(cell.raw)  # so that it does not count as missing
        self.report.cells[(*where, key)] = cell


def _meant(cell: _Cell, kind: str) -> Any:
    """What a cell says, as the kind of value that its key holds."""
    raw = cell.raw
    if cell.formula:
        raise NotUnderstood("a formula without a figure is of no use", "Type the number itself.")
    if isinstance(raw, str) and re.fullmatch(r"#[A-Z0-9/]+[!?]?", raw.strip()):
        raise NotUnderstood("allowed is a value, not the fault of a formula", "Type the number itself.")
    if isinstance(raw, bool):
        if kind == "flag":
            return raw
        raise NotUnderstood("yes or no is no answer here")
    if isinstance(raw, datetime):
        if kind == "day":
            return raw.date()
        raise NotUnderstood(
            "a date is no answer here", "The program may have made a date of it: type it anew as text."
        )
    if isinstance(raw, date):
        return raw if kind == "day" else _meant(_as_text(cell), kind)
    if isinstance(raw, int | float) and kind == "number":
        return int(raw) if float(raw).is_integer() else float(raw)
    if isinstance(raw, int | float) and kind == "numbers":
        return [raw]
    said = _typed(raw)
    if kind == "groups":
        return _spans(said)
    return _whole(plain(value(said, kind)))  # type: ignore[arg-type]


def _without_percent(cell: _Cell) -> _Cell:
    """The same cell with 35 for what shows as 35%."""
    raw = cell.raw
    if isinstance(raw, str):
        raw = raw.strip().removesuffix("%")
    elif cell.percent and isinstance(raw, int | float) and not isinstance(raw, bool):
        raw = round(raw * 100.0, 9)
    return _Cell(cell.sheet, cell.row, cell.column, raw, cell.formula)


def _as_text(cell: _Cell) -> _Cell:
    return _Cell(cell.sheet, cell.row, cell.column, str(cell.raw))


def _whole(meant: Any) -> Any:
    """40.0 is 40, as it is in a cell."""
    if isinstance(meant, list):
        return [_whole(one) for one in meant]
    if isinstance(meant, dict):
        return {key: _whole(one) for key, one in meant.items()}
    if isinstance(meant, float) and meant.is_integer() and abs(meant) < 1e15:
        return int(meant)
    return meant


def _spans(said: str) -> list[dict[str, str]]:
    """``11-15 to 01-15``, several with a semicolon or a comma between."""
    spans = []
    for one in filter(None, (part.strip() for part in re.split(r"[;,]", said))):
        found = _SPAN.fullmatch(one)
        if not found:
            raise NotUnderstood("allowed are days as month-day, like 11-15 to 01-15")
        first, last = ("-".join(f"{int(part):02d}" for part in day.split("-")) for day in found.groups())
        spans.append({"from": first, "to": last})
    if not spans:
        raise NotUnderstood("allowed are days as month-day, like 11-15 to 01-15")
    return spans


def _bare(said: str) -> str:
    """Without stray blanks, hard blanks and signs that cannot be seen."""
    return " ".join("".join(sign if sign.isprintable() else " " for sign in said).split())


def _typed(raw: Any) -> str:
    if isinstance(raw, float) and raw.is_integer() and abs(raw) < 1e15:
        return str(int(raw))
    return _bare(str(raw))


def _shown(raw: Any) -> str:
    if raw is None:
        return "a formula"
    if isinstance(raw, bool):
        return "yes" if raw else "no"
    return show(_bare(raw) if isinstance(raw, str) else raw)


def about(path: Path) -> str:
    """The line on where a farm file comes from, for its head."""
    return _ABOUT.format(name=_bare(path.name))
