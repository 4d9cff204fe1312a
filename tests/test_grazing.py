"""What grazing costs, the rent it saves, and that no more is grazed than the herd eats."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from small_farm import KEPT, TABLES, Plans, small

from rotation_opt import farm as farms
from rotation_opt.budgets import grazing_cost, grazing_land_share
from rotation_opt.farm_arrays import selection_data
from rotation_opt.groundwork import Groundwork, lay
from rotation_opt.herd_feed import grazing_of_hay_herd
from rotation_opt.records import Farm
from rotation_opt.verify import recheck

GRAZED = "grass_clover_2_grazed"
KEEP = (*KEPT, "oat_grass_clover", "grass_clover_1", "grass_clover_2", GRAZED)
DEMO = Path(__file__).parent.parent / "examples" / "tamarack_hollow.toml"


def with_stock(need_t: float | None, **changes: object) -> Farm:
    """Two fields in grass-clover that nobody buys, grain that pays little, and so much to be grazed."""
    base = small(
        keep=KEEP, grazing_need_t=need_t, **{"feed_need_t": 20.0, "feed_price_per_t": 200.0, **changes}
    )
    stood = ("oat_grass_clover", "grass_clover_1")
    fields = tuple(field if field.name == "North" else replace(field, history=stood) for field in base.fields)
    return replace(
        base,
        fields=fields,
        no_market=frozenset({"grass_clover", "alfalfa"}),
        prices_per_t={"grass_clover": 300.0, "soybean": 120.0, "spring_barley": 60.0, "corn_grain": 60.0},
        yields_t_ha={"grass_clover": 8.0},
    )


@cache
def planned(need_t: float) -> Plans:
    return Plans(with_stock(need_t))


@cache
def ground() -> Groundwork:
    return lay(with_stock(60.0), TABLES)


def test_the_fence_is_the_published_cost_of_a_foot_round_a_square_field() -> None:
    # Iowa State University Extension, Estimated costs for livestock fencing, Table 6: high-tensile electric
    # 0.09 $/ft and year; a square of 40 acres is 1,320 ft long
    figure = TABLES.figure("money", "any", "grazing_fence_per_ha")
    assert figure.value == pytest.approx(0.09 * 4 * 1320 / (40 * 0.404686), abs=0.05)
    assert figure.high == pytest.approx(0.15 * 4 * 1320 / (40 * 0.404686), abs=0.1)


def test_grazing_costs_its_fence_and_saves_a_quarter_of_what_the_hay_is_worth() -> None:
    # 25 % of the price of grass hay times the yield (Myers 2017, DTN/Progressive Farmer)
    this = TABLES.practices[GRAZED]
    assert grazing_cost(this, with_stock(None), TABLES) == pytest.approx(29.4)
    assert grazing_cost(this, with_stock(60.0), TABLES) == pytest.approx(29.4 - 0.25 * 300.0 * 8.0 * 0.8)
    assert grazing_cost(TABLES.practices["grass_clover_2"], with_stock(60.0), TABLES) == 0.0


def test_land_grazed_is_what_the_herd_eats_at_the_published_share_of_use() -> None:
    # 60 % of what grows is eaten (Peterson in Ozarks Farm & Neighbor, 2009): 0.6 * 8 * 0.8 = 3.84 t/ha
    grazed = [TABLES.practices[GRAZED]]
    assert grazing_land_share(grazed, with_stock(46.08), TABLES) == pytest.approx(12.0 / 24.0)
    assert grazing_land_share(grazed, with_stock(1e6), TABLES) == 1.0
    # not told: what is eaten in the 215 days that are not winter, of 150 days at 20 t with 13 % of it wasted
    eaten = grazing_of_hay_herd(20.0, 150.0, waste_share=0.13)
    assert eaten == pytest.approx(20.0 * 0.87 * 215.0 / 150.0)
    assert grazing_land_share(grazed, with_stock(None), TABLES) == pytest.approx(eaten / 3.84 / 24.0)


def test_stock_are_moved_by_hand_in_the_half_months_in_which_they_graze() -> None:
    lay_out = ground()
    index = lay_out.practice_list.index
    pair = int(lay_out.pair_index[index["grass_clover_1"], index[GRAZED]])
    moves = [op for op in lay_out.programmes[pair].operations if op.operation == "graze_hard"]
    a_time = TABLES.number("operation", "graze_hard", "hours_per_ha")
    assert len(moves) == 3
    assert lay_out.hours.labour[pair].sum() == pytest.approx(3 * a_time)
    assert lay_out.budgets.parts["labour"][pair] == pytest.approx(3 * a_time * lay_out.farm.labour.wage_per_h)


def test_without_stock_nothing_is_grazed() -> None:
    bare = lay(with_stock(None, feed_need_t=0.0), TABLES)
    assert GRAZED not in bare.practice_list.index
    assert all(share.name != "grazed land" for share in selection_data(bare).limits.largest)


@pytest.mark.parametrize("need_t", [0.0, 32.0, 200.0])
def test_no_more_is_grazed_than_the_herd_eats_and_the_second_reckoning_agrees(need_t: float) -> None:
    plans = planned(need_t)
    area = {field.name: field.area_ha for field in plans.farm.fields}
    for plan in plans.chosen():
        grazed = np.zeros(plans.farm.years)
        for name, path in plan.practices.items():
            grazed += [area[name] * (key == GRAZED) for key in path]
        assert 0.6 * 8.0 * 0.8 * grazed.max() <= need_t + 1e-6
        assert all(line.agrees for line in recheck(plans.ground, plan))


def test_more_to_graze_is_used_and_never_brings_less() -> None:
    worths = [planned(need_t).worth("most_money") for need_t in (0.0, 32.0, 200.0)]
    assert worths == sorted(worths)
    assert worths[0] < worths[1] < worths[2]
    assert GRAZED in planned(32.0).grown("most_money")


def test_what_is_to_be_grazed_is_read_from_the_farm_file(tmp_path: Path) -> None:
    text = DEMO.read_text(encoding="utf-8")
    path = tmp_path / "grazed.toml"
    path.write_text(text.replace("hay_need_ton = 150", "grazing_need_ton = 100\nhay_need_ton = 150"))
    assert farms.read(path, TABLES).grazing_need_t == pytest.approx(90.718474)
    assert farms.read(DEMO, TABLES).grazing_need_t is None
