"""The printout as one file for any browser, on screen and on paper.

Nothing is fetched from outside, and the page says so to the browser (its content security policy). Texts are
data from files until they have gone through ``words`` or ``plain``.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from rotation_opt.report.blocks import Block, Chart, Drawing, Grid, Page, Printout, Section
from rotation_opt.report.plain_text import clean
from rotation_opt.report.sheet_tables import LONGEST_WORD, PIECE, asks_for_lengthwise, is_short, sheet_tables

DRAWING_WIDTH = 88  # characters; what an upright sheet takes at the size of drawings
LONG_WORD = re.compile(rf"(\S{{{LONGEST_WORD + 1},}})")
RIGHT_TO_LEFT = "[\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufeff\U00010800-\U00010fff\U0001e800-\U0001efff]+"
RIGHT_TO_LEFT_WORDS = re.compile(rf"({RIGHT_TO_LEFT}(?:\W+{RIGHT_TO_LEFT})*)")
UNSAFE_IN_STYLE = re.compile(r"[^A-Za-z0-9 ,.]")


@dataclass(frozen=True, slots=True)
class _Sheet:
    """A page of the printout with what the template asks of it."""

    page: Page
    name: str  # what links to it point at
    lengthwise: bool
    sections: tuple[tuple[str, Section], ...]


def render(printout: Printout) -> str:
    """The printout as one self-contained HTML file.

    Parameters
    ----------
    printout : Printout
        What to show.

    Returns
    -------
    str
        The file; the same printout gives the same one.
    """
    taken: set[str] = set()
    sheets = [_sheet(page, taken) for page in printout.pages]
    return (
        _environment()
        .get_template("printout.html")
        .render(printout=printout, sheets=sheets, number=itertools.count(1).__next__)
    )


def _sheet(page: Page, taken: set[str]) -> _Sheet:
    name = _free_name(page.key or "page", taken)
    return _Sheet(
        page=page,
        name=name,
        lengthwise=any(asks_for_lengthwise(grid) for grid in _grids(page)),
        sections=tuple((_free_name(f"{name}-{section.key}", taken), section) for section in page.sections),
    )


def _free_name(wanted: str, taken: set[str]) -> str:
    """``wanted`` as a name that only one element of the file has."""
    stem = re.sub(r"[^A-Za-z0-9_-]+", "-", wanted)
    name = next(
        name for name in (stem, *(f"{stem}-{n}" for n in range(2, len(taken) + 3))) if name not in taken
    )
    taken.add(name)
    return name


def _grids(page: Page) -> list[Grid]:
    parts = [block for section in page.sections for block in section.blocks]
    return [
        part.table if isinstance(part, Chart) else part for part in parts if isinstance(part, Chart | Grid)
    ]


def words(text: str) -> Markup:
    """Text for the body of an element: escaped, with words that read from the right kept to themselves.

    Without that, a number that follows such a word would change places with it. Words longer than any of a
    language get places where they may be broken.
    """
    return _by_turns(LONG_WORD, clean(text), _directions, _breakable)


def _directions(text: str) -> Markup:
    return _by_turns(RIGHT_TO_LEFT_WORDS, text, escape, Markup("<bdi>{}</bdi>").format)


def _breakable(word: str) -> Markup:
    return Markup("<wbr>").join(word[start : start + PIECE] for start in range(0, len(word), PIECE))


def _by_turns(
    pattern: re.Pattern[str], text: str, others: Callable[[str], Markup], found: Callable[[str], Markup]
) -> Markup:
    parts = pattern.split(text)
    return Markup("").join((found if place % 2 else others)(part) for place, part in enumerate(parts))


def style_string(text: str) -> Markup:
    """Text within the quotes of a style sheet, where HTML escapes do not hold."""
    safe = UNSAFE_IN_STYLE.sub(lambda found: f"\\{ord(found.group()):x} ", clean(text).replace("\n", " "))
    return Markup(safe)


def _svg(chart: Chart) -> Markup:
    from rotation_opt.report.charts import svg  # brings matplotlib: only where there is a chart

    return Markup(svg(chart))


def _drawn(drawing: Drawing) -> str:
    return "\n".join(map(clean, drawing.draw(DRAWING_WIDTH, False)))


def _shares(shares: tuple[float, ...]) -> list[float]:
    return [round(100.0 * share / sum(shares), 2) for share in shares]


def _kind(block: Block) -> str:
    return type(block).__name__.lower()


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("rotation_opt.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters |= {
        "words": words,
        "plain": lambda text: " ".join(clean(text).split()),
        "style_string": style_string,
        "tables": sheet_tables,
        "svg": _svg,
        "drawn": _drawn,
        "shares": _shares,
        "kind": _kind,
    }
    environment.tests["short"] = is_short
    return environment
