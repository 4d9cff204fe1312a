"""The band of a plan: what widens it, what does not, and that the likely course in it is the plan's own."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from small_farm import TABLES, small, with_field

from rotation_opt import bands, infestation
from rotation_opt.alternatives import present_paths
from rotation_opt.arrays import NOT_FARMED, SelectionData
from rotation_opt.bands import BandCourse, Bands, three
from rotation_opt.climate import WeatherYear, weather_years
from rotation_opt.farm_arrays import selection_data
from rotation_opt.groundwork import Groundwork, lay
from rotation_opt.records import Farm
from rotation_opt.sequences import trace
from rotation_opt.tables import Tables
from rotation_opt.weeds.parameters import DYNAMIC, LIKELY

WEED = "creeping_thistle"
KEPT = ("spring_barley", "soybean", "corn_grain")  # the crops of the small farm, which it grows on
EAST = 0

Laid = tuple[Groundwork, SelectionData]


@cache
def laid() -> Laid:
    return lay_out(small(keep=KEPT))


def lay_out(farm: Farm) -> Laid:
    ground = lay(farm, TABLES)
    return ground, selection_data(ground)


def one_set(tables: Tables) -> Tables:
    """Tables in which every set of weed figures is the likely one."""
    for draw in tables.draws:
        for figure in DYNAMIC:
            value = tables.draw(LIKELY, WEED, figure)
            tables = tables.with_change("weed_draw", f"{draw}:{WEED}", figure, value)
    return tables


def with_error(tables: Tables, spread: float) -> Tables:
    return tables.with_change("weed", WEED, "season_error", spread)


@pytest.fixture
def usual_weather(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    only(monkeypatch, "usual")
    yield


@pytest.fixture
def exact_count(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first count rests on any number of stops."""
    monkeypatch.setattr(infestation, "USUAL_STOPS", np.inf)


def only(monkeypatch: pytest.MonkeyPatch, kind: str) -> None:
    """Let every year be of one kind."""

    def years(climate: object, tables: Tables) -> tuple[WeatherYear, ...]:
        ground = laid()[0]
        every = {year.name: year for year in weather_years(ground.climate, tables)}
        return (replace(every[kind], weight=1.0),)

    monkeypatch.setattr(bands, "weather_years", years)


def courses(tables: Tables | None = None, laid_out: Laid | None = None) -> list[BandCourse]:
    """The present rotation on every field."""
    ground, data = laid() if laid_out is None else laid_out
    if tables is not None:
        ground = replace(ground, tables=tables)
    paths = present_paths(data, ground.farm)
    found = Bands(ground, data, [paths])
    return [found.course(field, path) for field, path in enumerate(paths)]


def width(course: BandCourse, year: int = -1) -> float:
    """From low to high in log units."""
    low, _, high = three(course.autumn[year, 0])
    return float(np.log(high / low))


# ---------------------------------------------------------------- the likely course


def test_the_likely_course_is_the_one_that_plans_are_chosen_by() -> None:
    ground, data = laid()
    paths = present_paths(data, ground.farm)
    for field, course in enumerate(courses()):
        chosen = trace(data, field, paths[field])
        assert course.autumn[..., 0] == pytest.approx(chosen.autumn[..., data.likely], rel=1e-9)
        assert course.shoots[..., 0] == pytest.approx(chosen.shoots[..., data.likely], rel=1e-9)
        assert course.burden[:, 0] == pytest.approx(chosen.burden[:, data.likely], rel=1e-9)
    assert courses()[EAST].autumn[-1, 0, 0] > 0.0


def test_the_same_farm_has_the_same_band_every_time() -> None:
    for one, other in zip(courses(), courses(), strict=True):
        for name in ("autumn", "shoots", "burden", "patches_ha", "seed_shed"):
            assert np.array_equal(getattr(one, name), getattr(other, name)), name


def test_there_are_three_courses_for_each_set_of_figures_beside_the_likely_one() -> None:
    count = 1 + bands.COURSES_A_DRAW * (len(TABLES.draws) - 1)
    assert courses()[EAST].burden.shape == (3, count)


def test_low_to_high_always_holds_what_is_likely() -> None:
    assert three(np.array([9.0, *np.linspace(1.0, 2.0, 50)])) == pytest.approx((1.1, 9.0, 9.0), abs=0.03)
    assert three(np.array([0.1, *np.linspace(1.0, 2.0, 50)])) == pytest.approx((0.1, 0.1, 1.9), abs=0.03)
    low, _, high = three(np.array([1.5, *np.linspace(1.0, 2.0, 10_000)]))
    assert (low, high) == pytest.approx((1.1, 1.9), abs=0.001)  # eight in ten


# ---------------------------------------------------------------- what makes it wide


@pytest.mark.usefixtures("usual_weather", "exact_count")
def test_without_error_with_one_set_of_figures_and_usual_weather_there_is_no_band() -> None:
    for course in courses(with_error(one_set(laid()[0].tables), 0.0)):
        for found in (course.autumn, course.shoots, course.burden):
            assert found == pytest.approx(np.broadcast_to(found[..., :1], found.shape), rel=1e-12)


@pytest.mark.usefixtures("usual_weather")
def test_the_doubt_of_the_first_count_makes_a_band_by_itself() -> None:
    course = courses(with_error(one_set(laid()[0].tables), 0.0))[EAST]
    ground, data = laid()
    patch = ground.farm.fields[EAST].patches[0]
    off = np.log(Bands(ground, data, [])._first_count("East")[0, 1:])
    power = ground.tables.draw(LIKELY, WEED, "shoot_power")
    a_frame = 0.25 * patch.shoots_per_m2  # ten frames of 1/4 m2, by the variance of a negative binomial
    spread = np.sqrt((1.0 / ground.tables.number("weed", WEED, "clump_k") + 1.0 / a_frame) / 10.0)
    assert np.std(off) * power == pytest.approx(spread, rel=0.3)  # 60 courses: 9 % standard error
    assert width(course) > 0.05


@pytest.mark.usefixtures("usual_weather", "exact_count")
def test_each_of_error_and_sets_of_figures_makes_a_band_by_itself() -> None:
    tables = laid()[0].tables
    only_error = courses(with_error(one_set(tables), 0.3))[EAST]
    only_figures = courses(with_error(tables, 0.0))[EAST]
    assert width(only_error) > 0.1
    assert width(only_figures) > 0.05


@pytest.mark.usefixtures("exact_count")
def test_changing_weather_makes_a_band_by_itself() -> None:
    assert width(courses(with_error(one_set(laid()[0].tables), 0.0))[EAST]) > 0.01


def test_a_larger_error_of_a_season_makes_a_wider_band_and_moves_nothing_likely() -> None:
    tables = laid()[0].tables
    found = [courses(with_error(tables, spread))[EAST] for spread in (0.0, 0.3, 0.6)]
    for year in range(3):
        small_one, middle, large = (width(course, year) for course in found)
        assert small_one < middle < large
    for course in found[1:]:
        assert course.autumn[..., 0] == pytest.approx(found[0].autumn[..., 0], rel=1e-12)


@pytest.mark.usefixtures("usual_weather", "exact_count")
def test_the_error_of_a_thin_stand_is_as_large_as_the_tables_say() -> None:
    # far below the cap a season leaves growth times the reserve, so the first year is off by the error itself
    thin = small(keep=KEPT)
    patches = tuple(replace(each, shoots_per_m2=1e-6) for each in thin.fields[EAST].patches)
    spread = 0.3
    ground, data = lay_out(with_field(thin, "East", patches=patches))
    course = courses(with_error(one_set(ground.tables), spread), (ground, data))[EAST]
    off = np.log(course.autumn[0, 0, 1:] / course.autumn[0, 0, 0])
    assert np.std(off) == pytest.approx(spread, rel=0.3)  # 60 courses: 9 % standard error
    assert abs(np.mean(off)) < 3.5 * spread / np.sqrt(off.size)


def test_no_course_passes_the_cap_however_large_the_error() -> None:
    # bare ground crowds no weed: nothing but the cap holds an error there
    fallow = lay_out(with_field(small(keep=(*KEPT, "fallow")), "East", as_now=("fallow",) * 3))
    tables = with_error(fallow[0].tables, 2.0)
    most = max(tables.draw(draw, WEED, "reserve_cap") for draw in tables.draws)
    for course in courses(tables, fallow):
        assert (course.autumn >= 0.0).all()
        assert (course.autumn <= most).all()


# ---------------------------------------------------------------- weather and leases


@pytest.mark.usefixtures("exact_count")
def test_warm_years_end_elsewhere_than_cool_ones_and_the_likely_course_knows_neither(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    tables = with_error(one_set(laid()[0].tables), 0.0)
    ends = {}
    for kind in ("cool", "usual", "warm"):
        only(monkeypatch, kind)
        course = courses(tables)[EAST]
        ends[kind] = course.autumn[-1, 0]
        # one kind of year, one set of figures, no error: all courses but the likely one are one course
        assert np.ptp(ends[kind][1:]) == pytest.approx(0.0, abs=1e-12)
    assert abs(np.log(ends["warm"][1] / ends["cool"][1])) > 0.05
    assert ends["warm"][0] == ends["cool"][0] == ends["usual"][0]
    assert ends["usual"][1] == pytest.approx(ends["usual"][0], rel=1e-12)


def test_the_courses_of_a_field_stay_at_nothing_once_its_lease_has_ended() -> None:
    leased = lay_out(with_field(small(keep=KEPT), "East", lease_end_year=2028))
    ground, data = leased
    path = present_paths(data, ground.farm)[EAST]
    assert [practice == NOT_FARMED for practice in path] == [False, False, True]
    course = courses(laid_out=leased)[EAST]
    for found in (course.autumn, course.shoots, course.burden):
        assert (found[:2] > 0.0).all()
        assert not found[2].any()


@pytest.mark.usefixtures("exact_count")
def test_a_set_of_figures_starts_from_the_roots_that_the_count_speaks_for_under_it() -> None:
    tables = with_error(laid()[0].tables, 0.0)
    ground, data = laid()
    low, likely, high = Bands(replace(ground, tables=tables), data, []).today()
    assert low < high
    assert low <= likely <= high
    same = Bands(replace(ground, tables=one_set(tables)), data, []).today()
    assert same[0] == pytest.approx(same[1], rel=1e-12) == pytest.approx(same[2], rel=1e-12)
    assert same[1] == pytest.approx(likely, rel=1e-12)


def test_the_error_of_a_practice_does_not_depend_on_its_neighbours() -> None:
    ground, data = laid()
    found = Bands(ground, data, [present_paths(data, ground.farm)])
    names = ["spring_barley", "soybean", "spring_barley", "corn_grain"]
    many, one = found._errors(names), found._errors(names[1:2])
    assert (many[0] == many[2]).all()
    assert (many[1] == one[0]).all()
    assert (many[0, :, 1:] != many[1, :, 1:]).all()
    assert (many[..., 0] == 1.0).all()


def test_errors_of_two_practices_have_in_common_what_the_tables_say() -> None:
    ground, data = laid()
    found = Bands(ground, data, [present_paths(data, ground.farm)], courses_a_draw=50)
    one, other = np.log(found._errors(["spring_barley", "soybean"]))[:, 0, 1:]
    spread = ground.tables.number("weed", WEED, "season_error")
    shared = ground.tables.number("weed", WEED, "season_error_shared")
    assert one.size == 1000
    assert np.std(one) == pytest.approx(spread, rel=0.1)  # standard error 2 %
    assert np.corrcoef(one, other)[0, 1] == pytest.approx(shared, abs=0.09)  # standard error 0.03
