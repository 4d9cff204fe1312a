"""From counted shoots to the roots a plan starts with."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from small_farm import TABLES, patch, small

from rotation_opt.groundwork import Groundwork, lay, weeds_of
from rotation_opt.infestation import WeedStart, season_counted, weed_start
from rotation_opt.records import Patch
from rotation_opt.season import reserve_from_count
from rotation_opt.weeds.parameters import LIKELY

JUNE_24 = 174  # day of the year, 0 = 1 January
DRAWS = np.arange(1)


@cache
def ground() -> Groundwork:
    return lay(small(), TABLES)


def start(*patches: Patch, history: tuple[str, ...] = ("soybean", "spring_barley")) -> WeedStart:
    """How the first field (10 ha, spring barley last) stands with these patches."""
    g = ground()
    field = replace(g.farm.fields[0], patches=patches, history=history)
    return weed_start(
        field,
        g.farm,
        response=g.response,
        pair=season_counted(field, g.practice_list, g.pair_index),
        climate=g.climate,
        tables=g.tables,
    )


def pair(before: str, this: str) -> int:
    index = ground().practice_list.index
    return int(ground().pair_index[index[before], index[this]])


def test_a_field_without_weeds_starts_with_none() -> None:
    clean = start()
    assert not clean.reserve.any()
    assert not clean.autumn.any()
    assert not clean.infested_share.any()


@pytest.mark.parametrize("stage", ["emerging", "rosette", "bud", "flower", "stubble"])
def test_more_shoots_counted_mean_more_root_in_every_draw(stage: str) -> None:
    found = [start(patch(4.0, shoots, stage=stage)).reserve[0] for shoots in (1.0, 5.0, 15.0)]
    assert (found[0] < found[1]).all()
    assert (found[1] < found[2]).all()


def test_a_count_is_as_sure_as_its_stops_make_it() -> None:
    """Variance of the mean of n draws from a negative binomial, by its mean squared: (1/k + 1/mean) / n."""
    k = TABLES.number("weed", "creeping_thistle", "clump_k")
    usual = replace(patch(4.0, 20.0), stops=0, frame_m2=0.0)
    many = replace(usual, stops=40, frame_m2=1.0)
    assert start(usual).doubt[0] ** 2 == pytest.approx((1 / k + 1 / 5.0) / 10)
    assert start(many).doubt[0] ** 2 == pytest.approx((1 / k + 1 / 20.0) / 40)
    two = start(usual, replace(usual, area_ha=2.0, shoots_per_m2=40.0))  # as many shoots in each
    each = [start(usual).doubt[0], start(replace(usual, shoots_per_m2=40.0)).doubt[0]]
    assert two.doubt[0] ** 2 == pytest.approx((each[0] ** 2 + each[1] ** 2) / 4)


def test_no_count_makes_more_root_than_the_ground_can_hold() -> None:
    huge = start(patch(4.0, 1e5))
    assert np.isfinite(huge.reserve).all()
    assert (huge.reserve <= ground().response.reserve_cap + 1e-9).all()


def test_the_infested_share_is_patch_area_over_field_area_and_never_above_all_of_it() -> None:
    assert start(patch(4.0, 5.0)).infested_share == pytest.approx([0.4])
    assert start(patch(4.0, 5.0), patch(1.0, 20.0)).infested_share == pytest.approx([0.5])
    assert start(patch(8.0, 5.0), patch(8.0, 20.0)).infested_share == pytest.approx([1.0])


def test_patches_of_one_weed_are_averaged_by_area() -> None:
    thin, thick = start(patch(3.0, 4.0)), start(patch(1.0, 18.0))
    both = start(patch(3.0, 4.0), patch(1.0, 18.0))
    assert both.reserve == pytest.approx((3.0 * thin.reserve + thick.reserve) / 4.0)
    assert both.autumn == pytest.approx((3.0 * thin.autumn + thick.autumn) / 4.0)


def test_the_season_of_the_count_run_forward_gives_the_count_and_then_the_start() -> None:
    counted = 12.0
    response, season = ground().response, pair("soybean", "spring_barley")
    before = response.start_from_count(season, 0, DRAWS, counted)
    assert response.shoots_after(season, 0, DRAWS, before) == pytest.approx(counted)
    found = start(patch(4.0, counted))
    assert found.reserve[0] == pytest.approx(response.after(season, 0, DRAWS, before))
    assert found.autumn[0] == pytest.approx(response.autumn_after(season, 0, DRAWS, before))


def test_a_stubble_count_is_the_reserve_of_an_undisturbed_stand_with_as_many_shoots() -> None:
    found = start(patch(4.0, 12.0, on="2026-09-10", stage="stubble"))
    standing = reserve_from_count(
        12.0,
        252,
        "stubble",
        "creeping_thistle",
        climate=ground().climate,
        tables=ground().tables,
        draws=[LIKELY],
    )
    assert found.reserve[0] == pytest.approx(standing)


def test_a_count_of_an_earlier_year_is_not_read_through_the_last_season() -> None:
    old = start(patch(4.0, 12.0, on="2024-06-24"))
    standing = reserve_from_count(
        12.0,
        JUNE_24,
        "bud",
        "creeping_thistle",
        climate=ground().climate,
        tables=ground().tables,
        draws=[LIKELY],
    )
    assert old.reserve[0] == pytest.approx(standing)
    assert not np.allclose(old.reserve, start(patch(4.0, 12.0)).reserve)


def test_the_last_day_of_a_leap_year_can_be_a_day_of_counting() -> None:
    assert np.isfinite(start(patch(4.0, 12.0, on="2024-12-31", stage="stubble")).reserve).all()


def test_a_history_of_one_crop_is_enough() -> None:
    short = start(patch(4.0, 12.0), history=("spring_barley",))
    assert np.isfinite(short.reserve).all()
    assert (short.reserve > 0).all()


def test_a_last_crop_that_fits_after_nothing_leaves_the_count_as_it_stands() -> None:
    g = ground()
    nothing = np.full_like(g.pair_index, -1)
    found = weed_start(
        g.farm.fields[0],
        g.farm,
        response=g.response,
        pair=season_counted(g.farm.fields[0], g.practice_list, nothing),
        climate=g.climate,
        tables=g.tables,
    )
    standing = reserve_from_count(
        20.0, JUNE_24, "bud", "creeping_thistle", climate=g.climate, tables=g.tables, draws=[LIKELY]
    )
    assert found.reserve[0] == pytest.approx(standing)
    assert found.autumn[0] == pytest.approx(standing)


def test_weeds_of_different_kinds_start_apart() -> None:
    field = replace(small().fields[0], patches=(patch(4.0, 12.0), patch(2.0, 30.0, weed="couch_grass")))
    farm = replace(small(), fields=(field,))
    assert weeds_of(farm) == ("creeping_thistle", "couch_grass")
    g = lay(farm, TABLES)
    found = g.starts["East"]
    assert found.infested_share == pytest.approx([0.4, 0.2])
    assert found.reserve[0] == pytest.approx(start(patch(4.0, 12.0), history=field.history).reserve[0])
    assert (found.reserve[1] > 0).all()


def test_a_farm_without_any_count_is_looked_at_for_the_thistle() -> None:
    farm = replace(small(), fields=tuple(replace(field, patches=()) for field in small().fields))
    assert weeds_of(farm) == ("creeping_thistle",)
