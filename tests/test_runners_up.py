"""What comes second on each field, against every exchange of a field reckoned from nothing."""

from __future__ import annotations

from dataclasses import replace

import fake_result
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from small_farm import FEW_FARMS, MONEY, TABLES, Plans, chosen, plain, small, with_field
from strategies import large_data, random_data, small_farms

from rotation_opt.alternatives import describe
from rotation_opt.arrays import NOT_FARMED, SelectionData
from rotation_opt.columns import Paths
from rotation_opt.errors import NoPlanError
from rotation_opt.formulate import Figures, Goal
from rotation_opt.ledgers import RunnerUp
from rotation_opt.limit_rows import Rows
from rotation_opt.report.blocks import Grid
from rotation_opt.report.reasons_page import costs, reasons_page
from rotation_opt.report.summary import Reading
from rotation_opt.report.wording import Wording, mean, weed_percent
from rotation_opt.runners_up import POINTS, Chosen, RunnersUp, runners_up
from rotation_opt.select import Selected, evaluate, select, start_burden, weighted_burden
from rotation_opt.sequences import Grower, bare, no_prices
from rotation_opt.verify import recheck

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


def cleanest(data: SelectionData) -> Selected:
    """The plan with fewest weeds; another random farm is drawn where there is none."""
    assume(today(data) > 0.0)
    try:
        return select(data, CLEAN)
    except NoPlanError:
        assume(False)
        raise


def limits_of(data: SelectionData, figures: Figures) -> set[str]:
    """Names of the limits that a plan says it breaks, by the sentences."""
    rows = Rows(data, data.limits, None, every_row=True).rows
    return {
        row.limit
        for row in rows
        for said in figures.breaks
        if row.words
        and said.startswith(row.words.partition("{0}")[0])
        and said.endswith(row.words.rpartition("{0}")[2])
    }


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


@FEW_FARMS
@given(small_farms(), st.booleans())
def test_for_a_cleaner_plan_money_decides_among_those_about_as_clean(data: SelectionData, dear: bool) -> None:
    base = cleanest(data)
    price = 2000.0 if dear else None
    now, room = weighted_burden(data, base.figures), POINTS * today(data)
    listed = {field: exchanges(data, base, field) for field in range(len(data.fields))}
    for (field, year), second in by_cell(data, seconds(data, base, clean=True, price=price)).items():
        others = other_crop(data, base, field, year, listed[field])
        kept = {keys(data, path): figures for path, figures in others if not figures.breaks}
        assert bool(second.practices) == bool(kept)
        if not kept:
            continue
        again = kept[second.practices]
        more = weighted_burden(data, again) - now
        clean = [figures for figures in kept.values() if weighted_burden(data, figures) - now <= room]
        if clean:
            assert more <= room + 1e-5
            best = max(figures.worth for figures in clean)
            assert again.worth == pytest.approx(best, abs=slack(base))
        elif price is None:
            assert more == pytest.approx(
                min(weighted_burden(data, figures) - now for figures in kept.values()), abs=1e-6
            )
        else:
            best = max(figures.worth - price * weighted_burden(data, figures) for figures in kept.values())
            assert again.worth - price * weighted_burden(data, again) == pytest.approx(best, abs=slack(base))


@FEW_FARMS
@given(small_farms())
def test_a_limit_is_named_where_an_exchange_that_breaks_it_would_be_best(data: SelectionData) -> None:
    base = chosen(data)
    listed = {field: exchanges(data, base, field) for field in range(len(data.fields))}
    for (field, year), second in by_cell(data, seconds(data, base)).items():
        others = other_crop(data, base, field, year, listed[field])
        broken = {name for _, figures in others for name in limits_of(data, figures)}
        assert set(second.limits) <= broken
        assert bool(second.limits) == (second.decided_by == "limit")
        if second.decided_by == "limit":
            assert any(set(second.limits) <= limits_of(data, figures) for _, figures in others)


def test_a_second_keeps_the_least_cash_and_is_the_best_that_does() -> None:
    seen = 0
    for seed in range(20):
        free = random_data(seed, tight=0.5)
        try:
            first = select(free, MONEY)
        except NoPlanError:
            continue
        least = float(first.figures.net.min()) - 300.0
        data = replace(free, limits=replace(free.limits, cash_floor=least))
        base = select(data, MONEY)
        found = by_cell(data, seconds(data, base))
        for (field, year), second in found.items():
            others = other_crop(data, base, field, year, exchanges(data, base, field))
            kept = {keys(data, path): figures for path, figures in others if not figures.breaks}
            assert bool(second.practices) == bool(kept)
            if kept:
                again = kept[second.practices]
                assert again.worth == pytest.approx(max(f.worth for f in kept.values()), abs=slack(base))
                cash = [f for _, f in others if any(said.startswith("cash in") for said in f.breaks)]
                seen += bool(cash)
    assert seen


def test_sequences_are_grown_beside_those_met_and_the_best_of_all_comes_second() -> None:
    data = large_data(3, fields=3, years=5, practices=14, tight=0.5)
    base = select(data, MONEY)
    few = [bare(pool.field, pool.paths[:15], False) for pool in base.pools]
    rooms = RunnersUp(data, [Chosen(key="plan", paths=base.paths)], few, today_ha=today(data))
    found = by_cell(data, rooms.find()["plan"])
    better = 0
    for field, pool in enumerate(few):
        met = {tuple(int(p) for p in path) for path in pool.paths}
        listed = [tuple(int(p) for p in path) for path in rooms.known[field].paths]
        assert met < set(listed)  # and whatever is grown keeps the rules: `evaluate` knows only limits
        grown = Grower(data).grow(field, Grower(data).worth(no_prices(data)), width=10**6, keep=10**6)
        allowed = {tuple(int(p) for p in path) for path in grown.pool.paths}
        assert set(listed) <= allowed
        reckoned = [(path, evaluate(data, put(base.paths, field, path))) for path in listed]
        for year in range(data.years):
            others = other_crop(data, base, field, year, reckoned)
            kept = {path: figures.worth for path, figures in others if not figures.breaks}
            second = found[field, year]
            assert bool(second.practices) == bool(kept)
            if not kept:
                continue
            path = next(path for path in kept if keys(data, path) == second.practices)
            assert kept[path] == pytest.approx(max(kept.values()), abs=slack(base))
            better += path not in met
    assert better


# ---------------------------------------------------------------- a farm with rules in words


def test_where_no_other_crop_may_stand_the_rules_say_why() -> None:
    """A stand sown the year before the plan has to stay."""
    base = with_field(small(), "East", history=("soybean", "spring_barley", "oat_alfalfa"))
    plans = Plans(base)
    found = runners_up(plans.ground, plans.data, plans.proposal)
    assert set(found) == {each.key for each in plans.chosen() if not each.same_as}
    for key, told in found.items():
        first = next(each for each in told if (each.field, each.year) == ("East", plans.data.first_year))
        assert first.decided_by == "rules"
        assert not first.practices
        stands = plans.plan[key].practices["East"][0]
        reasons = {
            plans.ground.succession.why_not("East", [], other)
            for other in plans.data.practice_keys
            if plans.ground.tables.practices[other].crop != plans.ground.tables.practices[stands].crop
        }
        assert None not in reasons
        assert first.rules
        assert set(first.rules) <= {reason[1] for reason in reasons if reason is not None}
        assert any(each.practices for each in told)


def test_the_printed_page_has_a_line_for_every_field_and_year_with_these_figures() -> None:
    plans = plain()
    seconds_of = runners_up(plans.ground, plans.data, plans.proposal)
    result = replace(
        fake_result.result(),
        farm=plans.farm,
        alternatives=plans.all,
        runners_up=seconds_of,
        reserve_today={
            name: {"creeping_thistle": float(start.autumn[0, plans.data.likely])}
            for name, start in plans.ground.starts.items()
        },
    )
    reading = Reading(result, Wording(plans.farm, TABLES))
    plan = plans.plan["most_money"]
    (grid,) = reasons_page(reading, plan).sections[0].blocks
    assert isinstance(grid, Grid)
    assert len(grid.rows) == len(plan.fields)
    entries = {f"{each.field}, {each.year}": each for each in plan.fields}
    told = {f"{each.field}, {each.year}": each for each in seconds_of["most_money"]}
    for name, _, roots, _, crop, change in grid.rows:
        entry, second = entries[name], told[name]
        assert bool(entry.reserve) == (roots != "no weed")
        if entry.reserve:
            assert roots.endswith(f"to {weed_percent(entry.reserve['creeping_thistle'][1])}")
        if entry.reserve and entry.year > plans.farm.first_year:
            before = entries[f"{entry.field}, {entry.year - 1}"].reserve["creeping_thistle"][1]
            assert roots.startswith(f"{weed_percent(before)} to")
        if second.practices:
            key = second.practices[entry.year - plans.farm.first_year]
            assert crop.lower() == TABLES.practices[key].name_us.lower()
            money = f"{abs(second.net_a_year):,.0f}"
            assert change.startswith(f"{money} {'more' if second.net_a_year > 0 else 'less'}, roots ")
        else:
            assert change == "-"


def test_a_second_reckoning_of_the_plan_with_it_finds_the_same_change_and_no_limit_broken() -> None:
    plans = plain()
    data, place = plans.data, {key: number for number, key in enumerate(plans.data.practice_keys)}
    base, today_ha = plans.draft["most_money"], plans.plan["most_money"].figures.burden[0][1]
    looked_at = 0
    told = runners_up(plans.ground, data, plans.proposal)["most_money"]
    for second in {each.practices: each for each in told if each.practices}.values():
        field = next(n for n, land in enumerate(data.fields) if land.name == second.field)
        paths = put(base.paths, field, tuple(place[key] for key in second.practices))
        draft = replace(base, key="fastest", paths=paths, figures=evaluate(data, paths), gap=None)
        (plan,) = describe(plans.ground, data, replace(plans.proposal, drafts=(draft,), same_as={}))
        assert all(check.agrees for check in recheck(plans.ground, plan))
        now = plans.plan["most_money"].figures
        change = mean(plan.figures.net_return) - mean(now.net_return)
        assert second.net_a_year == pytest.approx(change, abs=0.05)
        roots = (plan.figures.burden[-1][1] - now.burden[-1][1]) / today_ha
        assert second.roots == pytest.approx(roots, abs=1e-4)
        looked_at += 1
    assert looked_at >= 3


def test_costs_are_said_in_plain_words() -> None:
    reading = Reading(fake_result.result(), Wording(fake_result.farm(), fake_result.tables()))
    second = RunnerUp(field="a", year=2027, practices=("oats_plain",), decided_by="money")
    said = [
        costs(reading, replace(second, net_a_year=net, roots=roots))
        for net, roots in ((-430.4, 0.061), (12.0, -0.009), (-0.2, 0.004))
    ]
    assert said == [
        "430 less, roots 6 points higher",
        "12 more, roots 1 point lower",
        "the same money, roots the same",
    ]
