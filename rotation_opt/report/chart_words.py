"""Words in a chart: one line, how wide it is, and what fits. Lengths are in points (1/72 inch)."""

from __future__ import annotations

import unicodedata

from rotation_opt.report.plain_text import clean

CUT = "…"
NARROW, WIDE = frozenset("ijlfrtI.,:;|!'`()[]{}/ "), frozenset("mwMW@%&")


def one_line(text: str) -> str:
    """Text on one line, without characters that move, hide or may not stand in a picture."""
    kept = "".join(letter for letter in clean(text) if unicodedata.category(letter) != "Cn")
    return " ".join(kept.split())


def text_width(text: str, size: float) -> float:
    """Width of a line in the widest of the usual plain typefaces; the reader's own may be narrower.

    Examples
    --------
    >>> text_width("ill", 10.0) < text_width("sun", 10.0) < text_width("MWM", 10.0)
    True
    """
    return size * sum(map(_letter_width, text))


def _letter_width(letter: str) -> float:
    if unicodedata.combining(letter):
        return 0.0
    if unicodedata.east_asian_width(letter) in "WF":
        return 1.0
    if letter in NARROW:
        return 0.4
    if letter in WIDE:
        return 0.97
    return 0.72 if letter.isupper() else 0.63


def wrapped(text: str, size: float, width: float, most_lines: int) -> tuple[str, ...]:
    """Text in at most so many lines; what does not fit is left out behind a sign.

    Examples
    --------
    >>> wrapped("low to high", 10.0, 60.0, 2)
    ('low to', 'high')
    >>> wrapped("a name that goes on", 10.0, 60.0, 1)
    ('a name…',)
    """
    lines: list[str] = []
    rest = one_line(text)
    while rest and len(lines) < most_lines:
        fitting = _longest_start(rest, size, width)
        if fitting < len(rest):
            at_blank = rest.rfind(" ", 0, fitting + 1)
            fitting = at_blank if at_blank > 0 else fitting
        line, rest = rest[:fitting], rest[fitting:].lstrip()
        lines.append(line)
    if rest:
        last = lines[-1]
        while last and text_width(last + CUT, size) > width:
            last = last[:-1]
        lines[-1] = last.rstrip() + CUT
    return tuple(lines)


def _longest_start(text: str, size: float, width: float) -> int:
    used = 0.0
    for place, letter in enumerate(text):
        used += size * _letter_width(letter)
        if used > width:
            return max(place, 1)
    return len(text)
