"""Fields down, years across: what each plan grows where, in names short enough for a narrow page."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rotation_opt.records import Alternative, Field, Practice
from rotation_opt.report.blocks import Grid
from rotation_opt.report.summary import Reading
from rotation_opt.report.wording import Wording, percent_range

CHANGED = "*"
CUT_LETTER = {"sell": "s", "standing": "b", "leave": "m", "graze": "g"}
NAME_SHARE = 0.2  # narrow, so that a crop and its letters stay on one line in a table of five years
WORK_IN_SPRING = frozenset({"spring", "sowing"})  # what a date counts from


class ShortNames:
    """A short name for every practice on the page: the crop, then letters that say how it is grown.

    Two practices never share one: those that the letters cannot tell apart are numbered.

    Parameters
    ----------
    practices : iterable of str
        Practice keys. Numbers go to the usual way to grow the crop first, then in the order given.
    wording : Wording
        Words of the farm.
    """

    def __init__(self, practices: Iterable[str], wording: Wording) -> None:
        self._wording = wording
        self._names: dict[str, str] = {}
        self._said: set[str] = set()
        taken: dict[tuple[str, str], int] = {}
        for key in sorted(dict.fromkeys(practices), key=lambda key: not self._is_usual(key)):
            practice = wording.practice_record(key)
            crop = key if practice is None else practice.crop
            letters = "" if practice is None else self._letters(practice)
            short = wording.crop_short(crop)
            number = taken[short, letters] = taken.get((short, letters), 0) + 1
            self._names[key] = " ".join(
                filter(None, (short if number == 1 else f"{short} ({number})", letters))
            )

    def _is_usual(self, key: str) -> bool:
        practice = self._wording.practice_record(key)
        return practice is not None and practice.usual

    def __getitem__(self, practice: str) -> str:
        return self._names[practice]

    def _letters(self, practice: Practice) -> str:
        words = []
        if stand_year := practice.needs_stand.rpartition(":")[2]:
            words.append(self._say("y", f"y{stand_year}"))
        if practice.cut_use:
            letter = CUT_LETTER[practice.cut_use]
            words.append(self._say(f"3{letter}", f"{practice.cuts or ''}{letter}"))
        if practice.cover:
            words.append(self._say("c", f"c{_initial(practice.cover.removeprefix('cover_'))}"))
        if practice.undersown:
            words.append(self._say("u", f"u{_initial(self._wording.crop_short(practice.undersown))}"))
        if not practice.usual and not practice.needs_stand:
            ways = (
                ("d", "dense" in practice.tags),
                ("e", "early_variety" in practice.tags),
                ("h", "hoe" in practice.tags and "wide_rows" not in practice.tags),
                ("l", "late_sowing" in practice.tags and practice.sowing_shift_days > 0),
                ("n", bool(practice.tags & {"no_plough", "after_fallow"})),
                ("p", self._ploughed_in_spring(practice)),
                ("w", "tillage_many" in practice.tags and practice.between.startswith("stubble")),
            )
            words.append("".join(self._say(letter, letter) for letter, is_so in ways if is_so))
        return " ".join(filter(None, words))

    def _say(self, letter: str, text: str) -> str:
        self._said.add(letter)
        return text

    def _ploughed_in_spring(self, practice: Practice) -> bool:
        return any(
            step.operation == "plough" and step.anchor in WORK_IN_SPRING
            for step in self._wording.tables.programmes.get(practice.between, ())
        )

    def legend(self) -> Grid:
        """Every short name and what it stands for."""
        rows = sorted((short, self._wording.practice(key)) for key, short in self._names.items())
        return Grid(header=("Short", "In full"), rows=tuple(rows))

    def letters(self) -> tuple[str, ...]:
        """What the marks and the letters in the cells mean; only those that stand in one."""
        words = self._wording
        meanings = {
            "3s": "3s = three cuts sold or fed",
            "3b": "3b = three cuts sold standing: the buyer cuts and carries",
            "3m": "3m = three cuts left as mulch",
            "3g": "3g = grazed three times",
            "y": "y2 = second year of the stand",
            "c": "c = after a cover crop, its first letter follows",
            "u": f"u = another crop {words.word('undersown')}, its first letter follows",
            "d": "d = denser: more seed, mostly in narrow rows",
            "e": "e = early variety",
            "h": "h = hoed",
            "l": "l = sown later than usual",
            "n": f"n = not {words.word('ploughed')}",
            "p": f"p = {words.word('ploughed')} in spring",
            "w": "w = worked several times between the crops",
        }
        said = [meaning for letter, meaning in meanings.items() if letter in self._said]
        if any("(2)" in short for short in self._names.values()):
            said.append("(2) = grown in yet another way")
        return (f"{CHANGED} = other than as now", *said)


def _initial(name: str) -> str:
    return name[:1].lower()


def practices_of(plans: Sequence[Alternative]) -> list[str]:
    """Practice keys in the order in which the plans show them."""
    return [key for plan in plans for years in plan.practices.values() for key in years if key]


def field_table(reading: Reading, plan: Alternative, names: ShortNames) -> Grid:
    """One plan, field by field; below it the money and the weed roots of each year.

    Returns
    -------
    Grid
        Header: field with its area, one column a year.
    """
    farm, words = reading.result.farm, reading.wording
    years = range(farm.first_year, farm.first_year + farm.years)
    rows = []
    for field in farm.fields:
        cells = plan.practices.get(field.name, ())
        now = () if reading.as_now is None else reading.as_now.practices.get(field.name, ())
        rows.append(
            (
                _field_cell(field, words),
                *(
                    _cell(key, now[place] if place < len(now) else key, plan is reading.as_now, names)
                    for place, key in enumerate(cells)
                ),
            )
        )
    fields = len(rows)
    money = (words.money_figure(value) for value in plan.figures.net_return)
    roots = (percent_range(reading.roots_left(plan, place)) for place in range(1, len(plan.figures.burden)))
    rows.append((f"Net return, {words.money_unit}", *money))
    rows.append(("Weed roots, % of today's", *roots))
    header = (f"Field ({words.area_unit})", *(str(year) for year in years))
    filled = tuple((*row, *("",) * (len(header) - len(row)))[: len(header)] for row in rows)
    return Grid(header=header, rows=filled, groups=frozenset({fields}), even=True, name_share=NAME_SHARE)


def _field_cell(field: Field, words: Wording) -> str:
    text = f"{field.name} ({words.area_figure(field.area_ha)})"
    return text if field.lease_end_year is None else f"{text} lease to {field.lease_end_year}"


def _cell(key: str, now: str, is_now: bool, names: ShortNames) -> str:
    text = names[key] if key else "not farmed"
    return text if is_now or key == now else f"{text}{CHANGED}"
