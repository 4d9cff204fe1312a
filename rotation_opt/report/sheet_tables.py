"""Tables laid out for a sheet of paper: what stands to the right, what asks for the long side, what is split.

Widths are counted in characters of the table's print size. A browser lays the columns out itself; here is
only worked out beforehand whether their longest words fit side by side, so that nothing is cut off on paper.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from rich.cells import cell_len

from rotation_opt.report.blocks import Grid
from rotation_opt.report.plain_text import clean

# Characters of 8.5 points that go on the narrower of Letter and A4, in the widest of the usual sans-serif
# typefaces (0.62 of their height on the mean).
UPRIGHT, LENGTHWISE = 96, 132
GAP = 2  # between columns
HEAVIER = 1.1  # a bold character against a plain one
EASY = 14  # characters a column of text should have before the sheet is turned; a shorter line is kept whole
LONGEST_WORD, PIECE = 24, 8  # a longer word may be broken after every so many letters
FIGURE = re.compile(r"[<>≤≥~±+\-−–]?\s?[$€£]?\s?[\d(][\d\s,.:/()$€£%+\-−–]*")
NOTHING = frozenset({"", "-", "–"})


@dataclass(frozen=True, slots=True)
class SheetTable:
    """A table or a part of one: bodies are the groups of rows, ``figures`` the columns of numbers.

    ``shares`` has the percent of the width of each column, and is empty where the words decide.
    ``easy`` is the width in characters at which it is still easy to read on a screen. Where ``whole``, lines
    of up to `EASY` characters need not be broken anywhere.
    """

    header: tuple[str, ...]
    bodies: tuple[tuple[tuple[str, ...], ...], ...]
    figures: tuple[bool, ...]
    shares: tuple[float, ...]
    easy: int
    whole: bool


def sheet_tables(grid: Grid) -> tuple[SheetTable, ...]:
    """The grid as one table, or several below each other where a lengthwise sheet does not take it.

    Parameters
    ----------
    grid : Grid
        The table to lay out.

    Returns
    -------
    tuple of SheetTable
        Every one starts with the first column of the grid.
    """
    words = _columns(grid, _longest_word)
    if grid.even and len(words) > 1:
        words = [int(grid.name_share * LENGTHWISE)] + [max(words[1:])] * (len(words) - 1)
    return tuple(_part(grid, columns) for columns in _split(words))


def asks_for_lengthwise(grid: Grid) -> bool:
    """Whether the columns are cramped on an upright sheet."""
    return _easy_width(grid, range(len(grid.header))) > UPRIGHT


def is_figure(text: str) -> bool:
    """Whether a cell holds nothing but a number, an amount of money, a share or a range of these."""
    return all(FIGURE.fullmatch(line.strip()) for line in text.split("\n") if line.strip() not in NOTHING)


def is_short(text: str) -> bool:
    """Whether all lines of a cell are so short that none should be broken."""
    return _longest_line(text) <= EASY


def _split(words: list[int]) -> list[list[int]]:
    """Columns that go side by side on a lengthwise sheet, with the first one in each group."""
    groups = [[0]]
    for column in range(1, len(words)):
        if len(groups[-1]) > 1 and not _fit([*groups[-1], column], words):
            groups.append([0])
        groups[-1].append(column)
    each = max(1, math.ceil((len(words) - 1) / len(groups)))
    even = [[0, *range(start, min(start + each, len(words)))] for start in range(1, len(words), each)]
    return even if even and all(_fit(group, words) for group in even) else groups


def _fit(columns: list[int], words: list[int]) -> bool:
    return _together([words[column] for column in columns]) <= LENGTHWISE


def _part(grid: Grid, columns: list[int]) -> SheetTable:
    rows = [tuple(clean(row[column]) for column in columns) for row in grid.rows]
    edges = sorted({0, len(rows), *(group for group in grid.groups if 0 < group < len(rows))})
    shares: tuple[float, ...] = ()
    if grid.even and len(columns) > 1:
        names = 100.0 * grid.name_share
        shares = (names, *[(100.0 - names) / (len(columns) - 1)] * (len(columns) - 1))
    easy = _easy_width(grid, columns)
    return SheetTable(
        header=tuple(clean(grid.header[column]) for column in columns),
        bodies=tuple(tuple(rows[start:end]) for start, end in pairwise(edges)),
        figures=tuple(
            place > 0
            and any(row[place] not in NOTHING for row in rows)
            and all(is_figure(row[place]) for row in rows)
            for place in range(len(columns))
        ),
        shares=tuple(round(share, 2) for share in shares),
        easy=easy,
        whole=not grid.even and easy <= LENGTHWISE,
    )


def _together(widths: list[int]) -> int:
    return sum(widths) + GAP * (len(widths) - 1)


def _easy_width(grid: Grid, columns: Sequence[int]) -> int:
    """Width at which no word is broken and running text has some room."""
    words, lines = _columns(grid, _longest_word), _columns(grid, _longest_line)
    easy = [max(words[column], min(lines[column], EASY)) for column in columns]
    if not grid.even or len(columns) < 2:
        return _together(easy)
    each = max(words[column] for column in columns[1:]) + GAP
    return math.ceil(max(_together(easy), each * (len(columns) - 1) / (1.0 - grid.name_share)))


def _columns(grid: Grid, measure: Callable[[str], int]) -> list[int]:
    """The most that any cell of each column measures, with what bold letters of the header take more."""
    return [
        max(
            math.ceil(HEAVIER * measure(clean(grid.header[column]))),
            *(measure(clean(row[column])) for row in grid.rows),
            1,
        )
        for column in range(len(grid.header))
    ]


def _longest_word(text: str) -> int:
    lengths = (PIECE if len(word) > LONGEST_WORD else cell_len(word) for word in text.split())
    return max(lengths, default=0)


def _longest_line(text: str) -> int:
    return max(map(cell_len, text.split("\n")), default=0)
