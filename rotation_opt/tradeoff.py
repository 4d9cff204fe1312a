"""Money against weeds: what each step towards fewer of them costs.

Plans with most money under one limit on the burden after another, each search starting from what the earlier
ones met. New limits go where the price of being cleaner changes most.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from .arrays import SelectionData
from .columns import Paths
from .errors import NoPlanError
from .formulate import Figures, Goal
from .select import Selected, select, weighted_burden
from .sequences import Pool

CURVE_GAP = 1e-2  # share of the money at which the search for one point may stop
NARROW = 0.02  # stretches of less than this share of the whole way are not looked into
SURE = 0.02  # a gap above this is said plainly
KNEE = 0.05  # a bend that stands less than this share off the straight line is none
STEEPER = 3.0  # price after a bend against the one before it
TINY = 1e-9

Downside = Callable[[Paths], float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """The plan with most money found under one limit on the burden.

    Parameters
    ----------
    limit : float or None
        Most burden that was allowed. [ha of full-strength stand]
    burden : float
        Likely burden of the plan, the years weighted as in `Goal`. [ha of full-strength stand]
    money : float
        Present value, in currency.
    bound : float or None
        No plan within ``limit`` brings more; None if not known.
    labour_h : float
        Hours a year.
    downside : float or None
        Another figure of the plan, where one was asked for.
    bend : float
        How far the point stands off the straight line between the two ends: share of the way in burden
        less share of the way in money.
    mark : {"", "knee", "bend"}
        The knee stands farthest off that line; at other bends being cleaner gets dearer at once.
    """

    limit: float | None
    paths: Paths
    figures: Figures
    burden: float
    money: float
    bound: float | None
    labour_h: float
    downside: float | None = None
    bend: float = 0.0
    mark: Literal["", "knee", "bend"] = ""

    @property
    def gap(self) -> float | None:
        """Share of the money by which a better plan within the limit could still exist."""
        if self.bound is None:
            return None
        return max(0.0, self.bound - self.money) / max(abs(self.money), TINY)


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """Points from most burden to least, each with less money than the one before.

    Parameters
    ----------
    points : tuple of Point
    least_gap : float or None
        How far the burden of the last point may be from the least that can be reached, as a share.
    missed : tuple of float
        Limits under which no plan of whole fields was found. [ha of full-strength stand]
    pools : tuple of Pool
        All that was met.
    cut_short : bool
        Whether a search was ended before its work was done.
    """

    points: tuple[Point, ...]
    least_gap: float | None
    missed: tuple[float, ...]
    pools: tuple[Pool, ...]
    cut_short: bool

    @property
    def knee(self) -> Point | None:
        """The point that stands farthest off the straight line between the two ends."""
        return next((point for point in self.points if point.mark == "knee"), None)

    def doubts(self) -> tuple[str, ...]:
        """What is not sure about the curve, in plain sentences."""
        said = []
        if self.missed:
            said.append("Under some tighter limits on the weeds no plan of whole fields was found.")
        if self.least_gap is None or self.least_gap > SURE:
            could = "" if self.least_gap is None else f" by up to {self.least_gap:.0%} of their roots"
            said.append(f"Plans with fewer weeds than the last line{could} are not ruled out.")
        wide = [point.gap for point in self.points if point.gap is None or point.gap > SURE]
        if wide:
            known = [gap for gap in wide if gap is not None]
            could = f" by up to {max(known):.0%}" if len(known) == len(wide) else ""
            said.append(f"In {len(wide)} of the lines more money at as few weeds is not ruled out{could}.")
        return tuple(said)


def curve(
    data: SelectionData,
    richest: Selected,
    cleanest: Selected,
    points: int = 8,
    *,
    gap: float = CURVE_GAP,
    time_limit: float = 120.0,
    pulled: Callable[[], bool] = lambda: False,
    downside: Downside | None = None,
) -> Curve:
    """Money against burden.

    Parameters
    ----------
    data : SelectionData
    richest, cleanest : Selected
        Plans for most money and for least burden: the two ends.
    points : int
        Searches, the two ends among them; there are fewer points where plans fall together.
    gap : float
        Share of the money at which the search for one point may stop.
    time_limit : float
        Emergency brake of each search. [s]
    pulled : callable
        Asked now and then whether to stop.
    downside : callable, optional
        Another figure to reckon for each plan.
    """
    first, last = _point(data, richest, downside), _point(data, cleanest, downside)
    found = front([first, last])
    missed: list[float] = []
    settled: list[float] = []
    pools, cut_short = _together(richest, cleanest), richest.cut_short or cleanest.cut_short
    for _ in range(points - 2):
        limit = next_limit(found, [*missed, *settled])
        if limit is None or pulled():
            break
        if proven_within(found, limit, gap):  # a search would end where it begins
            settled.append(limit)
            continue
        try:
            chosen = select(
                data,
                Goal(kind="most_money", burden_most=limit),
                pools=pools,
                gap=gap,
                quick=True,
                time_limit=time_limit,
                pulled=pulled,
            )
        except NoPlanError:
            missed.append(limit)
            continue
        pools, cut_short = chosen.pools, cut_short or chosen.cut_short
        found = front([*found, _point(data, chosen, downside)])
    return Curve(
        points=marked(lowered(found)),
        least_gap=cleanest.gap,
        missed=tuple(missed),
        pools=pools,
        cut_short=cut_short or pulled(),
    )


def including(data: SelectionData, found: Curve, richest: Selected) -> Curve:
    """The same curve with a plan that has more money than all its points."""
    return replace(found, points=marked(lowered(front([*found.points, _point(data, richest, None)]))))


def _together(richest: Selected, cleanest: Selected) -> tuple[Pool, ...]:
    """The pools to start from: those of the later search know what the earlier one met."""
    return cleanest.pools or richest.pools


def _point(data: SelectionData, chosen: Selected, downside: Downside | None) -> Point:
    """A plan with what is proven about its money: that of the cleanest is the most among the cleanest."""
    return Point(
        limit=chosen.burden_most,
        paths=chosen.paths,
        figures=chosen.figures,
        burden=weighted_burden(data, chosen.figures),
        money=chosen.figures.worth,
        bound=chosen.money_bound,
        labour_h=float(chosen.figures.labour_h[1:].sum()) / data.years,
        downside=None if downside is None else downside(chosen.paths),
    )


def front(points: Sequence[Point]) -> list[Point]:
    """The points that no other one beats in both, from most burden to least.

    The plan of one that beats another within its limit takes its place, with what is proven about it.
    """
    kept: list[Point] = []
    for point in sorted(points, key=lambda each: (each.burden, -each.money)):
        if kept and point.money <= kept[-1].money + TINY * abs(point.money):
            kept[-1] = _wider(kept[-1], point)
        else:
            kept.append(point)
    return kept[::-1]


def _wider(better: Point, beaten: Point) -> Point:
    """The better plan is also the best known within the limit of the beaten one."""
    if beaten.bound is None or (better.bound is not None and _room(better) >= _room(beaten)):
        return better
    return replace(better, limit=beaten.limit, bound=beaten.bound)


def lowered(points: Sequence[Point]) -> list[Point]:
    """The same points, none with a larger bound than one under a looser limit: more is not possible there."""
    result = []
    for point in points:
        looser = [
            other.bound
            for other in points
            if other.bound is not None
            and (other.limit is None or (point.limit is not None and other.limit >= point.limit))
        ]
        result.append(replace(point, bound=min(looser, default=None)))
    return result


def _room(point: Point) -> float:
    """Burden up to which nothing better than the plan is known."""
    return point.burden if point.limit is None else max(point.limit, point.burden)


def next_limit(points: Sequence[Point], missed: Sequence[float] = ()) -> float | None:
    """Where to look next: the middle of the stretch over which the price of being cleaner changes most.

    Between the limit of one point and the burden of the next richer one; stretches with a limit in ``missed``
    (that no plan keeps, or where nothing more can be found) are not looked into again.
    """
    if len(points) < 2:
        return None
    whole = points[0].burden - points[-1].burden
    prices = [price_between(rich, poor) for rich, poor in pairwise(points)]
    best: tuple[float, float, float] | None = None
    for place, (rich, poor) in enumerate(pairwise(points)):
        low, high = _room(poor), rich.burden
        if high - low <= NARROW * whole or any(low < limit < high for limit in missed):
            continue
        beside = prices[max(0, place - 1) : place + 2]
        change = (max(beside) - min(beside)) * (high - low)
        if best is None or (change, prices[place]) > best[:2]:
            best = (change, prices[place], 0.5 * (low + high))
    return None if best is None else best[2]


def proven_within(points: Sequence[Point], limit: float, gap: float) -> bool:
    """Whether the best plan known within a limit is proven to lack no more than ``gap`` of its money."""
    known = max(point.money for point in points if point.burden <= limit)
    looser = [
        point.bound
        for point in points
        if point.bound is not None and (point.limit is None or point.limit >= limit)
    ]
    return min(looser, default=np.inf) - known <= gap * abs(known)


def price_between(richer: Point, cleaner: Point) -> float:
    """Money given up for each hectare of full-strength stand less."""
    return (richer.money - cleaner.money) / max(richer.burden - cleaner.burden, TINY)


def marked(points: Sequence[Point]) -> tuple[Point, ...]:
    """The same points with how far each stands off the straight line, the knee and other clear bends."""
    if len(points) < 3:
        return tuple(points)
    first, last = points[0], points[-1]
    bends = [
        (first.burden - point.burden) / (first.burden - last.burden)
        - (first.money - point.money) / (first.money - last.money)
        for point in points
    ]
    knee = int(np.argmax(bends))
    result = []
    for place, (point, bend) in enumerate(zip(points, bends, strict=True)):
        mark: Literal["", "knee", "bend"] = ""
        if 0 < place < len(points) - 1 and bend > KNEE:
            before = price_between(points[place - 1], point)
            after = price_between(point, points[place + 1])
            mark = "knee" if place == knee else "bend" if after > STEEPER * before else ""
        result.append(replace(point, bend=bend, mark=mark))
    return tuple(result)
