"""How long it takes to work out what seasons do to weeds, on one core: seconds, memory, and how both grow.

Run from the top folder, on a quiet machine: ``python tests/benchmarks/bench_response.py``.

Sixty practices of the demo farm Tamarack Hollow after each other, as far as one can follow the other there;
of pairs in which everything is alike (harvest before, stands, residue, work on its days) one is simulated.
Eight weeds: the tables hold four creeping ones, so each is taken twice. Twenty sets of weed figures, one
year of weather, and the reserve after the season from each of twelve starts. Held against 20 seconds and
2 GB. The annual weeds are timed beside it, for the same seasons.

One core: the variables below hold every library that numpy may use to one thread, and no process is started.
Seconds by the clock depend on what else runs; seconds of the processor much less, and rates and ratios are
taken from these.
"""

from __future__ import annotations

import math
import os
import resource
import sys
import time
from collections.abc import Callable, Sequence
from itertools import pairwise
from pathlib import Path
from typing import TypeVar

sys.path.insert(0, str(Path(__file__).parents[2]))
# read when numpy is loaded, so set before that
os.environ["OMP_NUM_THREADS"] = "1"
os.environ["OPENBLAS_NUM_THREADS"] = "1"
os.environ["MKL_NUM_THREADS"] = "1"
os.environ["BLIS_NUM_THREADS"] = "1"
os.environ["VECLIB_MAXIMUM_THREADS"] = "1"

import numpy as np

import rotation_opt
from rotation_opt import tables
from rotation_opt.annuals import annual_seasons
from rotation_opt.climate import Climate, for_farm, index_of, weather_years
from rotation_opt.practices import dated_practices
from rotation_opt.records import Programme
from rotation_opt.season import Response, respond
from rotation_opt.tables import Tables
from rotation_opt.timetable import all_programmes
from rotation_opt.varieties import fitted
from rotation_opt.weeds.parameters import DYNAMIC, LIKELY, WeedParameters, weed_parameters
from rotation_opt.weeds.pressure import Pressure, Works, spring_targets
from rotation_opt.weeds.reserve import LATE_AUTUMN_DAY, STEPS_A_DAY, YOUNG, Surroundings, settle

FARM = "tamarack_hollow"
PRACTICES = 60
WEEDS = ("creeping_thistle", "field_bindweed", "perennial_sow_thistle", "couch_grass") * 2
SECONDS_MOST, MEMORY_MOST_MB = 20.0, 2048.0
HANDFUL = 4  # seasons that are followed by the plain loop too
ALIKE = 1e-9
ROUNDS = 3  # the quickest of so many counts where small differences are looked at
PART = 4  # one season in so many is used to see how time grows


Found = TypeVar("Found")


def timed(what: Callable[[], Found]) -> tuple[float, float, Found]:
    """Seconds by the clock, seconds of the processor, and what came out."""
    clock, processor = time.perf_counter(), time.process_time()
    found = what()
    return time.perf_counter() - clock, time.process_time() - processor, found


def peak_mb() -> float:
    """Largest memory of this process so far. [MB]"""
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most / (1024 * 1024 if sys.platform == "darwin" else 1024)


def programmes() -> tuple[list[Programme], Climate, Tables]:
    """Seasons of sixty practices, spread evenly over the list of the farm, after each other."""
    farm = rotation_opt.read_farm(rotation_opt.example_farm(FARM))
    climate = for_farm(farm, tables.read())
    own = fitted(tables.read(), climate)
    practice_list = dated_practices(farm, own, climate)
    every, _, _ = all_programmes(practice_list, climate, own, farm.region)
    keys = [each.key for each in practice_list.practices]
    chosen = {keys[round(place)] for place in np.linspace(0, len(keys) - 1, PRACTICES)}
    if len(chosen) != PRACTICES:
        raise SystemExit(f"{FARM} has {len(keys)} practices, fewer than {PRACTICES}")
    return [each for each in every if {each.previous, each.practice} <= chosen], climate, own


def node_steps(seasons: Sequence[Programme], weeds: int, draws: int) -> int:
    """Steps of one weed with one set of figures, from the harvest before to 1 November of each season."""
    days = sum(autumn_of(each) - index_of(each.start_day) for each in seasons)
    return days * STEPS_A_DAY * weeds * draws


def autumn_of(programme: Programme) -> int:
    return index_of(max(LATE_AUTUMN_DAY, programme.harvest_day))


# ---------------------------------------------------------------- the same, as a plain loop


def plain_loop(
    seasons: Sequence[Programme],
    pressure: Pressure,
    around: Surroundings,
    weeds: WeedParameters,
    draws: Sequence[int],
) -> np.ndarray:
    """Growth and crowding to the own harvest and to 1 November: (seasons, weeds, draws, 4)."""
    targets, kind = spring_targets(around.calendar, weeds, pressure.delay)
    found = np.empty((len(seasons), len(weeds.weeds), len(draws), 4))
    for g, season in enumerate(seasons):
        for w in range(len(weeds.weeds)):
            days = [
                series.tolist()
                for series in (
                    around.heat,
                    around.warmth,
                    around.sun,
                    pressure.light[:, g, w],
                    pressure.leaf[:, g, w],
                    pressure.shoots_left[:, g, w],
                    pressure.store_left[:, g, w],
                    targets[kind[g], :, w],
                    around.calendar.target[:, w],
                    around.calendar.waking[:, w],
                )
            ]
            ends = (index_of(season.harvest_day), autumn_of(season))
            for place, d in enumerate(draws):
                left = float(pressure.start_shoots[g]) * days[8][int(pressure.start[g])]
                course = one_course(days, int(pressure.start[g]), ends, left, figures_of(weeds, around, w, d))
                found[g, w, place] = course
    return found


def figures_of(weeds: WeedParameters, around: Surroundings, w: int, d: int) -> dict[str, float]:
    """The numbers of one weed in one set of figures."""
    return {name: float(getattr(weeds, name)[w, d]) for name in DYNAMIC} | {"gain": float(around.gain[w, d])}


def one_course(
    days: Sequence[Sequence[float]], start: int, ends: tuple[int, int], left: float, of: dict[str, float]
) -> tuple[float, float, float, float]:
    """One weed through one season with one set of figures, a number at a time."""
    heats, warmths, suns, lights, leafs, shoots_left, store_left, targets, fulls, wakings = days
    stages = [0.0] * (YOUNG + 1) + [left]
    kept, added = 1.0, 0.0
    notes = []
    span = of["light_full"] - of["light_dark"]
    for day in range(start, ends[1] + 1):
        notes += [(kept, added) for end in ends if end == day]
        if day == ends[1] or day == len(heats):
            break
        stages = [each * shoots_left[day] for each in stages]
        if store_left[day] < 1.0:
            alive = 1.0 - (1.0 - store_left[day]) * (1.0 - of["fragment_regrowth"])
            kept, added = kept / alive, added / alive
        bright = min(max((lights[day] - of["light_dark"]) / span, 0.0), 1.0)
        factor = bright * suns[day] * leafs[day] * of["gain"]
        heat = heats[day] / STEPS_A_DAY
        upkeep = of["upkeep"] * of["upkeep_q10"] ** ((warmths[day] - 10.0) / 10.0) / STEPS_A_DAY
        back = 1.0 - math.exp(-heat * wakings[day] / of["regrow_heat"])
        young = YOUNG * heat / of["compensation_heat"]
        stay, left_growing = math.exp(-young), math.exp(-heat / of["leaf_heat"])
        aim, full = targets[day], fulls[day]
        for _ in range(STEPS_A_DAY):
            standing = sum(stages)
            if standing > aim:
                stages = [each * (aim / standing) for each in stages]
                standing = aim
            leaves = 0.5 * stages[YOUNG] + stages[YOUNG + 1]
            green = stages[YOUNG] + stages[YOUNG + 1]
            new = (aim - standing) * back
            stages[0] += 0.5 * new
            first, second, third, growing, grown = stages
            before = first + second + third
            third = (third + young * (second + 0.5 * young * first)) * stay
            second = (second + young * first) * stay
            first *= stay
            came = before - first - second - third
            still = growing * left_growing + came * math.sqrt(left_growing)
            stages = [first + 0.5 * new, second, third, still, grown + growing + came - still]
            leaves = 0.5 * heat * (leaves + 0.5 * stages[YOUNG] + stages[YOUNG + 1])
            green = 0.5 * (green + stages[YOUNG] + stages[YOUNG + 1])
            loss = of["draw"] * heat * max(full - green, 0.0) + of["shoot_cost"] * new + upkeep
            income = leaves * factor
            net = loss - income
            change = math.expm1(net)
            kept *= change + 1.0
            added = added * (change + 1.0) + income / of["reserve_cap"] * (change / net if net else 1.0)
    (kept, added), (late_kept, late_added) = notes
    return 1.0 / kept, added / kept, 1.0 / late_kept, late_added / late_kept


# ---------------------------------------------------------------- what is printed


def all_tables(response: Response) -> int:
    """Work out the tables over the starts, and how many numbers they hold."""
    return sum(each.size for each in (response.end_reserve, response.autumn_reserve, response.shoots_per_m2))


def line(what: str, value: str, more: str = "") -> None:
    print(f"  {what:38s}{value:>12s}   {more}".rstrip())


def held(value: float, most: float) -> str:
    return f"of {most:,.0f}: {'kept' if value <= most else 'MISSED'}"


def whole(some: Sequence[Programme], climate: Climate, own: Tables, draws: Sequence[str]) -> float:
    """All tables of all seasons; the rate. [node-steps per second]"""

    def work() -> tuple[Response, int]:
        response = respond(some, climate, own, WEEDS, draws)
        return response, all_tables(response)

    clock, processor, (response, numbers) = timed(work)
    peak = peak_mb()
    distinct = [some[place] for place in np.unique(response.group, return_index=True)[1]]
    steps = node_steps(distinct, len(WEEDS), len(draws))
    print(f"{PRACTICES} practices of {FARM} after each other, {len(WEEDS)} weeds (four, each twice),")
    print(f"{len(draws)} sets of weed figures, one year of weather, {STEPS_A_DAY} steps a day")
    line("pairs", f"{len(some):,}", f"distinct seasons {len(distinct):,}")
    line("seconds by the clock", f"{clock:.1f}", held(clock, SECONDS_MOST))
    line("seconds of the processor", f"{processor:.1f}")
    line("largest memory, MB", f"{peak:,.0f}", held(peak, MEMORY_MOST_MB))
    line("numbers in the tables", f"{numbers:,}", f"from {len(response.starts)} starts")
    rate = steps / processor
    line("node-steps, millions", f"{steps / 1e6:,.0f}", f"{rate / 1e6:.0f} million a second")
    del response

    clock, processor, seeds = timed(lambda: annual_seasons([(one, None) for one in distinct], climate, own))
    print(f"{seeds.kept.shape[1]} annual weeds, seed of the same {len(distinct):,} seasons, three courses")
    line("seconds by the clock", f"{clock:.1f}")
    line("seconds of the processor", f"{processor:.1f}")
    line("largest memory so far, MB", f"{peak_mb():,.0f}")
    return rate


def side_by_side(
    some: Sequence[Programme], climate: Climate, own: Tables, draws: Sequence[str], rate: float
) -> None:
    """A handful of seasons as a plain loop: the same figures, and by how much slower."""
    handful = some[:: len(some) // HANDFUL][:HANDFUL]
    weeds, names = WEEDS[: len(WEEDS) // 2], draws[:2]
    parameters = weed_parameters(own, weeds, names)
    around = settle(climate, parameters)
    pressure = Works(climate, own, parameters).pressure(handful, around.heat, around.calendar)
    _, processor, plain = timed(lambda: plain_loop(handful, pressure, around, parameters, range(len(names))))
    _, few, response = timed(lambda: respond(handful, climate, own, weeds, names))
    arrays = np.stack(
        [response.growth, response.crowding, response.autumn_growth, response.autumn_crowding], axis=-1
    )
    off = float(np.max(np.abs(plain - arrays) / np.maximum(np.abs(arrays), ALIKE)))
    steps = node_steps(handful, len(weeds), len(names))
    slow = steps / processor
    print(f"The same steps as a plain loop, {len(handful)} seasons, {len(weeds)} weeds, {len(names)} sets")
    line("node-steps, millions a second", f"{slow / 1e6:.2f}")
    line("arrays, all seasons together", f"{rate / 1e6:.2f}", f"{rate / slow:.0f} times as fast")
    line("arrays, these seasons alone", f"{steps / few / 1e6:.2f}", f"{processor / few:.1f} times as fast")
    line("largest relative difference", f"{off:.0e}", f"in growth and crowding; at most {ALIKE:.0e}")
    if not off <= ALIKE:
        raise SystemExit(f"the plain loop and the arrays differ by more than {ALIKE}")


def growth(some: Sequence[Programme], climate: Climate, own: Tables, draws: Sequence[str]) -> None:
    """How time grows with sets of figures and with years of weather, on a part of the seasons."""
    part = some[::PART]
    years = [year.climate for year in weather_years(climate, own)]
    years = [years[place % len(years)] for place in range(4)]  # a farm without a record has three kinds

    def follow(sets: int, count: int) -> float:
        def work() -> None:
            for year in years[:count]:
                respond(part, year, own, WEEDS, draws[:sets], home=climate)

        return timed(work)[1]

    follow(1, 1)  # what is read once is read now
    print(
        f"How time grows, {len(part)} pairs, seconds of the processor; sets: the quickest of {ROUNDS} rounds"
    )
    rounds = [{count: follow(count, 1) for count in (5, 10, 20)} for _ in range(ROUNDS)]
    sets = {count: min(each[count] for each in rounds) for count in (5, 10, 20)}
    each = (sets[20] - sets[5]) / 15
    fixed = sets[5] - 5 * each
    for count, seconds in sets.items():
        line(f"{count} sets of figures", f"{seconds:.2f}", f"a straight line: {fixed + count * each:.2f}")
    line("crops, work and light, once for all", f"{fixed:.2f}", f"and {each:.3f} for each set")
    step = (sets[20] - sets[10]) / (sets[10] - sets[5])
    line("10 to 20 against 5 to 10", f"{step:.2f}", "2 = linear")
    took = {count: follow(len(draws), count) for count in (1, 2, 4)}
    for count, seconds in took.items():
        line(f"{count} {'years' if count > 1 else 'year'} of weather", f"{seconds:.2f}")
    for (few, before), (many, after) in pairwise(took.items()):
        line(f"{many} years against {few}", f"{after / before:.2f}", "2 = linear")


def main() -> None:
    """Run all of it."""
    some, climate, own = programmes()
    draws = [name for name in own.draws if name != LIKELY]
    print("One core: every library that numpy may use is held to one thread.")
    rate = whole(some, climate, own, draws)
    side_by_side(some, climate, own, draws, rate)
    growth(some, climate, own, draws)


if __name__ == "__main__":
    main()
