"""One season for its own sake, on the shipped tables and the demo farm."""

import pytest

import rotation_opt
from rotation_opt import closer_look, tables
from rotation_opt.climate import for_farm
from rotation_opt.errors import RotationOptError
from rotation_opt.practices import dated_practices
from rotation_opt.report.season_plot import day_half_up, first_day_dark

TABLES = tables.read()


@pytest.fixture(scope="module")
def farm():
    return rotation_opt.read_farm(rotation_opt.example_farm("tamarack_hollow"))


@pytest.fixture(scope="module")
def rows(farm):
    return closer_look.season_table(farm, TABLES, weed="creeping_thistle")


def test_every_practice_the_farm_can_grow_has_one_row(farm, rows):
    shown = [row.practice for row in rows]
    offered = {each.key for each in dated_practices(farm, TABLES, for_farm(farm, TABLES)).practices}
    assert len(set(shown)) == len(shown)
    assert set(shown) <= offered
    assert {"spring_barley", "alfalfa_2", "winter_wheat", "fallow"} <= set(shown)


def test_low_likely_and_high_come_in_that_order_and_light_is_a_share(rows):
    for row in rows:
        low, likely, high = row.reserve_end
        assert 0 <= low <= likely <= high
        assert 0 <= row.light <= 1


def test_the_last_crop_of_a_field_comes_before_wherever_it_can(farm):
    rows = closer_look.season_table(farm, TABLES, field="Creek Bottom", weed="creeping_thistle")
    before = {row.practice: row.previous for row in rows}
    last = next(field.history[-1] for field in farm.fields if field.name == "Creek Bottom")
    assert before["soybean"] == last
    assert before["alfalfa_2"].startswith(
        "alfalfa"
    )  # a second hay year follows a first one, whatever the field


def test_the_drawn_year_agrees_with_the_row_of_the_ranking(farm, rows):
    for row in rows:
        if row.practice not in {"spring_barley", "alfalfa_2", "winter_wheat"}:
            continue
        course = closer_look.season_course(farm, row.practice, TABLES, weed="creeping_thistle")
        assert course.previous == row.previous
        assert course.reserve[-1] == pytest.approx(row.reserve_end[1], rel=1e-6)
        if course.first_day <= 0:
            assert day_half_up(course) - first_day_dark(course) == row.head_start_days


def test_all_weeds_of_the_farm_are_shown_unless_one_is_asked_for(farm, rows):
    assert {row.weed for row in rows} == {"creeping_thistle"}
    every = {row.weed for row in closer_look.season_table(farm, TABLES)}
    assert every == {"creeping_thistle", "field_bindweed", "couch_grass"}


def test_a_practice_that_cannot_be_grown_is_answered_with_the_reason(farm):
    left_out = dated_practices(farm, TABLES, for_farm(farm, TABLES)).reasons
    practice = next(iter(left_out))
    with pytest.raises(RotationOptError, match="cannot be grown on Tamarack Hollow"):
        closer_look.season_course(farm, practice, TABLES)
