"""How a log is laid out: its bytes as text, what stands between the columns, their names."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from rotation_opt.errors import Fault, InputError
from rotation_opt.scouting_log.records import COLUMNS, NEEDED
from rotation_opt.words import listed, nearest, plain

LARGEST_BYTES = 5_000_000
_OTHER_FILES = ("#", "[", "{", "<")  # how a farm file, a saved plan or a page for the browser begins
_SEPARATOR_LINE = "sep="  # a first line that some spreadsheets write


@dataclass(frozen=True, slots=True)
class Layout:
    """What has to be known to read a log, and to add rows that look like those that are there.

    Attributes
    ----------
    separator : str
        Comma or semicolon.
    header : tuple of str
        Names of the columns in order, small letters.
    first_line : int
        Line of the first row after the header, counted from 1.
    line_end : str
    """

    separator: str
    header: tuple[str, ...]
    first_line: int
    line_end: str


NEW = Layout(",", COLUMNS, 2, "\n")


def refused(where: str, found: str, allowed: str, hint: str = "") -> InputError:
    """One fault of a whole file."""
    return InputError([Fault(where, found, allowed, hint)])


def decoded(raw: bytes, file: str) -> str:
    """Text of a log.

    Raises
    ------
    InputError
        If it is too large or not UTF-8.
    """
    if len(raw) > LARGEST_BYTES:
        found = f"{len(raw) / 1e6:.0f} MB"
        raise refused(file, found, "a log is at most 5 MB of text", "Is this another kind of file?")
    hint = "Save it again as CSV in UTF-8."
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise refused(file, "text saved as UTF-16", "allowed is UTF-8", hint)
    if b"\0" in raw:
        raise refused(
            file, "bytes that are not text", "allowed is a CSV file in UTF-8", "Is this a workbook? " + hint
        )
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = raw.count(b"\n", 0, fault.start) + 1
        found = f"a letter that is not saved as UTF-8 (byte {raw[fault.start]:#04x})"
        raise refused(f"{file} line {line}", found, "allowed is UTF-8", hint) from None


def read_bytes(path: Path) -> bytes:
    """The file as it stands.

    Raises
    ------
    InputError
        If it cannot be opened.
    """
    try:
        if path.is_dir():
            raise refused(str(path), "a folder", "allowed is a CSV file, the scouting log")
        return path.read_bytes()
    except FileNotFoundError:
        hint = "`rotation-opt scout add` begins one."
        raise refused(str(path), "no file of that name", "needed is a scouting log", hint) from None
    except (OSError, ValueError) as fault:
        reason = getattr(fault, "strerror", None) or "the name cannot be used"
        found = f"a file that cannot be opened ({reason})"
        raise refused(str(path), found, "allowed is a readable file") from None


def layout(text: str, file: str) -> Layout:
    """Layout of a log by its first lines.

    Raises
    ------
    InputError
        With every fault of the line of column names.
    """
    lines = _lines(text)
    at = 0
    separator = ""
    if lines and lines[0].strip().casefold().startswith(_SEPARATOR_LINE):
        separator, at = lines[0].strip()[len(_SEPARATOR_LINE) :], 1
    while at < len(lines) and not lines[at].strip(" \t\r\n,;"):
        at += 1
    where = f"{file} line {at + 1}"
    needed = (
        f"the first line names the columns {listed(NEEDED, 'and')}, and {listed(_others(), 'and')} at will"
    )
    if at == len(lines):
        raise refused(f"{file} line 1", "no column names", needed)
    first = lines[at]
    if separator not in {",", ";"}:
        separator = ";" if first.count(";") > first.count(",") else ","
    try:
        names = next(csv.reader([first], delimiter=separator, strict=True))
    except csv.Error:
        raise refused(where, "a quotation mark that is not closed", needed) from None
    header = tuple(name.strip().casefold() for name in names)
    if _another_kind(first, [part.strip() for name in header for part in name.split("\t")]):
        found = f'"{first.strip()[:40]}", which names no columns'
        allowed = f"a scouting log is a CSV file whose first line names the columns {listed(NEEDED, 'and')}"
        hint = "Is this the farm file?" if file.casefold().endswith(".toml") else ""
        raise refused(where, found, allowed, hint)
    faults = list(_header_faults(where, header, needed, "\t" in first))
    if faults:
        raise InputError(faults)
    line_end = "\r\n" if first.endswith("\r\n") else "\n"
    return Layout(separator, header, at + 2, line_end)


def _lines(text: str) -> list[str]:
    """Lines as the CSV reader counts them, with their ends."""
    return list(io.StringIO(text, newline=""))


def _others() -> list[str]:
    return [name for name in COLUMNS if name not in NEEDED]


def _another_kind(first: str, names: Sequence[str]) -> bool:
    """Whether a first line is no line of column names at all, not even a misspelt one."""
    if first.lstrip().startswith(_OTHER_FILES):
        return True
    known = any(name in COLUMNS for name in names)
    return not known and len({near for name in names if name and (near := nearest(name, COLUMNS))}) <= 1


def _header_faults(where: str, header: tuple[str, ...], needed: str, tabs: bool) -> Iterator[Fault]:
    if tabs and len(header) == 1:
        yield Fault(where, "tabs between the columns", "allowed are commas or semicolons")
        return
    strange = [name for name in header if name and name not in COLUMNS]
    meant = {name: nearest(name, COLUMNS) for name in strange}
    lacking = []
    for name in COLUMNS:
        if header.count(name) > 1:
            yield Fault(where, f"two columns {name}", "each column stands there once")
        elif name not in header and name in NEEDED:
            near = next((other for other, key in meant.items() if key == name), "")
            if near:
                yield Fault(where, f"no column {name}", needed, f'Is "{near[:40]}" meant?')
            else:
                lacking.append(name)
    if lacking:
        yield Fault(where, f"no column {listed(lacking, 'and')}", needed)
    for name, near in meant.items():
        # a misspelt column of ours would be passed over in silence; columns of the grower's own may stay
        if near and near not in header and near not in NEEDED and _alike(name, near):
            yield Fault(where, f'a column "{name[:40]}"', needed, f"Did you mean {near}?")


def _alike(name: str, near: str) -> bool:
    return plain(name).replace(" ", "")[:4] == plain(near).replace(" ", "")[:4]


def rows(text: str, form: Layout, file: str, faults: list[Fault]) -> Iterator[tuple[int, list[str]]]:
    """Line number and cells of every row that is not blank; wrong quotes end it with a fault."""
    rest = "".join(_lines(text)[form.first_line - 1 :])
    reader = csv.reader(io.StringIO(rest, newline=""), delimiter=form.separator, strict=True)
    before = 0
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error:
            found = "quotation marks that do not match"
            allowed = 'a text in quotation marks ends with one, and one inside it is doubled ("")'
            faults.append(
                Fault(f"{file} line {form.first_line + before}", found, allowed, "Rows below are not read.")
            )
            return
        if any(cell.strip() for cell in cells):
            yield form.first_line + before, cells
        before = reader.line_num
