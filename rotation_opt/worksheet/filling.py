"""What a farm file says, put into the cells of the worksheet."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from rotation_opt.worksheet.layout import UNIT, Ask, Sheet, choices

Row = dict[str, Any]


@dataclass(slots=True)
class Filled:
    """Values by sheet and row, each by the label of its cell; what no cell is there for."""

    cells: dict[str, list[Row]] = field(default_factory=dict)
    left_out: tuple[str, ...] = ()


def fill(sheets: Sequence[Sheet], content: Mapping[str, Any]) -> Filled:
    """The cells of all sheets.

    Parameters
    ----------
    sheets : sequence of Sheet
    content : mapping
        A sound farm file as nested tables.
    """
    if "labor" in content:
        content = {**{key: one for key, one in content.items() if key != "labor"}, "labour": content["labor"]}
    filled, left = Filled(), list[str]()
    for sheet in sheets:
        if not sheet.block:
            owners = dict.fromkeys(ask.block for ask in sheet.asks)
            row: Row = {}
            for owner in owners:
                asks = [ask for ask in sheet.asks if ask.block == owner]
                cells, rest = _row(asks, content.get(owner, {}))
                row |= cells
                left += [f"{owner}.{key}" for key in rest]
            filled.cells[sheet.name] = [row]
            continue
        rows = []
        for title, entry in _entries(sheet.block, content):
            cells, rest = _row(sheet.asks, entry)
            rows.append(cells)
            left += [f"{title}.{key}" for key in rest]
        filled.cells[sheet.name] = rows
    filled.left_out = tuple(left)
    return filled


def _entries(block: str, content: Mapping[str, Any]) -> Iterator[tuple[str, Mapping[str, Any]]]:
    if block == "patch":
        for owner in content.get("field", ()):
            for number, patch in enumerate(owner.get("patch", ()), 1):
                yield f'field "{owner["name"]}" patch {number}', {"field": owner["name"], **patch}
        return
    for entry in content.get(block, ()):
        yield f'{block} "{entry["name"]}"', {key: one for key, one in entry.items() if key != "patch"}


def _row(asks: Sequence[Ask], entry: Mapping[str, Any]) -> tuple[Row, list[str]]:
    """Cells of one block, and the keys that are left."""
    cells: Row = {}
    rest = dict(entry)
    lists = choices()
    for ask in asks:
        if ask.key in rest and ask.entry is None:
            cells[ask.label] = shown(rest.pop(ask.key))
        elif UNIT in ask.key:
            head, tail = ask.key.split(UNIT)
            pick = next(other.pick for other in asks if other.label == ask.unit)
            there = cells.get(ask.unit)
            for unit in lists[pick] if there is None else (there,):
                key = f"{head}{unit.replace(' ', '_')}{tail}"
                if key in rest:
                    cells[ask.label], cells[ask.unit] = shown(rest.pop(key)), unit
                    break
    for key in {ask.key: None for ask in asks if ask.entry is not None}:
        if key in rest:
            _spread([ask for ask in asks if ask.key == key], rest.pop(key), cells)
    return cells, list(rest)


def _spread(asks: Sequence[Ask], values: Sequence[Any], cells: Row) -> None:
    """A list over cells beside or below each other; a history ends with the last of them."""
    entries = list(values)
    if any(isinstance(one, Mapping) for one in entries):
        entries = [one["crop"] for one in sorted(entries, key=lambda one: one["year"])]
    ordered = sorted(asks, key=lambda ask: ask.entry or 0)
    if ordered[0].key == "history":
        ordered = ordered[-len(entries) :]
    for ask, one in zip(ordered, entries, strict=False):
        cells[ask.label] = shown(one)


def shown(value: Any) -> str | float | int | date:
    """A value of the farm file as a grower types it into one cell."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mapping):
        return ", ".join(f"{_quoted(key)} = {one}" for key, one in value.items())
    if isinstance(value, list):
        if value and all(isinstance(one, Mapping) for one in value):
            return "; ".join(f"{one['from']} to {one['to']}" for one in value)
        return ", ".join(_quoted(one) if isinstance(one, str) else str(one) for one in value)
    if isinstance(value, str | int | float | date):
        return value
    return str(value)


def _quoted(name: str) -> str:
    """In quotation marks where commas or figures in a name would be misread."""
    return name if re.fullmatch(r"[^\d,;=:\"'\[\]{}]+", name) else f'"{name}"'
