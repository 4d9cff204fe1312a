"""What comes second on each field, against every exchange of a field reckoned from nothing."""

from __future__ import annotations

import pytest
from hypothesis import given
from small_farm import FEW_FARMS, chosen
from strategies import small_farms

from rotation_opt.arrays import NOT_FARMED, SelectionData
from rotation_opt.columns import Paths
from rotation_opt.formulate import Figures, Goal
from rotation_opt.ledgers import RunnerUp
from rotation_opt.runners_up import Chosen, RunnersUp
from rotation_opt.select import Selected, evaluate, start_burden

CLEAN = Goal(kind="least_burden")
Exchange = tuple[tuple[int, ...], Figures]


def today(data: SelectionData) -> float:
    return float(start_burden(data)[data.likely])


def seconds(
    data: SelectionData, base: Selected, *, clean: bool = False, price: float | None = None
) -> tuple[RunnerUp, ...]:
    plan = Chosen(key="plan", paths=base.paths, clean=clean)
    return RunnersUp(data, [plan], base.pools, today_ha=today(data), price=price).find()["plan"]


def exchanges(data: SelectionData, base: Selected, field: int) -> list[Exchange]:
    """Every sequence met for a field, put into the plan and reckoned from nothing."""
    listed = {tuple(int(p) for p in path) for path in base.pools[field].paths}
    return [(path, evaluate(data, put(base.paths, field, path))) for path in sorted(listed)]


def put(paths: Paths, field: int, path: tuple[int, ...]) -> Paths:
    return (*paths[:field], path, *paths[field + 1 :])


def keys(data: SelectionData, path: tuple[int, ...]) -> tuple[str, ...]:
    return tuple("" if p == NOT_FARMED else data.practice_keys[p] for p in path)


def end(data: SelectionData, figures: Figures, field: int) -> float:
    return float(figures.burden[-1, data.likely]) if data.fields[field].farmed[-1] else 0.0


def slack(base: Selected) -> float:
    return 1e-6 * abs(base.figures.worth) + 0.05


def by_cell(data: SelectionData, found: tuple[RunnerUp, ...]) -> dict[tuple[int, int], RunnerUp]:
    names = [land.name for land in data.fields]
    return {(names.index(each.field), each.year - data.first_year): each for each in found}


def other_crop(
    data: SelectionData, base: Selected, field: int, year: int, listed: list[Exchange]
) -> list[Exchange]:
    crop = data.crop_of[base.paths[field][year]]
    return [(path, figures) for path, figures in listed if data.crop_of[path[year]] != crop]


@FEW_FARMS
@given(small_farms())
def test_for_most_money_it_is_the_best_of_all_exchanges_that_keep_every_limit(data: SelectionData) -> None:
    base = chosen(data)
    found = by_cell(data, seconds(data, base))
    now = float(base.figures.net.mean())
    for field, land in enumerate(data.fields):
        listed = exchanges(data, base, field)
        for year in range(data.years):
            assert ((field, year) in found) == bool(land.farmed[year])
            if not land.farmed[year]:
                continue
            second = found[field, year]
            others = other_crop(data, base, field, year, listed)
            kept = [(path, figures) for path, figures in others if not figures.breaks]
            assert bool(second.practices) == bool(kept)
            if not kept:
                assert second.decided_by in {"limit", "unknown"}
                assert (second.decided_by == "limit") == bool(others)
                continue
            best = max(figures.worth for _, figures in kept)
            again = {keys(data, path): figures for path, figures in kept}[second.practices]
            assert again.worth == pytest.approx(best, abs=slack(base))
            assert second.net_a_year == pytest.approx(float(again.net.mean()) - now, abs=slack(base))
            more = end(data, again, field) - end(data, base.figures, field)
            assert second.roots * today(data) == pytest.approx(more, abs=1e-6)
            # nothing met is better than the plan by more than its proof leaves open
            assert base.bound is not None
            assert again.worth <= base.bound + slack(base)
