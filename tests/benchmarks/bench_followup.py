"""Simulated growers: does following a plan up, and planning its rest anew, pay, and do the ranges hold?

Run from the top folder: ``python tests/benchmarks/bench_followup.py [GROWERS]``. Ten minutes of one core at
the most for the twelve growers it has by default.

A small invented farm has a plan of eight years, the one with most money when what the weeds left at the end
will cost is counted, made with the likely weed figures. Each grower lives in a world of his own: one set of
weed figures, not the likely one, an error of the first count, and one of each practice. He counts every
infested field at bud stage, with the clumping of the tables, and plans the rest anew after each of the first
five years; his neighbor of the same world keeps to the first plan. Both plans end in the same year, and money
and weeds of both are then worked out in that world. These worlds lie outside the mean: all practices of a
grower err to one side, by at least as much as the usual error; half of the growers have stronger weeds than
foretold, half weaker.

Beside both stands the plan that is chosen with that world known: nobody can do better by counting.

The ranges are held against other worlds, those they are made for: errors of each practice drawn by chance, a
part of them the same for all practices of a world. Years are usual ones in both: weather does not differ,
though the ranges allow for it.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parents[1]))
os.environ["OMP_NUM_THREADS"] = "1"  # read when numpy is loaded, so set before that
os.environ["OPENBLAS_NUM_THREADS"] = "1"

import numpy as np
from small_farm import MONEY, TABLES, small, with_shoots

from rotation_opt.alternatives import present_paths
from rotation_opt.arrays import SelectionData
from rotation_opt.bands import Bands, three
from rotation_opt.farm_arrays import selection_data
from rotation_opt.groundwork import Groundwork, lay
from rotation_opt.horizon import with_weeds_left
from rotation_opt.infestation import season_counted, weed_start
from rotation_opt.plan_followed import FollowedPlan
from rotation_opt.planning import of_length
from rotation_opt.records import Farm
from rotation_opt.replanning import take_stock
from rotation_opt.scouting_log import Visit
from rotation_opt.season import respond
from rotation_opt.select import evaluate, select, weighted_burden
from rotation_opt.sequences import trace
from rotation_opt.weeds.parameters import LIKELY
from rotation_opt.years_done import Done

THICKER = 3.0  # than the small farm of the tests
YEARS, PLANNED_ANEW, STOPS, FRAME_M2 = 8, 5, 12, 0.25
GROWERS = 12
WORLDS = 40  # for the ranges
YEARS_HELD, YEARS_AHEAD = 3, 4
SEED = 20_270_601


@dataclass(frozen=True)
class Made:
    """A farm worked out, and the plan that a grower would follow."""

    ground: Groundwork
    data: SelectionData
    paths: tuple[tuple[int, ...], ...]
    plan: FollowedPlan


def made(farm: Farm) -> Made:
    ground = lay(farm, TABLES)
    data, _ = with_weeds_left(ground, selection_data(ground), time_limit=60.0)
    paths = select(data, MONEY).paths
    keys = data.practice_keys
    return Made(
        ground=ground,
        data=data,
        paths=paths,
        plan=FollowedPlan(
            title="Most money",
            first_year=farm.first_year,
            years=farm.years,
            practices={
                (land.name, farm.first_year + year): keys[practice]
                for land, path in zip(data.fields, paths, strict=True)
                for year, practice in enumerate(path)
            },
            shoots_per_m2={},
        ),
    )


def world(first: Made, rng: np.random.Generator, side: int = 0) -> SelectionData:
    """The farm as it truly is: other weed figures, an error of the first count, and one of each practice.

    With a side, 1 or -1, all errors lie there, each at least as far as the usual one.
    """
    ground, data = first.ground, first.data
    draw = str(rng.choice([name for name in TABLES.draws if name != LIKELY]))
    weeds = ground.response.weeds
    true = respond(ground.programmes, ground.climate, ground.tables, weeds, [draw])
    spread, shared = (
        np.array([ground.tables.number("weed", weed, figure) for weed in weeds])
        for figure in ("season_error", "season_error_shared")
    )
    of_farm = np.sqrt(shared) * rng.normal(size=len(weeds))
    drawn = {
        key: of_farm + np.sqrt(1.0 - shared) * rng.normal(size=len(weeds))
        for key in ground.practice_list.index
    }
    if side:
        drawn = {key: side * (1.0 + np.abs(each) / 2.0) for key, each in drawn.items()}
    error = {key: np.exp(spread * each)[:, None] for key, each in drawn.items()}
    off = np.stack([error[programme.practice] for programme in ground.programmes])
    fields = []
    for land, field in zip(data.fields, ground.farm.fields, strict=True):
        start = weed_start(
            field,
            ground.farm,
            response=true,
            pair=season_counted(field, ground.practice_list, ground.pair_index),
            climate=ground.climate,
            tables=ground.tables,
        )
        first_count = np.exp(start.doubt * rng.normal(size=len(weeds)))[:, None] ** (1.0 / true.shoot_power)
        fields.append(replace(land, start_reserve=np.minimum(start.reserve * first_count, true.reserve_cap)))
    return replace(
        data,
        growth=true.growth * off,
        crowding=true.crowding * off,
        autumn_growth=true.autumn_growth * off,
        autumn_crowding=true.autumn_crowding * off,
        count_growth=true.count_growth,
        count_crowding=true.count_crowding,
        count_shoots=true.shoots_full * true.count_shoots,
        shoot_power=true.shoot_power,
        reserve_cap=true.reserve_cap,
        draws=true.draws,
        likely=0,
        fields=tuple(fields),
    )


def counted(true: SelectionData, paths: Sequence[Sequence[int]], rng: np.random.Generator) -> list[Visit]:
    """Counts of the last year of some paths."""
    found = []
    for number, (land, path) in enumerate(zip(true.fields, paths, strict=True)):
        course = trace(true, number, path)
        for w, weed in enumerate(true.weeds):
            if land.infested_share[w] > 0.0:
                mean = float(course.shoots[len(path) - 1, w, 0]) * FRAME_M2
                k = TABLES.number("weed", weed, "clump_k")
                counts = rng.negative_binomial(k, k / (k + mean), STOPS)
                found.append(
                    Visit(
                        field=land.name,
                        weed=weed,
                        date=f"{true.first_year + len(path) - 1}-06-20",
                        stage="bud",
                        frame_m2=FRAME_M2,
                        counts=tuple(int(count) for count in counts),
                    )
                )
    return found


def follow(first: Made, true: SelectionData, rng: np.random.Generator) -> list[list[int]]:
    """What a grower grows who counts and plans anew after each of the first years."""
    farm, data = first.ground.farm, first.data
    place = {key: number for number, key in enumerate(data.practice_keys)}
    paths: list[list[int]] = [[] for _ in data.fields]
    plan, visits, rows = first.plan, list[Visit](), list[Done]()
    for when in range(farm.first_year, farm.first_year + YEARS):
        for path, land in zip(paths, data.fields, strict=True):
            key = plan.practices[land.name, when]
            path.append(place[key])
            rows.append(Done(field=land.name, year=when, name=key, note=""))
        if len(paths[0]) <= PLANNED_ANEW:
            visits += counted(true, paths, rng)
            taken = take_stock(farm, TABLES, plan, visits=visits, rows=rows)
            rest = made(taken.rest.farm).plan
            plan = replace(rest, practices={**plan.practices, **rest.practices})
    return paths


def ranges(first: Made, worlds: int) -> None:
    """Print how often the truth lies in the ranges, before and after three years of counts.

    Of roots after the years done; then of roots and shoots of the years to come, as the printout of the new
    plan has them, if the rest of the first plan is kept.
    """
    farm, data = first.ground.farm, first.data
    before, after, width = [], [], []
    ahead: dict[tuple[str, int], list[bool]] = {}
    paths = [path[:YEARS_HELD] for path in first.paths]
    rows = [
        Done(field=land.name, year=year, name=first.plan.practices[land.name, year], note="")
        for land in data.fields
        for year in range(farm.first_year, farm.first_year + YEARS_HELD)
    ]
    for number in range(worlds):
        rng = np.random.default_rng([SEED, 1, number])
        true = world(first, rng)
        visits = [
            visit
            for year in range(YEARS_HELD)
            for visit in counted(true, [path[: year + 1] for path in paths], rng)
        ]
        taken = take_stock(farm, TABLES, first.plan, visits=visits, rows=rows)
        rest = lay(taken.rest.farm, TABLES, like=first.ground)
        left = selection_data(rest)
        going_on = present_paths(left, rest.farm)
        bands = Bands(rest, left, [going_on], taken.belief)
        for (name, weed), (prior, counts) in taken.estimate.roots.items():
            field, w = (
                next(n for n, land in enumerate(data.fields) if land.name == name),
                data.weeds.index(weed),
            )
            course = trace(true, field, first.paths[field])
            truth = float(course.autumn[YEARS_HELD - 1, w, 0])
            before.append(prior[0] <= truth <= prior[2])
            after.append(counts[0] <= truth <= counts[2])
            width.append(np.log(counts[2] / counts[0]) / np.log(prior[2] / prior[0]))
            band = bands.course(field, going_on[field])
            for year in range(YEARS_AHEAD):
                for what in ("autumn", "shoots"):
                    low, _, high = three(getattr(band, what)[year, left.weeds.index(weed)])
                    truth = float(getattr(course, what)[YEARS_HELD + year, w, 0])
                    ahead.setdefault((what, year), []).append(low <= truth <= high)
    print(
        f"truth in the 8-in-10 range of roots after {YEARS_HELD} years, {len(after)} fields: foretold "
        f"{np.mean(before):.0%}, with counts {np.mean(after):.0%}; range {np.mean(width):.2f} times as wide"
    )
    for what, said in (("autumn", "roots"), ("shoots", "shoots")):
        shares = ", ".join(f"{np.mean(ahead[what, year]):.0%}" for year in range(YEARS_AHEAD))
        print(
            f"truth in the range of the new plan, {said} of its years 1 to {YEARS_AHEAD}: {shares}",
            flush=True,
        )


def outcome(true: SelectionData, paths: Sequence[Sequence[int]]) -> tuple[float, float]:
    """Weeds, the years weighted as for choosing [ha at full strength], and net return a year [currency]."""
    found = evaluate(true, paths)
    return weighted_burden(true, found), float(found.net.mean())


def main() -> None:
    growers = int(sys.argv[1]) if len(sys.argv) > 1 else GROWERS
    began, cpu = time.perf_counter(), time.process_time()
    first = made(of_length(with_shoots(small(count_weeds_left=True), THICKER), YEARS))
    ranges(first, WORLDS)
    rows = []
    for grower in range(growers):
        rng = np.random.default_rng([SEED, grower])
        true = world(first, rng, 1 if grower % 2 else -1)
        fixed, anew = outcome(true, first.paths), outcome(true, follow(first, true, rng))
        known = outcome(true, select(true, MONEY).paths)
        rows.append((fixed, anew, known))
        print(
            f"grower {grower + 1}, {'stronger' if grower % 2 else 'weaker'}: weeds {fixed[0]:.3f} -> "
            f"{anew[0]:.3f} ha (known: {known[0]:.3f}), money {fixed[1]:,.0f} -> {anew[1]:,.0f} a year "
            f"(known: {known[1]:,.0f})",
            flush=True,
        )
    fewer = [anew[0] < fixed[0] for fixed, anew, _ in rows]
    richer = [anew[1] > fixed[1] for fixed, anew, _ in rows]
    same = sum(anew == fixed for fixed, anew, _ in rows)
    able = [known != fixed for fixed, _, known in rows]
    print(f"the first plan is not the best one, the world known: {sum(able)} of {growers}")
    print(
        f"of {growers}: fewer weeds {sum(fewer)}, more money {sum(richer)}, either "
        f"{sum(map(any, zip(fewer, richer, strict=True)))}, the same plan {same}"
    )
    print(f"{time.perf_counter() - began:.0f} s, {time.process_time() - cpu:.0f} s of the processor")


if __name__ == "__main__":
    main()
