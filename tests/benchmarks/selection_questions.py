"""What a grower asks for beside the plan with most money, timed: for `bench_selection`, which runs it.

The demo farm with all its limits and what-ifs from the kept sequences; on a made-up farm the curve of money
against weeds; on both a plan with other crops for much the same money. Each task yields one record after
another, so that what was found is not lost where a later search is ended. All farms are invented.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from statistics import median
from typing import Any

from instances import SIZES, SizeName, instance
from selection_table import shown

import rotation_opt
from rotation_opt.alternatives import OTHER_LOSS, OTHER_SHARE
from rotation_opt.arrays import SelectionData
from rotation_opt.distinct import different
from rotation_opt.errors import NoPlanError
from rotation_opt.farm_arrays import selection_data
from rotation_opt.formulate import Goal
from rotation_opt.groundwork import lay
from rotation_opt.select import Selected, select, start_burden
from rotation_opt.tables import read
from rotation_opt.tradeoff import curve
from rotation_opt.what_if import Question, hire, labour, larger_outlet, what_if, without_outlet

MONEY, CLEAN = Goal(kind="most_money"), Goal(kind="least_burden")
DEMO = "tamarack_hollow"
SIZE: SizeName = "medium"
POINTS = 8
BALER = "round_baler"
Found = dict[str, Any]


def demo(_seed: int, seconds: float) -> Iterator[Found]:
    """The demo farm: plan, what-ifs, another way."""
    began = time.perf_counter()
    farm = rotation_opt.read_farm(rotation_opt.example_farm(DEMO))
    data = selection_data(lay(farm, read()))
    yield {"what": "laid", "s": time.perf_counter() - began}
    base = yield from _plan(data, MONEY, seconds)
    if base is None:
        return
    for asked in usual_questions(data):
        yield _asked(data, base, asked)
    yield _other_way(data, base, seconds)


def usual_questions(data: SelectionData) -> list[Question]:
    """Four of the questions an adviser is asked; the amounts are invented."""
    limits, baler = data.limits, data.machines.index(BALER)
    hay = next(n for n, outlet in enumerate(limits.outlets) if limits.feeds[outlet.product])
    return [
        without_outlet(limits, 0),
        labour(limits, -10.0),
        hire(limits, baler, BALER.replace("_", " "), area_ha=-40.0),
        larger_outlet(limits, hay, 50.0),
    ]


def made_up(seed: int, seconds: float) -> Iterator[Found]:
    """A made-up farm: plan, curve, another way."""
    data = instance(*SIZES[SIZE], seed)
    base = yield from _plan(data, MONEY, seconds)
    if base is None:
        return
    yield _other_way(data, base, seconds)
    clean = yield from _plan(data, CLEAN, seconds, base)
    if clean is None:
        return
    began = time.perf_counter()
    found = curve(data, base, clean, POINTS, time_limit=seconds)
    took = time.perf_counter() - began
    today = float(start_burden(data)[data.likely])
    yield {
        "what": "curve",
        "s": base.seconds + clean.seconds + took,
        "between_s": took,
        "one_s": base.seconds,
        "points": [(p.burden / today, p.money / base.figures.present_value, p.gap) for p in found.points],
        "least_gap": found.least_gap,
        "missed": len(found.missed),
        "cut_short": found.cut_short,
    }


QUESTIONS: dict[str, Callable[[int, float], Iterator[Found]]] = {"demo": demo, "made_up": made_up}
SEEDED = {"made_up"}


def _plan(data: SelectionData, goal: Goal, seconds: float, before: Selected | None = None) -> Any:
    """Yields the record of a plan and returns the plan, None if there is none."""
    began = time.perf_counter()
    pools = () if before is None else before.pools
    try:
        found = select(data, goal, pools=pools, time_limit=seconds)
    except NoPlanError as fault:
        took = time.perf_counter() - began
        yield {"what": "no plan", "goal": goal.kind, "s": took, "note": str(fault).splitlines()[0]}
        return None
    yield {
        "what": "plan",
        "goal": goal.kind,
        "value": found.value,
        "bound": found.bound,
        "gap": found.gap,
        "s": found.seconds,
        "cut_short": found.cut_short,
    }
    return found


def _asked(data: SelectionData, base: Selected, asked: Question) -> Found:
    """One changed limit, answered from the kept sequences; its brake is that of `select`."""
    began = time.perf_counter()
    try:
        change = what_if(data, base, MONEY, asked.limits)
    except NoPlanError as fault:
        took = time.perf_counter() - began
        return {"what": "no answer", "asked": asked.sentence, "s": took, "note": str(fault).splitlines()[0]}
    return {
        "what": "what if",
        "asked": asked.sentence,
        "s": time.perf_counter() - began,
        "gap": change.gap[1],
        "base_gap": change.gap[0],
        "gain": change.gain,
        "bettered": change.bettered,
    }


def _other_way(data: SelectionData, base: Selected, seconds: float) -> Found:
    """One plan with other crops, asked for as in `alternatives.propose`."""
    began = time.perf_counter()
    found = different(data, base, loss=OTHER_LOSS, share=OTHER_SHARE, time_limit=seconds)
    return {
        "what": "other way",
        "s": time.perf_counter() - began,
        "kept": None if found.paths is None else 1.0 - found.loss,
        "distance": None if found.paths is None else found.distance,
        "reached": found.reached,
        "gap": found.gap,
        "cut_short": found.cut_short,
    }


# ---------------------------------------------------------------- in words


def tell(task: str, seed: int, records: Sequence[Found]) -> None:
    """Print what a task found."""
    if task == "demo":
        print(f"\nDEMO FARM {DEMO} (invented), all its limits")
    else:
        print(f"\nMADE-UP FARM {SIZE} {'x'.join(map(str, SIZES[SIZE]))} (invented), seed {seed}")
    for found in records:
        for text in WORDS[found["what"]](found):
            print(f"  {text}", flush=True)
    if records:
        print(f"  largest memory {records[-1]['mb']:,.0f} MB", flush=True)


def tell_medians(seeds: Sequence[int], runs: Sequence[Sequence[Found]]) -> None:
    """Print medians over seeds; what was not found is left out and counted."""
    print(f"\nMADE-UP FARM {SIZE}: MEDIANS over seeds {' '.join(map(str, seeds))}")
    curves = [found for run in runs for found in run if found["what"] == "curve"]
    gaps = [gap for found in curves for _, _, gap in found["points"] if gap is not None]
    ratio, between, gap = (
        shown(median(values) if values else None, form)
        for values, form in (
            ([found["s"] / found["one_s"] for found in curves], ".2f"),
            ([found["between_s"] / found["one_s"] for found in curves], ".2f"),
            (gaps, ".3%"),
        )
    )
    print(
        f"  curve: {ratio} times one plan, between the ends {between} times; gap of a point {gap}; "
        f"in {len(curves)} of {len(seeds)}"
    )
    ways = [found for run in runs for found in run if found["what"] == "other way"]
    there = [found for found in ways if found["kept"] is not None]
    kept, away, seconds = (
        shown(median(found[key] for found in which) if which else None, form)
        for key, which, form in (("kept", there, ".2%"), ("distance", there, ".1%"), ("s", ways, ".1f"))
    )
    print(
        f"  other way: {kept} of the best money kept, {away} of area-years under another crop, {seconds} s; "
        f"in {len(there)} of {len(seeds)}",
        flush=True,
    )


def _laid(found: Found) -> list[str]:
    return [f"season model of all practices, rules: {found['s']:.1f} s (not counted below)"]


def _cut(found: Found) -> str:
    return "; ended by the time limit" if found["cut_short"] else ""


def _planned(found: Found) -> list[str]:
    money = found["goal"] == "most_money"
    form = ",.0f" if money else ",.3f"
    return [
        f"{'most money' if money else 'least weeds, from the sequences of most money'}: plan "
        f"{shown(found['value'], form)}, proven bound {shown(found['bound'], form)}, gap "
        f"{shown(found['gap'], '.3%')}, {found['s']:.1f} s{_cut(found)}"
    ]


def _none(found: Found) -> list[str]:
    return [f"{found.get('asked') or found['goal']}: {found['note']} ({found['s']:.1f} s)"]


def _answered(found: Found) -> list[str]:
    better = "; the new plan would have been the better one before too" if found["bettered"] else ""
    gaps = f"gap {shown(found['gap'], '.3%')} (base plan {shown(found['base_gap'], '.3%')})"
    return [f"what if, {found['asked']}: {found['gain']:+,.0f}, {found['s']:.1f} s, {gaps}{better}"]


def _other(found: Found) -> list[str]:
    wanted = f"wanted {1 - OTHER_LOSS:.0%} and {OTHER_SHARE:.0%}"
    end = f"({wanted}), {found['s']:.1f} s{_cut(found)}"
    if found["kept"] is None:
        return [f"other way: none; at most {found['reached']:.1%} of area-years under another crop {end}"]
    kept, away = f"{found['kept']:.2%} of the best money", f"{found['distance']:.1%} of area-years"
    return [f"other way: {kept} kept, {away} under another crop, gap {shown(found['gap'], '.3%')} {end}"]


def _curved(found: Found) -> list[str]:
    whole, between = (found[key] / max(found["one_s"], 1e-9) for key in ("s", "between_s"))
    gaps = [gap for _, _, gap in found["points"] if gap is not None]
    middle = shown(median(gaps) if gaps else None, ".3%")
    return [
        f"curve: {len(found['points'])} points from {POINTS} searches ({found['missed']} found no plan)"
        f"{_cut(found)}",
        f"curve: {found['s']:.1f} s = {whole:.2f} times one plan ({found['one_s']:.1f} s); "
        f"those between the ends {found['between_s']:.1f} s = {between:.2f} times",
        f"curve: gap in money at most {shown(max(gaps, default=None), '.3%')}, median {middle}; "
        f"least weeds within {shown(found['least_gap'], '.3%')}",
        *(
            f"  roots {weeds:7.2%} of today's, money {money:8.2%} of the most, gap {shown(gap, '.3%')}"
            for weeds, money, gap in found["points"]
        ),
    ]


WORDS: dict[str, Callable[[Found], list[str]]] = {
    "laid": _laid,
    "plan": _planned,
    "no plan": _none,
    "what if": _answered,
    "no answer": _none,
    "other way": _other,
    "curve": _curved,
}
