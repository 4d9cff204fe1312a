"""What each season does to the weed, and what seasons run one after the other leave."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rotation_opt.climate import DAYS, index_of
from rotation_opt.trials.fields import FIRST_DAY, LAST_DAY, Fields
from rotation_opt.weeds.parameters import WeedParameters
from rotation_opt.weeds.reserve import State, disturb, grow_shoots, holding_gain, light_response, refill
from rotation_opt.weeds.response import growth_and_crowding, reserve_after

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

STANDING_DAY = 243  # 1 September
LOW_DAYS = tuple(range(120, 212, 10))  # May to July
COUNTING_DAYS = 21  # shoots are counted on the day with most of them in the three weeks up to bud stage

# growth, crowding and standing shoots of each season, (G, D), by measure
Outcome = Mapping[str, tuple[Array, Array, Array]]


def outcome_of(fields: Fields, weeds: WeedParameters, parts: int) -> Outcome:
    """The daily step of ``weeds/reserve.py`` for the seasons of all stations together.

    `run` has one climate for all its programmes; here each season has its own, so heat and the like go
    into the same steps as one number a season.
    """
    shape = (len(fields.place), 1, len(weeds.draws))
    gain = station_gain(fields, weeds, parts)[fields.place]
    state = State.fresh(shape)
    noted: dict[int, tuple[Array, Array, Array]] = {}
    count = np.zeros((3, *shape))
    count[0], best = 1.0, np.full(shape, -1.0)
    wanted = {index_of(day) for day in (*LOW_DAYS, STANDING_DAY, LAST_DAY)}
    first, last = int(fields.bud.min()) - COUNTING_DAYS, int(fields.bud.max())
    for day in range(index_of(FIRST_DAY), index_of(LAST_DAY) + 1):
        if day in wanted:
            noted[day] = state.kept.copy(), state.added.copy(), state.shoots
        if first <= day <= last:
            window = (fields.bud - COUNTING_DAYS <= day) & (day <= fields.bud)
            shoots = state.shoots
            better = window[:, None, None] & (shoots > best)
            for k, values in enumerate((state.kept, state.added, shoots)):
                np.copyto(count[k], values, where=better)
            np.copyto(best, shoots, where=better)
        if day == index_of(LAST_DAY):
            break
        disturb(state, fields.shoots_left[day][:, None], fields.store_left[day][:, None], weeds)
        refilled = light_response(fields.light[day][:, None], weeds)
        refilled *= fields.sun[day][:, None, None] * gain
        weather = _weather(fields, day, slice(None), parts) | {"target": fields.target[day][:, None]}
        for _ in range(parts):
            loss, leaves = grow_shoots(state, **weather, weeds=weeds, days=1.0 / parts)
            leaves *= refilled
            refill(state, loss, leaves, weeds.reserve_cap)
    found = {f"low{day}": noted[index_of(day)] for day in LOW_DAYS}
    found |= {"reserve": noted[index_of(LAST_DAY)], "standing": noted[index_of(STANDING_DAY)]}
    found["shoots"] = (count[0], count[1], count[2])
    return {
        name: (*growth_and_crowding(kept[:, 0], added[:, 0]), shoots[:, 0])
        for name, (kept, added, shoots) in found.items()
    }


def follow(path: Sequence[int], start: float, outcome: Outcome, measure: str, power: Array) -> Array:
    """What stands at the end of seasons run one after the other, (D,)."""
    growth, crowding, _ = outcome["reserve"]
    reserve = np.full(growth.shape[1], start)
    for group in path[:-1]:
        reserve = reserve_after(growth[group], crowding[group], reserve)
    if measure == "low":
        parts = [outcome[f"low{day}"] for day in LOW_DAYS]
        lows = [reserve_after(growth[path[-1]], crowding[path[-1]], reserve) for growth, crowding, _ in parts]
        return np.asarray(np.min(lows, axis=0))
    growth, crowding, shoots = outcome[measure]
    after = reserve_after(growth[path[-1]], crowding[path[-1]], reserve)
    return after if measure == "reserve" else shoots[path[-1]] * np.power(after, power)


def station_gain(fields: Fields, weeds: WeedParameters, parts: int) -> Array:
    """Refill at each station, (S, 1, D), that lets a stand left alone hold its ground: as `settle` finds it.

    `settle` does one station at a time; here all are followed together, which is many times faster.
    """
    autumn = index_of(LAST_DAY)
    first = np.array([int((fields.place == n).argmax()) for n in range(len(fields.stations))])
    state = State.fresh((len(first), 1, len(weeds.draws)))
    loss, leaves = np.empty((2, DAYS * parts, *state.kept.shape))
    for day in range(autumn):
        weather = _weather(fields, day, first, parts)
        for part in range(parts):
            spent, brought = grow_shoots(state, **weather, weeds=weeds, days=1.0 / parts)
            if day >= autumn - DAYS:
                row = (day - autumn + DAYS) * parts + part
                loss[row] = spent
                leaves[row] = brought * fields.alone[day, first][:, None, None]
    return holding_gain(loss, leaves, weeds.reserve_cap)


def _weather(fields: Fields, day: int, which: Whole | slice, parts: int) -> dict[str, Any]:
    """A day as `grow_shoots` wants it, with one number for each of the fields `which`."""
    return {
        "heat": fields.heat[day, which][:, None, None] / parts,
        "warmth": fields.warmth[day, which][:, None, None],
        "target": fields.full[day, which][:, None],
        "full": fields.full[day, which][:, None],
        "waking": fields.waking[day, which][:, None],
    }
