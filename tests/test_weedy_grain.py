"""Grain with weeds in it brings less: by hand, in the tree of sequences, in whole plans."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from small_farm import TABLES, Plans, patch, small, with_field

from rotation_opt import farm as farms
from rotation_opt import tables
from rotation_opt.arrays import SelectionData
from rotation_opt.budgets import weedy_grain
from rotation_opt.carry_over import cost_of_weeds
from rotation_opt.cash_flow import CashFlow
from rotation_opt.farm_arrays import selection_data
from rotation_opt.groundwork import lay
from rotation_opt.records import Farm
from rotation_opt.sequences import trace
from rotation_opt.verify import recheck

DEMO = Path(__file__).parent.parent / "examples" / "tamarack_hollow.toml"
CROPS = ("spring_barley", "soybean", "corn_grain", "oat", "winter_wheat")


def docked(off: float, from_loss: float, **changes: object) -> Farm:
    """The small farm with weeds all over one field, where weedy grain brings so much less."""
    base = with_field(small(**changes), "East", patches=(patch(10.0, 25.0),))
    return replace(
        base,
        weedy_price_off=dict.fromkeys(CROPS, off),
        weedy_from_loss=dict.fromkeys(CROPS, from_loss),
    )


@cache
def planned(off: float) -> Plans:
    return Plans(docked(off, 0.03))


def test_weedy_grain_brings_its_share_of_the_price_less() -> None:
    base = replace(small(), prices_per_t={"soybean": 600.0, "alfalfa": 200.0})
    # the figures of the tables, which are judgement: 5 % of 600 from a tenth of the yield on
    assert weedy_grain("soybean", base, TABLES) == (pytest.approx(30.0), pytest.approx(0.1))
    own = replace(base, weedy_price_off={"soybean": 0.2}, weedy_from_loss={"soybean": 0.04})
    assert weedy_grain("soybean", own, TABLES) == (pytest.approx(120.0), 0.04)
    # hay is no grain; what nobody buys has no price to lose
    assert weedy_grain("alfalfa", base, TABLES)[0] == 0.0
    assert weedy_grain("soybean", replace(base, no_market=frozenset({"soybean"})), TABLES)[0] == 0.0


def test_a_field_year_is_docked_on_the_growers_tonnes_and_only_from_the_step_on() -> None:
    base = with_field(docked(0.1, 0.03), "East", landlord_share=0.25)
    data = selection_data(lay(base, TABLES))
    place = data.practice_keys.index
    plain: SelectionData = replace(data, weedy=None)
    path = tuple(place(key) for key in base.fields[0].as_now)
    assert base.fields[0].name == "East"
    with_step, without = (trace(each, 0, path) for each in (data, plain))
    prices = [weedy_grain(data.crops[data.crop_of[p]], base, TABLES)[0] for p in path]
    lost = with_step.loss[:, data.likely]
    off = np.where(lost >= 0.03, prices, 0.0)
    assert (lost >= 0.03).any()
    assert with_step.tonnes == pytest.approx(0.75 * with_step.made_t)
    assert without.money - with_step.money == pytest.approx(off * with_step.tonnes)


def test_plans_with_weedy_grain_are_reckoned_the_same_twice_and_cash_adds_up() -> None:
    plans = planned(0.3)
    for each in plans.all:
        assert all(line.agrees for line in recheck(plans.ground, each)), each.key
    flow = CashFlow(plans.ground, plans.data)
    courses = {each.key: flow.course(each) for each in plans.all}
    for each in plans.all:
        assert courses[each.key].by_plan_year == pytest.approx(each.figures.net_return, abs=1.0)
    assert any(
        part == "weeds in grain" and min(amounts) < 0.0
        for course in courses.values()
        for part, amounts in course.parts.items()
    )


def test_a_steeper_step_never_brings_more_and_costs_the_present_rotation_what_its_tonnes_say() -> None:
    free, dear = planned(0.0), planned(0.3)
    assert dear.worth("most_money") <= free.worth("most_money") * (1.0 + 1e-3)
    lost = np.zeros(free.farm.years)
    for each in dear.plan["as_now"].fields:
        crop = TABLES.practices[each.practice].crop
        off, start = weedy_grain(crop, dear.farm, TABLES)
        if each.weed_loss >= start:
            area = next(f.area_ha for f in dear.farm.fields if f.name == each.field)
            lost[each.year - dear.farm.first_year] += each.yield_t_ha * area * off
    assert lost.sum() > 0.0
    fall = np.array(free.plan["as_now"].figures.net_return) - dear.plan["as_now"].figures.net_return
    assert fall == pytest.approx(lost, abs=1.0)


def test_weeds_left_behind_make_the_crops_after_the_plan_weedy_too() -> None:
    # 0.45 of the field at a strength of 0.4 with at most half lost: a tenth of 11,000 is lost, as in
    # test_carry_over; the nine tenths left bring 550 less at most, a year later at 10 %: 1,000 + 450
    figures = {
        "loss_index": np.array([[0.02]]),
        "loss_most": np.array([[0.5]]),
        "infested_share": np.array([0.45]),
        "crop_worth": np.array([11000.0]),
        "interest_rate": 0.1,
        "weedy_off": np.array([550.0]),
    }
    shoots = np.array([[[20.0]]])
    assert cost_of_weeds(shoots, **figures, weedy_from=np.array([0.05])) == pytest.approx([1450.0])  # type: ignore[arg-type]
    assert cost_of_weeds(shoots, **figures, weedy_from=np.array([0.11])) == pytest.approx([1000.0])  # type: ignore[arg-type]


def test_the_growers_own_figures_are_read_from_the_crop_block(tmp_path: Path) -> None:
    text = DEMO.read_text(encoding="utf-8")
    path = tmp_path / "weedy.toml"
    keys = "weedy_price_off_pct = 12\nweedy_from_loss_pct = 6\n"
    path.write_text(text.replace("yield_bu_per_acre = 52", f"{keys}yield_bu_per_acre = 52"), encoding="utf-8")
    read = farms.read(path, tables.read())
    assert read.weedy_price_off == {"spring_barley": 0.12}
    assert read.weedy_from_loss == {"spring_barley": 0.06}
