"""The parts a page is made of; every renderer walks the same ones."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

SHADES = "▁▂▃▄▅▆▇█─"  # what drawings are made of where the paper takes more than ASCII


@dataclass(frozen=True, slots=True, kw_only=True)
class Paragraph:
    """Running text."""

    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A named piece of text: the label stands out, the text follows it."""

    label: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Entries:
    """A list of named pieces of text, in order."""

    items: tuple[Entry, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Bullets:
    """A plain list."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """Lines of characters whose places matter, drawn for the paper they are put on.

    ``draw`` is given the longest line allowed, and whether the paper takes nothing but plain ASCII.
    """

    draw: Callable[[int, bool], tuple[str, ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """A table. The first column names the row and is repeated when the table has to be split.

    ``groups`` holds the index of each row that starts a new group of rows, to be set off by a rule.
    ``even`` gives all columns but the first the same width, as for things to be compared; ``name_share`` is
    the share of the width that is then kept for the names of the rows.
    """

    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    groups: frozenset[int] = frozenset()
    even: bool = False
    name_share: float = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """One thing drawn in a panel of a chart; ``x``, ``y``, ``low`` and ``high`` have one value a point.

    ``kind`` is ``line``, ``band`` (from ``low`` to ``high``, no ``y``), ``area`` (from nothing up to ``y``),
    ``points`` (each with its text in ``names``, if there are any) or ``blanks`` (empty circles on the axis at
    ``x``, to be filled in by hand). ``style`` picks the look by its number, so that one thing looks alike in
    every chart; None = by its place among those of its kind.
    """

    label: str
    kind: Literal["line", "band", "area", "points", "blanks"]
    x: tuple[float, ...]
    y: tuple[float, ...] = ()
    low: tuple[float, ...] = ()
    high: tuple[float, ...] = ()
    names: tuple[str, ...] = ()
    style: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """One pair of axes.

    ``x_ticks`` and ``y_ticks`` hold places on the axis and the words there; none = by value. Panels of one
    chart with the same ``y_label`` share their scale, unless they have their own or ``y_top`` or ``y_ticks``.
    """

    title: str
    x_label: str
    y_label: str
    series: tuple[Series, ...]
    x_ticks: tuple[tuple[float, str], ...] = ()
    y_top: float | None = None  # None = as the values ask
    y_ticks: tuple[tuple[float, str], ...] = ()
    own_scale: bool = False
    y_from_zero: bool = True  # False = from a little below the least value
    alt: str = ""  # what is to be seen here, where the chart has several panels


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """A picture of figures. Where no picture can be shown, ``table`` stands there alone.

    ``key`` names it within a printout; ``alt`` says in a sentence or two what is to be seen.
    """

    key: str
    title: str
    alt: str
    panels: tuple[Panel, ...]
    table: Grid


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """Rows to be filled in by hand: columns with their share of the width, and how many empty rows."""

    header: tuple[str, ...]
    shares: tuple[float, ...]
    rows: int


Block = Paragraph | Entries | Bullets | Drawing | Grid | Chart | Form


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """One question of the reader and its answer."""

    key: str
    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """A page, or as much paper as it takes, that can be used alone."""

    title: str
    lead: tuple[str, ...]
    sections: tuple[Section, ...]
    key: str = ""  # what it is asked for by, where it is one of several


@dataclass(frozen=True, slots=True, kw_only=True)
class Printout:
    """All pages of one run; ``foot`` stands on every sheet of paper."""

    title: str
    lead: tuple[str, ...]
    foot: str
    pages: tuple[Page, ...]
    language: str = "en-US"  # as in the open standard for language tags
    paper: Literal["Letter", "A4"] = "Letter"
