"""From the bytes of a farm file to nested tables, with syntax faults told in the grower's words.

The language is TOML. Its parser stops at the first slip and words it for programmers, so when it stops
every line is looked at for the slips people really make, and all of them are told at once.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from rotation_opt.errors import Fault, InputError

LARGEST_BYTES = 5_000_000
_KEY = r"""(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')"""
_ASSIGNMENT = re.compile(rf"^\s*(?P<key>{_KEY}(?:\s*\.\s*{_KEY})*)\s*=\s*(?P<value>.*?)\s*$")
_HEADER = re.compile(r"^\s*(?P<open>\[\[?)\s*(?P<name>[^\[\]]+?)\s*(?P<close>\]\]?)\s*(?:#.*)?$")
_AT = re.compile(r"\(at (?:line (\d+), column (\d+)|end of document)\)")
_LONGEST_SHOWN = 60

Where = tuple[str | int, ...]


def parsed(text: str, file: str) -> tuple[dict[str, Any], Mapping[Where, int]]:
    """Nested tables of a farm file, and the line each key stands on.

    Parameters
    ----------
    text : str
        What stands in the file, with any line ends.
    file : str
        What faults call it.

    Returns
    -------
    tables : dict
    lines : mapping of path to line number
        Path as ``("field", 0, "patch", 1, "weed")``, counted from 0; lines counted from 1.

    Raises
    ------
    InputError
        If the text is not TOML.
    """
    try:
        content = tomllib.loads(text.replace("\r\n", "\n").replace("\r", "\n"))
    except tomllib.TOMLDecodeError as slip:
        raise InputError(_slips(text, str(slip), file)) from None
    except RecursionError:
        raise _unreadable(
            file, "brackets nested hundreds deep", "a list may hold at most another list"
        ) from None
    except ValueError:  # the parser's way to say that a number or a date is out of all bounds
        raise _unreadable(file, "a number or date far too long to be meant", "write plain numbers") from None
    lines = line_numbers(text)
    if not content:
        allowed = "a farm file holds at least the blocks [farm], [[field]] and [labour]"
        raise _unreadable(file, "nothing but blank lines or comments", allowed)
    faults = [
        Fault(
            place(file, path_, lines),
            f"{show(value)}, which holds a control character",
            "allowed is plain text",
            r"A backslash starts a special sign: write / or \\ instead of \.",
        )
        for path_, value in _strings(content)
        if any((ord(sign) < 32 and sign not in "\n\t") or ord(sign) == 127 for sign in value)
    ]
    if faults:
        raise InputError(faults)
    return content, lines


def _unreadable(file: str, found: str, allowed: str, hint: str = "") -> InputError:
    return InputError([Fault(file, found, allowed, hint)])


def contents(path: Path) -> str:
    """The text of a farm file, without byte-order mark.

    Raises
    ------
    InputError
        If the file cannot be opened or is not text in UTF-8.
    """
    name = str(path)
    try:
        if path.is_dir():
            raise _unreadable(name, "a folder", "allowed is one farm file, such as my_farm.toml")
        if not path.exists():
            near = (
                sorted(other.name for other in path.parent.glob("*.toml"))[:5] if path.parent.is_dir() else []
            )
            hint = f"Farm files in that folder: {', '.join(near)}." if near else ""
            raise _unreadable(name, "no file of that name", "give the name of a farm file", hint)
        if path.stat().st_size > LARGEST_BYTES:
            size = f"{path.stat().st_size / 1e6:.0f} MB"
            raise _unreadable(
                name, size, "a farm file is at most 5 MB of text", "Is this another kind of file?"
            )
        raw = path.read_bytes()
    except (OSError, ValueError) as fault:
        reason = getattr(fault, "strerror", None) or "the name cannot be used"
        raise _unreadable(
            name, f"a file that cannot be opened ({reason})", "allowed is a readable file"
        ) from None
    hint = "In the editor choose: Save as, encoding UTF-8."
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _unreadable(path.name, "text saved as UTF-16", "allowed is UTF-8", hint)
    if b"\0" in raw:
        raise _unreadable(path.name, "bytes that are not text", "allowed is a text file in UTF-8")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = raw.count(b"\n", 0, fault.start) + 1
        found = f"a letter that is not saved as UTF-8 (byte {raw[fault.start]:#04x})"
        raise _unreadable(f"{path.name} line {line}", found, "allowed is UTF-8", hint) from None


# ---------------------------------------------------------------- syntax slips


def _slips(text: str, message: str, file: str) -> list[Fault]:
    """Every slip that can be told line by line; the parser's own finding in any case."""
    rows = text.splitlines()
    at = _AT.search(message)
    stopped = int(at[1]) if at and at[1] else len(rows)
    faults: dict[int, Fault] = {}
    inside = ""  # the closing sign of a list or a long text that runs over several lines
    for number, row in enumerate(rows, start=1):
        if inside:
            inside = "" if inside in row else inside
            continue
        inside = _left_open(row)
        told = _slip(row)
        if told:
            faults[number] = Fault(f"{file} line {number}", f"`{_short(row)}`", *told)
    if stopped not in faults:
        row = rows[stopped - 1] if 0 < stopped <= len(rows) else ""
        faults[stopped] = Fault(f"{file} line {stopped}", f"`{_short(row)}`", *_reworded(message, row))
    return [faults[number] for number in sorted(faults)]


def _is_sound(row: str) -> bool:
    try:
        tomllib.loads(row)
    except (ValueError, RecursionError):
        return False
    return True


def _left_open(row: str) -> str:
    found = _ASSIGNMENT.match(row)
    value = found["value"] if found else ""
    for mark in ('"""', "'''"):
        if value.count(mark) == 1:
            return mark
    bare = re.sub(r'"[^"]*"|#.*', "", value)
    return "]" if bare.count("[") > bare.count("]") else ""


def _slip(row: str) -> tuple[str, str] | None:
    """What is wrong with one line taken by itself, and how to put it right."""
    if _is_sound(row):
        return None
    header = _HEADER.match(row)
    if header:
        if len(header["open"]) != len(header["close"]):
            return (
                "a block name stands in one pair or two pairs of square brackets",
                "Close as many as you open.",
            )
        return None
    if row.lstrip().startswith("["):
        return "a block name stands alone in square brackets", "Write for example [labour] or [[field]]."
    found = _ASSIGNMENT.match(row)
    if not found:
        if "=" not in row and re.match(rf"^\s*{_KEY}\s*:", row):
            return "allowed is key = value", "Use = and not a colon."
        return None
    value = re.sub(r"\s+#.*$", "", found["value"]) if '"' not in found["value"] else found["value"]
    if not value or value.startswith("#"):
        return "a value is missing after =", "Give a value or take the line out."
    if re.fullmatch(r"[-+]?[1-9]\d{0,2}(?:,\d{3})+(?:\.\d+)?", value):
        return "allowed is a number without thousands marks", f"Write {value.replace(',', '')}."
    if re.fullmatch(r"[-+]?\d+,\d+", value):
        return (
            "allowed is a number with a decimal point",
            f"Use a point, not a comma: {value.replace(',', '.')}.",
        )
    if re.fullmatch(r"[-+]?0\d+(?:\.\d+)?", value):
        return "allowed is a number without leading zeros", f"Write {value.lstrip('0') or '0'}."
    if re.fullmatch(r"[-+]?(?:\d+\.|\.\d+)", value):
        return "allowed are digits on both sides of the point", "Write 12.0 or 0.5."
    if re.fullmatch(r"[-+]?\d[\d.]*\s*(?:%|[A-Za-z€$£][\w/ %]*)", value):
        return "allowed is a number alone", "The unit is already in the key: leave it out of the value."
    if value.casefold() in {"yes", "no", "y", "n", "on", "off", "true", "false"} - {"true", "false"}:
        return "allowed is true or false", "Write true for yes and false for no."
    if value in {"True", "False", "TRUE", "FALSE"}:
        return "allowed is true or false", "Write it in small letters."
    if re.match(r"[“”„‘’«»]", value):
        return "names stand between straight quotation marks", 'Use " and not typographic quotation marks.'
    if re.fullmatch(r"[^\W\d][^\"'\[\]{}=]*", value) and value not in {"true", "false", "inf", "nan"}:
        return "names stand between quotation marks", f'Put the name in quotes: "{_short(value)}".'
    if value.startswith('"') and not value.startswith('"""') and value.count('"') == 1:
        return "a name ends with a quotation mark", f'Close the quotes: {_short(value)}".'
    return None


def _reworded(message: str, row: str) -> tuple[str, str]:
    """Wording for what the parser found, where the line itself does not tell."""
    found = _ASSIGNMENT.match(row)
    key = found["key"] if found else "the key"
    if "overwrite" in message or "mutate" in message or "redefine" in message:
        return f"each key may stand once in a block and {key} stands twice", "Take one of the two out."
    if "Cannot declare" in message:
        header = _HEADER.match(row)
        name = header["name"] if header else "this block"
        hint = f"For several of a kind write two pairs of brackets: [[{name}]]."
        return f"the block [{name}] may stand once", hint
    if "Unescaped" in message or "escape" in message.casefold() or "Invalid hex" in message:
        return "a backslash starts a special sign in quotes", r"Write / or \\ instead of \."
    if "Unterminated" in message or "Expected '\"'" in message or "Illegal character" in message:
        return "a text in quotes must end on its own line", 'Look for a missing ".'
    if "Unclosed array" in message or "array" in message:
        return (
            "a list stands between [ and ] with commas between its values",
            "Look for a missing comma or ].",
        )
    if "inline table" in message:
        return "a group stands between { and } on one line", "Look for a missing comma or }."
    if "date" in message:
        return "allowed is a date of the calendar, like 2026-07-31", "Year, month, day."
    if "Expected '='" in message:
        return "allowed is key = value", "Keys hold letters, digits, - and _ only; words of text need quotes."
    return "this line does not follow the form key = value", "Compare it with the example farm file."


def _short(text: str) -> str:
    text = "".join(sign if sign.isprintable() else " " for sign in text.strip())
    return text if len(text) <= _LONGEST_SHOWN else f"{text[: _LONGEST_SHOWN - 3]}..."


# ---------------------------------------------------------------- showing values and places


def show(value: object) -> str:
    """A value as the grower wrote it, shortened where it is long."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int) and value.bit_length() > 64:
        return "a number of very many digits"
    if isinstance(value, str):
        return f'"{_short(value)}"'
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, list):
        return f"a list of {len(value)} values" if len(value) != 1 else "a list of 1 value"
    if isinstance(value, dict):
        return "a group of keys"
    if isinstance(value, float):
        return repr(value).removesuffix(".0")
    return str(value)


def place(file: str, path: Where, lines: Mapping[Where, int], block: str = "") -> str:
    """Where something stands: ``farm.toml line 12, field "Home 40", area_acres``.

    `block` replaces the generic name of the block; the rest of the path follows it.
    """
    line = next((lines[path[:n]] for n in range(len(path), 0, -1) if path[:n] in lines), None)
    parts = [f"{file} line {line}" if line else file]
    if block:
        parts.append(block)
    for part in path if not block else ():
        if isinstance(part, int):
            parts[-1] += f" {part + 1}"
        else:
            parts.append(part)
    if not block and len(path) > 1 and isinstance(path[1], str):
        parts[1] = f"[{parts[1]}]"
    return ", ".join(parts)


def line_numbers(text: str) -> dict[Where, int]:
    """Line of every block and of every key that starts a line."""
    lines: dict[Where, int] = {}
    counts: dict[Where, int] = {}
    here: Where = ()
    for number, row in enumerate(text.splitlines(), start=1):
        header = _HEADER.match(row)
        if header:
            here = ()
            names = [name.strip().strip("\"'") for name in header["name"].split(".")]
            for depth, name in enumerate(names):
                last = depth == len(names) - 1
                here = (*here, name)
                if last and header["open"] == "[[":
                    counts[here] = counts.get(here, -1) + 1
                if here in counts:
                    here = (*here, counts[here])
            lines.setdefault(here, number)
            continue
        found = _ASSIGNMENT.match(row)
        if found:
            keys = tuple(key.strip().strip("\"'") for key in found["key"].split("."))
            lines.setdefault((*here, *keys), number)
    return lines


def _strings(value: object, path: Where = ()) -> Iterator[tuple[Where, str]]:
    if isinstance(value, str):
        yield path, value
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from _strings(inner, (*path, key))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from _strings(inner, (*path, index))
