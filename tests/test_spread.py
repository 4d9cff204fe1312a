"""Patches that spread and the seed they shed, against published figures and circles drawn by hand."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from math import pi

import fake_result
import jsonschema
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_farm import TABLES, Plans, patch, small, with_field
from whole_page import plan_page

from rotation_opt.alternatives import AS_NOW
from rotation_opt.arrays import NOT_FARMED
from rotation_opt.bands import Bands
from rotation_opt.patch_growth import PatchGrowth, seed_years
from rotation_opt.planning import plan
from rotation_opt.records import Alternative, Field, Result
from rotation_opt.report import patch_growth as page
from rotation_opt.report import result_json
from rotation_opt.report.summary import Reading
from rotation_opt.report.wording import Wording
from rotation_opt.weeds.shed_seed import NEVER, flowers_after, seeds_shed, share_in_flower
from rotation_opt.weeds.spread import edge_advance, infested_ha, patch_ha, radius_m

WEEDS = tuple(TABLES.weeds)
FOOT = 0.3048
COURSES = 31


@cache
def plans() -> Plans:
    return Plans(small())


@cache
def growth(weeds: tuple[str, ...] = WEEDS) -> PatchGrowth:
    return PatchGrowth(weeds, plans().ground.climate, TABLES, COURSES)


def field(*patches: object, area_ha: float = 10.0) -> Field:
    return replace(small().fields[0], area_ha=area_ha, patches=patches)


def full(years: int, reserve: float = 1.0, weeds: int = 1) -> np.ndarray:
    return np.full((years + 1, weeds, COURSES), reserve)


# ---------------------------------------------------------------- the edge


@pytest.mark.parametrize(
    ("weed", "years", "least", "most", "source"),
    [
        # "as much as 12 feet in a year"; the other bulletin says more than 10 feet
        ("creeping_thistle", 1, 10 * FOOT, 12 * FOOT, "ct_qa; alseed (Smith & Carlson)"),
        # one plant without competition: radius 2.7 m after three seasons
        ("field_bindweed", 3, 2.7, 2.7, "Derscheid et al. 1959, South Dakota"),
        # "10 feet a year" where nothing stops it: an upper bound; half is taken as usual
        ("couch_grass", 1, 0.0, 10 * FOOT, "tsu_quack"),
        # no clean figure; roots reach over 2.7 m sideways
        ("perennial_sow_thistle", 1, 0.0, 2.7, "sare_pst: judged"),
    ],
)
def test_a_patch_at_full_strength_moves_as_far_as_was_published(
    weed: str, years: int, least: float, most: float, source: str
) -> None:
    known = growth((weed,))
    found = known.infested(field(patch(0.5, 9.0, weed=weed)), full(years))[:, 0, 0]
    moved = float(radius_m(found[-1]) - radius_m(0.5))
    assert least - 1e-9 <= moved <= most + 1e-9, source
    assert moved > 0.0


def test_the_range_of_a_published_rate_is_covered_and_not_left() -> None:
    # thistle 3 to 4 m a year, bindweed 0.75 to 3 m
    thistle, bindweed = (
        growth().rate_m[WEEDS.index("creeping_thistle")],
        growth().rate_m[WEEDS.index("field_bindweed")],
    )
    for rates, low, high in ((thistle, 3.0, 4.0), (bindweed, 0.75, 3.0)):
        assert low <= rates.min() < rates[0] < rates.max() <= high
        assert rates.max() - rates.min() > 0.5 * (high - low)


def test_a_patch_worn_down_to_nothing_stays_where_it_is() -> None:
    assert edge_advance(3.5, 0.0) == 0.0
    today = field(patch(0.5, 9.0))
    found = growth(("creeping_thistle",)).infested(today, full(4, 0.0))
    assert found == pytest.approx(np.full_like(found, 0.5))


def test_roots_beyond_an_undisturbed_stand_carry_a_patch_no_further() -> None:
    assert edge_advance(3.5, 1.3) == edge_advance(3.5, 1.0) == 3.5


@given(weak=st.floats(0.0, 1.2), more=st.floats(0.0, 0.5), area=st.floats(0.0, 20.0))
def test_stronger_roots_never_take_less_ground(weak: float, more: float, area: float) -> None:
    moved = edge_advance(3.5, [weak, weak + more])
    assert 0.0 <= moved[0] <= moved[1] <= 3.5
    few, many = patch_ha(area, moved)
    assert area - 1e-9 <= few <= many


def test_an_edge_moves_by_the_strength_between_two_autumns() -> None:
    autumn = full(2)
    autumn[1], autumn[2] = 0.5, 0.0
    found = growth(("creeping_thistle",)).infested(field(patch(0.5, 9.0)), autumn)[:, 0, 0]
    moved = radius_m(found) - radius_m(0.5)
    assert moved == pytest.approx([0.0, 0.75 * 3.5, (0.75 + 0.25) * 3.5])


# ---------------------------------------------------------------- the ground


def test_a_circle_of_ten_metres_that_moves_by_five_is_one_of_fifteen() -> None:
    ten = pi * 10.0**2 / 10_000.0
    assert radius_m(ten) == pytest.approx(10.0)
    assert patch_ha(ten, 5.0) == pytest.approx(pi * 15.0**2 / 10_000.0)


def test_each_patch_is_a_circle_of_its_own_so_two_gain_more_than_one_as_large() -> None:
    one, two = infested_ha([2.0], 50.0, 3.0), infested_ha([1.0, 1.0], 50.0, 3.0)
    # by hand: edge of 1 ha 2 sqrt(pi 10000) = 354.5 m; 2 (354.5 x 3 + 9 pi) m2 are gained
    assert two == pytest.approx(2.0 + 2 * (354.491 * 3 + 28.274) / 10_000.0, abs=1e-5)
    assert 2.0 < one < two


def test_patches_never_take_more_than_the_field() -> None:
    found = growth(("creeping_thistle",)).infested(field(patch(9.0, 9.0), patch(0.9, 2.0)), full(40))[:, 0]
    assert (np.diff(found, axis=0) >= 0.0).all()
    assert found[0] == pytest.approx(9.9)
    assert found.max() == found[-1].min() == 10.0


def test_patches_of_one_weed_do_not_spread_another() -> None:
    here = field(patch(1.0, 9.0, weed="couch_grass"))
    found = growth(("creeping_thistle", "couch_grass")).infested(here, full(3, weeds=2))
    assert not found[:, 0].any()
    assert (found[-1, 1] > 1.0).all()


# ---------------------------------------------------------------- seed


LATE = np.full(365, NEVER)


def in_flower(*passes: tuple[int, float], harvest: int = 220, again: np.ndarray = LATE) -> float:
    return share_in_flower(passes, up_day=130, flower_day=184, harvest_day=harvest, again=again)


def test_shoots_that_nobody_takes_flower_and_a_harvest_before_that_ends_them() -> None:
    assert in_flower() == 1.0
    assert in_flower(harvest=184) == 0.0


def test_a_full_cut_before_flowers_open_leaves_none_and_one_after_it_comes_too_late() -> None:
    assert in_flower((170, 1.0)) == 0.0
    assert in_flower((190, 1.0)) == 1.0


def test_work_before_the_shoots_are_up_takes_none() -> None:
    assert in_flower((100, 1.0)) == 1.0


def test_each_pass_takes_its_share_of_what_is_still_to_flower() -> None:
    assert in_flower((150, 0.6), (170, 0.5)) == pytest.approx(0.2)


def test_shoots_that_come_up_again_flower_if_there_is_time() -> None:
    again = np.minimum(np.arange(365) + 60, NEVER)
    assert in_flower((140, 0.7), again=again) == pytest.approx(1.0)  # up again, in flower on day 200
    assert in_flower((165, 0.7), again=again) == pytest.approx(0.3)  # would be on day 225
    assert in_flower((140, 0.7), (195, 1.0), again=again) == pytest.approx(0.3)  # cut once more


@given(
    passes=st.lists(st.tuples(st.integers(-100, 300), st.floats(0.0, 1.0)), max_size=6),
    harvest=st.integers(150, 320),
)
def test_never_more_shoots_flower_than_there_are(passes: list[tuple[int, float]], harvest: int) -> None:
    again = np.minimum(np.arange(365) + 55, NEVER)
    assert 0.0 <= in_flower(*passes, harvest=harvest, again=again) <= 1.0 + 1e-9


def test_shoots_too_late_for_long_days_or_frost_do_not_flower() -> None:
    warm = np.full(365, 10.0)
    found = flowers_after(warm, 300.0, 600.0, last_long_day=210, frost_day=250)
    assert found[150] == 210  # 60 days of 10 degrees
    assert found[179] == 239
    assert found[181] == NEVER  # in bud on day 211, one day after the last long one
    cold = flowers_after(warm, 300.0, 600.0, last_long_day=364, frost_day=250)
    assert (cold[189], cold[191]) == (249, NEVER)


@given(
    few=st.floats(0.0, 300.0),
    more=st.floats(0.0, 300.0),
    share=st.floats(0.0, 1.0),
    seeds=st.floats(0.0, 2e4),
)
def test_more_shoots_never_shed_fewer_seeds(few: float, more: float, share: float, seeds: float) -> None:
    a, b = seeds_shed([few, few + more], share, seeds, 50_000.0)
    assert 0.0 <= a <= b <= 50_000.0


def test_a_thistle_shoot_counts_half_for_its_sex_and_less_than_half_for_empty_fluff() -> None:
    # nearly 1,500 seeds a stem [cda_ct]; 44 % of achenes normal [Becker et al. 2008]; half the shoots female
    thistle = growth(("creeping_thistle",))
    assert thistle.seeds[0, 0] == pytest.approx(1500 * 0.44 * 0.5)
    assert thistle.seeds[0].max() <= 5200 * 0.44  # 1,500-5,200 a plant [csu_weeds]
    assert thistle.seeds[0].min() >= 0.0


def test_sow_thistle_sheds_no_more_than_was_ever_counted_on_a_square_metre() -> None:
    # up to 50,000 seeds per m2, Saskatchewan [sk_pst]; about 13,000 on one plant [go_pst]
    sow_thistle = growth(("perennial_sow_thistle",))
    barley = next(each for each in plans().ground.programmes if each.practice == "spring_barley")
    corn = next(each for each in plans().ground.programmes if each.practice == "corn_grain")
    found = sow_thistle.shed([barley, corn], np.full((2, 1, COURSES), 60.0))
    assert found.max() == 50_000.0


def shed_in(practice: str, shoots: float = 8.0) -> float:
    """Likely thistle seed per m2 of one season on the small farm."""
    season = next(each for each in plans().ground.programmes if each.practice == practice)
    return float(growth(("creeping_thistle",)).shed([season], np.full((1, 1, COURSES), shoots))[0, 0, 0])


def test_thistles_flower_in_barley_and_shed_as_many_seeds_as_stand_there() -> None:
    assert shed_in("spring_barley") == pytest.approx(8.0 * 330.0)
    assert shed_in("spring_barley", 16.0) == pytest.approx(2.0 * shed_in("spring_barley"))


@pytest.mark.parametrize("hay", ["alfalfa_1", "alfalfa_2", "alfalfa_1_leave", "alfalfa_2_leave"])
def test_hay_cut_before_flowering_sheds_no_seed(hay: str) -> None:
    assert shed_in(hay) == 0.0


def test_a_bare_fallow_sheds_no_seed() -> None:
    assert shed_in("fallow") == 0.0


# ---------------------------------------------------------------- whole plans


def test_plans_start_with_the_ground_that_was_counted_and_lose_none() -> None:
    # East 50 % of 10 ha, North 30 % of 6 ha
    for each in plans().all:
        courses = np.array(each.figures.patches_ha["creeping_thistle"])
        assert courses.shape == (4, 3)
        assert courses[0] == pytest.approx([6.8] * 3)
        assert (np.diff(courses, axis=0) >= 0.0).all()
        assert (np.diff(courses, axis=1) >= 0.0).all()
        # by hand: 3.5 m a year for 3 years round circles of 126 and 76 m at most, the rate at most 4
        assert courses[-1, 2] <= 6.8 + (2 * pi * (126.2 + 75.7) * 12.0 + 2 * pi * 144.0) / 10_000.0


def test_a_plan_that_leaves_more_roots_takes_more_ground() -> None:
    now, clean = plans().plan[AS_NOW].figures, plans().plan["fastest"].figures
    assert now.burden[-1][1] > clean.burden[-1][1]
    assert now.patches_ha["creeping_thistle"][-1][1] > clean.patches_ha["creeping_thistle"][-1][1]


def test_seed_of_a_plan_is_that_of_its_fields_by_the_ground_they_have() -> None:
    found = plans().plan["fastest"].figures.seed_shed_per_m2["creeping_thistle"]
    rows = {(each.field, each.year): each for each in plans().plan["fastest"].fields}
    seen = False
    for number, (_, likely, _) in enumerate(found):
        year = small().first_year + number
        by_hand = 0.0
        for name, ground in (("East", 5.0), ("North", 1.8)):
            row = rows[name, year]
            before = rows[name, year - 1].practice if number else small_history(name)
            place = plans().ground.practice_list.index
            season = plans().ground.programmes[plans().ground.pair_index[place[before], place[row.practice]]]
            shoots = np.full((1, 1, COURSES), row.shoots_per_m2["creeping_thistle"][1])
            by_hand += ground * float(growth(("creeping_thistle",)).shed([season], shoots)[0, 0, 0])
        assert likely == pytest.approx(by_hand / 6.8)
        seen = seen or likely > 0.0
    assert seen


def small_history(name: str) -> str:
    return next(each.history[-1] for each in small().fields if each.name == name)


def test_only_fields_that_are_farmed_to_the_end_count() -> None:
    leased = Plans(with_field(small(), "East", lease_end_year=2028))
    for each in leased.all:
        assert each.figures.patches_ha["creeping_thistle"][0] == pytest.approx((1.8, 1.8, 1.8))


def test_a_field_without_patches_has_no_ground_taken_and_no_seed() -> None:
    data, ground = plans().data, plans().ground
    west = [land.name for land in data.fields].index("West")
    path = plans().draft[AS_NOW].paths[west]
    assert NOT_FARMED not in path
    course = Bands(ground, data, [plans().draft[AS_NOW].paths]).course(west, path)
    assert not course.patches_ha.any()
    assert not (course.seed_shed * course.patches_ha[0]).any()


# ---------------------------------------------------------------- on the page


def grown(ha: float, *, seed: float = 0.0, weed: str = "creeping_thistle") -> Result:
    """The invented result with patches of 14 ha that come to so many, and so much seed shed."""
    result = fake_result.result()
    first = (14.0,) * 3

    def with_patches(each: Alternative) -> Alternative:
        figures = replace(
            each.figures,
            patches_ha={weed: (first,) * 4 + ((0.95 * ha, ha, 1.1 * ha),)},
            seed_shed_per_m2={weed: ((seed / 2.0, seed, seed * 3.0),) * 4},
        )
        return replace(each, figures=figures)

    farm = replace(result.farm, units="metric")
    return replace(
        result,
        farm=farm,
        alternatives=tuple(map(with_patches, result.alternatives)),
        seed_years=seed_years((weed,), TABLES),
    )


def reading(result: Result) -> Reading:
    return Reading(result, Wording(result.farm, TABLES))


def test_a_row_tells_the_ground_today_and_at_the_end_to_two_figures() -> None:
    result = grown(16.4)
    ((question, answer),) = page.patch_rows(reading(result))
    assert question == "C. thistle patches at the end, ha (14 today)"
    assert answer(result.alternatives[0]) == "16 (16 to 18)"


def test_patches_that_gain_less_than_a_tenth_get_a_word_and_no_row() -> None:
    result = grown(14.0)  # 15.4 ha in the high course: just a tenth
    assert len(page.patch_rows(reading(result))) == 1
    less = grown(13.9)
    assert page.patch_rows(reading(less)) == []
    (note,) = page.patch_notes(reading(less), less.alternatives)
    assert note.text == "Patches of C. thistle gain less than a tenth in every plan."  # type: ignore[union-attr]


def test_a_row_that_would_say_nothing_is_left_away_and_so_is_the_note() -> None:
    result = grown(14.0)
    same = tuple(
        replace(p, figures=replace(p.figures, patches_ha={"creeping_thistle": ((14.0,) * 3,) * 5}))
        for p in result.alternatives
    )
    still = reading(replace(result, alternatives=same))
    assert page.patch_rows(still) == []
    assert page.patch_notes(still, same) == []
    assert page.patch_rows(reading(fake_result.result())) == []


def test_the_note_gives_the_rate_of_each_weed_in_the_units_of_the_farm_and_marks_a_judgement() -> None:
    result = grown(20.0)
    text = page.patch_notes(reading(result), result.alternatives)[0].text  # type: ignore[union-attr]
    assert "thistle 3.5 (3.0 to 4.0) m." in text
    couch = grown(20.0, weed="couch_grass")
    us = replace(couch, farm=replace(couch.farm, units="us"))
    text = page.patch_notes(reading(us), us.alternatives)[0].text  # type: ignore[union-attr]
    assert "quackgrass 4.9 (1.6 to 9.8) ft, a judgement." in text.lower()


def test_seed_is_told_roughly_with_the_years_it_lives() -> None:
    result = grown(14.0, seed=1867.0)
    *_, note = page.patch_notes(reading(result), result.alternatives[:2])
    assert "C. thistle A 2,000, B 2,000 (lives 20 years)." in note.text  # type: ignore[union-attr]


def test_the_years_that_seed_lives_are_those_published() -> None:
    found = seed_years(WEEDS, TABLES)
    assert found["creeping_thistle"][1] == 20.0  # csu_weeds
    assert found["field_bindweed"][1] == 50.0  # csu_weeds; over 50 elsewhere
    assert found["perennial_sow_thistle"] == (3.0, 4.5, 6.0)  # 3-6 years, sk_pst
    assert found["couch_grass"][1:] == (
        3.7,
        4.0,
    )  # all dead at 3.7 years, Conn & Deck 1995; up to 4, tsu_quack


def test_the_json_tells_ground_seed_and_years_as_its_schema_says() -> None:
    text = json.loads(result_json.dumps(grown(16.4, seed=1867.0), TABLES))
    jsonschema.validate(text, result_json.schema())
    for each in text["alternatives"]:
        assert each["patches_ha"]["creeping_thistle"][0] == {"low": 14.0, "likely": 14.0, "high": 14.0}
        assert each["patches_ha"]["creeping_thistle"][-1]["likely"] == 16.4
        assert each["seed_shed_per_m2"]["creeping_thistle"][0]["high"] == 5601.0
    assert text["seed_years"] == {"creeping_thistle": {"low": 3.0, "likely": 20.0, "high": 30.0}}
    assert {"patches_ha", "seed_shed_per_m2", "seed_years"} <= text["units"].keys()


def test_hardly_any_seed_is_not_worth_a_word() -> None:
    result = grown(20.0, seed=1.0)
    assert len(page.patch_notes(reading(result), result.alternatives)) == 1


def test_the_row_stands_side_by_side_on_the_printout_of_a_farm_with_small_patches() -> None:
    field = replace(small().fields[0], patches=tuple(patch(0.1, 20.0) for _ in range(4)))
    result = plan(replace(small(), fields=(field, *small().fields[1:2])), TABLES)
    summary = next(each for each in plan_page(result, TABLES).sections if each.key == "summary")
    grid = summary.blocks[0]
    row = next(row for row in grid.rows if "patches at the end" in row[0])  # type: ignore[union-attr]
    assert row[0] == "C. thistle patches at the end, ha (0.40 today)"
    now = result.alternatives[0].figures.patches_ha["creeping_thistle"][-1]
    assert row[1].startswith(f"{now[1]:.2f}")
    assert now[1] > 0.42
    said = " ".join(result.assumptions)
    assert "neither spread nor shrink" not in said
    assert "area of patches today" in said
