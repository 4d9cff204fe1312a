"""The root reserve through a season, a day at a time for all programmes, weeds and draws together.

With R the reserve (1 = undisturbed stand on 1 November), S the standing shoots as a share of what the root
can raise, E0 the share that would stand undisturbed (without the delay that inversion brings: shoots on their
long way up live on the root too), q the day's degree-days, T its mean temperature and t the share of full
light the weed gets::

    dR = gain q sun h f(t) leaf R (1 - R/K)            leaves refill the store, less as the ground fills
         - draw q (E0 - green) R                       young shoots live on it
         - shoot_cost (new shoots) R                   each new set of shoots is paid from it
         - upkeep Q10^((T-10)/10) R                    living roots use it up

    sun = radiation of the day against midsummer
    h = leaf that the height of the shoots lets them carry, against full height
    f(t) = (t - light_dark) / (light_full - light_dark)    within 0..1
    green = shoots past the turning point, leaf = half of those growing + all full grown

Shoots pass through stages: young (three steps, together ``compensation_heat`` long in the mean), growing
(``leaf_heat``), full grown. Work takes its share of every stage, so what a partial pass leaves goes on
as it was. Passing on is by heat, linear, so a shoot taken and replaced is never further on than it was.

Shoots do not depend on R (R only scales their number), so they are followed once for all starting
reserves; and in ``u = 1/R`` the equation is linear. Each day is therefore solved exactly as
``u -> kept u + added``, and so is a whole season: from any reserve R it leaves::

    R' = growth R / (1 + crowding R)          growth = 1 / kept, crowding = added / kept

``growth`` is what the season multiplies a thin stand by, ``crowding`` what holds a dense one down. The
reserve stays between 0 and K in any weather, and a larger start never ends smaller.

Nothing a pass does to shoots or roots can raise the reserve: with fewer or younger shoots less is refilled,
more is drawn and more shoots are new. The same holds for less light. It need not hold for what the pass does
beside that: a cut that opens the crop lets light in, and shoots that inversion makes later may come up after
the next pass has gone by.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rotation_opt.climate import DAYS, Climate, index_of, season_of
from rotation_opt.weeds.emergence import ShootCalendar, shoot_calendar
from rotation_opt.weeds.parameters import WeedParameters
from rotation_opt.weeds.pressure import Pressure, light_course, spring_targets

Array = NDArray[np.float64]

LATE_AUTUMN_DAY = 304  # 1 November: the day for which R = 1 is defined
STEPS_A_DAY = 2
_REFERENCE_C = 10.0  # upkeep is stated at this temperature


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """What one climate means to the weeds, day by day; W weeds, D draws.

    Attributes
    ----------
    heat, warmth, sun : ndarray (days,)
        Degree-days above 0 C, mean temperature, and radiation against midsummer of each day.
    alone : ndarray (days, W)
        Leaf of an undisturbed stand in full light (h of the module text) times sun.
    calendar : ShootCalendar
        Its ``target`` and ``waking`` run over the same days.
    gain : ndarray (W, D)
        Refill a degree-day with which an undisturbed stand just holds R = 1 on 1 November here.
    reserve_in_bud : ndarray (W, D)
        Reserve of that stand when in bud; shoots are counted as a share of its shoots.
    """

    heat: Array
    warmth: Array
    sun: Array
    alone: Array
    calendar: ShootCalendar
    gain: Array
    reserve_in_bud: Array


YOUNG = 3  # steps of the young stage: shoots of one day reach the turning point within about half of its heat
_GROWING, _GROWN = YOUNG, YOUNG + 1


@dataclass(slots=True, kw_only=True)
class State:
    """Where all programmes stand; changed in place by `disturb`, `grow_shoots` and `refill`.

    Attributes
    ----------
    stages : ndarray (YOUNG + 2, G, W, D)
        Shoots of each stage, as a share of what the root can raise.
    kept, added : ndarray (G, W, D)
        Of ``u = 1/R``: the start `u` has become ``kept * u + added``.
    """

    stages: Array
    kept: Array
    added: Array

    @classmethod
    def fresh(cls, shape: tuple[int, int, int]) -> State:
        """A bare stubble: no shoots, nothing gained or lost yet."""
        return cls(stages=np.zeros((YOUNG + 2, *shape)), kept=np.ones(shape), added=np.zeros(shape))

    @property
    def shoots(self) -> Array:
        """S of the module text, (G, W, D)."""
        return np.asarray(self.stages.sum(axis=0))

    def begin(self, which: NDArray[np.int64], shoots: Array) -> None:
        """Start the programmes `which` today with these full-grown shoots (n, W) left."""
        self.stages[:, which] = 0.0
        self.stages[_GROWN, which] = shoots[..., None]
        self.kept[which] = 1.0
        self.added[which] = 0.0


def light_response(light: Array, weeds: WeedParameters) -> Array:
    """f(t) of the module text; `light` (..., W), result (..., W, D)."""
    span = weeds.light_full - weeds.light_dark
    return np.asarray(np.clip((light[..., None] - weeds.light_dark) / span, 0.0, 1.0))


def sun_share(climate: Climate) -> Array:
    """Radiation above the atmosphere on each day as a share of its yearly maximum, shape (365,).

    FAO Irrigation and Drainage Paper 56 (Allen et al. 1998), equations 21 and 23-25.
    """
    day = (np.arange(DAYS) + climate.shift_days) % DAYS + 1
    latitude = np.radians(climate.latitude)
    turn = 2.0 * np.pi * day / 365.0
    distance = 1.0 + 0.033 * np.cos(turn)
    declination = 0.409 * np.sin(turn - 1.39)
    sunset = np.arccos(np.clip(-np.tan(latitude) * np.tan(declination), -1.0, 1.0))
    received = distance * (
        sunset * np.sin(latitude) * np.sin(declination)
        + np.cos(latitude) * np.cos(declination) * np.sin(sunset)
    )
    return np.asarray(received / received.max())


def disturb(state: State, shoots_left: Array, store_left: Array, weeds: WeedParameters) -> None:
    """Apply a day's work.

    Parameters
    ----------
    state : State
    shoots_left : ndarray (G, W)
    store_left : ndarray (G, W)
    weeds : WeedParameters
    """
    state.stages *= shoots_left[..., None]
    if (store_left < 1.0).any():
        dead = (1.0 - store_left[..., None]) * (1.0 - weeds.fragment_regrowth)
        left = 1.0 - dead
        state.kept /= left
        state.added /= left


def grow_shoots(
    state: State,
    heat: float,
    warmth: float,
    *,
    target: Array,
    full: Array,
    waking: Array,
    weeds: WeedParameters,
    days: float = 1.0,
) -> tuple[Array, Array]:
    """One day (or part of one) of shoots, in place; what it costs the root and what the leaves could bring.

    Parameters
    ----------
    state : State
    heat : float
        Degree-days above 0 C in this step.
    warmth : float
        Mean temperature, C.
    target : ndarray (G, W)
        E of the module text.
    full, waking : ndarray (W,)
        E0 of the module text, and as in `ShootCalendar`.
    weeds : WeedParameters
    days : float
        Length of the step; `heat` belongs to the step.

    Returns
    -------
    loss : ndarray (G, W, D)
        Share of the reserve spent (in log).
    leaves : ndarray (G, W, D)
        ``q leaf`` of the module text.
    """
    upkeep = weeds.upkeep * (weeds.upkeep_q10 ** ((warmth - _REFERENCE_C) / 10.0) * days)
    stages = state.stages
    if not full.any():  # winter: no shoots, only upkeep
        stages.fill(0.0)
        return upkeep + np.zeros_like(state.kept), np.zeros_like(state.kept)
    aim = target[..., None]
    standing = stages.sum(axis=0)
    if (standing > aim).any():  # frost ends shoots of all stages alike
        stages *= np.minimum(1.0, np.divide(aim, standing, out=np.ones_like(standing), where=standing > 0.0))
        np.minimum(standing, aim, out=standing)
    leaves = 0.5 * stages[_GROWING]
    leaves += stages[_GROWN]
    green = stages[_GROWING] + stages[_GROWN]
    new = aim - standing
    new *= 1.0 - np.exp(-heat * waking[:, None] / weeds.regrow_heat)
    stages[0] += 0.5 * new
    _pass_on(stages, YOUNG * heat / weeds.compensation_heat, heat / weeds.leaf_heat)
    stages[0] += 0.5 * new
    # means of the step
    leaves += 0.5 * stages[_GROWING]
    leaves += stages[_GROWN]
    leaves *= 0.5 * heat
    green += stages[_GROWING]
    green += stages[_GROWN]
    loss = full[:, None] - 0.5 * green
    np.maximum(loss, 0.0, out=loss)
    loss *= weeds.draw * heat
    new *= weeds.shoot_cost
    loss += new
    loss += upkeep
    return loss, leaves


def _pass_on(stages: Array, young: Array, growing: Array) -> None:
    """Let shoots pass through their stages, in place; heat of the step in units of a step of each stage.

    Exact for the three young steps, up to two of them at once; from there on each comes in half way.
    """
    stay = np.exp(-young)
    first, second, third = stages[0].copy(), stages[1], stages[2]
    before = first + second + third
    third += young * (second + 0.5 * young * first)
    third *= stay
    second += young * first
    second *= stay
    stages[0] *= stay
    came = before - stages[0] - second - third
    left = np.exp(-growing)
    still = stages[_GROWING] * left + came * np.sqrt(left)
    stages[_GROWN] += stages[_GROWING] + came - still
    stages[_GROWING] = still


def refill(state: State, loss: Array, income: Array, cap: Array) -> None:
    """Take a step's loss and income (both in log, for a thin stand) into the reserve: exact, in place.

    Within a step ``du/dt = (loss - income) u + income / K``.
    """
    net = loss - income
    change = np.expm1(net)
    income = income / cap
    income *= np.divide(change, net, out=np.ones_like(net), where=net != 0.0)
    change += 1.0
    state.kept *= change
    state.added *= change
    state.added += income


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """What a run found on the days asked for; N days, G programmes, W weeds, D draws.

    Attributes
    ----------
    kept, added, shoots : ndarray (N, G, W, D)
        State at the start of each of the days asked for (before that day's work).
    counted_kept, counted_added, counted_shoots : ndarray (G, W, D)
        State on the day of the counting window with most shoots standing.
    """

    kept: Array
    added: Array
    shoots: Array
    counted_kept: Array
    counted_added: Array
    counted_shoots: Array


def run(
    surroundings: Surroundings,
    pressure: Pressure,
    weeds: WeedParameters,
    note: NDArray[np.int64],
    *,
    count_from: NDArray[np.int64],
    count_to: NDArray[np.int64],
    parts: int = STEPS_A_DAY,
) -> Course:
    """Run all programmes over the season axis.

    Parameters
    ----------
    surroundings, pressure, weeds
        See these records.
    note : ndarray (N, G) of int
        Day indices on which each programme's state is noted.
    count_from, count_to : ndarray (G, W) of int
        First and last day index of the counting window.
    parts : int
        Steps a day; with 2, halving the step changes a year by less than 1 % (tested).
    """
    days, groups, _ = pressure.shoots_left.shape
    shape = (groups, len(weeds.weeds), len(weeds.draws))
    state = State.fresh(shape)
    noted = np.zeros((3, len(note), *shape))
    counted = np.zeros((3, *shape))
    counted[0] = 1.0
    best = np.full(shape, -1.0)
    begins = _by_day(pressure.start, days)
    notes = [_by_day(row, days) for row in note]
    first, last = int(count_from.min(initial=days)), int(count_to.max(initial=-1))
    worked = np.asarray(
        (pressure.shoots_left < 1.0).any(axis=(1, 2)) | (pressure.store_left < 1.0).any(axis=(1, 2))
    )
    calendar = surroundings.calendar
    targets, kind = spring_targets(calendar, weeds, pressure.delay)
    for day in range(int(pressure.start.min(initial=0)), int(note.max(initial=0)) + 1):
        if day in begins:
            which = begins[day]
            state.begin(which, pressure.start_shoots[which][:, None] * calendar.target[day])
        for n, those in enumerate(notes):
            if day in those:
                which = those[day]
                noted[0, n, which] = state.kept[which]
                noted[1, n, which] = state.added[which]
                noted[2, n, which] = state.stages[:, which].sum(axis=0)
        if first <= day <= last:
            shoots = state.shoots
            open_ = ((count_from <= day) & (day <= count_to))[..., None] & (shoots > best)
            for k, values in enumerate((state.kept, state.added, shoots)):
                np.copyto(counted[k], values, where=open_)
            np.copyto(best, shoots, where=open_)
        if day >= days:
            break
        if worked[day]:
            disturb(state, pressure.shoots_left[day], pressure.store_left[day], weeds)
        target = targets[kind, day]
        factor = light_response(pressure.light[day], weeds)
        factor *= (surroundings.sun[day] * pressure.leaf[day])[..., None]
        factor *= surroundings.gain
        for _ in range(parts):
            loss, leaves = grow_shoots(
                state,
                surroundings.heat[day] / parts,
                surroundings.warmth[day],
                target=target,
                full=calendar.target[day],
                waking=calendar.waking[day],
                weeds=weeds,
                days=1.0 / parts,
            )
            leaves *= factor
            refill(state, loss, leaves, weeds.reserve_cap)
    return Course(
        kept=noted[0],
        added=noted[1],
        shoots=noted[2],
        counted_kept=counted[0],
        counted_added=counted[1],
        counted_shoots=counted[2],
    )


def settle(climate: Climate, weeds: WeedParameters, home: Climate | None = None) -> Surroundings:
    """Surroundings of one climate, with the gain that lets a stand left alone hold R = 1 on 1 November.

    So R is a share of what an undisturbed stand in full light comes to at this place, and doing nothing
    for years neither raises nor lowers it. With `home`, gain and reserve in bud are those of that climate:
    in a single year of a place a stand need not hold its own.

    Raises
    ------
    ValueError
        If no gain does it, because the cap K is too near to 1.
    """
    if (weeds.reserve_cap <= 1.0).any():
        raise ValueError("reserve_cap must be more than 1, the reserve of an undisturbed stand")
    calendar = shoot_calendar(climate, weeds)
    heat, warmth = climate.season_heat(0.0), season_of(climate.mean_temperature)
    sun = season_of(sun_share(climate))
    bare = np.zeros((len(heat), 1))
    _, leaf, _ = light_course(
        bare,
        bare,
        low_left=bare + 1.0,
        start=np.zeros(1, dtype=np.int64),
        heat=heat,
        daylength_h=season_of(climate.day_length()),
        calendar=calendar,
        weeds=weeds,
    )
    alone = sun[:, None] * leaf[:, 0]
    if home is None:
        loss, leaves = _left_alone(heat, warmth, alone, calendar=calendar, weeds=weeds)
        gain = holding_gain(loss, leaves, weeds.reserve_cap)
        if np.isnan(gain).any():
            raise ValueError(
                f"no gain holds an undisturbed stand of {' or '.join(weeds.weeds)} at {climate.key}"
            )
        # from u = 1 on 1 November to the day in bud
        bud = (calendar.bud_day + index_of(0) - (index_of(LATE_AUTUMN_DAY) - DAYS)) * STEPS_A_DAY
        kept, added = _year(loss, gain * leaves, weeds.reserve_cap)
        place = bud[None, :, None]
        in_bud = 1.0 / (np.take_along_axis(kept, place, axis=0) + np.take_along_axis(added, place, axis=0))[0]
    else:
        usual = settle(home, weeds)
        gain, in_bud = usual.gain, usual.reserve_in_bud
    return Surroundings(
        heat=heat,
        warmth=warmth,
        sun=sun,
        alone=alone,
        calendar=calendar,
        gain=gain,
        reserve_in_bud=in_bud,
    )


def _left_alone(
    heat: Array, warmth: Array, alone: Array, *, calendar: ShootCalendar, weeds: WeedParameters
) -> tuple[Array, Array]:
    """Loss, and leaves times `alone`, of each step of a year from 1 November, (steps, W, D)."""
    shape, parts = (len(weeds.weeds), len(weeds.draws)), STEPS_A_DAY
    state = State.fresh((1, *shape))
    autumn = index_of(LATE_AUTUMN_DAY)
    loss, leaves = np.empty((2, DAYS * parts, *shape))
    for day in range(autumn):
        for part in range(parts):
            spent, brought = grow_shoots(
                state,
                heat[day] / parts,
                warmth[day],
                target=calendar.target[day][None],
                full=calendar.target[day],
                waking=calendar.waking[day],
                weeds=weeds,
                days=1.0 / parts,
            )
            if day >= autumn - DAYS:
                row = (day - autumn + DAYS) * parts + part
                loss[row], leaves[row] = spent[0], brought[0] * alone[day][:, None]
    return loss, leaves


def _year(loss: Array, income: Array, cap: Array) -> tuple[Array, Array]:
    """Kept and added at the start and after each step, (steps + 1, W, D), all steps together."""
    net = loss - income
    kept = np.zeros((len(net) + 1, *net.shape[1:]))
    np.cumsum(net, axis=0, out=kept[1:])
    np.exp(kept, out=kept)
    added = np.zeros_like(kept)
    small = np.divide(np.expm1(net), net, out=np.ones_like(net), where=net != 0.0)
    np.cumsum(income / cap * small / kept[1:], axis=0, out=added[1:])
    added *= kept
    return kept, added


def holding_gain(loss: Array, leaves: Array, cap: Array) -> Array:
    """Gain with which a year of a stand left alone brings the reserve back to where it was, at 1.

    With n the sum of loss less income over the rest of the year, the year ends at ``u = exp(n from its
    start) + sum of income / K exp(n from then on)``, which falls as the gain grows.

    Parameters
    ----------
    loss, leaves : ndarray (steps, ...)
        As `grow_shoots` gives them, leaves times sun.
    cap : ndarray
        K; broadcasts against a step.

    Returns
    -------
    ndarray
        NaN where no gain does it: without leaves, with K of 1 or less, or with more upkeep between the last
        leaves and 1 November than even a store of K can bear.
    """
    year_lost, year_brought = loss.sum(axis=0), leaves.sum(axis=0)
    lost, brought = year_lost - np.cumsum(loss, axis=0), year_brought - np.cumsum(leaves, axis=0)
    green = leaves.any(axis=tuple(range(1, leaves.ndim)))
    loss, leaves, lost, brought = loss[green], leaves[green], lost[green], brought[green]

    def off(log_gain: Array) -> Array:
        gain = np.exp(log_gain)
        income = gain * leaves
        net = loss - income
        income *= np.divide(np.expm1(net), net, out=np.ones_like(net), where=net != 0.0)
        income *= np.exp(lost - gain * brought)
        end = np.exp(year_lost - gain * year_brought) + income.sum(axis=0) / cap
        return np.asarray(np.log(end))

    with np.errstate(divide="ignore", invalid="ignore"):
        guess = np.log(year_lost / (year_brought * (1.0 - 1.0 / cap)))
    low, high = guess - _WIDE, guess + _WIDE
    before, here = guess, guess + _NUDGE
    was, now = off(before), off(here)
    for _ in range(_MOST_ROUNDS):
        low, high = np.where(now > 0.0, here, low), np.where(now > 0.0, high, here)
        slope = np.divide(now - was, here - before, out=np.zeros_like(now), where=here != before)
        near = np.abs(now) < _CLOSE
        step = np.divide(-now, slope, out=np.zeros_like(now), where=(slope < 0.0) & ~near)
        there = here + step
        outside = (slope >= 0.0) | (there <= low) | (there >= high)
        before, was, here = here, now, np.where(outside & ~near, 0.5 * (low + high), there)
        now = off(here)
        if not (np.abs(now) >= _CLOSE).any():
            break
    return np.asarray(np.where(np.abs(now) < _CLOSE, np.exp(here), np.nan))


_MOST_ROUNDS = 60
_CLOSE = 1e-9
_NUDGE = 1e-2
_WIDE = 5.0


def _by_day(index: Sequence[int] | NDArray[np.int64], days: int) -> dict[int, NDArray[np.int64]]:
    """Which programmes have their turn on each day index."""
    index = np.asarray(index, dtype=np.int64)
    if ((index < 0) | (index > days)).any():
        raise ValueError(f"day index outside 0..{days}")
    order = np.argsort(index, kind="stable")
    cuts = np.flatnonzero(np.diff(index[order])) + 1
    return {int(index[part[0]]): part for part in np.split(order, cuts) if len(part)}
