"""Hay sold standing: price by the share rule, who can sell it, what it brings a farm without hay tools."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from small_farm import HAY_TOOLS, KEPT, TABLES, TEXT, Plans, small, without_machines
from whole_page import plan_page

from rotation_opt import errors, farm
from rotation_opt.budgets import haul_per_t, prices
from rotation_opt.groundwork import lay
from rotation_opt.planning import plan
from rotation_opt.records import Farm, Outlet
from rotation_opt.report.terminal import render
from rotation_opt.standing_hay import sold_as, standing_price
from rotation_opt.verify import recheck

ALL_WAYS = (*KEPT, "alfalfa_1_standing", "alfalfa_2_standing")
DAIRY = Outlet(
    name="dairy",
    crop="alfalfa_standing",
    price_per_t=300.0,
    least_t=0.0,
    most_t=100.0,
    years=(),
    haul_per_t=0.0,
)


def read(text: str, folder: Path) -> Farm:
    path = folder / "my_farm.toml"
    path.write_text(TEXT + text, encoding="utf-8")
    return farm.read(path, TABLES)


def test_half_the_hay_value_is_the_owners() -> None:
    # Blonde, G. (2019), Hoard's Dairyman: half of the hay value to the owner of standing hay
    share = TABLES.number("money", "any", "standing_hay_share")
    assert standing_price(160.0, share) == pytest.approx(80.0)


def test_an_outlet_for_standing_hay_pays_its_own_price_or_the_owners_share(tmp_path: Path) -> None:
    outlet = '[[outlet]]\nname = "dairy"\ncrop = "alfalfa"\nstanding = true\n'
    given = read(outlet + "price_per_t = 70\nmost_t = 40\n", tmp_path).outlets[0]
    assert (given.crop, given.price_per_t, given.most_t) == ("alfalfa_standing", 70.0, 40.0)
    # without a price: half of the farm's own hay price
    own = '[[crop]]\nname = "alfalfa"\nprice_per_t = 200\n'
    assert read(own + outlet, tmp_path).outlets[0].price_per_t == pytest.approx(100.0)
    # and nobody else has to buy hay
    assert read(f'{outlet}[[crop]]\nname = "oats"\n', tmp_path).no_market == frozenset()


def test_hay_may_be_sold_standing_where_nobody_buys_it_baled(tmp_path: Path) -> None:
    text = TEXT.replace("no_market = []", 'no_market = ["alfalfa"]')
    path = tmp_path / "my_farm.toml"
    outlet = '[[outlet]]\nname = "dairy"\ncrop = "alfalfa"\n'
    path.write_text(f"{text}{outlet}standing = true\n", encoding="utf-8")
    assert farm.read(path, TABLES).outlets[0].crop == "alfalfa_standing"
    path.write_text(f"{text}{outlet}", encoding="utf-8")
    with pytest.raises(errors.InputError, match="no_market"):
        farm.read(path, TABLES)


def test_grain_cannot_be_sold_standing(tmp_path: Path) -> None:
    with pytest.raises(errors.InputError) as fault:
        read('[[outlet]]\nname = "mill"\ncrop = "oats"\nstanding = true\n', tmp_path)
    said = " ".join(str(fault.value).split())
    assert 'outlet "mill", standing: found true; sold standing can be Alfalfa hay or Grass-clover hay' in said


def test_it_is_left_out_where_nobody_has_agreed_to_cut() -> None:
    alone = lay(small(keep=ALL_WAYS), TABLES).practice_list
    assert alone.reasons["alfalfa_2_standing"] == "nobody has agreed to buy it standing"
    agreed = lay(small(keep=ALL_WAYS, outlets=(DAIRY,)), TABLES).practice_list
    assert "alfalfa_2_standing" not in agreed.reasons


def test_the_buyer_brings_machines_and_hands_and_carries_it_away() -> None:
    ground = lay(without_machines(small(keep=ALL_WAYS, outlets=(DAIRY,)), *HAY_TOOLS), TABLES)
    standing = ground.practice_list.index["alfalfa_2_standing"]
    pair = ground.pair_index[ground.practice_list.index["alfalfa_1_standing"], standing]
    for part in ("own machines", "hired work", "labour"):
        assert ground.budgets.parts[part][pair] == 0.0
    assert ground.hours.labour[pair].sum() == 0.0
    assert ground.budgets.haul_per_t[pair] == 0.0
    assert haul_per_t(TABLES.practices["alfalfa_2"], TABLES) > 0.0
    # same stand, same yield as baled, and no price beside that of the outlet
    baled = lay(small(keep=ALL_WAYS), TABLES)
    places = (baled.practice_list.index[key] for key in ("alfalfa_1", "alfalfa_2"))
    yields = baled.budgets.yield_t_ha[baled.pair_index[tuple(places)]]
    assert ground.budgets.yield_t_ha[pair] == pytest.approx(yields)
    assert prices(ground.farm, TABLES)["alfalfa_standing"] == 0.0
    assert sold_as(TABLES.practices["alfalfa_2_standing"]) == "alfalfa_standing"
    assert sold_as(TABLES.practices["alfalfa_2"]) == "alfalfa"


@cache
def toolless() -> Plans:
    """No hay tools, a herd that eats, and a dairy that cuts for itself."""
    farm_ = small(keep=ALL_WAYS, outlets=(DAIRY,), feed_need_t=20.0, feed_price_per_t=250.0)
    return Plans(without_machines(farm_, *HAY_TOOLS))


def test_a_farm_without_hay_tools_sells_standing_hay_within_what_the_buyer_takes() -> None:
    found = toolless()
    best = found.plan["most_money"]
    sold = best.figures.sold_t["alfalfa_standing @ dairy"]
    assert sum(sold) > 10.0
    assert max(sold) <= 100.0 + 1e-6
    assert not any(key.startswith("alfalfa_standing") and "dairy" not in key for key in best.figures.sold_t)
    grown = found.grown("most_money")
    assert any(key.endswith("_standing") for key in grown)


def test_standing_hay_feeds_nobody_and_lies_in_no_barn() -> None:
    for each in toolless().all:
        assert each.figures.feed_bought_t == pytest.approx([20.0] * 3)
        assert each.figures.hay_stored_t == pytest.approx([0.0] * 3)


def test_plans_with_standing_hay_agree_when_worked_out_a_second_time() -> None:
    found = toolless()
    for each in found.chosen():
        wrong = [check.what for check in recheck(found.ground, each) if not check.agrees]
        assert wrong == []


def test_a_buyer_who_takes_more_never_makes_the_best_worse() -> None:
    less = Plans(small(keep=ALL_WAYS, outlets=(replace(DAIRY, most_t=15.0),)))
    more = Plans(small(keep=ALL_WAYS, outlets=(DAIRY,)))
    assert more.worth("most_money") > less.worth("most_money")


def test_the_page_says_how_much_is_sold_standing_and_what_to_agree_on() -> None:
    result = plan(toolless().farm)
    text = render(plan_page(result, TABLES), 80)
    sold = sum(result.alternatives[1].figures.sold_t["alfalfa_standing @ dairy"]) / 3
    assert f"{sold:.0f} sold" in text
    assert "3b = three cuts sold standing" in text
    assert "who bears loss from rain" in " ".join(text.split())
