"""A filled worksheet read back: every cell that is at fault named by sheet and cell."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from rotation_opt.errors import Fault, InputError
from rotation_opt.farm import blocks, checks, reading
from rotation_opt.farm.names import Names
from rotation_opt.farm.text import Where
from rotation_opt.farm_edit.values import NotUnderstood, kind_of
from rotation_opt.tables import Tables
from rotation_opt.words import find, listed, nearest
from rotation_opt.worksheet.cells import Cell, bare, filled_rows, opened, shown, typed
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
from rotation_opt.worksheet.meaning import meant_by, without_percent

_LAST_HEAD_ROW = 12
_ABOUT = "Written from the worksheet {name}."


@dataclass(slots=True)
class _Report(reading.Report):
    """Faults by cell, in the order of the workbook."""

    cells: dict[Where, Cell] = field(default_factory=dict)
    empty: dict[Where, Cell] = field(default_factory=dict)  # where a key would stand that is not given
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
                Cell(name, 1, 1, None), name, "nothing filled in", allowed.partition(", under")[0], hint
            )
        else:
            where = cell.name if path in self.cells or not key else f"{cell.name}, {key}"
            self.tell(cell, where, found, allowed, hint)

    def empty_cell(self, path: Where, found: str) -> Cell | None:
        """The first cell in which a key that is missing could stand."""
        if not found.startswith("no "):
            return None
        keys = re.findall(r"\w+", found)[1:]
        return next((self.empty[(*path, key)] for key in keys if (*path, key) in self.empty), None)

    def tell(self, cell: Cell, where: str, found: str, allowed: str, hint: str = "") -> None:
        for in_file, in_cell in _IN_CELLS:
            allowed = re.sub(in_file, in_cell, allowed)
        fault = Fault(where, found, allowed, hint)
        if all(fault != other for _, other in self.at_cells):
            self.at_cells.append((cell.order, fault))

    def faults(self) -> list[Fault]:
        return [fault for _, fault in sorted(self.at_cells, key=lambda entry: entry[0])]


_IN_CELLS = (  # how it is said of a file, and of a cell
    (r",? in quotation marks", ""),
    (r"true or false", "yes or no"),
    (r" named in the crop tables \([^)]*\)", " of the list"),
)
_SHEET_OF = {"farm": "Farm", "field": "Fields", "labour": "People", "limits": "Limits", "machine": "Machines"}


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
    formulas, values = opened(path)
    report = _Report(path.name, {})
    content: dict[str, Any] = {}
    for name in NAMES:
        _Reader(name, report, content).read(filled_rows(name, formulas, values))
    farm = content.get("farm", {})
    region = farm.get("region") or ("uk" if farm.get("units") == "metric" else "us")
    names = Names(tables, "uk" if region == "uk" else "us")
    found = reading.read_blocks(content, names, report)
    checks.check(found, tables, names, report)
    if report.at_cells:
        raise InputError(report.faults())
    return content


@dataclass(slots=True)
class _Reader:
    """One sheet."""

    name: str
    report: _Report
    content: dict[str, Any]

    def read(self, rows: list[list[Cell]]) -> None:
        sheet = next(one for one in sheets("us") if one.name == self.name)
        labels = all_labels(self.name)
        if sheet.block:
            self.grid(sheet, labels, rows)
        else:
            self.questions(labels, rows)

    def questions(self, labels: Mapping[str, Ask], rows: list[list[Cell]]) -> None:
        asked: list[tuple[Ask, Cell]] = []
        for row in rows:
            label = next((cell for cell in row if cell.column == 1), None)
            answer = next((cell for cell in row if cell.column == 2), None)
            ask = labels.get(plain_label(bare(str(label.raw)))) if label is not None else None
            if answer is None:
                if ask is not None and label is not None:
                    self.report.empty.setdefault((ask.block, ask.key), Cell(self.name, label.row, 2, None))
                continue
            if ask is None:
                near = nearest(bare(str(label.raw)), list(labels)) if label is not None else ""
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

    def grid(self, sheet: Sheet, labels: Mapping[str, Ask], rows: list[list[Cell]]) -> None:
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
            top = Cell(self.name, 1, 1, None)
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
                    self.report.tell(cell, cell.name, shown(cell.raw), allowed)
            if pairs:
                self.entry(sheet, pairs, heads)

    def entry(self, sheet: Sheet, pairs: list[tuple[Ask, Cell]], heads: Mapping[int, Ask]) -> None:
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
            self.report.empty.setdefault((*where, ask.key or ask.label), Cell(self.name, row, column, None))

    def patch(self, pairs: list[tuple[Ask, Cell]], heads: Mapping[int, Ask]) -> None:
        fields = self.content.get("field", [])
        names = [str(one.get("name", "")) for one in fields]
        owner = next((cell for ask, cell in pairs if ask.key == "field"), None)
        allowed = (
            f"allowed is a field of the sheet Fields: {listed(list(filter(None, names)))}"
            if any(names)
            else "the sheet Fields names none"
        )
        if owner is None:
            first = pairs[0][1]
            self.report.tell(first, f"{self.name}!A{first.row}", "no field", allowed)
            return
        said = typed(owner.raw)
        name = find(said, dict.fromkeys(names, ()))
        if name is None:
            near = nearest(said, names)
            hint = f"Did you mean {near!r}?" if near else ""
            self.report.tell(owner, owner.name, shown(owner.raw), allowed, hint)
            return
        place = names.index(name)
        patches = fields[place].setdefault("patch", [])
        where: Where = ("field", place, "patch", len(patches))
        self.report.cells[where] = owner
        self.empty_in_row(owner.row, heads, where)
        patches.append(self.block([pair for pair in pairs if pair[0].key != "field"], "patch", where))

    def block(self, pairs: Sequence[tuple[Ask, Cell]], block: str, where: Where) -> dict[str, Any]:
        """Values of one block by key, each with the cell it came from."""
        found: dict[str, Any] = {}
        lists: dict[str, list[tuple[Ask, Cell]]] = {}
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
                self.report.tell(cell, cell.name, f"{shown(cell.raw)} alone", "a unit goes with an amount")
        return found

    def with_unit(self, ask: Ask, cell: Cell, unit: Cell | None, where: Where) -> str:
        """The key that amount and unit make together; empty if they make none."""
        picks = next(other.pick for other in all_labels(self.name).values() if other.label == ask.unit)
        allowed = f"allowed are {listed(list(choices()[picks]))}"
        if unit is None:
            empty = self.report.empty.get((*where, ask.unit), cell)
            self.report.tell(empty, empty.name, "nothing", f"{allowed}, as there is an amount")
            return ""
        said = " ".join(typed(unit.raw).casefold().split())
        if said not in choices()[picks]:
            near = nearest(said, choices()[picks])
            hint = f"Did you mean {near}?" if near else ""
            self.report.tell(unit, unit.name, shown(unit.raw), allowed, hint)
            return ""
        return ask.key.replace(UNIT, said.replace(" ", "_"))

    def entries(
        self, found: dict[str, Any], key: str, several: list[tuple[Ask, Cell]], block: str, where: Where
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
            heads = listed(missing[:3], "and") + (" and others" if len(missing) > 3 else "")
            told = f"{self.name}!row {cell.row}" if block in blocks.MANY else cell.name
            self.report.tell(cell, told, f"nothing under {heads}", "these cells are filled without a gap")
            self.report.not_understood.add(cell.name)
        values: list[Any] = []
        for _, cell in several:
            holder: dict[str, Any] = {}
            self.put(holder, key, cell, kind, where)
            self.report.cells[(*where, key, len(values))] = cell
            values.append(holder[key])
        found[key] = values
        self.report.cells[(*where, key)] = several[0][1]

    def put(self, found: dict[str, Any], key: str, cell: Cell, kind: str, where: Where) -> None:
        """One value, as the key wants it."""
        try:
            found[key] = meant_by(without_percent(cell) if key.endswith("_pct") else cell, kind)
        except NotUnderstood as fault:
            self.report.tell(cell, cell.name, shown(cell.raw), fault.allowed, fault.hint)
            self.report.not_understood.add(cell.name)
            found[key] = typed(cell.raw)  # so that it does not count as missing
        self.report.cells[(*where, key)] = cell


def about(path: Path) -> str:
    """The line on where a farm file comes from, for its head."""
    return _ABOUT.format(name=bare(path.name))
