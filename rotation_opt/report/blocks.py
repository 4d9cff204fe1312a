"""The parts a page is made of; every renderer walks the same ones."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

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


Block = Paragraph | Entries | Bullets | Drawing | Grid


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """One question of the reader and its answer."""

    key: str
    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """A whole printout."""

    title: str
    lead: tuple[str, ...]
    sections: tuple[Section, ...]
