"""Rows put at the end of a log, by one writer at a time; what stands there stays, byte for byte."""

from __future__ import annotations

import codecs
import csv
import io
import os
from collections.abc import Iterator, Sequence
from pathlib import Path

from rotation_opt.errors import Fault, InputError
from rotation_opt.records import Farm
from rotation_opt.scouting_log.cells import Cells
from rotation_opt.scouting_log.layout import NEW, Layout, decoded, layout, read_bytes, refused
from rotation_opt.scouting_log.reading import parsed
from rotation_opt.scouting_log.records import Visit
from rotation_opt.tables import Tables
from rotation_opt.whole_file import PATIENCE_S, alone, put

NEW_VISIT = "the new visit"


def append(
    path: Path, visits: Sequence[Visit], farm: Farm, tables: Tables, *, patience_s: float = PATIENCE_S
) -> None:
    """Add visits to a log; what stands there stays, byte for byte.

    Parameters
    ----------
    path : Path
        The log; begun with a line of column names where there is none.
    visits : sequence of Visit
    farm : Farm
    tables : Tables
        As for `read`: the file as it would be is checked before it is written.
    patience_s : float
        How long another writer is waited for. [s]

    Raises
    ------
    InputError
        If the old file or the new rows have faults, also where a visit stands there already. Nothing is
        written then.
    RotationOptError
        If the file cannot be written, or another writer does not come to an end.
    """
    _check(visits, farm, tables)
    path = Path(os.path.realpath(path))  # a link stays a link
    with alone(path, patience_s=patience_s):
        old = read_bytes(path) if path.exists() or path.is_symlink() else b""
        new = _longer(old, path.name, visits)
        _once(old, path.name, visits, farm, tables)
        parsed(new, path.name, farm, tables)
        put(path, new)


def _check(visits: Sequence[Visit], farm: Farm, tables: Tables) -> None:
    """Faults of the new rows are told as such, not as those of a file that has none."""
    faults: list[Fault] = []
    cells = Cells(farm, tables, faults)
    for visit in visits:
        if not visit.counts:
            faults.append(Fault(NEW_VISIT, "no count", "needed is one for each stop, 0 too"))
        for row in _rows(visit):
            cells.stop(NEW_VISIT, row)
    if faults:
        raise InputError(list(dict.fromkeys(faults)))


def _once(old: bytes, file: str, visits: Sequence[Visit], farm: Farm, tables: Tables) -> None:
    """A visit that stands there already is not put beside itself."""
    there = (
        {visit.key for visit in parsed(old, file, farm, tables).visits}
        if decoded(old, file).strip()
        else set()
    )
    for visit in visits:
        if visit.key in there:
            named = f"{visit.date}, {visit.field}{f', patch {visit.patch}' if visit.patch else ''}"
            allowed = f"each visit stands in {file} once, with all its stops"
            hint = "Another patch or observer? Give its name. A slip in the log is mended in the file itself."
            raise refused(NEW_VISIT, f"a visit that stands there already ({named})", allowed, hint)
        there.add(visit.key)


def _longer(old: bytes, file: str, visits: Sequence[Visit]) -> bytes:
    """The old bytes and the new rows, in the layout of the old ones."""
    begun = bool(decoded(old, file).strip())
    form = layout(decoded(old, file), file) if begun else NEW
    out = io.StringIO()
    writer = csv.writer(out, delimiter=form.separator, lineterminator=form.line_end)
    if not begun:
        writer.writerow(form.header)
    for visit in visits:
        for row in _rows(visit):
            _all_have_a_column(row, form, file)
            writer.writerow([row.get(name, "") for name in form.header])
    open_ended = old if begun and not old.endswith((b"\n", b"\r")) else b""
    start = b"" if old else codecs.BOM_UTF8  # spreadsheets take a file without it for an older alphabet
    return start + old + (form.line_end.encode() if open_ended else b"") + out.getvalue().encode()


def _rows(visit: Visit) -> Iterator[dict[str, str]]:
    for place, count in enumerate(visit.counts):
        yield {
            "date": visit.date,
            "observer": visit.observer,
            "field": visit.field,
            "patch": visit.patch,
            "weed": visit.weed,
            "stage": visit.stage,
            "frame_m2": f"{visit.frame_m2:.6g}",
            "count": str(count),
            "patch_area_ha": "" if visit.area_ha is None else f"{visit.area_ha:.6g}",
            "height_cm": "" if visit.height_cm is None else f"{visit.height_cm:.4g}",
            "note": visit.note if place == 0 else "",
        }


def _all_have_a_column(row: dict[str, str], form: Layout, file: str) -> None:
    for name, text in row.items():
        if text and name not in form.header:
            allowed = "needed for what is to be added"
            raise refused(f"{file} line 1", f"no column {name}", allowed, f"Write {name} at its end.")
