"""Dates of practices against published windows, and why a practice is left out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from rotation_opt import climate, farm, practices, tables, varieties
from rotation_opt.records import Farm

ROOT = Path(__file__).parent.parent
TABLES = tables.read()
ROCHESTER = "Rochester NY, airport"


def demo_farm() -> Farm:
    return farm.read(ROOT / "examples" / "tamarack_hollow.toml", TABLES)


def dated(practice: str, station: str) -> tuple[practices.DatedPractice, str]:
    place = climate.for_station(station, TABLES)
    calendar = practices.field_calendar(place, TABLES)
    local = varieties.fitted(TABLES, place)
    return practices.date_practice(TABLES.practices[practice], place, local, calendar)


def day(month: int, number: int) -> int:
    return practices.MONTH_STARTS[month - 1] + number - 1


def days_outside(when: int, first: int, last: int) -> int:
    """Days by which a date misses a window; negative = too early."""
    when %= 365
    return min(when - first, 0) + max(when - last, 0)


# Nguyen et al. (2022), open archive of a rotation trial at Boone, Iowa, 2017-2020: dates really used. The
# heat sums of oats, alfalfa and the latest soybeans and corn were chosen with these windows in view.
@pytest.mark.parametrize(
    ("practice", "first", "last"),
    [
        pytest.param("oat", day(4, 2), day(4, 24), id="oat"),
        pytest.param("corn_grain", day(4, 23), day(6, 3), id="corn"),
        pytest.param("soybean", day(5, 13), day(6, 10), id="soybean"),
    ],
)
def test_sowing_falls_in_the_window_of_the_iowa_trial(practice, first, last):
    sown = dated(practice, "Boone IA")[0].sowing_day
    assert sown is not None
    assert days_outside(sown, first, last) == 0


@pytest.mark.parametrize(
    ("practice", "first", "last"),
    [
        pytest.param("oat", day(7, 17), day(7, 24), id="oat"),
        pytest.param("corn_grain", day(10, 2), day(11, 6), id="corn"),
        pytest.param("soybean", day(9, 23), day(10, 29), id="soybean"),
    ],
)
def test_harvest_falls_in_the_window_of_the_iowa_trial(practice, first, last):
    assert days_outside(dated(practice, "Boone IA")[0].harvest_day, first, last) == 0


@pytest.mark.parametrize(
    ("cut", "first", "last"),
    [
        pytest.param(1, day(6, 2), day(6, 7), id="first"),
        pytest.param(2, day(7, 6), day(7, 12), id="second"),
        pytest.param(3, day(8, 7), day(9, 10), id="third"),
    ],
)
def test_alfalfa_is_cut_in_the_windows_of_the_iowa_trial(cut, first, last):
    cuts = dated("alfalfa_2", "Boone IA")[0].cut_days
    assert days_outside(cuts[cut - 1], first, last) == 0


@pytest.mark.parametrize("station", ["Boone IA", ROCHESTER, "Wuerzburg"])
def test_alfalfa_sown_in_spring_is_first_cut_two_months_after_it_came_up(station):
    # common practice, no source: 60 to 70 days after emergence, at early bloom, and never with the first cut
    # of older stands
    young, older = (dated(key, station)[0] for key in ("alfalfa_spring", "alfalfa_1"))
    assert young.emergence_day is not None
    assert 55 <= young.cut_days[0] - young.emergence_day <= 75
    assert young.cut_days[0] > older.cut_days[0] + 14


@pytest.mark.parametrize(
    ("practice", "first", "last"),
    [
        # South Dakota State University Extension, soil temperature and sowing: from the earliest date in the
        # southeast to the latest in the north; Brookings lies between
        pytest.param("spring_wheat", day(3, 25), day(4, 27), id="spring-wheat"),
        pytest.param("corn_grain", day(5, 1), day(5, 26), id="corn"),
    ],
)
def test_sowing_falls_in_the_south_dakota_window(practice, first, last):
    sown = dated(practice, "Brookings SD")[0].sowing_day
    assert sown is not None
    assert days_outside(sown, first, last) == 0


def test_clover_is_frost_seeded_when_wisconsin_does_it():
    # University of Wisconsin: frost seed red clover into winter cereals in mid to late March
    under = dated("winter_wheat_clover_plowdown", "Madison WI, airport (1991-2020)")[0].undersown_day
    assert under is not None
    assert days_outside(under, day(3, 11), day(3, 31)) == 0


def test_late_summer_alfalfa_is_up_six_weeks_before_hard_frost_and_sown_before_september():
    # Owens (1999): up six weeks before the first hard frost; Hay & Forage Grower: usual limit 1 September
    place = climate.for_station(ROCHESTER, TABLES)
    found, _ = dated("alfalfa_late_summer", ROCHESTER)
    frost = practices.field_calendar(place, TABLES).frost - 365
    assert found.emergence_day is not None
    assert found.sowing_day is not None
    assert frost - found.emergence_day >= 42
    assert found.sowing_day + 365 < day(9, 1)


def test_buckwheat_waits_for_the_earliest_new_york_date():
    # Bjorkman, Cornell University: buckwheat is safe from 20 May in New York
    sown = dated("buckwheat", ROCHESTER)[0].sowing_day
    assert sown is not None
    assert sown >= day(5, 20)


@pytest.mark.parametrize("cereal", ["winter_wheat", "winter_rye", "winter_barley"])
def test_saskatchewan_winter_cereals_are_sown_from_late_august_to_mid_september(cereal):
    # Saskatchewan Agriculture (2017): end of August in the north to mid-September in the south. "End of
    # August" is read as its last ten days.
    sown = dated(cereal, "Saskatoon SK, airport")[0].sowing_day
    assert sown is not None
    assert days_outside(sown, day(8, 21), day(9, 15)) == 0


def test_last_cut_leaves_the_stand_its_rest_before_killing_frost():
    for station in ("Boone IA", ROCHESTER, "Saskatoon SK, airport"):
        place = climate.for_station(station, TABLES)
        frost = practices.field_calendar(place, TABLES).frost
        rest = TABLES.number("crop", "alfalfa", "last_cut_rest_days")
        cuts = dated("alfalfa_2", station)[0].cut_days
        assert cuts
        assert frost - cuts[-1] >= rest


def test_every_practice_runs_its_course_in_order():
    for station in ("Boone IA", ROCHESTER, "Cologne", "Saskatoon SK, airport"):
        for key in TABLES.practices:
            found, _ = dated(key, station)
            days = [found.sowing_day, found.emergence_day, found.ripe_day, found.harvest_day]
            known = [each for each in days if each is not None]
            # a crop that never ripens is taken off when field work ends
            assert known == sorted(known) or found.ripe_day is None or found.harvest_day < found.ripe_day, key
            assert list(found.cut_days) == sorted(found.cut_days), key
            assert min(known) >= -184
            assert max(known[-1], found.harvest_day) <= 364, key


def test_corn_does_not_ripen_at_saskatoon_but_barley_does():
    assert "ripen" in dated("corn_grain", "Saskatoon SK, airport")[1]
    assert dated("spring_barley", "Saskatoon SK, airport")[1] == ""


def test_a_reason_names_the_day_and_the_frost():
    _, reason = dated("faba_bean", "Saskatoon SK, airport")
    assert reason.startswith("it would ripen on ")
    assert "after the usual killing frost (September 24)" in reason


def test_a_later_sowing_is_later_by_its_shift_and_ripens_later():
    plain, late = dated("oat", ROCHESTER)[0], dated("oat_late", ROCHESTER)[0]
    shift = TABLES.practices["oat_late"].sowing_shift_days
    assert late.sowing_day == plain.sowing_day + shift
    assert plain.harvest_day < late.harvest_day < plain.harvest_day + shift


def test_demo_farm_offers_practices_and_explains_the_rest():
    listed = practices.dated_practices(demo_farm(), TABLES, climate.for_farm(demo_farm(), TABLES))
    offered = {each.key for each in listed.practices}
    assert {"oat", "winter_wheat", "alfalfa_2"} <= offered
    assert len(offered) + len(listed.left_out) == len(TABLES.practices)
    assert all(reason for _, reason in listed.left_out)
    assert [listed.index[each.key] for each in listed.all] == list(range(len(listed.all)))
    assert listed.all[: len(listed.practices)] == listed.practices


def listed_for(changed: Farm) -> practices.PracticeList:
    return practices.dated_practices(changed, TABLES, climate.for_farm(changed, TABLES))


def test_refusing_a_crop_a_group_or_a_tag_leaves_it_out():
    base = demo_farm()
    for word, key in (("oat", "oat_dense"), ("fall cereal", "winter_rye"), ("fallow", "fallow")):
        listed = listed_for(replace(base, refuses=frozenset({word})))
        assert key not in {each.key for each in listed.practices}
        assert listed.reasons[key].startswith("you do not want")


def test_a_crop_without_buyers_is_left_out_but_can_be_cut_and_left():
    base = replace(demo_farm(), no_market=frozenset({"alfalfa", "oat"}), feed_need_t=0.0)
    listed = listed_for(base)
    offered = {each.key for each in listed.practices}
    assert "alfalfa_2" not in offered
    assert "alfalfa_2_leave" in offered
    assert listed.reasons["oat"] == "nobody near buys oats"


def test_a_herd_eats_the_hay_nobody_buys():
    base = replace(demo_farm(), no_market=frozenset({"alfalfa"}), feed_need_t=100.0)
    assert "alfalfa_2" in {each.key for each in listed_for(base).practices}


def test_a_machine_neither_owned_nor_for_hire_is_named():
    base = demo_farm()
    without = {key: each for key, each in base.machines.items() if key != "combine"}
    listed = listed_for(replace(base, machines=without))
    assert listed.reasons["oat"] == "it needs a combine, which you neither own nor can hire"


def test_what_stands_in_a_history_is_dated_though_it_is_left_out():
    base = replace(demo_farm(), refuses=frozenset({"soybean"}))
    listed = listed_for(base)
    assert "soybean" in base.fields[0].history
    assert not listed.of("soybean").available
    assert "soybean" not in {each.key for each in listed.practices}


@pytest.mark.parametrize(("region", "words"), [("us", "October 12"), ("uk", "12 October")])
def test_days_are_written_as_growers_write_them(region, words):
    assert practices.day_in_words(day(10, 12), region) == words
    assert practices.day_in_words(day(10, 12) - 365, region) == words


def test_southern_farms_read_their_own_months():
    place = climate.for_station("Christchurch", TABLES)
    calendar = practices.field_calendar(place, TABLES)
    sown = dated("spring_barley", "Christchurch")[0].sowing_day
    assert sown is not None
    assert calendar.in_words(sown, "uk").split()[1] in ("August", "September", "October")


def test_heat_is_counted_from_the_day_given():
    heat = np.ones(549)
    assert practices.first_day_at(heat, 10.0, 0) == 9
    assert practices.first_day_at(heat, 10.0, -184) == -175
    assert practices.first_day_at(heat, 1e6, 0) is None


# ---------------------------------------------------------------- stages of the weed


def stages_at(station: str, weed: str = "creeping_thistle", region: str = "us") -> practices.WeedStages:
    return practices.weed_stages(climate.for_station(station, TABLES), TABLES, weed, region)


def test_thistles_bud_in_the_first_half_of_june_near_minnesota_and_flower_a_month_later():
    # Arny (1932, date recalled): buds form early to mid June; Katovich & Becker (2025): a month from first
    # bud to first flower. Brookings lies next to Minnesota; the heat sums are from Madison WI.
    days = stages_at("Brookings SD").days
    assert day(6, 1) <= days["bud"] <= day(6, 15)
    assert 25 <= days["flower"] - days["early_bud"] <= 35


@pytest.mark.parametrize("weed", list(TABLES.weeds))
def test_a_warmer_place_brings_every_stage_earlier(weed):
    warm, cool = stages_at("Boone IA", weed).days, stages_at("Saskatoon SK, airport", weed).days
    assert set(warm) == set(practices.STAGES)
    assert all(warm[stage] < cool[stage] for stage in practices.STAGES)
    assert warm["first_shoots"] < warm["half_up"] < warm["leaves"]
    assert warm["half_up"] < warm["early_bud"] < warm["bud"] < warm["flower"]


def test_regrowth_is_ready_in_three_weeks_of_summer_and_later_in_spring_and_fall():
    # Anderson (2009): passes every three weeks are the old standard against creeping thistle; Seely (1952):
    # shoots taken every four weeks
    stages = stages_at("Boone IA")
    waits = {
        start: (stages.regrown_after(start) or 999) - start for start in (day(4, 25), day(7, 1), day(8, 28))
    }
    assert 18 <= waits[day(7, 1)] <= 28
    assert waits[day(4, 25)] > waits[day(7, 1)] + 7
    assert waits[day(8, 28)] > waits[day(7, 1)]


def test_nothing_grows_again_once_frost_has_come():
    stages = stages_at("Saskatoon SK, airport")
    assert stages.regrown_after(stages.frost - 1) is None
    assert stages.regrown_after(stages.frost - 365 - 1) is None


def test_stages_are_said_in_the_words_of_the_region():
    assert stages_at("Boone IA", "couch_grass").in_words("bud") == "when half the quackgrass shoots show ears"
    uk = stages_at("Cologne", "perennial_sow_thistle", "uk")
    assert uk.in_words("early_bud", -1) == "1 day before the first sow-thistles are at bud"
    assert stages_at("Cologne").again_in_words() == "again when regrowth has 6-8 leaves"


def test_a_stage_that_is_never_reached_is_missing_and_the_practice_says_so():
    # a thistle that flowers after twice the heat of the year cannot do so before frost
    late = TABLES.with_change("weed", "creeping_thistle", "first_bud_heat", 2999.0)
    place = climate.for_station("Saskatoon SK, airport", late)
    calendar = practices.field_calendar(place, late)
    assert "early_bud" not in calendar.stages.days
    _, reason = practices.date_practice(late.practices["red_clover_1_mown_bud"], place, late, calendar)
    assert reason == "frost usually ends the shoots here before the first thistles are at bud"
    assert practices.date_practice(late.practices["red_clover_1"], place, late, calendar)[1] == ""


def test_work_is_tied_to_the_weed_the_farm_has_most_of():
    base = demo_farm()
    first = base.fields[0]
    patch = replace(first.patches[0], weed="field_bindweed", area_ha=5.0, shoots_per_m2=40.0)
    assert (
        practices.main_weed(replace(base, fields=(replace(first, patches=(patch,)),)), TABLES)
        == "field_bindweed"
    )
    clean = tuple(replace(each, patches=()) for each in base.fields)
    assert practices.main_weed(replace(base, fields=clean), TABLES) == "creeping_thistle"
    few = replace(first.patches[0], weed="creeping_thistle", area_ha=0.1, shoots_per_m2=2.0)
    both = replace(base, fields=(replace(first, patches=(few, patch)),))
    assert listed_for(both).calendar.stages.weed == "field_bindweed"


def test_stock_come_back_every_four_weeks_and_each_grazing_shortens_the_sward():
    # De Bruijn & Bork (2006): light frequent grazing, about four weeks of rest
    grazed = dated("grass_clover_2_grazed_light", ROCHESTER)[0]
    assert set(np.diff(grazed.cut_days)) == {28}
    assert len(grazed.cut_days) == TABLES.practices["grass_clover_2_grazed_light"].cuts
