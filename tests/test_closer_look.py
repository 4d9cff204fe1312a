"""One season for its own sake, on the shipped tables and the demo farm."""

import dataclasses
import math
import re

import pytest

import rotation_opt
from rotation_opt import closer_look, tables
from rotation_opt.climate import for_farm
from rotation_opt.errors import RotationOptError
from rotation_opt.groundwork import lay
from rotation_opt.practices import dated_practices
from rotation_opt.report.season_page import course_page, season_page
from rotation_opt.report.season_plot import day_in_words, half_up
from rotation_opt.report.terminal import render
from rotation_opt.report.wording import Wording, percent_range

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


DRAWN = ("spring_barley", "alfalfa_2", "winter_wheat", "corn_grain", "corn_grain_rye", "fallow")


@pytest.fixture(scope="module")
def courses(farm):
    return {key: closer_look.season_course(farm, key, TABLES, weed="creeping_thistle") for key in DRAWN}


def test_the_drawn_year_agrees_with_the_row_of_the_ranking(rows, courses):
    by_key = {row.practice: row for row in rows}
    for key, course in courses.items():
        row = by_key[key]
        assert course.previous == row.previous
        assert course.reserve[-1][1] == pytest.approx(row.reserve_end[1], rel=1e-6)
        assert course.head_start_days == row.head_start_days
        assert course.mean_light == pytest.approx(row.light)


def test_the_series_all_run_from_the_harvest_before_to_late_autumn(courses):
    for course in courses.values():
        days = len(course.light)
        assert course.first_day + days - 1 == max(304, course.harvest_day)
        assert {len(series) for series in (course.cover, course.emerged, course.shoots, course.reserve)} == {
            days
        }
        assert course.reserve[0] == pytest.approx((1.0, 1.0, 1.0))
        assert all(course.first_day <= work.day < course.first_day + days for work in course.operations)
        assert all(low <= likely <= high for low, likely, high in course.reserve)


def test_low_to_high_covers_cool_and_warm_years_on_their_own_days(courses):
    for course in courses.values():
        assert course.weathers == ("cool", "usual", "warm")
        assert course.weed_figures == len(TABLES.draws)
        assert course.enough_light == TABLES.number("weed_parameter", "creeping_thistle", "light_full")
        assert course.fitted_light[1] == TABLES.draw("likely", "creeping_thistle", "light_full")
    low, likely, high = courses["spring_barley"].reserve[-1]
    assert high - low > 0.02  # an early and a late spring are not the same to the thistle
    assert low < likely < high


def test_the_band_of_the_drawn_year_ends_as_that_of_the_ranking(rows, courses):
    by_key = {row.practice: row for row in rows}
    for key, course in courses.items():
        if course.harvest_day < 275:  # else a cool year has its own end, after that of the drawn year
            assert course.reserve[-1] == pytest.approx(by_key[key].reserve_end, rel=1e-6), key


def with_error(spread):
    return TABLES.with_change("weed", "creeping_thistle", "season_error", spread)


@pytest.fixture(scope="module")
def by_error(farm):
    """The same season with no error, with some, and with much."""
    return [
        closer_look.season_course(farm, "spring_barley", with_error(spread), weed="creeping_thistle")
        for spread in (0.0, 0.3, 0.6)
    ]


def test_a_larger_error_of_a_season_makes_a_wider_band_and_moves_nothing_likely(by_error):
    for of in ("left_alone", "work_alone", "shade_alone", "reserve"):
        figures = [getattr(course, of) for course in by_error]
        ends = [each[-1] if of == "reserve" else each for each in figures]
        lows, likely, highs = zip(*ends, strict=True)
        assert lows[0] > lows[1] > lows[2], of
        assert highs[0] < highs[1] < highs[2], of
        assert likely[1:] == pytest.approx(likely[:1] * 2, rel=1e-12), of
    days = [[day[1] for day in course.reserve] for course in by_error]
    assert days[2] == pytest.approx(days[0], rel=1e-12)


def test_the_error_builds_up_as_the_season_changes_the_roots(by_error):
    without, _, much = ([math.log(high / low) for low, _, high in course.reserve] for course in by_error)
    assert much[0] == pytest.approx(0.0, abs=1e-12)
    more = [wide - narrow for wide, narrow in zip(much, without, strict=True)]
    assert min(more) > -0.05
    winter = -by_error[0].first_day  # 1 January: little has happened to the roots
    assert more[winter] < 0.6 * more[-1]
    assert more[-1] > 0.3


def test_no_error_lets_more_stand_than_the_cap(farm):
    most = max(TABLES.draw(draw, "creeping_thistle", "reserve_cap") for draw in TABLES.draws)
    for row in closer_look.season_table(farm, with_error(2.0), weed="creeping_thistle"):
        assert row.reserve_end[2] <= most


def test_asked_twice_the_band_is_the_same(farm, courses):
    again = closer_look.season_course(farm, "spring_barley", TABLES, weed="creeping_thistle")
    assert again == courses["spring_barley"]


def test_the_head_start_is_the_days_from_dark_to_half_the_shoots_being_up(courses):
    for course in courses.values():
        if course.head_start_days is None:
            continue
        half = half_up(course)
        dark = round(half - course.head_start_days)
        light = dict(enumerate(course.light, start=course.first_day))
        assert light[dark] <= course.enough_light
        assert dark == 0 or light[dark - 1] > course.enough_light


def test_work_and_shade_each_leave_more_than_both_and_less_than_neither(courses):
    for key, course in courses.items():
        both = course.reserve[-1][1]
        work, shade, neither = course.work_alone[1], course.shade_alone[1], course.left_alone[1]
        assert both <= min(work, shade) + 1e-9, key
        assert max(work, shade) <= neither + 1e-9, key
    assert courses["fallow"].work_alone == pytest.approx(courses["fallow"].reserve[-1])  # no crop: no shade


def test_a_fall_cereal_is_ahead_of_the_thistle_and_a_row_crop_is_not(courses):
    # Rochester NY: wheat stands since autumn; corn closes its rows weeks after the shoots are up
    assert courses["winter_wheat"].head_start_days > 14
    assert courses["corn_grain"].head_start_days is None or courses["corn_grain"].head_start_days < 0
    assert (
        courses["winter_wheat"].mean_light
        < courses["spring_barley"].mean_light
        < courses["corn_grain"].mean_light
    )


def test_a_year_of_hay_leaves_less_than_a_row_crop_or_a_spring_cereal(courses):
    left = {key: course.reserve[-1][1] for key, course in courses.items()}
    assert left["alfalfa_2"] < left["corn_grain"]
    assert left["alfalfa_2"] < left["spring_barley"]


@pytest.mark.parametrize("width", [60, 80, 120])
def test_real_seasons_are_drawn_on_any_paper_with_the_figures_of_the_model(farm, courses, width):
    for key, course in courses.items():
        words = Wording(farm, TABLES)
        lines = render(course_page(course, words), width, "ascii").splitlines()
        shown = " ".join(" ".join(lines).split())
        assert max(map(len, lines)) <= width, key
        for low, likely, high in (course.reserve[-1], course.work_alone):
            assert f"{100 * likely:.0f}% ({100 * low:.0f} to {100 * high:.0f})" in shown, key


def test_every_pass_is_listed_on_its_day_and_hay_work_with_its_cut(farm, courses):
    words = Wording(farm, TABLES)
    for key, course in courses.items():
        page = course_page(course, words)
        listed = next(section.blocks[0] for section in page.sections if section.key == "work")
        after_a_cut = [work for work in course.operations if work.operation in {"rake", "bale"}]
        assert len(listed.rows) == len(course.operations) - len(after_a_cut), key
        days = [row[1].removeprefix("about ") for row in listed.rows]
        marked = [work for work in course.operations if work not in after_a_cut]
        assert days == [day_in_words(course, work.day, words) for work in marked], key


def test_the_ranking_of_the_farm_rises_and_shows_the_figures_of_the_rows(farm, rows):
    shown = render(season_page(rows, Wording(farm, TABLES), every=True), 120)
    table = [re.split(r"  +", line.strip()) for line in shown.splitlines() if re.match(r"\d+ ", line)]
    assert [int(line[0]) for line in table] == list(range(1, len(rows) + 1))
    left = [int(line[-1].split()[0]) for line in table]
    assert left == sorted(left)
    assert sorted(line[-1] for line in table) == sorted(percent_range(row.reserve_end) for row in rows)


def test_passes_cuts_and_what_is_grown_now_are_counted(farm, rows):
    by_key = {row.practice: row for row in rows}
    assert (by_key["alfalfa_2"].passes, by_key["alfalfa_2"].cuts) == (0, 3)
    assert by_key["fallow"].passes > by_key["winter_wheat"].passes > 0
    grown = {key for field in farm.fields for key in (*field.history, *field.as_now)}
    assert {row.practice for row in rows if row.now} == grown & by_key.keys()


def test_the_stand_counted_on_a_field_is_carried_through_the_season(farm):
    course = closer_look.season_course(farm, "spring_barley", TABLES, field="Home 40")
    counted = course.counted
    assert counted.field == "Home 40"
    assert course.previous == next(field.history[-1] for field in farm.fields if field.name == "Home 40")
    ground = lay(farm, TABLES)
    start = ground.starts["Home 40"].reserve[0]
    likely = ground.response.draws.index("likely")
    assert counted.start[1] == pytest.approx(start[likely])
    index = ground.practice_list.index
    pair = int(ground.pair_index[index[course.previous], index["spring_barley"]])
    assert counted.end[1] == pytest.approx(
        float(ground.response.autumn_after(pair, 0, likely, start[likely]))
    )
    shoots = float(ground.response.shoots_after(pair, 0, likely, start[likely]))
    assert counted.shoots_per_m2[1] == pytest.approx(shoots)
    for low, middle, high in (counted.start, counted.end, counted.shoots_per_m2):
        assert low <= middle <= high


def test_no_count_is_spoken_of_without_a_field_or_before_a_crop_that_cannot_follow_its_last(farm, courses):
    assert courses["spring_barley"].counted is None
    assert closer_look.season_course(farm, "winter_wheat", TABLES, field="Home 40").counted is None


def test_what_a_field_bans_is_not_ranked_on_it(farm):
    assert "winter_wheat" not in {
        row.practice for row in closer_look.season_table(farm, TABLES, field="Creek Bottom")
    }
    assert "winter_wheat" in {row.practice for row in closer_look.season_table(farm, TABLES, field="Home 40")}


def test_crops_that_leave_the_ground_free_go_before_stands_that_would_have_to_be_broken(rows):
    before = {row.practice: row.previous for row in rows}
    assert before["corn_grain"] == "soybean"
    assert before["soybean"] == "corn_grain"  # another crop goes before the same one
    assert before["winter_wheat"] in {"spring_barley", "oat", "spring_wheat"}


def test_a_southern_season_keeps_its_own_calendar(farm):
    southern = dataclasses.replace(farm, station="Christchurch")
    course = closer_look.season_course(southern, "winter_wheat", TABLES)
    assert course.shift_days == 181
    words = Wording(southern, TABLES)
    harvest = day_in_words(course, course.harvest_day, words)
    sown = day_in_words(
        course, min(work.day for work in course.operations if work.operation == "drill"), words
    )
    assert harvest.split()[0] in {"December", "January", "February"}
    assert sown.split()[0] in {"March", "April", "May", "June"}


def test_all_weeds_of_the_farm_are_shown_unless_one_is_asked_for(farm, rows):
    assert {row.weed for row in rows} == {"creeping_thistle"}
    every = {row.weed for row in closer_look.season_table(farm, TABLES)}
    assert every == {"creeping_thistle", "field_bindweed", "couch_grass"}


def test_a_practice_that_cannot_be_grown_is_answered_with_the_reason(farm):
    left_out = dated_practices(farm, TABLES, for_farm(farm, TABLES)).reasons
    practice = next(iter(left_out))
    with pytest.raises(RotationOptError, match="cannot be grown on Tamarack Hollow"):
        closer_look.season_course(farm, practice, TABLES)
