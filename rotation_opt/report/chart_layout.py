"""Where everything in one panel of a chart goes. Nothing is drawn here.

Lengths are in points (1/72 inch), places are measured from the lower left corner of the panel's paper.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from rotation_opt.report.blocks import Panel, Series
from rotation_opt.report.chart_scales import Pair, finite, tick_texts, ticks, x_range
from rotation_opt.report.chart_words import one_line, text_width, wrapped

WIDTH = 245.0  # 3.4 inches: two stand side by side on Letter and on A4
PLOT_HEIGHT = 100.0
TITLE_SIZE, SIZE = 8.0, 7.5  # of letters, as printed
LINE = 1.2  # from line to line of text, times its size
BOLD = 1.1  # how much wider bold letters are
LABELS_MOST = 0.36  # share of the width that labels at the ends of lines may take
GAP = 3.0  # between the plot and the words around it
TO_LABELS = 10.0  # room for a stroke from the end of a line to its words
FOOT = 5.0  # below all, to the next panel
CIRCLE = 17.0  # room to write a figure into by hand


Box = tuple[float, float, float, float]  # left, bottom, right, top


@dataclass(frozen=True, slots=True)
class Words:
    """Lines of text; ``x`` and ``y`` are where the first starts, or has its middle or its end."""

    x: float
    y: float
    lines: tuple[str, ...]
    anchor: str = "left"

    @property
    def box(self) -> Box:
        """Of the first line."""
        width = max((text_width(line, SIZE) for line in self.lines), default=0.0)
        left = self.x - {"left": 0.0, "center": 0.5, "right": 1.0}[self.anchor] * width
        return left, self.y - 0.2 * SIZE, left + width, self.y + 0.8 * SIZE


@dataclass(frozen=True, slots=True)
class EndLabel:
    """Words beside the plot, and where what they name ends."""

    words: Words
    end: Pair

    @property
    def beside(self) -> Pair:
        """Where a stroke from that end meets the words."""
        return self.words.x - 1.5, self.words.y + 0.35 * SIZE


class Layout:
    """One panel laid out.

    Parameters
    ----------
    panel : Panel
        What to show.
    limits : (float, float)
        Least and greatest value on the y axis, from `chart_scales.y_ranges`.
    """

    def __init__(self, panel: Panel, limits: Pair) -> None:
        self.panel = panel
        self.blanks = [each for each in panel.series if each.kind == "blanks"]
        self.keyed = [each for each in panel.series if each.kind == "points" and one_line(each.label)]
        self.x_limits = x_range(panel)
        self.y_marks = _y_marks(panel, limits)
        self.y_limits = _y_limits(panel, limits, self.y_marks)

        ended = list(_ended(panel))
        names = [wrapped(each.label, SIZE, LABELS_MOST * WIDTH - TO_LABELS, 2) for each, _ in ended]
        counts = [wrapped(each.label, SIZE, LABELS_MOST * WIDTH - TO_LABELS, 2) for each in self.blanks]
        widest = max((text_width(line, SIZE) for lines in (*names, *counts) for line in lines), default=0.0)
        self.left = max((text_width(text, SIZE) for _, text in self.y_marks), default=0.0) + GAP + 1.0
        self.right = WIDTH - widest - TO_LABELS

        self.x_words = self._x_words()
        self.circle = self._circle()
        circles = self.circle + 2.0 if self.blanks else 0.0
        x_label = wrapped(panel.x_label, SIZE, WIDTH, 2)
        deep = max((len(lines) for _, lines in self.x_words), default=0)
        heights = [len(lines) * SIZE * LINE for lines in names]
        self.bottom = (
            FOOT
            + GAP
            + circles
            + (deep + len(x_label) + len(self.keyed)) * SIZE * LINE
            + (1.0 if x_label else 0.0)
        )
        self.top = self.bottom + max(PLOT_HEIGHT, sum(heights))
        title = wrapped(panel.title, TITLE_SIZE * BOLD, WIDTH, 2)
        y_label = wrapped(panel.y_label, SIZE, WIDTH, 2)
        self.height = self.top + GAP + SIZE / 2 + len(y_label) * SIZE * LINE + len(title) * TITLE_SIZE * LINE

        self.title = Words(0.0, self.height - TITLE_SIZE, title)
        self.y_label = Words(0.0, self.height - len(title) * TITLE_SIZE * LINE - SIZE, y_label)
        self.y_words = [
            Words(self.left - GAP, self.up(place) - 0.35 * SIZE, (text,), "right")
            for place, text in self.y_marks
        ]
        below = self.bottom - GAP - circles - 0.85 * SIZE
        self.under = [
            self._inside(Words(self.across(x), below, lines, "center")) for x, lines in self.x_words
        ]
        below -= deep * SIZE * LINE + 1.0
        self.x_label = Words((self.left + self.right) / 2, below, x_label, "center")
        below -= len(x_label) * SIZE * LINE
        self.keys = [
            (
                each,
                Words(self.left + 8.0, below - line * SIZE * LINE, wrapped(each.label, SIZE, self.right, 1)),
            )
            for line, each in enumerate(self.keyed)
        ]
        self.circles_at = self.bottom - 1.0 - self.circle / 2
        self.beside_circles = [
            Words(
                self.right + TO_LABELS,
                self.circles_at - 0.35 * SIZE + (len(lines) - 1) * 0.5 * SIZE * LINE,
                lines,
            )
            for lines in counts
        ]
        ends = [(self.across(x), min(max(self.up(y), self.bottom), self.top)) for _, (x, y) in ended]
        centres = spread([y for _, y in ends], heights, self.bottom, self.top)
        self.end_labels = [
            EndLabel(Words(self.right + TO_LABELS, centre + height / 2 - 0.9 * SIZE, lines), end)
            for lines, height, centre, end in zip(names, heights, centres, ends, strict=True)
        ]

    def across(self, x: float) -> float:
        """Where a value of x lies on the paper."""
        low, high = self.x_limits
        return self.left + (x - low) / (high - low) * (self.right - self.left)

    def up(self, y: float) -> float:
        """Where a value of y lies on the paper."""
        low, high = self.y_limits
        return self.bottom + (y - low) / (high - low) * (self.top - self.bottom)

    def _inside(self, words: Words) -> Words:
        """The same, moved sideways where it would leave the paper."""
        left, _, right, _ = words.box
        return Words(words.x + max(0.0, -left) - max(0.0, right - WIDTH), words.y, words.lines, words.anchor)

    def _x_words(self) -> list[tuple[float, tuple[str, ...]]]:
        """Words below the axis: two lines where one is too long, and only some where all are too many."""
        marks = [(x, one_line(text)) for x, text in self.panel.x_ticks]
        if not marks:
            low, high = self.x_limits
            places = [place for place in ticks(low, high) if low - 1e-9 <= place <= high + 1e-9]
            marks = list(zip(places, tick_texts(places), strict=True))
        for every in range(1, len(marks) + 1):
            shown = marks[::every]
            gaps = [self.across(b) - self.across(a) for (a, _), (b, _) in itertools.pairwise(shown)]
            room = max(min(gaps, default=self.right - self.left) - GAP, SIZE)
            for most_lines in (1, 2):
                words = [wrapped(text, SIZE, room, most_lines) for _, text in shown]
                whole = all(" ".join(lines) == text for lines, (_, text) in zip(words, shown, strict=True))
                if whole or (len(shown) == 1 and most_lines == 2):
                    return [(x, lines) for (x, _), lines in zip(shown, words, strict=True)]
        return []

    def _circle(self) -> float:
        """As wide as it takes to write in it, less where the circles would touch."""
        places = sorted({self.across(x) for each in self.blanks for x in each.x})
        return min((CIRCLE, *(b - a - 2.0 for a, b in itertools.pairwise(places))))

    def names(self) -> Iterator[Words]:
        """Names beside their points: on the side where they meet neither each other nor another point."""
        named = [
            (self.across(x), self.up(y), one_line(name))
            for each in self.panel.series
            if each.kind == "points" and each.names
            for x, y, name in zip(each.x, each.y, each.names, strict=True)
            if len(finite((x, y))) == 2
        ]
        taken = [(x - 3.0, y - 3.0, x + 3.0, y + 3.0) for x, y, _ in named]
        for each in self.panel.series:
            if each.kind == "line":
                corners = [(self.across(x), self.up(y)) for x, y in zip(each.x, each.y, strict=True)]
                taken += [box for ends in itertools.pairwise(corners) for box in _along(*ends)]
        for label in self.end_labels:
            taken += _along(label.end, label.beside)
        for x, y, name in named:
            text = wrapped(name, SIZE, LABELS_MOST * WIDTH, 1)
            sides = [
                Words(x + dx, y + dy, text, anchor)
                for dx, dy, anchor in (
                    (5.0, 3.0, "left"),
                    (0.0, 6.0, "center"),
                    (-5.0, 3.0, "right"),
                    (5.0, -8.0, "left"),
                    (0.0, -11.5, "center"),
                    (-5.0, -8.0, "right"),
                    (8.0, 12.0, "left"),
                    (-8.0, 12.0, "right"),
                )
            ]
            best = min(sides, key=lambda words: _meetings(words.box, taken, self))
            taken.append(best.box)
            yield best


def _along(start: Pair, end: Pair) -> Iterator[Box]:
    """Small boxes along a stroke."""
    (x0, y0), (x1, y1) = start, end
    whole = len(finite((*start, *end))) == 4
    parts = int(max(abs(x1 - x0), abs(y1 - y0)) / 2.0) + 1 if whole else 0
    for part in range(parts):
        x, y = x0 + (x1 - x0) * part / parts, y0 + (y1 - y0) * part / parts
        yield x - 1.0, y - 1.0, x + 1.0, y + 1.0


def _meetings(
    box: Box,
    taken: Iterable[Box],
    layout: Layout,
) -> float:
    left, bottom, right, top = box
    outside = left < 0.0 or right > WIDTH or bottom < layout.bottom or top > layout.height
    return 10.0 * outside + sum(
        left < other[2] and other[0] < right and bottom < other[3] and other[1] < top for other in taken
    )


def _y_marks(panel: Panel, limits: Pair) -> list[tuple[float, str]]:
    if panel.y_ticks:
        return [(place, one_line(text)) for place, text in panel.y_ticks]
    places = ticks(*limits)
    if panel.y_top is not None:
        places = tuple(place for place in places if place <= limits[1] + 1e-9 * abs(limits[1]))
    return list(zip(places, tick_texts(places), strict=True))


def _y_limits(panel: Panel, limits: Pair, marks: Sequence[tuple[float, str]]) -> Pair:
    places = [place for place, _ in marks]
    bottom = min((limits[0], *places))
    top = limits[1] if panel.y_top is not None else max((limits[1], *places))
    return bottom, top if top > bottom else bottom + 1.0


def _ended(panel: Panel) -> Iterator[tuple[Series, Pair]]:
    """What is named at its right end, with that end."""
    for each in panel.series:
        edge = each.high if each.kind == "band" else each.y
        if each.kind in {"line", "band", "area"} and one_line(each.label):
            ends = [end for end in zip(each.x, edge, strict=True) if len(finite(end)) == 2]
            if ends:
                yield each, max(ends, key=lambda end: end[0])


def spread(wanted: Sequence[float], sizes: Sequence[float], low: float, high: float) -> list[float]:
    """Centres as near as can be to where they are wanted, without overlap, within ``low`` to ``high``.

    Where all together are larger than the room there is, they start at ``low`` and pass ``high``.

    Examples
    --------
    >>> spread((50.0, 51.0), (10.0, 10.0), 0.0, 100.0)
    [45.5, 55.5]
    >>> spread((99.0, 20.0), (10.0, 10.0), 0.0, 100.0)
    [95.0, 20.0]
    """
    order = sorted(range(len(wanted)), key=lambda index: wanted[index])
    blocks: list[tuple[list[int], float]] = []  # members from low to high, lower edge
    for index in order:
        members = [index]
        edge = _edge(members, wanted, sizes, low, high)
        while blocks and blocks[-1][1] + _total(blocks[-1][0], sizes) > edge + 1e-9:
            members = blocks.pop()[0] + members
            edge = _edge(members, wanted, sizes, low, high)
        blocks.append((members, edge))
    centres = [0.0] * len(wanted)
    for members, edge in blocks:
        for index in members:
            centres[index] = edge + sizes[index] / 2.0
            edge += sizes[index]
    return centres


def _total(members: Sequence[int], sizes: Sequence[float]) -> float:
    return sum(sizes[index] for index in members)


def _edge(
    members: Sequence[int], wanted: Sequence[float], sizes: Sequence[float], low: float, high: float
) -> float:
    """Lower edge of a block of touching labels at which they lie nearest to where they are wanted."""
    below, edges = 0.0, 0.0
    for index in members:
        edges += wanted[index] - sizes[index] / 2.0 - below
        below += sizes[index]
    return max(low, min(edges / len(members), high - below))
