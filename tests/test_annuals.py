"""Annual weeds from seed in the soil: what trials say of them, and what must always hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from itertools import pairwise
from types import SimpleNamespace

import fake_result
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_farm import small

from rotation_opt import climate, tables
from rotation_opt.annuals import SeedWorks, annual_course, annual_loss, annual_seasons
from rotation_opt.groundwork import lay
from rotation_opt.planning import annual_seed
from rotation_opt.practices import dated_practices, field_calendar
from rotation_opt.practices.dating import DatedPractice, date_practice
from rotation_opt.records import Programme
from rotation_opt.report.annual_seed import seed_notes, seed_rows
from rotation_opt.report.blocks import Bullets, Paragraph
from rotation_opt.report.summary import Reading
from rotation_opt.report.wording import Wording
from rotation_opt.timetable import Timetable
from rotation_opt.varieties import fitted
from rotation_opt.weeds.annual_parameters import COURSES, annual_parameters
from rotation_opt.weeds.seed_bank import LENGTH, NEW_YEAR, FieldWork, seed_season, size_of_one
from rotation_opt.weeds.yield_loss import share_lost

TABLES = tables.read()
WEEDS = tuple(TABLES.annual_weeds)
BROME, FOXTAIL, LAMBSQUARTERS, WILD_OAT = (
    WEEDS.index(key) for key in ("brome", "green_foxtail", "lambsquarters", "wild_oat")
)
LIKELY = COURSES.index("likely")
PARAMETERS = annual_parameters(TABLES)


class Place:
    """Practices on their days at one weather station."""

    def __init__(self, station: str) -> None:
        self.climate = climate.for_station(station, TABLES)
        self.tables = fitted(TABLES, self.climate)
        self.calendar = field_calendar(self.climate, self.tables)
        self.timetable = Timetable(self.climate, self.tables, self.calendar)

    def dated(self, name: str, **changes: object) -> DatedPractice:
        practice = replace(TABLES.practices[name], **changes)  # type: ignore[arg-type]
        return date_practice(practice, self.climate, self.tables, self.calendar)[0]

    def seasons(self, *keys: str) -> list[Programme]:
        """One season for each practice after the first."""
        dated = [self.dated(key) for key in keys]
        return [self.timetable.programme(*pair) for pair in pairwise(dated)]

    def course(self, *keys: str) -> np.ndarray:
        """(years + 1, W): likely seed as a multiple of the start."""
        return np.asarray(annual_course([self.seasons(*keys)], self.climate, self.tables)[0, :, :, LIKELY])


@cache
def place(station: str) -> Place:
    return Place(station)


ROCHESTER = "Rochester NY, airport"
BRANDON = "Brandon MB, airport"

# ---------------------------------------------------------------- seed in the soil, without new seed


def dug(times: int) -> FieldWork:
    """A year from 1 January in which the whole layer is dug so many times, and no plant lives to seed."""
    work = FieldWork.idle(1)
    for day in np.linspace(60, 300, times).astype(int):
        work.depth[NEW_YEAR + day] = 0.23
        work.removed[NEW_YEAR + day] = 1.0
    work.cover[:] = 0.999
    return work


# Roberts, H. A., and P. A. Dawkins, "Effect of cultivation on the numbers of viable weed seeds in soil,"
# Weed Research, 1967: all weeds together; the loss in undisturbed soil and in soil dug four times, and
# emergence in soil dug twice, are what the figures were set by; the loss in soil dug twice was not used.
@pytest.mark.parametrize(("times", "lost"), [(0, 0.22), (2, 0.30), (4, 0.36)])
def test_seed_in_the_soil_dies_as_in_undisturbed_and_in_dug_soil(times: int, lost: float) -> None:
    season = seed_season(dug(times), place("Cambridge NIAB").climate, PARAMETERS)
    assert 1.0 - season.kept[0, LAMBSQUARTERS, LIKELY] == pytest.approx(lost, abs=0.03)


@pytest.mark.parametrize(("times", "least", "most"), [(0, 0.0, 0.03), (2, 0.05, 0.09), (4, 0.05, 0.11)])
def test_seven_to_nine_in_a_hundred_seeds_come_up_in_dug_soil(times: int, least: float, most: float) -> None:
    # the same: 7 % a year dug twice, 9 % dug four times, 0.3 % in the fourth undisturbed year
    season = seed_season(dug(times), place("Cambridge NIAB").climate, PARAMETERS)
    assert least <= season.emerged[0, LAMBSQUARTERS, LIKELY] <= most


def test_buried_grass_seed_is_down_to_a_twentieth_or_less_by_its_second_decade() -> None:
    # Burnside and others 1996, "Seed longevity of 41 weed species buried 17 years ...": 57 % of annual grass
    # seed germinable at the start, 4 % in years 9-17. Ours lies shallower and must not live longer.
    kept = seed_season(dug(0), place(ROCHESTER).climate, PARAMETERS).kept[0, FOXTAIL, LIKELY]
    assert kept**13 < 4 / 57
    # and not shorter than the deep-buried seed of years 1-4 by more than half: 28 of 57 %
    assert kept**2.5 > 28 / 57 / 2


# ---------------------------------------------------------------- harrowing


@cache
def harrowed() -> tuple[np.ndarray, np.ndarray]:
    """Plants and plants weighted by size left by harrowing before, after, and before and after emergence."""
    there = place("Aas-Rustadskogen")
    own = there.dated("spring_barley")
    programme = there.timetable.programme(there.dated("spring_barley"), own)
    harrows = [each for each in programme.operations if each.operation == "tine_harrow"]
    assert own.emergence_day is not None
    before = {each for each in harrows if each.day < own.emergence_day}
    after = set(harrows) - before
    assert before and after
    treated = [
        replace(programme, operations=tuple(each for each in programme.operations if each not in left_out))
        for left_out in (before | after, after, before, set())
    ]
    found = annual_seasons([(each, None) for each in treated], there.climate, there.tables)
    weed = LAMBSQUARTERS, LIKELY
    plants, load = found.plants[(slice(None), *weed)], found.load[(slice(None), *weed)]
    return plants[1:] / plants[0], load[1:] / load[0]


# Brandsaeter, Mangerud and Rasmussen, "Interactions between pre- and post-emergence weed harrowing in spring
# cereals" (2012, from memory), Norway: weed density left by one harrowing before, one after crop emergence,
# and both, of that without. The model stands for it with lambsquarters at a Norwegian station.
HARROWING = [(0, 0.74), (1, 0.53), (2, 0.39)]


@pytest.mark.parametrize(("treatment", "left"), HARROWING)
def test_harrowing_leaves_as_much_weed_by_size_as_trials_count_plants(treatment: int, left: float) -> None:
    assert harrowed()[1][treatment] == pytest.approx(left, abs=0.08)


@pytest.mark.parametrize(("treatment", "left"), HARROWING)
@pytest.mark.xfail(
    strict=True,
    reason="by number 97, 79 and 77 % are left, not 74, 53 and 39 %: in the model late seedlings go on "
    "coming up after the harrow and live on, tiny, below the crop",
)
def test_harrowing_leaves_as_many_plants_as_trials_count(treatment: int, left: float) -> None:
    assert harrowed()[0][treatment] == pytest.approx(left, abs=0.1)


def test_effects_of_two_harrowings_multiply() -> None:
    # the same trials: 0.74 x 0.53 = 0.39
    for before, after, both in harrowed():
        assert both == pytest.approx(before * after, abs=0.05)


# ---------------------------------------------------------------- rotations


def test_the_winter_annual_rises_under_wheat_after_wheat_and_falls_with_spring_crops() -> None:
    # Direction: R. L. Anderson, downy brome comes up from August to early December with fall-sown cereals
    # ("Downy brome emergence variability in a semiarid region," Weed Technology 10, 1996).
    there = place(ROCHESTER)
    wheat = there.course(*["winter_wheat_no_plough"] * 4)[:, BROME]
    assert (np.diff(wheat) > 0).all() and wheat[-1] > 5.0
    mixed = there.course(
        "winter_wheat_no_plough", "corn_grain", "soybean", "spring_barley", "winter_wheat_no_plough"
    )
    assert mixed[-1, BROME] < 0.2


def test_the_plough_breaks_the_winter_annual() -> None:
    # common practice, no source: good ploughing is the standard means against brome
    there = place("Wuerzburg")
    ploughed = there.course(*["winter_wheat"] * 4)[-1, BROME]
    assert ploughed < 0.05 * there.course(*["winter_wheat_no_plough"] * 4)[-1, BROME]


def test_summer_annuals_fall_under_fall_cereals_with_stubble_work_and_under_hay() -> None:
    there = place(ROCHESTER)
    cereals = there.course(*["winter_wheat_stubble"] * 4)
    hay = there.course("oat_alfalfa", "alfalfa_1", "alfalfa_2", "alfalfa_3")
    for weed in (FOXTAIL, LAMBSQUARTERS, WILD_OAT):
        assert (np.diff(cereals[:, weed]) < 0).all()
        assert (np.diff(hay[:, weed]) < 0).all()


def test_hay_cut_before_it_heads_holds_the_winter_annual_down() -> None:
    # common practice, no source: brome goes where hay is cut before it ripens
    assert place(ROCHESTER).course("oat_alfalfa", "alfalfa_1", "alfalfa_2", "alfalfa_3")[-1, BROME] < 0.2


# Ominski, Entz and Kenkel 1999, "Weed suppression by Medicago sativa in subsequent cereal crops: a
# comparative survey," Weed Science 47:282-290, 117 fields in Manitoba.
@cache
def after_hay() -> np.ndarray:
    """Seed in the soil before a cereal after three years of hay, against spring cereals throughout, (W,)."""
    there = place(BRANDON)
    hay = there.course("spring_wheat", "oat_alfalfa", "alfalfa_1", "alfalfa_2", "alfalfa_3")
    return np.asarray(hay[-1] / there.course(*["spring_wheat", "spring_barley"] * 2, "spring_wheat")[-1])


def test_wild_oat_is_lower_after_alfalfa_than_in_cereals_throughout() -> None:
    assert after_hay()[WILD_OAT] < 0.5


def test_lambsquarters_is_no_different_after_alfalfa() -> None:
    assert after_hay()[LAMBSQUARTERS] == pytest.approx(1.0, rel=0.5)


@pytest.mark.xfail(
    strict=True,
    reason="foxtail was no different in the survey; in the model there is twice as much seed after alfalfa, "
    "because seed in soil that nobody works lives longer and spring cereals bring the weed down",
)
def test_foxtail_is_no_different_after_alfalfa() -> None:
    assert after_hay()[FOXTAIL] == pytest.approx(1.0, rel=0.5)


def test_later_wheat_sowing_gives_the_winter_annual_less() -> None:
    # Anderson 1996 (as above): later sowing paid in one year of six. Direction only: whether it pays in a
    # given year hangs on rain, which the model does not know.
    there = place("Fort Collins CO")
    before = there.dated("spring_barley")
    late = [
        there.dated("winter_wheat_no_plough", key=f"sown_{days}_days_late", sowing_shift_days=days)
        for days in (0, 14, 28)
    ]
    seasons = [(there.timetable.programme(before, own), None) for own in late]
    seed = annual_seasons(seasons, there.climate, there.tables).after(20.0)[:, BROME, LIKELY]
    assert seed[0] > seed[1] > seed[2]


def test_a_diverse_rotation_has_fewer_weeds_than_a_simple_one() -> None:
    # Weisberger, Nichols and Liebman 2019, "Does diversifying crop rotations suppress weeds? A
    # meta-analysis," PLoS ONE 14: 49 % fewer weeds in diverse rotations, 41 % where tilled; order check on
    # seedlings of all four weeds.
    there = place(ROCHESTER)

    def seedlings(*keys: str) -> float:
        seasons = there.seasons(*keys)
        follow = list(zip(seasons, (*seasons[1:], None), strict=True))
        emerged = annual_seasons(follow, there.climate, there.tables).emerged[:, :, LIKELY]
        bank = there.course(*keys)[:-1] * PARAMETERS.bank_usual[:, LIKELY]
        return float((emerged * bank).sum(axis=1)[1:].mean())

    simple = seedlings(*["spring_barley"] * 7)
    diverse = seedlings(
        "spring_barley", "corn_grain", "oat_alfalfa", "alfalfa_1", "alfalfa_2", "winter_wheat", "soybean"
    )
    assert diverse < 0.7 * simple


# ---------------------------------------------------------------- size, seed and yield


def one_plant(station: str, practice: str, weed: int, late: int) -> float:
    """Size at the fullest cover of a plant that comes up some days after the crop."""
    there = place(station)
    own = there.dated(practice)
    work = SeedWorks(there.climate, there.tables).work(
        [(there.timetable.programme(there.dated("fallow"), own), None)]
    )
    assert own.emergence_day is not None
    up = np.array([own.emergence_day + late + NEW_YEAR])
    return float(size_of_one(up, work, there.climate, PARAMETERS, weed)[0, LIKELY])


def test_wild_oat_takes_as_much_wheat_as_published() -> None:
    # Spring wheat growth and yield as influenced by duration of wild oat competition (Saskatchewan)
    index, most = (TABLES.number("annual_weed", "wild_oat", name) for name in ("loss_index", "loss_most"))
    assert share_lost([64.0, 188.0], index, most) == pytest.approx([0.28, 0.39], abs=0.005)


# Alberta Agriculture 2004, Integrated weed management principles: wild oat, 20 plants per m2 in barley.
@pytest.mark.parametrize(
    ("late", "lost"),
    [
        (-5, 0.17),
        pytest.param(
            5,
            0.03,
            marks=pytest.mark.xfail(
                strict=True, reason="10 % instead of 3 %: half the difference that five days make in trials"
            ),
        ),
    ],
)
def test_wild_oat_ahead_of_barley_takes_much_and_behind_it_little(late: int, lost: float) -> None:
    weight = one_plant("Red Deer AB", "spring_barley", WILD_OAT, late)
    weight /= one_plant("Red Deer AB", "spring_barley", WILD_OAT, 0)
    index, most = (TABLES.number("annual_weed", "wild_oat", name) for name in ("loss_index", "loss_most"))
    assert float(share_lost(20.0 * weight, index, most)) == pytest.approx(lost, abs=0.03)


def test_yield_lost_rises_with_seed_in_the_soil_and_is_nought_where_nothing_is_sown() -> None:
    there = place(BRANDON)
    pairs = [(each, None) for each in there.seasons("spring_barley", "spring_wheat", "fallow")]
    few, many = (
        annual_loss(pairs, there.climate, there.tables, "wild_oat", seeds) for seeds in (20.0, 500.0)
    )
    assert (few[1] == 0.0).all() and (many[1] == 0.0).all()
    assert (few[0] > 0.0).all() and (few[0] < many[0]).all() and (many[0] < 0.5).all()


@pytest.mark.xfail(
    strict=True,
    reason="a plant that comes up with the crop has 70 seeds in the model, not 310 to 795: too little light "
    "in a dense rapeseed crop",
)
def test_lambsquarters_in_rapeseed_sheds_as_much_as_counted() -> None:
    # Blackshaw, Anderson and Dekker 1987, "Interference of Sinapis arvensis and Chenopodium album in spring
    # rapeseed," Weed Research: 3,100 to 63,600 seeds per m2 on 10 to 80 plants per m2.
    size = one_plant("Waterloo-Wellington ON", "spring_canola", LAMBSQUARTERS, 0)
    assert 310 <= size * PARAMETERS.seeds_open[LAMBSQUARTERS, LIKELY] <= 795


# ---------------------------------------------------------------- what must always hold

CLIMATE = place(ROCHESTER).climate
SHARE = st.floats(0.0, 1.0)
DAY = st.integers(0, LENGTH - 1)
PASSES = st.lists(st.tuples(DAY, st.sampled_from(("till", "harrow", "cut")), SHARE), max_size=8)


def field(
    cover: Sequence[float], passes: Sequence[tuple[int, str, float]], *, stirred: bool = True
) -> FieldWork:
    """A season from August on under a cover that changes by steps, with some passes."""
    work = FieldWork.idle(1, start=NEW_YEAR - 150, days=370)
    steps = np.linspace(0, LENGTH, len(cover) + 1).astype(int)
    for value, first, last in zip(cover, steps, steps[1:], strict=False):
        work.cover[first:last] = value
    work.crop_height_m[:] = 0.8
    if stirred:
        add(work, int(work.start[0]), "till", 1.0)
    for day, kind, share in passes:
        add(work, day, kind, share)
    return work


def add(work: FieldWork, day: int, kind: str, share: float) -> None:
    """One pass: the stronger of what it does and what is done on that day."""
    names = {"till": ("removed", "harrowed", "depth"), "harrow": ("harrowed",), "cut": ("cut",)}[kind]
    for name in names:
        array = getattr(work, name)
        array[day] = np.maximum(array[day], share * (0.2 if name == "depth" else 1.0))


@settings(max_examples=25, deadline=None)
@given(
    cover=st.lists(SHARE, min_size=1, max_size=12),
    passes=PASSES,
    seeds=st.floats(0.0, 1e7),
    stirred=st.booleans(),
)
def test_seed_is_never_negative_and_never_more_than_a_closed_stand_adds(
    cover, passes, seeds, stirred
) -> None:
    season = seed_season(field(cover, passes, stirred=stirred), CLIMATE, PARAMETERS)
    after = season.after(seeds)
    assert (after >= 0.0).all()
    assert (season.kept <= 1.0).all()
    assert (after <= seeds + PARAMETERS.seeds_most_per_m2 * (1.0 + 1e-9)).all()
    assert (season.emerged >= 0.0).all() and (season.emerged <= 2.0).all()
    assert (season.plants <= season.emerged + 1e-12).all()


@settings(max_examples=25, deadline=None)
@given(
    cover=st.lists(SHARE, min_size=1, max_size=12),
    passes=PASSES,
    more=st.tuples(DAY, st.sampled_from(("till", "harrow")), SHARE),
    seeds=st.floats(0.0, 1e5),
)
def test_one_more_pass_never_means_more_seed(cover, passes, more, seeds) -> None:
    # in soil that has been worked once; the first pass after a stand may bring up more
    without = seed_season(field(cover, passes), CLIMATE, PARAMETERS).after(seeds)
    with_it = seed_season(field(cover, [*passes, more]), CLIMATE, PARAMETERS).after(seeds)
    assert (with_it <= without * (1.0 + 1e-9)).all()


@settings(max_examples=25, deadline=None)
@given(cover=st.lists(SHARE, min_size=1, max_size=12), passes=PASSES, denser=SHARE, seeds=st.floats(0.0, 1e5))
def test_a_denser_canopy_never_means_more_seed(cover, passes, denser, seeds) -> None:
    open_ = seed_season(field(cover, passes), CLIMATE, PARAMETERS).after(seeds)
    dense = [1.0 - (1.0 - each) * (1.0 - denser) for each in cover]
    closed = seed_season(field(dense, passes), CLIMATE, PARAMETERS).after(seeds)
    assert (closed <= open_ * (1.0 + 1e-9)).all()


def test_the_low_course_has_less_seed_and_the_high_course_more() -> None:
    there = place(ROCHESTER)
    seasons = there.seasons("spring_barley", "winter_wheat_no_plough", "soybean", "corn_grain", "oat_alfalfa")
    after = annual_seasons([(each, None) for each in seasons], there.climate, there.tables).after(
        PARAMETERS.bank_usual
    )
    assert (np.diff(after, axis=2) >= -1e-9).all()


def test_many_seasons_at_once_come_out_as_one_by_one() -> None:
    there = place(ROCHESTER)
    seasons = there.seasons(
        "spring_barley", "winter_wheat", "soybean", "corn_grain", "oat_alfalfa", "alfalfa_1"
    )
    pairs = list(zip(seasons, (*seasons[1:], None), strict=True))
    together = annual_seasons(pairs, there.climate, there.tables)
    for place_, pair in enumerate(pairs):
        alone = annual_seasons([pair], there.climate, there.tables)
        assert alone.after(100.0)[0] == pytest.approx(together.after(100.0)[place_], rel=1e-12)


def test_stubble_left_alone_sheds_seed_and_stubble_worked_at_once_does_not() -> None:
    there = place(ROCHESTER)
    barley = there.seasons("spring_barley", "spring_barley")[0]
    left, worked = (
        there.seasons("spring_barley", key)[0] for key in ("spring_barley", "spring_barley_stubble")
    )
    seed = annual_seasons([(barley, left), (barley, worked)], there.climate, there.tables)
    likely = seed.after(PARAMETERS.bank_usual)[:, :, LIKELY]
    for weed in (FOXTAIL, LAMBSQUARTERS):
        assert likely[0, weed] > 1.3 * likely[1, weed]


def test_a_year_is_counted_once_from_harvest_to_harvest() -> None:
    # whenever a season of one year begins, a year's seedlings come up in it, less what seed dies till then
    there = place(ROCHESTER)
    rate = PARAMETERS.emergence_undisturbed[FOXTAIL, LIKELY]
    died = PARAMETERS.loss_undisturbed[FOXTAIL, LIKELY]
    for start in (NEW_YEAR - 180, NEW_YEAR - 60, NEW_YEAR):
        emerged = seed_season(FieldWork.idle(1, start=start), there.climate, PARAMETERS).emerged
        assert rate * (1.0 - died) < emerged[0, FOXTAIL, LIKELY] <= rate


# ---------------------------------------------------------------- a farm's plans


def test_the_farm_wide_figure_is_weighted_by_area_and_leaves_out_fields_that_are_given_up() -> None:
    ground = lay(small(), TABLES)
    east, west, north = ground.farm.fields
    paths = {
        east.name: ("soybean", "spring_barley", "corn_grain"),
        west.name: ("soybean", "spring_barley", ""),
        north.name: ("corn_grain", "soybean", "spring_barley"),
    }
    plan = SimpleNamespace(key="some", practices=paths)
    found = annual_seed(ground, [plan])["some"]  # type: ignore[list-item]
    index, pair = ground.practice_list.index, ground.pair_index
    likely = np.zeros((4, len(WEEDS)))
    for field_ in (east, north):
        keys = (field_.history[-1], *paths[field_.name])
        chain = [ground.programmes[pair[index[a], index[b]]] for a, b in pairwise(keys)]
        course = annual_course([chain], ground.climate, ground.tables)[0, :, :, LIKELY]
        likely += field_.area_ha / (east.area_ha + north.area_ha) * course
    assert set(found) == set(WEEDS)
    for w, weed in enumerate(WEEDS):
        assert [year[1] for year in found[weed]] == pytest.approx(likely[:, w])
        assert found[weed][0] == (1.0, 1.0, 1.0)
        assert all(low <= middle <= high for low, middle, high in found[weed])


def test_a_farm_that_gives_up_all_its_land_has_no_figure() -> None:
    ground = lay(small(), TABLES)
    paths = {field_.name: ("soybean", "", "") for field_ in ground.farm.fields}
    assert annual_seed(ground, [SimpleNamespace(key="some", practices=paths)]) == {}  # type: ignore[list-item]


def test_seed_is_worked_out_for_practices_that_the_farm_dates() -> None:
    # every practice that can be grown at the two stations of the demo farms gets finite figures
    for station in (ROCHESTER, "Wuerzburg"):
        farm = replace(small(), station=station)
        there = place(station)
        listed = dated_practices(farm, there.tables, there.climate)
        chosen = listed.all[::6]
        seasons = [
            (there.timetable.programme(before, own), None)
            for before, own in pairwise(chosen)
            if there.timetable.fits(before, own)[0]
        ]
        assert seasons
        after = annual_seasons(seasons, there.climate, there.tables).after(PARAMETERS.bank_usual)
        assert np.isfinite(after).all()


# ---------------------------------------------------------------- on the page


def reading(**changes: object) -> Reading:
    result = fake_result.result(**changes)
    return Reading(result, Wording(result.farm, fake_result.tables()))


def test_the_page_tells_seed_of_each_weed_that_rises_and_warns_where_it_rises_much() -> None:
    shown = reading()
    plans = shown.result.alternatives
    rows = {label: [answer(plan) for plan in plans] for label, answer in seed_rows(shown)}
    assert list(rows) == ["Downy brome seed at the end, times today's"]
    assert rows["Downy brome seed at the end, times today's"] == [
        "under 0.1 (under 0.1 to 0.2)",
        "6.2 (1.5 to over 50)\nwatch this",
        "2.9 (0.5 to 9.0)",
        "under 0.1",
    ]
    note, *bullets = seed_notes(shown, plans)
    assert isinstance(note, Paragraph)
    # its seed comes to 0.8 times today's in every plan
    assert "No plan is likely to raise seed of these annual weeds 1.5 times: lambsquarters (" in note.text
    assert [type(block) for block in bullets] == [Bullets]
    assert len(bullets[0].items) == 1
    assert "Downy brome seed rises: 6.2 times in B: Most money" in bullets[0].items[0]


@pytest.mark.parametrize(("times", "rows"), [(1.49, 0), (1.5, 1)])
def test_seed_that_rises_half_again_in_one_plan_gets_a_row(times: float, rows: int) -> None:
    course = ((1.0, 1.0, 1.0), (0.5, times, 9.0))
    flat = ((1.0, 1.0, 1.0),) * 2
    shown = reading(annual_seed={"as_now": {"brome": flat}, "balanced": {"brome": course}})
    assert len(seed_rows(shown)) == rows
    (note,) = seed_notes(shown, shown.result.alternatives)
    assert ("1.5 times: downy brome (" in note.text) is not bool(rows)  # type: ignore[union-attr]


def test_the_page_says_nothing_of_annual_weeds_where_nothing_was_worked_out() -> None:
    shown = reading(annual_seed={})
    assert seed_rows(shown) == []
    assert seed_notes(shown, shown.result.alternatives) == []
