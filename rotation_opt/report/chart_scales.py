"""Scales of a chart: from where to where an axis goes, and the round figures on it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from rotation_opt.report.blocks import Panel, Series

NICE = (1.0, 2.0, 2.5, 5.0, 10.0)
MOST_STEPS = 4  # few ticks: the table beside the chart has the figures

Pair = tuple[float, float]


def ticks(low: float, high: float) -> tuple[float, ...]:
    """Round figures from the last at or below ``low`` to the first at or above ``high``.

    Examples
    --------
    >>> ticks(0.0, 37.0)
    (0.0, 10.0, 20.0, 30.0, 40.0)
    >>> ticks(0.0, 0.0)
    (0.0, 1.0)
    """
    if high <= low:
        return low, low + 1.0
    rough = (high - low) / MOST_STEPS
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(nice * power for nice in NICE if nice * power >= rough * (1.0 - 1e-9))
    first = math.floor(low / step + 1e-9)
    last = math.ceil(high / step - 1e-9)
    return tuple(step * place for place in range(first, last + 1))


def tick_texts(values: Sequence[float]) -> tuple[str, ...]:
    """All ticks of one axis with the same decimals.

    Examples
    --------
    >>> tick_texts((0.0, 2.5, 5.0)), tick_texts((0.0, 20_000.0))
    (('0', '2.5', '5.0'), ('0', '20,000'))
    """
    places = next(
        (
            places
            for places in range(7)
            if all(math.isclose(value, round(value, places), abs_tol=1e-9) for value in values)
        ),
        7,
    )
    return tuple("0" if value == 0.0 else f"{value:,.{places}f}" for value in values)


def x_range(panel: Panel) -> Pair:
    """From the first to the last place on the axis; with room beside points and blanks."""
    places = finite((*(x for each in panel.series for x in each.x), *(x for x, _ in panel.x_ticks)))
    low, high = min(places, default=0.0), max(places, default=1.0)
    if high <= low:
        return low - 0.5, high + 0.5
    room = 0.05 * (high - low) if any(each.kind in {"points", "blanks"} for each in panel.series) else 0.0
    return low - room, high + room


def y_range(panel: Panel) -> Pair:
    """Least and greatest value of one panel; ``y_top`` overrules the greatest."""
    values = finite(value for each in panel.series for value in heights(each))
    places = finite(y for y, _ in panel.y_ticks)
    low, high = min((*values, *places), default=0.0), max((*values, *places), default=1.0)
    if panel.y_from_zero:
        low, high = min(low, 0.0), max(high, 0.0)
    else:
        room = 0.06 * (high - low)
        low, high = low - room, high + room
    return low, high if panel.y_top is None else panel.y_top


def heights(series: Series) -> tuple[float, ...]:
    return (*series.y, *series.low, *series.high)


def finite(values: Iterable[float]) -> tuple[float, ...]:
    return tuple(value for value in values if math.isfinite(value))


def y_ranges(panels: Sequence[Panel]) -> tuple[Pair, ...]:
    """The scale of each panel: one for all that measure the same and leave the scale to the values."""
    own = [y_range(panel) for panel in panels]
    shared: dict[str, Pair] = {}
    for panel, (low, high) in zip(panels, own, strict=True):
        if not _alone(panel):
            lowest, highest = shared.get(panel.y_label, (low, high))
            shared[panel.y_label] = (min(low, lowest), max(high, highest))
    return tuple(
        limits if _alone(panel) else shared[panel.y_label] for panel, limits in zip(panels, own, strict=True)
    )


def _alone(panel: Panel) -> bool:
    return panel.own_scale or panel.y_top is not None or bool(panel.y_ticks)
