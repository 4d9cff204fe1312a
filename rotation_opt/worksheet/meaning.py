"""What a cell says, as the key of the farm file wants it."""

from __future__ import annotations

import re
from datetime import date, datetime
from typing import Any

from rotation_opt.farm_edit.values import NotUnderstood, plain, value
from rotation_opt.worksheet.cells import Cell, typed

_SPAN = re.compile(r"(\d{1,2}-\d{1,2})\s*(?:to|until|-|–|/)\s*(\d{1,2}-\d{1,2})", re.IGNORECASE)


def meant_by(cell: Cell, kind: str) -> Any:
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
        return raw if kind == "day" else meant_by(_as_text(cell), kind)
    if isinstance(raw, int | float) and kind == "number":
        return int(raw) if float(raw).is_integer() else float(raw)
    if isinstance(raw, int | float) and kind == "numbers":
        return [raw]
    said = typed(raw)
    if kind == "groups":
        return _spans(said)
    return _whole(plain(value(said, kind)))  # type: ignore[arg-type]


def without_percent(cell: Cell) -> Cell:
    """The same cell with 35 for what shows as 35%."""
    raw = cell.raw
    if isinstance(raw, str):
        raw = raw.strip().removesuffix("%")
    elif cell.percent and isinstance(raw, int | float) and not isinstance(raw, bool):
        raw = round(raw * 100.0, 9)
    return Cell(cell.sheet, cell.row, cell.column, raw, cell.formula)


def _as_text(cell: Cell) -> Cell:
    return Cell(cell.sheet, cell.row, cell.column, str(cell.raw))


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
