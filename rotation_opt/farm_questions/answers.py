"""What a grower types, read: numbers with units, dates, lists, names. Whatever cannot be read is told why."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import Any

from rotation_opt import words
from rotation_opt.errors import InputError
from rotation_opt.farm.names import Kind, Names
from rotation_opt.tables import Tables

Read = Callable[[str], Any]

LONGEST = 2_000
NONE = frozenset({"none", "no", "no more", "nothing"})
_NUMBER = re.compile(r"^[^\w\s.,+-]?\s*(?P<number>[+-]?[\d.,]*\d[\d.,]*)\s*(?P<unit>\D*)$")
_SPAN = re.compile(r"^(\d{1,3})\s*(?:-|to)\s*(\d{1,3})$")
_DAY = re.compile(r"^(?:(?P<year>\d{4})-(?P<month>\d{1,2})-(?P<day>\d{1,2}))$")


class UnclearError(Exception):
    """An answer that cannot be used; carries a sentence for the grower."""


def told(wrong: InputError) -> str:
    """The first faults of a file as answers to somebody who sees no file."""
    said = dict.fromkeys(f"Found {f.found}; {f.allowed}. {f.hint}".strip() for f in wrong.faults)
    return "\n".join(list(said)[:3])


class Known(Names):
    """Names that are looked up again and again, since all answers are read anew at each step."""

    def __init__(self, tables: Tables, region: words.Region) -> None:
        super().__init__(tables, region)
        self._found: dict[tuple[Kind, str], str | None] = {}

    def key(self, kind: Kind, name: str) -> str | None:
        if (kind, name) not in self._found:
            self._found[kind, name] = super().key(kind, name)
        return self._found[kind, name]


def number(
    what: str, *, units: Sequence[str] = (), comma: bool = False, whole: bool = False, none: bool = False
) -> Callable[[str], float]:
    """Reads one number.

    Parameters
    ----------
    what : str
        What is asked for, for the sentence ``allowed is ...``.
    units : sequence of str
        Words that may stand behind the number.
    comma : bool
        Whether a comma can stand for the decimal point, as in much of Europe.
    whole : bool
        Whether it is a whole number.
    none : bool
        Whether "none" is said for 0.
    """
    allowed = {words.plain(unit) for unit in (*units, "")}

    def read(text: str) -> float:
        if none and words.plain(text) in NONE:
            return 0.0
        found = _NUMBER.match(text.strip())
        if not found or words.plain(found["unit"]) not in allowed:
            raise UnclearError(f'"{text}" is not {what}.')
        value = _value(found["number"], comma)
        if value is None or not math.isfinite(value):
            raise UnclearError(f'"{text}" is not a clear number. Write it without commas, like 1200 or 1.2.')
        if whole and value != int(value):
            raise UnclearError(f'"{text}" is not a whole number.')
        return int(value) if whole else value

    return read


def _value(text: str, comma: bool) -> float | None:
    if "," in text:
        thousands = bool(re.match(r"^[+-]?\d{1,3}(,\d{3})+(\.\d+)?$", text))
        if thousands and not comma:
            text = text.replace(",", "")
        elif comma and not thousands and text.count(",") == 1 and "." not in text:
            text = text.replace(",", ".")
        else:
            return None
    try:
        return float(text)
    except ValueError:
        return None


def choice(*choices: str, same: Mapping[str, str] | None = None) -> Read:
    """Reads one of a few words; a beginning that fits only one of them is enough."""
    known = {**{words.plain(each): each for each in choices}, **(same or {})}

    def read(text: str) -> str:
        said = words.plain(text)
        if said in known:
            return known[said]
        begun = {meant for word, meant in known.items() if said and word.startswith(said)}
        if len(begun) == 1:
            return begun.pop()
        near = words.nearest(text, choices)
        hint = f' Did you mean "{near}"?' if near else ""
        raise UnclearError(f'"{text}" is not among {words.listed(choices)}.{hint}')

    return read


def yes_no(text: str) -> bool:
    """Reads yes or no."""
    said = words.plain(text)
    if said in {"y", "yes", "ja", "oui", "true", "j"}:
        return True
    if said in {"n", "no", "nein", "non", "none", "false"}:
        return False
    raise UnclearError(f'"{text}" is neither yes nor no.')


def plain_text(longest: int) -> Read:
    """Reads words as they are."""

    def read(text: str) -> str:
        clean = " ".join(text.split())
        if not clean or len(clean) > longest:
            raise UnclearError(f"That is {len(clean)} letters; allowed are 1 to {longest}.")
        return clean

    return read


def day(text: str, today: date, region: words.Region) -> date:
    """Reads a day of the calendar, like 2026-06-24, June 24 or 24 June; without a year, the last such day.

    Raises
    ------
    UnclearError
        If it is no day of the calendar, or written so that day and month could be taken for each other.
    """
    like = "2026-06-24 or June 24" if region == "us" else "2026-06-24 or 24 June"
    unclear = UnclearError(f'"{text}" is not a clear date. Write it like {like}.')
    said = text.strip().casefold().replace(",", " ").replace(".", " ")
    if said == "today":
        return today
    found = _DAY.match(said)
    if found:
        return _date(int(found["year"]), int(found["month"]), int(found["day"]), unclear)
    parts = re.findall(r"[a-zäéû]+|\d+", said)
    named = [part for part in parts if part[0].isalpha()]
    figures = [int(part) for part in parts if part.isdigit() and len(part) <= 4]
    months = [n for n, name in enumerate(words.MONTHS, 1) if named and name.casefold().startswith(named[0])]
    if len(named) != 1 or len(named[0]) < 3 or len(months) != 1 or len(figures) not in (1, 2):
        raise unclear
    if len(figures) == 2:
        return _date(figures[1], months[0], figures[0], unclear)
    this_year = _date(today.year, months[0], figures[0], unclear)
    return this_year if this_year <= today else _date(today.year - 1, months[0], figures[0], unclear)


def _date(year: int, month: int, day_of_month: int, unclear: UnclearError) -> date:
    try:
        return date(year, month, day_of_month)
    except ValueError:
        raise unclear from None


def items(text: str) -> list[str]:
    """The things of a list, with commas or semicolons between."""
    return [each for each in (" ".join(part.split()) for part in re.split(r"[,;]", text)) if each]


def whole_names(names: Names, kind: Kind, text: str) -> list[str]:
    """The things of a list, where a comma may also stand within a name: the longest names known are taken."""
    parts = items(text)
    found: list[str] = []
    while parts:
        long = (count for count in range(len(parts), 1, -1) if names.key(kind, ", ".join(parts[:count])))
        count = next(long, 1)
        found.append(", ".join(parts[:count]))
        parts = parts[count:]
    return found


def named(names: Names, kind: Kind, text: str, otherwise: str = "") -> str:
    """The key of what somebody means; `otherwise` is told where nothing comes near, else all there are.

    Raises
    ------
    UnclearError
        With the nearest name there is.
    """
    key = names.key(kind, text)
    if key is None:
        allowed = names.allowed("crop" if kind == "grown" else kind, text)
        hint = names.hint(kind, text) or otherwise or f"{allowed[0].upper()}{allowed[1:]}."
        raise UnclearError(f'"{text}" is not known here. {hint}')
    return key


def listed(names: Names, kind: Kind, choices: Sequence[str], text: str) -> dict[str, str]:
    """Key to the word used, of a list of names or of numbers of `choices` (like ``1-4, 7, rake``).

    Raises
    ------
    UnclearError
        If one of them is not known, or not among `choices`.
    """
    found: dict[str, str] = {}
    for item in items(text):
        span = _SPAN.match(item)
        if span or (item.isdecimal() and len(item) < 4):
            first, last = (int(span[1]), int(span[2])) if span else (int(item), int(item))
            if not 1 <= first <= last <= len(choices):
                raise UnclearError(f'"{item}" is not among the numbers 1 to {len(choices)}.')
            for key in choices[first - 1 : last]:
                found.setdefault(key, names.shown(kind, key))
            continue
        key = named(names, kind, item, "Give numbers or names of the list above.")
        if key not in choices:
            raise UnclearError(
                f'"{item}" is {names.shown(kind, key).lower()}, which is not in the list above.'
            )
        found.setdefault(key, item)
    return found
