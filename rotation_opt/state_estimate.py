"""What counts of the years done say of the weeds: the courses of `bands.Bands`, weighed by Bayes' rule.

Before anything is counted the courses (draws of weed figures, weather, and errors of practices) count alike.
Each course foretells shoots per m2 at bud stage for every field and year done; its weight is multiplied by
the likelihood of what was counted there. Each weed has weights of its own: weeds have figures and errors of
their own, so counts of one say nothing of another. The courses set out from the first count, with its doubt,
and go on into the years to come from the roots that they have led to.

Where a weed of a field was counted further off than `MOST_SPREADS`, no course is a guide there. That count
then says nothing of the figures of the weed elsewhere, and the courses there are moved to it. Counts of later
years are held against the courses moved.

Few courses may be left when many counts are sharp. The likelihood is then raised to the largest power, at
most 1, with which at least `LEAST_EFFECTIVE` courses still count (one over the sum of squared weights). The
band is then wider than Bayes' rule alone would have it, never narrower: our judgement.

What is likely moves by the usual linear rule of regression in logs: from the likely course, by the part of
what was counted beside it that the courses say belongs to the figure asked for. Counts that are as the likely
course foretold leave it where it is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rotation_opt.arrays import NOT_FARMED, SelectionData
from rotation_opt.bands import BAND, BandCourse, Bands, Belief, three
from rotation_opt.counts_held import NO_SHOOTS, Likelihood, Used, When, usable
from rotation_opt.groundwork import Groundwork
from rotation_opt.records import Programme, Roots
from rotation_opt.scouting_log import Visit

Array = NDArray[np.float64]
Three = tuple[float, float, float]

_SEED = 20261128
COURSES_A_DRAW = 50  # more than for a band alone: most of them will count for little
LEAST_EFFECTIVE = 40.0  # courses; our judgement: a tenth of them is then still more than a few
MOST_SPREADS = 3.0  # a count further off tells that the models are wrong there [judgement]


Place = tuple[str, str]  # field, weed


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """The weeds at the end of the last year done, before and after the counts.

    Attributes
    ----------
    belief : Belief
        For the bands of later years.
    effective : float
        Courses that still count, for the weed of which fewest do.
    power : float
        To which its likelihood was raised; 1 = Bayes' rule as it stands.
    roots : mapping
        (field, weed) -> low, likely, high living root on 1 November of the last year done, as share of a
        full stand: before the counts, after them.
    likely : mapping
        (field, weed) -> likely roots after the counts, from which the years to come set out.
    shoots : mapping
        (field, weed, year) -> low, likely, high shoots per m2 at bud stage: before the counts, after them.
    moved : mapping
        (field, weed) -> newest year in which it was counted too far off: no older count speaks for it.
    left_out : tuple
        Visits that could not be used, with the reason.
    """

    belief: Belief
    effective: float
    power: float
    roots: Mapping[Place, tuple[Three, Three]]
    likely: Mapping[Place, Roots]
    shoots: Mapping[When, tuple[Three, Three]]
    moved: Mapping[Place, int]
    left_out: tuple[tuple[Visit, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Foretold:
    """What the courses foretell of the years done, before any count of them.

    Attributes
    ----------
    data : SelectionData
    done : tuple
        Practices really done, field by field, one a year.
    bands : Bands
        In which they were followed.
    courses : tuple of BandCourse
        One a field.
    courses_a_draw : int
        Courses for each set of weed figures beside the likely one.
    """

    data: SelectionData
    done: tuple[tuple[int, ...], ...]
    bands: Bands
    courses: tuple[BandCourse, ...]
    courses_a_draw: int


def foretold(
    ground: Groundwork,
    data: SelectionData,
    done: Sequence[Sequence[int]],
    *,
    courses_a_draw: int = COURSES_A_DRAW,
    as_done: Mapping[tuple[int, int], Programme] | None = None,
) -> Foretold:
    """Follow the courses through the years done.

    Parameters
    ----------
    ground : Groundwork
        Of the farm as it was before the first year done.
    data : SelectionData
        Of the same farm.
    done : sequence of sequence of int
        Practices really done, field by field, one a year.
    courses_a_draw : int
        Courses for each set of weed figures beside the likely one.
    as_done : mapping, optional
        Seasons as they were really dated, as of `Bands`.
    """
    bands = Bands(ground, data, [done], courses_a_draw=courses_a_draw, as_done=as_done)
    return Foretold(
        data=data,
        done=tuple(tuple(path) for path in done),
        bands=bands,
        courses=tuple(bands.course(field, path) for field, path in enumerate(done)),
        courses_a_draw=courses_a_draw,
    )


def estimate(before: Foretold, visits: Sequence[Visit], log_likelihood: Likelihood) -> Estimate:
    """Hold the counts of the years done against the courses.

    Parameters
    ----------
    before : Foretold
    visits : sequence
        Of the scouting log.
    log_likelihood : callable
        Of a visit's counts, given expected shoots per m2, (K,) -> (K,).

    Returns
    -------
    Estimate
    """
    data, count = before.data, before.courses[0].shoots.shape[2]
    used, left_out = usable(visits, data, before.done, before.courses, log_likelihood)
    courses, since, moved = _with_moves(before, used)
    own = [[each for each in since if each.visit.weed == weed] for weed in data.weeds]
    alone = set(moved) - {each.when[:2] for each in since}
    weighed = [_weights(mine, log_likelihood, count) for mine in own]
    seen = [_Seen(mine) if mine else None for mine in own]
    roots: dict[Place, tuple[Three, Three]] = {}
    reserve: dict[Place, Array] = {}
    autumn: dict[Place, Array] = {}
    likely: dict[Place, Roots] = {}
    shoots: dict[When, tuple[Three, Three]] = {}
    for land, path, course, after in zip(data.fields, before.done, before.courses, courses, strict=True):
        for w, weed in enumerate(data.weeds):
            if land.infested_share[w] <= 0.0:
                continue
            place, weights = (land.name, weed), weighed[w][0]
            told = None if place in alone else seen[w]
            for year in (each for each, practice in enumerate(path) if practice != NOT_FARMED):
                shoots[*place, data.first_year + year] = (
                    three(course.shoots[year, w]),
                    _after(after.shoots[year, w], weights, told),
                )
            if path[-1] != NOT_FARMED:
                reserve[place], autumn[place] = after.reserve[-1, w], after.autumn[-1, w]
                in_autumn = _after(autumn[place], weights, told)
                at_harvest = _after(reserve[place], weights, told)
                roots[place] = three(course.autumn[-1, w]), in_autumn
                likely[place] = Roots(at_harvest=at_harvest[1], in_autumn=in_autumn[1])
    fewest = min(weighed, key=lambda each: effective(each[0]))
    return Estimate(
        belief=Belief(
            weeds=data.weeds,
            courses_a_draw=before.courses_a_draw,
            years_done=len(before.done[0]),
            weights=np.array([weights for weights, _ in weighed]),
            reserve=reserve,
            autumn=autumn,
        ),
        effective=effective(fewest[0]),
        power=fewest[1],
        roots=roots,
        likely=likely,
        shoots=shoots,
        moved=moved,
        left_out=tuple(left_out),
    )


# ---------------------------------------------------------------- counts far off


def _with_moves(
    before: Foretold, used: Sequence[Used]
) -> tuple[list[BandCourse], list[Used], dict[Place, int]]:
    """The courses, moved to each count too far off, year by year; the counts since then; the years of moves.

    A course that is moved goes through the count, with its doubt, whatever it did before.
    """
    data, courses = before.data, list(before.courses)
    number = {land.name: place for place, land in enumerate(data.fields)}
    counted: dict[str, dict[tuple[int, int], Array]] = {}
    moved: dict[Place, int] = {}

    def foretold(one: Used) -> Array:
        field, weed, year = one.when
        shoots = courses[number[field]].shoots[year - data.first_year, data.weeds.index(weed)]
        return np.asarray(np.maximum(shoots, NO_SHOOTS))

    for one in sorted({each.when: each for each in used}.values(), key=lambda each: each.when[2]):
        if one.counted.spreads_off(foretold(one)) > MOST_SPREADS:
            field, weed, year = one.when
            drawn = np.random.default_rng([_SEED, *f"{field}: {weed}".encode()]).normal(
                size=one.foretold.size
            )
            drawn[0] = 0.0
            shoots = one.counted.mean * np.exp(np.sqrt(one.counted.doubt) * drawn)
            counted.setdefault(field, {})[year - data.first_year, data.weeds.index(weed)] = shoots
            place = number[field]
            courses[place] = before.bands.course(place, before.done[place], counted[field])
            moved[field, weed] = year
    since = [each for each in used if each.when[2] > moved.get(each.when[:2], 0)]
    return courses, [replace(each, foretold=foretold(each)) for each in since], moved


# ---------------------------------------------------------------- weights


def effective(weights: Array) -> float:
    """How many courses still count: one over the sum of squared weights."""
    return float(1.0 / np.square(weights).sum())


def _weights(used: Sequence[Used], log_likelihood: Likelihood, count: int) -> tuple[Array, float]:
    """Weight of each course, (K,), none for the likely one, and the power of the likelihood."""
    total = np.zeros(count)
    for each in used:
        total += each.log_likelihood(log_likelihood)
    logs = np.nan_to_num(total[1:], nan=-np.inf, neginf=-np.inf)
    possible = np.isfinite(logs)
    if not possible.any():  # no course allows these counts: they say nothing of which is true
        logs, possible = np.zeros_like(logs), np.ones_like(possible)
    logs = np.where(possible, logs - logs[possible].max(), -np.inf)
    least = min(LEAST_EFFECTIVE, float(possible.sum()))
    power = 1.0
    if effective(_shares(logs, 1.0)) < least:
        low, high = 0.0, 1.0
        for _ in range(50):
            power = (low + high) / 2.0
            low, high = (power, high) if effective(_shares(logs, power)) >= least else (low, power)
        power = low
    return np.concatenate([[0.0], _shares(logs, power)]), power


def _shares(logs: Array, power: float) -> Array:
    """Weights that add up to 1; impossible courses stay out at any power."""
    raised = np.where(np.isfinite(logs), np.exp(power * np.where(np.isfinite(logs), logs, 0.0)), 0.0)
    return np.asarray(raised / raised.sum())


def weighted_band(courses: Array, weights: Array) -> tuple[float, float]:
    """Low and high of weighted courses, each (K,): eight in ten of the weight lie between.

    Parameters
    ----------
    courses, weights : ndarray (K,)
        The first course, the likely one, is left out.
    """
    order = np.argsort(courses[1:], kind="stable")
    values, share = courses[1:][order], weights[1:][order]
    middle = np.cumsum(share) - share / 2.0
    low, high = np.interp(BAND, middle / share.sum(), values)
    return float(low), float(high)


# ---------------------------------------------------------------- what is likely


class _Seen:
    """What was counted, in logs: V field-weed-years, K courses."""

    def __init__(self, used: Sequence[Used]) -> None:
        every = {one.when: one for one in used}.values()
        self.foretold = np.log([one.foretold for one in every])
        self.seen = np.log([one.counted.mean for one in every])
        self.doubt = np.array([one.counted.doubt for one in every])

    def shift(self, courses: Array) -> float:
        """By how much the log of a figure, (K,), moves from its likely course."""
        apart = self.foretold[:, 1:] - self.foretold[:, 1:].mean(axis=1, keepdims=True)
        figure = np.log(np.maximum(courses[1:], 1e-12))
        together = apart @ (figure - figure.mean()) / figure.size
        spread = apart @ apart.T / figure.size + np.diag(self.doubt)
        return float(together @ np.linalg.solve(spread, self.seen - self.foretold[:, 0]))


def _after(courses: Array, weights: Array, seen: _Seen | None) -> Three:
    """Low, likely and high of some courses, (K,), after the counts; of none, as they are."""
    if seen is None and np.ptp(weights[1:]) == 0.0:
        return three(courses)
    low, high = weighted_band(courses, weights)
    shift = 0.0 if seen is None else seen.shift(courses)
    likely = float(courses[0]) * float(np.exp(np.clip(shift, -20.0, 20.0)))
    return low, float(np.clip(likely, low, high)), high
