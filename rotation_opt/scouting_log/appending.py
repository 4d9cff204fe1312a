"""Rows put at the end of a log so that the file is at any moment the old one or the new one, whole."""

from __future__ import annotations

import codecs
import contextlib
import csv
import io
import os
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

from rotation_opt.errors import Fault, InputError, RotationOptError
from rotation_opt.records import Farm
from rotation_opt.scouting_log.cells import Cells
from rotation_opt.scouting_log.layout import NEW, Layout, decoded, layout, read_bytes, refused
from rotation_opt.scouting_log.reading import parsed
from rotation_opt.scouting_log.records import Visit
from rotation_opt.tables import Tables

PATIENCE_S = 10.0  # that another writer is waited for
NEW_VISIT = "the new visit"
_LOOK_AGAIN_S = 0.02


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
    with _alone(path, patience_s):
        old = read_bytes(path) if path.exists() or path.is_symlink() else b""
        new = _longer(old, path.name, visits)
        _once(old, path.name, visits, farm, tables)
        parsed(new, path.name, farm, tables)
        _put(path, new)


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


def _put(path: Path, content: bytes) -> None:
    """The new file beside the old one, then in its place; the name is fixed, so that none is left lying."""
    beside = path.with_name(f".{path.name}.new")
    try:
        mode = path.stat().st_mode & 0o777 if path.exists() else None
        with beside.open("wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        if mode is not None:
            beside.chmod(mode)
        beside.replace(path)
    except OSError as fault:
        with contextlib.suppress(OSError):
            beside.unlink()
        raise RotationOptError(f"{path}: cannot be written ({fault.strerror or fault}).") from fault


@contextlib.contextmanager
def _alone(path: Path, patience_s: float) -> Iterator[None]:
    """No second writer meanwhile. The system itself lets go of the lock when a process dies."""
    lock = path.with_name(f".{path.name}.lock")
    until = time.monotonic() + patience_s
    try:
        while (handle := _taken(lock)) is None:
            if time.monotonic() > until:
                raise RotationOptError(
                    f"{path}: another program is writing to it (it holds {lock.name}). Nothing was added; "
                    "try again in a moment."
                )
            time.sleep(_LOOK_AGAIN_S)
    except OSError as fault:
        raise RotationOptError(f"{path}: cannot be written ({fault.strerror or fault}).") from fault
    try:
        yield
    finally:
        _let_go(lock, handle)


if os.name == "nt":  # pragma: no cover

    def _hold(handle: int) -> None:
        import msvcrt

        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]

else:

    def _hold(handle: int) -> None:
        import fcntl

        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _taken(lock: Path) -> int | None:
    """Handle of the lock file, None while another one holds it."""
    handle = os.open(lock, os.O_RDWR | os.O_CREAT, 0o666)
    try:
        try:
            _hold(handle)
        except (BlockingIOError, PermissionError):
            os.close(handle)
            return None
        if _same(lock, handle):
            return handle
    except BaseException:
        with contextlib.suppress(OSError):
            os.close(handle)
        raise
    os.close(handle)  # its holder took the file away while we waited: the next one has a new file
    return None


def _same(lock: Path, handle: int) -> bool:
    try:
        return os.path.samestat(os.fstat(handle), lock.stat())
    except FileNotFoundError:
        return False


def _let_go(lock: Path, handle: int) -> None:
    """Take the file away while it is held, so that nobody holds a file that is gone without noticing."""
    with contextlib.suppress(OSError):  # another system may not allow it: then the file stays, unlocked
        lock.unlink()
    os.close(handle)
