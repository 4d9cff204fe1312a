"""What a grower types as a value, taken for what a key of the farm file holds."""

from __future__ import annotations

import re
import types
from collections.abc import Sequence
from datetime import date, datetime, time
from typing import Annotated, Any, Literal, Union, get_args, get_origin

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import Item

from rotation_opt.farm.blocks import Block
from rotation_opt.words import MONTHS, find, nearest

Kind = Literal["number", "flag", "day", "text", "numbers", "texts", "groups", "group"]
"""What a key holds: ``groups`` is a list of groups, ``group`` names with a number each."""

YES, NO = frozenset({"yes", "y", "true", "on"}), frozenset({"no", "n", "false", "off"})
_QUOTES = str.maketrans("“”„‟«»‘’‚", '""""""' + "'''")
_QUOTED = re.compile(r"""^(?:"[^"]*"|'[^']*')$""")
_WHOLE_PART_AND_3 = re.compile(r"[-+]?[1-9]\d{0,2},\d{3}")
_THOUSANDS = re.compile(r"[-+]?[1-9]\d{0,2}(?:,\d{3})+\.\d+|[-+]?[1-9]\d{0,2}(?:,\d{3}){2,}")
_PLAIN = re.compile(r"[-+]?\d+(?:[.,]\d+)?", re.ASCII)
_WITH_POWER = re.compile(r"[-+]?\d+(?:[.,]\d+)?[eE][-+]?\d+", re.ASCII)
TO_TAKE_OUT = "To take a key out give - as its value."
_MOST_DIGITS = 300  # before and after the point; more than any key allows, and still a number for the reader
_DOTTED_DAY = re.compile(r"(\d{1,2})\.\s*(\d{1,2})\.\s*(\d{4})")
_DAY_FIRST = re.compile(r"(\d{1,2})\.?\s+([a-z]{3,9})\.?,?\s+(\d{4})", re.IGNORECASE)
_MONTH_FIRST = re.compile(r"([a-z]{3,9})\.?\s+(\d{1,2}),?\s+(\d{4})", re.IGNORECASE)


class NotUnderstood(Exception):
    """A value that says nothing for its key; with what is allowed and how to put it right."""

    def __init__(self, allowed: str, hint: str = "") -> None:
        super().__init__(allowed)
        self.allowed, self.hint = allowed, hint


def kind_of(model: type[Block], key: str) -> Kind:
    """What a key of a block holds, from its type."""
    return _kind(model.model_fields[key].annotation)


def _kind(of: Any) -> Kind:
    if get_origin(of) is Annotated:
        return _kind(get_args(of)[0])
    if get_origin(of) in (Union, types.UnionType):
        return _kind(next(one for one in get_args(of) if one is not type(None)))
    if get_origin(of) is dict:
        return "group"
    if get_origin(of) is list:
        inner = _kind(get_args(of)[0])
        return "groups" if inner == "group" else "numbers" if inner == "number" else "texts"
    if isinstance(of, type):
        if issubclass(of, Block):
            return "group"
        for holds, kind in ((bool, "flag"), (int | float, "number"), (date, "day")):
            if issubclass(of, holds):
                return kind  # type: ignore[return-value]
    return "text"


def value(said: str, kind: Kind) -> Any:
    """The value that is meant.

    Parameters
    ----------
    said : str
        As typed: ``12.5`` or ``12,5``, ``yes``, ``2026-07-31`` or ``July 31, 2026``, ``corn, soybean`` ...
    kind : Kind

    Returns
    -------
    int, float, bool, date, str, list or dict
        Numbers as items of the TOML library where they are to keep their decimals.

    Raises
    ------
    NotUnderstood

    Examples
    --------
    >>> value("12,5", "number"), value("yes", "flag"), value("corn, soybean", "texts")
    (12.5, True, ['corn', 'soybean'])
    >>> value("July 31, 2026", "day")
    datetime.date(2026, 7, 31)
    """
    said = said.translate(_QUOTES).strip()
    if not said:
        raise NotUnderstood("a value is missing", TO_TAKE_OUT)
    match kind:
        case "number":
            return _number(said)
        case "flag":
            return _flag(said)
        case "day":
            return day(said)
        case "text":
            return _text(said)
        case "numbers":
            return [_number(one) for one in _entries(said)]
        case "texts":
            return _texts(said)
        case "groups":
            return _groups(said)
        case "group":
            return _group(said)


def plain(found: Any) -> Any:
    """A value without what the TOML library keeps of how it was typed."""
    if isinstance(found, list):
        return [plain(one) for one in found]
    if isinstance(found, dict):
        return {key: plain(one) for key, one in found.items()}
    return found.unwrap() if isinstance(found, Item) else found


def _number(said: str) -> Any:
    said = said.strip("\"' ")
    if _WHOLE_PART_AND_3.fullmatch(said):
        both = f"Write {said.replace(',', '')} or {said.replace(',', '.')}."
        raise NotUnderstood("allowed is a number without thousands marks", both)
    if _THOUSANDS.fullmatch(said):
        said = said.replace(",", "")
    if not _PLAIN.fullmatch(said):
        hint = ""
        if _WITH_POWER.fullmatch(said):
            hint = "Write it in full: 1200000 for 1.2e6."
        elif said.casefold() in {"none", "no", "no limit", "nothing"}:
            hint = TO_TAKE_OUT
        elif re.match(r"[-+$€£]*\s*\d", said):
            hint = "The unit is known already: leave it out of the value."
        raise NotUnderstood("allowed is a number alone", hint)
    sign = "-" if said.startswith("-") else ""
    whole, _, decimals = said.lstrip("+-").replace(",", ".").partition(".")
    if max(len(whole), len(decimals)) > _MOST_DIGITS:
        raise NotUnderstood(f"a number here has at most {_MOST_DIGITS} digits")
    whole = whole.lstrip("0") or "0"
    return tomlkit.value(f"{sign}{whole}.{decimals}" if decimals else f"{sign}{whole}")


def _flag(said: str) -> bool:
    word = said.strip("\"'").casefold()
    if word not in YES | NO:
        near = nearest(word, ["true", "false", "yes", "no"]) if len(word) > 1 else ""
        raise NotUnderstood("allowed is yes or no", f"Did you mean {near}?" if near else "")
    return word in YES


def day(said: str) -> date:
    """A day as people write it; not ``7/6/2026``, which is two days."""
    said = said.strip("\"' ")
    found: tuple[str, str, str] | None = None
    if re.fullmatch(r"\d{4}-\d{1,2}-\d{1,2}", said):
        year, month, number = said.split("-")
        found = (year, month, number)
    elif match := _DOTTED_DAY.fullmatch(said):
        found = (match[3], match[2], match[1])
    elif match := _DAY_FIRST.fullmatch(said):
        found = (match[3], _month(match[2]), match[1])
    elif match := _MONTH_FIRST.fullmatch(said):
        found = (match[3], _month(match[1]), match[2])
    try:
        return date(*map(int, found or ()))
    except (TypeError, ValueError):
        raise NotUnderstood("allowed is a date as year, month, day, like 2026-07-31") from None


def _month(word: str) -> str:
    numbers = [n for n, name in enumerate(MONTHS, 1) if name.casefold().startswith(word.casefold())]
    return str(numbers[0]) if len(numbers) == 1 else "0"


def _text(said: str) -> str:
    if _QUOTED.fullmatch(said):
        return said[1:-1]
    literal = _literal(said) if said[:1] in "\"'" else None
    return str(literal) if isinstance(literal, str) else said


def _literal(said: str) -> Any:
    """The value as TOML; None where it is none."""
    if "\n" in said or "\r" in said:
        return None
    try:
        found = tomlkit.parse(f"x = {said}\n").unwrap()
    except (ValueError, TOMLKitError, RecursionError):
        return None
    return found.get("x") if set(found) == {"x"} else None


def _entries(said: str) -> list[str]:
    """Entries of a list typed with or without its brackets; commas in quotes or brackets do not divide."""
    inside = said[1:-1] if said.startswith("[") and said.endswith("]") else said
    divide = ";" if ";" in inside and "," not in re.sub(r"\d,\d", "", inside) else ","
    entries, depth, quote = [""], 0, ""
    for sign in inside:
        if quote:
            quote = "" if sign == quote else quote
        elif sign in "\"'" and not entries[-1].strip():
            quote = sign
        else:
            depth += (sign in "[{") - (sign in "]}")
        if sign == divide and not quote and depth <= 0:
            entries.append("")
        else:
            entries[-1] += sign
    entries = [entry.strip() for entry in entries]
    if entries[-1] == "":
        entries.pop()
    if len(entries) == 1 and re.fullmatch(r"[-+\d.]+(?:\s+[-+\d.]+)+", entries[0]):
        entries = entries[0].split()
    return entries


def _texts(said: str) -> list[Any]:
    literal = _literal(said) if said.startswith("[") else None
    if isinstance(literal, list) and not any(isinstance(one, date | datetime | time) for one in literal):
        return literal
    return [_text(entry) for entry in _entries(said)]


def _groups(said: str) -> list[Any]:
    literal = _literal(said if said.startswith("[") else f"[{said}]")
    if isinstance(literal, list):
        return literal
    example = '[{ from = "11-15", to = "01-15" }]'
    raise NotUnderstood("allowed is a list of groups in curly brackets", f"Write it like {example}.")


def _group(said: str) -> dict[str, Any]:
    literal = _literal(said) if said.startswith("{") else None
    if isinstance(literal, dict):
        return literal
    group: dict[str, Any] = {}
    for entry in _entries(said.strip("{}")):
        name, number = _name_and_number(entry)
        group[name] = number
    return group


def _name_and_number(entry: str) -> tuple[str, Any]:
    """``corn = 50``, ``corn 50`` or ``corn: 50``."""
    found = re.fullmatch(
        r"""(?P<name>"[^"]+"|'[^']+'|[^=:\d"'][^=:"']*?)\s*(?:[=:]|\s)\s*(?P<number>\S+)""", entry
    )
    if not found:
        raise NotUnderstood("allowed are names with a number each", "Write it like corn = 50, soybean = 50.")
    return found["name"].strip("\"' "), _number(found["number"].removesuffix("%"))


def typed(found: Any) -> str:
    """A value as it would be typed, for showing it and for setting it to itself."""
    if isinstance(found, bool):
        return "true" if found else "false"
    if isinstance(found, dict | list):
        return _inline(found)
    if isinstance(found, date | datetime | time):
        return found.isoformat()
    return str(found)


def _inline(found: dict[str, Any] | Sequence[Any]) -> str:
    if isinstance(found, dict):
        return "{ " + ", ".join(f"{written_key(key)} = {_inner(one)}" for key, one in found.items()) + " }"
    return f"[{', '.join(map(_inner, found))}]"


def _inner(one: Any) -> str:
    return _quoted(one) if isinstance(one, str) else typed(one)


def _quoted(word: str) -> str:
    return tomlkit.item(word).as_string()


def spelt(name: str, there: dict[str, Any]) -> str:
    """A name of a group as the file spells it already."""
    return find(name, dict.fromkeys(there, ())) or name


def written_key(key: str) -> str:
    """A key as the file has it: in quotation marks only where it must be."""
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else _quoted(key)
