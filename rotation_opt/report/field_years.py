"""Fields down, years across: what each plan grows where, in names short enough for a narrow page."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rotation_opt.records import Alternative, Field, Practice
from rotation_opt.report.blocks import Grid
from rotation_opt.report.summary import Reading
from rotation_opt.report.wording import Wording, percent_figure

CHANGED = "*"
CUT_LETTER = {"sell": "s", "leave": "l", "graze": "g"}


class ShortNames:
    """A short name for every practice on the page; two practices never share one.

    Parameters
    ----------
    practices : iterable of str
        Practice keys. Where the name alone is not enough they are numbered, the usual way to grow the crop
        first, then in the order given.
    wording : Wording
        Words of the farm.
    """

    def __init__(self, practices: Iterable[str], wording: Wording) -> None:
        self._wording = wording
        self._names: dict[str, str] = {}
        taken: dict[tuple[str, str], int] = {}
        for key in sorted(dict.fromkeys(practices), key=lambda key: not self._is_usual(key)):
            practice = wording.practice_record(key)
            crop = key if practice is None else practice.crop
            letters = "" if practice is None else _letters(practice)
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

    def legend(self) -> Grid:
        """Every short name and what it stands for."""
        rows = sorted((short, self._wording.practice(key)) for key, short in self._names.items())
        return Grid(header=("Short", "In full"), rows=tuple(rows))


def _letters(practice: Practice) -> str:
    parts = []
    stand_year = practice.needs_stand.rpartition(":")[2]
    if stand_year:
        parts.append(f"y{stand_year}")
    if practice.cut_use:
        parts.append(f"{practice.cuts or ''}{CUT_LETTER[practice.cut_use]}")
    if practice.cover:
        parts.append("c")
    if practice.undersown:
        parts.append("u")
    return " ".join(parts)


def letter_legend(wording: Wording) -> str:
    """What the letters and marks in the cells mean."""
    return (
        f"{CHANGED} = other than as now. Letters: 3s = three cuts sold or fed, 3l = three cuts left on the "
        f"field, g = grazed, y2 = second year of the stand, c = cover crop before it, "
        f"u = another crop {wording.word('undersown')}. (2) = the same crop grown in another way."
    )


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
    roots = (
        percent_figure(reading.roots_left(plan, place)[1]) for place in range(1, len(plan.figures.burden))
    )
    rows.append((f"Net return, {words.money_unit}", *money))
    rows.append(("Weed roots after it, % of today's", *roots))
    header = (f"Field ({words.area_unit})", *(str(year) for year in years))
    filled = tuple((*row, *("",) * (len(header) - len(row)))[: len(header)] for row in rows)
    return Grid(header=header, rows=filled, groups=frozenset({fields}), even=True)


def _field_cell(field: Field, words: Wording) -> str:
    text = f"{field.name} ({words.area_figure(field.area_ha)})"
    return text if field.lease_end_year is None else f"{text} lease to {field.lease_end_year}"


def _cell(key: str, now: str, is_now: bool, names: ShortNames) -> str:
    text = names[key] if key else "not farmed"
    return text if is_now or key == now else f"{text}{CHANGED}"
