"""Charts as drawings for a page (SVG): black and white, told apart by line, marker and hatch.

matplotlib stays behind this door, and is loaded when the first chart is drawn.
"""

from __future__ import annotations

import io
import re
import warnings
import zlib
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from math import ceil, inf, nan
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree as ET

import numpy as np

from rotation_opt.report.blocks import Chart, Panel, Series
from rotation_opt.report.chart_layout import LINE, SIZE, TITLE_SIZE, WIDTH, EndLabel, Layout, Words
from rotation_opt.report.chart_scales import Pair, finite, y_ranges
from rotation_opt.report.chart_words import one_line
from rotation_opt.report.svg_tidy import tidied

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D

MANY = 128  # corners from which the library thins out a line
MOST_MARKERS = 6  # on one line
NEAR, FAR = 2.0, 12.0  # words so near above or beside the end of a line need no stroke to it [pt]
TYPEFACES = "Arial, Helvetica, sans-serif"
BLACK, DARK, LIGHT, PALE = "0", "0.4", "0.6", "0.88"

LINES: tuple[tuple[Any, str, bool, str], ...] = (  # dashes, marker, whether it is filled, grey
    ("-", "o", True, BLACK),
    ((0, (5, 2)), "s", False, BLACK),
    ((0, (1, 1.4)), "^", True, BLACK),
    ((0, (7, 2, 1, 2)), "D", False, BLACK),
    ("-", "v", False, DARK),
    ((0, (3, 1.2)), "D", True, DARK),
    ((0, (7, 2, 1, 2, 1, 2)), "^", False, BLACK),
    ((0, (10, 3)), "s", True, DARK),
)
FILLS: tuple[tuple[str, str], ...] = (  # grey, hatch
    ("0.85", ""),
    ("none", "////"),
    ("0.65", ""),
    ("none", "\\\\\\\\"),
    ("none", "----"),
    ("none", "xxxx"),
)
RULES = {
    "svg.fonttype": "none",  # text stays text
    "font.family": ["DejaVu Sans"],  # ships with the library; only measured with, the page has its own
    "hatch.linewidth": 0.5,
    "lines.markeredgewidth": 0.7,
    "lines.solid_capstyle": "butt",
    "path.simplify_threshold": 0.15,
}


def svg(chart: Chart) -> str:
    """The chart as markup to be put into a page.

    Parameters
    ----------
    chart : Chart
        What to draw.

    Returns
    -------
    str
        One ``svg`` element, or a ``div`` with one for each panel, so that they stand side by side as far as
        the paper goes and a sheet can end between them. Always the same for the same chart. All ids start
        with the key of the chart.
    """
    name = _name(chart.key)
    with _rules(name):
        drawn = [
            _panel(chart, panel, limits, f"{name}-{number}")
            for number, (panel, limits) in enumerate(zip(chart.panels, y_ranges(chart.panels), strict=True))
        ]
    if len(drawn) == 1:
        return ET.tostring(drawn[0], encoding="unicode")
    said = f"{one_line(chart.title)}. {one_line(chart.alt)}"
    whole = ET.Element("div", {"class": "panels", "role": "group", "aria-label": said})
    for panel in drawn:
        panel.tail = "\n"  # the blank between two that stand side by side
    whole.extend(drawn)
    return ET.tostring(whole, encoding="unicode")


def _name(key: str) -> str:
    """A key as it may stand in an id; two keys never give the same."""
    plain = re.sub(r"[^A-Za-z0-9]+", "-", key).strip("-")[:40]
    return f"chart-{plain}" if plain == key else f"chart-{plain}-{zlib.crc32(repr(key).encode()):08x}"


@contextmanager
def _rules(salt: str) -> Iterator[None]:
    """The library's own settings while one chart is drawn, whatever the user has set; that comes back."""
    import matplotlib as mpl

    with warnings.catch_warnings(), mpl.rc_context():
        mpl.rcdefaults()
        rules: Any = {**RULES, "svg.hashsalt": salt}
        mpl.rcParams.update(rules)
        # The reader's typefaces have letters that the one measured with has not.
        warnings.filterwarnings("ignore", message=r"Glyph .* missing from")
        yield


def _panel(chart: Chart, panel: Panel, limits: Pair, name: str) -> ET.Element:
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    figure = _drawn(Layout(panel, limits))
    paper = io.StringIO()
    FigureCanvasSVG(figure).print_figure(paper, format="svg", metadata={"Date": None})
    element = tidied(paper.getvalue(), f"{name}-")
    several = len(chart.panels) > 1
    titles = dict.fromkeys(filter(None, map(one_line, (chart.title, panel.title))))
    said = {"title": ": ".join(titles) or "Picture", "desc": one_line(panel.alt if several else chart.alt)}
    for place, (tag, text) in enumerate(said.items()):
        if text:
            words = ET.Element(tag, {"id": f"{name}-{tag}"})
            words.text = text
            element.insert(place, words)
    element.attrib |= {
        "class": "panel",
        "role": "img",
        "aria-labelledby": " ".join(f"{name}-{tag}" for tag, text in said.items() if text),
        "width": f"{WIDTH:g}pt",  # as printed; a page may give it more or less room
        "font-family": TYPEFACES,
        "stroke-linejoin": "round",
    }
    return element


def _drawn(layout: Layout) -> Figure:
    """The panel on paper of its own size, one unit a point."""
    pen = _Pen(layout)
    pen.scale()
    pen.axes()
    numbers: Counter[str] = Counter()
    for each in layout.panel.series:
        style = numbers[each.kind] if each.style is None else each.style
        numbers[each.kind] += 1
        pen.series(each, style)
        if each in layout.keyed:
            words = layout.keys[layout.keyed.index(each)][1]
            pen.marks((words.x - 5.0,), (words.y + 0.35 * SIZE,), style)
            pen.words(words)
    for words in (*layout.under, *layout.beside_circles, *layout.names(), layout.x_label, layout.y_label):
        pen.words(words)
    for label in layout.end_labels:
        pen.words(label.words)
        pen.leader(label)
    pen.words(layout.title, TITLE_SIZE, weight="bold")
    return pen.figure


class _Pen:
    """Puts marks and words on the paper of one panel."""

    def __init__(self, layout: Layout) -> None:
        from matplotlib.figure import Figure
        from matplotlib.transforms import Bbox, IdentityTransform

        self.layout = layout
        self.figure = Figure(figsize=(WIDTH / 72.0, layout.height / 72.0), dpi=72)
        self.figure.patch.set_visible(False)
        self.points = IdentityTransform()
        self.plot = Bbox.from_extents(layout.left, layout.bottom, layout.right, layout.top)

    # ------------------------------------------------------------ what stands around

    def scale(self) -> None:
        """A pale line for each figure beside the plot; a darker one for zero where values go below it."""
        layout = self.layout
        sides = (layout.left, layout.right)
        y = [at for place, _ in layout.y_marks for at in (layout.up(place), layout.up(place), nan)]
        self.line((*sides, nan) * len(layout.y_marks), y, PALE, below=True)
        if layout.y_limits[0] < 0.0:
            self.line(sides, (layout.up(0.0),) * 2, DARK, below=True)
        for words in layout.y_words:
            self.words(words)

    def axes(self) -> None:
        """Two thin lines, with a stroke for each word below or with the circles to be filled in."""
        layout = self.layout
        x = [layout.left, layout.left, layout.right]
        y = [layout.top, layout.bottom, layout.bottom]
        for place, _ in () if layout.blanks else layout.x_words:
            x += [nan, layout.across(place), layout.across(place)]
            y += [nan, layout.bottom, layout.bottom - 2.0]
        self.line(x, y, BLACK)
        for each in layout.blanks:
            across = [layout.across(place) for place in each.x]
            self.line(across, [layout.circles_at] * len(across), BLACK, 0, marker=("o", layout.circle, False))

    def words(self, words: Words, size: float = SIZE, **more: Any) -> None:
        for number, line in enumerate(words.lines):
            self.figure.text(
                words.x,
                words.y - number * size * LINE,
                line,
                transform=self.points,
                fontsize=size,
                ha=words.anchor,
                va="baseline",
                parse_math=False,
                **more,
            )

    def leader(self, label: EndLabel) -> None:
        """A stroke from the end of a line to its words, where they could not stand beside it."""
        x, y = label.end
        to, beside = label.beside
        if abs(beside - y) > NEAR or self.layout.right - x > FAR:
            self.line((x + 3.0, to), (y, beside), LIGHT)

    # ------------------------------------------------------------ what the panel is about

    def series(self, series: Series, style: int) -> None:
        layout = self.layout
        x = [layout.across(value) for value in series.x]
        y = [layout.up(value) for value in series.y]
        match series.kind:
            case "line":
                dashes, _, _, grey = LINES[style % len(LINES)]
                self._cut(self.line(x, y, grey, 1.2, dashes=dashes), y)
                every = ceil(len(x) / MOST_MARKERS) if len(x) > MOST_MARKERS + 2 else 1
                first = style * every // len(LINES)  # so that markers of lines close together lie apart
                self._cut(self.marks(x[first::every], y[first::every], style), y)
            case "points":
                self._cut(self.marks(x, y, style), y)
            case "band":
                self.fill(series.x, series.low, series.high, style)
            case "area":
                self.fill(series.x, [0.0] * len(x), series.y, style)
            case "blanks":
                pass  # they stand below the axis

    def marks(self, x: Sequence[float], y: Sequence[float], style: int) -> Line2D:
        _, marker, filled, grey = LINES[style % len(LINES)]
        return self.line(x, y, grey, 0, marker=(marker, 3.4, filled))

    def line(
        self,
        x: Sequence[float],
        y: Sequence[float],
        grey: str,
        width: float = 0.5,
        *,
        dashes: Any = "-",
        marker: tuple[str, float, bool] | None = None,
        below: bool = False,
    ) -> Line2D:
        """A line through points of the paper, or marks on them (shape, size, whether filled)."""
        from matplotlib.lines import Line2D

        line = Line2D(x, y, color=grey, linewidth=width, linestyle=dashes if width else "none")
        line.set_transform(self.points)
        if below:
            line.set_zorder(0)
        if marker is not None:
            shape, size, filled = marker
            line.set(marker=shape, markersize=size, markerfacecolor=grey if filled else "white")
        self.figure.add_artist(line)
        return line

    def fill(self, x: Sequence[float], low: Sequence[float], high: Sequence[float], style: int) -> None:
        """What lies between two lines; a thin edge where it is hatched, so that it ends somewhere."""
        from matplotlib.patches import Polygon

        layout = self.layout
        whole = [each for each in zip(x, low, high, strict=True) if len(finite(each)) == 3]
        if not whole:
            return
        there = self._thinned([(layout.across(place), layout.up(top)) for place, _, top in whole])
        back = self._thinned([(layout.across(place), layout.up(bottom)) for place, bottom, _ in whole[::-1]])
        grey, hatch = FILLS[style % len(FILLS)]
        polygon = Polygon(
            [*there, *back],
            facecolor=grey,
            edgecolor=DARK if hatch else "none",
            hatch=hatch or None,
            linewidth=0.5 if hatch else 0.0,
            transform=self.points,
        )
        self.figure.add_artist(polygon)
        self._cut(polygon, [y for _, y in (*there, *back)])

    @staticmethod
    def _thinned(edge: Sequence[Pair]) -> list[Pair]:
        """The same edge without corners that nobody would see; lines the library thins out by itself."""
        from matplotlib.path import Path

        if len(edge) < MANY:
            return list(edge)
        corners = np.asarray(Path(edge).cleaned(simplify=True).vertices)
        return [(float(x), float(y)) for x, y in corners[:-1]]  # the last one is a full stop

    def _cut(self, artist: Artist, y: Sequence[float]) -> None:
        """Leave out what lies outside the plot, where anything does and the scale was given."""
        if min(y, default=inf) < self.layout.bottom - 1.0 or max(y, default=-inf) > self.layout.top + 1.0:
            artist.set_clip_box(self.plot)
