"""The root reserve through a season, a day at a time for all programmes, weeds and draws together.

With R the reserve (1 = undisturbed stand on 1 November), S the standing shoots as a share of what the root
can raise, E the share that would stand undisturbed (E0 without the delay that inversion brings: shoots on
their long way up live on the root too), A the heat the stand has had since its shoots came up,
q the day's degree-days, T its mean temperature and t the share of full light the weed gets::

    dR = gain q sun f(t) leaf(A) S R^a (1 - (R/K)^(1-a))   leaves refill the store
         - draw q E0 young(A) R                            a young stand lives on it
         - shoot_cost (new shoots) R                       each new set of shoots is paid from it
         - upkeep Q10^((T-10)/10) R                        living roots use it up

    sun = radiation of the day against midsummer
    f(t) = (t - light_dark) / (light_full - light_dark)    within 0..1
    leaf(A) = (A - compensation_heat) / leaf_heat          within 0..1
    young(A) = 1 - A / compensation_heat                   within 0..1

Shoots do not depend on R (R only scales their number), so S and A are followed once for all starting
reserves; and on the scale ``u = R^(1-a)`` the equation is linear. Each day is therefore solved exactly
as ``u -> kept u + added``, and so is a whole season: two numbers say what it does from *any* starting
reserve, the reserve stays between 0 and K in any weather, and a larger start never ends smaller.

Nothing a pass does can raise the reserve: with fewer or younger shoots less is refilled, more is drawn and
more shoots are new. The same holds for less light.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rotation_opt.climate import DAYS, Climate, index_of, season_of
from rotation_opt.weeds.emergence import ShootCalendar, shoot_calendar
from rotation_opt.weeds.parameters import WeedParameters
from rotation_opt.weeds.pressure import Pressure, spring_targets, undisturbed

Array = NDArray[np.float64]

LATE_AUTUMN_DAY = 304  # 1 November: the day for which R = 1 is defined
STEPS_A_DAY = 4
_REFERENCE_C = 10.0  # upkeep is stated at this temperature


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """What one climate means to the weeds, day by day; W weeds, D draws.

    Attributes
    ----------
    heat, warmth, sun : ndarray (days,)
        Degree-days above 0 C, mean temperature, and radiation against midsummer of each day.
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
    calendar: ShootCalendar
    gain: Array
    reserve_in_bud: Array


@dataclass(slots=True, kw_only=True)
class State:
    """Where all programmes stand, shape (G, W, D); changed in place by `step`.

    Attributes
    ----------
    shoots, age : ndarray
        S and A.
    kept, added : ndarray
        On the linear scale the start `u` has become ``kept * u + added``.
    """

    shoots: Array
    age: Array
    kept: Array
    added: Array

    @classmethod
    def fresh(cls, shape: tuple[int, int, int]) -> State:
        """A bare stubble: no shoots, nothing gained or lost yet."""
        return cls(shoots=np.zeros(shape), age=np.zeros(shape), kept=np.ones(shape), added=np.zeros(shape))

    def begin(self, which: NDArray[np.int64], shoots: Array, age: Array) -> None:
        """Start the programmes `which` today with these shoots (n, W) left of their old age (W, D)."""
        self.shoots[which] = shoots[..., None]
        self.age[which] = np.where(shoots[..., None] > 0.0, age, 0.0)
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
    shoots_left : ndarray (G,)
    store_left : ndarray (G, W)
    weeds : WeedParameters
    """
    state.shoots *= shoots_left[:, None, None]
    state.age *= state.shoots > 0.0
    if (store_left < 1.0).any():
        dead = (1.0 - store_left[..., None]) * (1.0 - weeds.fragment_regrowth)
        left = np.power(1.0 - dead, weeds.power)
        state.kept *= left
        state.added *= left


def step(
    state: State,
    heat: float,
    warmth: float,
    *,
    target: Array,
    full: Array,
    waking: Array,
    light_factor: Array,
    gain: Array,
    weeds: WeedParameters,
    days: float = 1.0,
) -> None:
    """One day (or part of one) of growth, exact for the reserve, in place.

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
    light_factor : ndarray (G, W, D)
        f(t) of the module text, times sun.
    gain : ndarray (W, D)
    weeds : WeedParameters
    days : float
        Length of the step; `heat` belongs to the step.
    """
    power = weeds.power
    upkeep = weeds.upkeep * weeds.upkeep_q10 ** ((warmth - _REFERENCE_C) / 10.0) * days
    aim = target[..., None]
    if not full.any():  # winter: no shoots, only upkeep
        state.shoots.fill(0.0)
        state.age.fill(0.0)
        fade = np.exp(-power * upkeep)
        state.kept *= fade
        state.added *= fade
        return
    missing = np.exp(-heat * waking[:, None] / weeds.regrow_heat)
    before = np.minimum(state.shoots, aim)
    new = aim - before
    half = new * (1.0 - np.sqrt(missing))  # up by the middle of the step
    new *= 1.0 - missing
    middle, shoots = before + half, before + new
    old = state.age * before  # sum over shoots; those that come up gain half of the heat since
    age = old + (0.5 * heat) * (before + 0.5 * half)
    np.divide(age, middle, out=age, where=middle > 0.0)
    old += heat * (before + 0.5 * new)
    np.divide(old, shoots, out=old, where=shoots > 0.0)
    leaf = np.clip((age - weeds.compensation_heat) / weeds.leaf_heat, 0.0, 1.0)
    young = np.clip(1.0 - age / weeds.compensation_heat, 0.0, 1.0)
    refill = light_factor * leaf
    refill *= middle
    refill *= gain * heat * power
    loss = young
    loss *= weeds.draw * heat * full[:, None] * power
    new *= weeds.shoot_cost * power
    loss += new
    loss += upkeep * power
    loss += refill * weeds.reserve_cap**-power
    fade = np.exp(-loss)
    refill *= 1.0 - fade
    refill /= loss
    state.kept *= fade
    state.added *= fade
    state.added += refill
    state.shoots = shoots
    state.age = old


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
        Steps a day; with 4, halving the step changes a year by less than 1 % (tested).
    """
    days, groups = pressure.shoots_left.shape
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
        (pressure.shoots_left < 1.0).any(axis=1) | (pressure.store_left < 1.0).any(axis=(1, 2))
    )
    calendar = surroundings.calendar
    targets, kind = spring_targets(calendar, weeds, pressure.delay)
    full_grown = weeds.compensation_heat + weeds.leaf_heat
    for day in range(int(pressure.start.min(initial=0)), int(note.max(initial=0)) + 1):
        if day in begins:
            which = begins[day]
            state.begin(which, pressure.start_shoots[which][:, None] * calendar.target[day], full_grown)
        for n, those in enumerate(notes):
            if day in those:
                which = those[day]
                noted[0, n, which] = state.kept[which]
                noted[1, n, which] = state.added[which]
                noted[2, n, which] = state.shoots[which]
        if first <= day <= last:
            open_ = ((count_from <= day) & (day <= count_to))[..., None] & (state.shoots > best)
            for k, values in enumerate((state.kept, state.added, state.shoots)):
                np.copyto(counted[k], values, where=open_)
            np.copyto(best, state.shoots, where=open_)
        if day >= days:
            break
        if worked[day]:
            disturb(state, pressure.shoots_left[day], pressure.store_left[day], weeds)
        target = targets[kind, day]
        factor = light_response(pressure.light[day], weeds)
        factor *= surroundings.sun[day]
        for _ in range(parts):
            step(
                state,
                surroundings.heat[day] / parts,
                surroundings.warmth[day],
                target=target,
                full=calendar.target[day],
                waking=calendar.waking[day],
                light_factor=factor,
                gain=surroundings.gain,
                weeds=weeds,
                days=1.0 / parts,
            )
    return Course(
        kept=noted[0],
        added=noted[1],
        shoots=noted[2],
        counted_kept=counted[0],
        counted_added=counted[1],
        counted_shoots=counted[2],
    )


def settle(climate: Climate, weeds: WeedParameters) -> Surroundings:
    """Surroundings of one climate, with the gain that lets a stand left alone hold R = 1 on 1 November.

    So R is a share of what an undisturbed stand in full light comes to at this place, and doing nothing
    for years neither raises nor lowers it.

    Raises
    ------
    ValueError
        If no gain does it, because the cap K is 1 or less.
    """
    if (weeds.reserve_cap <= 1.0).any():
        raise ValueError("reserve_cap must be more than 1, the reserve of an undisturbed stand")
    calendar = shoot_calendar(climate, weeds)
    heat, warmth = climate.season_heat(0.0), season_of(climate.mean_temperature)
    sun = season_of(sun_share(climate))
    autumn = index_of(LATE_AUTUMN_DAY)
    count, shape = len(weeds.weeds), (len(weeds.weeds), len(weeds.draws))
    bud = calendar.bud_day + index_of(0)
    tried = np.geomspace(*_GAINS, _TRIED)[:, None, None] * np.ones(shape)
    for last in (False, False, True):
        alone = undisturbed(len(heat), _TRIED, count)
        note = np.array([autumn - DAYS, autumn, *bud], dtype=np.int64)[:, None].repeat(_TRIED, axis=1)
        window = np.zeros((_TRIED, count), dtype=np.int64)
        around = Surroundings(
            heat=heat, warmth=warmth, sun=sun, calendar=calendar, gain=tried, reserve_in_bud=np.ones(shape)
        )
        course = run(around, alone, weeds, note, count_from=window, count_to=window)
        # from 1 November of one year to that of the next, on the linear scale, from u = 1
        kept = course.kept[1] / course.kept[0]
        after = kept + course.added[1] - kept * course.added[0]
        above = np.clip((after < 1.0).sum(axis=0), 1, _TRIED - 1)[None]
        low, high = (np.take_along_axis(tried, above - k, axis=0)[0] for k in (1, 0))
        if not last:
            tried = low * (high / low) ** np.linspace(0.0, 1.0, _TRIED)[:, None, None]
    worse, better = (np.take_along_axis(after, above - k, axis=0)[0] for k in (1, 0))
    gain = low + (high - low) * (1.0 - worse) / (better - worse)
    start = (1.0 - course.added[0]) / course.kept[0]  # u on 1 July that makes 1 on 1 November
    scaled = np.stack(
        [course.kept[2 + w, :, w] * start[:, w] + course.added[2 + w, :, w] for w in range(count)], axis=1
    )
    in_bud = from_scale(np.maximum(np.take_along_axis(scaled, above, axis=0)[0], 0.0), weeds.power)
    return Surroundings(
        heat=heat, warmth=warmth, sun=sun, calendar=calendar, gain=gain, reserve_in_bud=in_bud
    )


_GAINS = (1e-5, 0.1)  # far below and far above anything that holds a stand
_TRIED = 24  # gains tried together


def to_scale(reserve: Array | float, power: Array | float) -> Array:
    """Reserve R on the linear scale, ``R^(1-a)``."""
    return np.asarray(np.power(reserve, power), dtype=np.float64)


def from_scale(scaled: Array | float, power: Array | float) -> Array:
    """Reserve from the linear scale."""
    return np.asarray(np.power(scaled, 1.0 / np.asarray(power)), dtype=np.float64)


def _by_day(index: Sequence[int] | NDArray[np.int64], days: int) -> dict[int, NDArray[np.int64]]:
    """Which programmes have their turn on each day index."""
    index = np.asarray(index, dtype=np.int64)
    if ((index < 0) | (index > days)).any():
        raise ValueError(f"day index outside 0..{days}")
    order = np.argsort(index, kind="stable")
    cuts = np.flatnonzero(np.diff(index[order])) + 1
    return {int(index[part[0]]): part for part in np.split(order, cuts) if len(part)}
