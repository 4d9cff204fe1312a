"""Heat, daylength, smooth years and frost dates, checked against published figures and worked tables."""

import functools
import importlib.util
from calendar import month_name
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from rotation_opt import climate, tables
from rotation_opt.climate import Climate

temperatures = st.floats(-40, 45)


def day_of(text: str) -> int:
    """Day of the year, 0 = 1 January, of a date like ``4 May``."""
    day, month = text.split()
    return date(2025, [name[:3] for name in month_name].index(month), int(day)).timetuple().tm_yday - 1


def at(station: str) -> Climate:
    return Climate.of_station(station, tables.read())


# ---------------------------------------------------------------- degree-days


def test_worked_example_of_the_oregon_bulletin_comes_out_day_by_day() -> None:
    # Cook (1994), Oregon State University, worked example, base 0 °C: daily 16, 17, 13, 15, 16, 17, running
    # totals 16, 33, 46, 61, 77, 94 °C d. The bulletin rounds the mean to a whole °F, the heat to a whole °C.
    high = np.array([72, 78, 69, 73, 75, 74])
    low = np.array([48, 45, 43, 45, 46, 49])
    mean = (np.floor((high + low) / 2 + 0.5) - 32) / 1.8
    daily = np.round(climate.degree_days(mean, mean, base=0.0))
    assert daily.tolist() == [16, 17, 13, 15, 16, 17]
    assert daily.cumsum().tolist() == [16, 33, 46, 61, 77, 94]
    # without rounding the total is 92.5, so the rounding alone is worth 1.5 °C d in six days
    unrounded = climate.degree_days((low - 32) / 1.8, (high - 32) / 1.8, base=0.0)
    assert unrounded.sum() == pytest.approx(92.5)


def test_mean_of_64_above_a_base_of_53_gives_11_degree_days() -> None:
    # University of California IPM, degree-day page: mean 64 °F, base 53 °F, 11 degree-days °F.
    assert climate.degree_days([60.0], [68.0], base=53.0)[0] == pytest.approx(11.0)


# Computed from the published formulas, not printed in a paper: check values that guard the code.
# min, max, base, upper, average, clipped, sine, triangle
COMPUTED = [
    (10, 30, 10, None, 10.0, 10.0, 10.0000, 10.0000),
    (4, 20, 10, None, 2.0, 5.0, 3.6265, 3.1250),
    (2, 12, 5, None, 2.0, 3.5, 2.7207, 2.4500),
    (-3, 9, 0, None, 3.0, 4.5, 3.6540, 3.3750),
    (8, 34, 10, 30, 9.0, 10.0, 10.5606, 10.7692),
    (12, 36, 10, 30, 11.0, 11.0, 12.6920, 13.2500),
]


@pytest.mark.parametrize("row", COMPUTED)
def test_computed_check_values(
    row: tuple[float, float, float, float | None, float, float, float, float],
) -> None:
    low, high, base, upper, *wanted = row
    methods: tuple[climate.Method, ...] = ("average", "clipped", "sine", "triangle")
    for method, value in zip(methods, wanted, strict=True):
        got = climate.degree_days([low], [high], base, upper, method)
        assert got[0] == pytest.approx(value, abs=5e-5), method


def test_the_two_methods_differ_only_when_the_minimum_is_below_the_base() -> None:
    # McMaster and Wilhelm (1997): "one equation, two interpretations"; both agree on warm days.
    warm = climate.degree_days([6.0], [20.0], 5.0), climate.degree_days([6.0], [20.0], 5.0, method="clipped")
    cold = climate.degree_days([-6.0], [4.0], 0.0), climate.degree_days([-6.0], [4.0], 0.0, method="clipped")
    assert warm[0] == warm[1]
    assert cold[0][0] == 0.0
    assert cold[1][0] == 2.0


@given(temperatures, temperatures, st.floats(-5, 15), st.floats(1, 30))
def test_clipping_the_extremes_never_gives_fewer_degree_days(
    a: float, b: float, base: float, room: float
) -> None:
    low, high = sorted((a, b))
    for upper in (None, base + room):
        average = climate.degree_days([low], [high], base, upper)[0]
        third = climate.degree_days([low], [high], base, upper, "aquacrop")[0]
        clipped = climate.degree_days([low], [high], base, upper, "clipped")[0]
        assert average - 1e-9 <= third <= clipped + 1e-9


@given(temperatures, temperatures, st.floats(-5, 15))
def test_sine_and_triangle_lie_between_zero_and_the_clipped_mean(a: float, b: float, base: float) -> None:
    low, high = sorted((a, b))
    assume(high - low > 1e-6)
    clipped = climate.degree_days([low], [high], base, method="clipped")[0]
    average = climate.degree_days([low], [high], base)[0]
    for method in ("sine", "triangle"):
        area = climate.degree_days([low], [high], base, method=method)[0]  # type: ignore[arg-type]
        assert average - 1e-9 <= area <= clipped + 1e-9


def test_crossed_extremes_and_limits_are_refused() -> None:
    with pytest.raises(ValueError, match="day 1"):
        climate.degree_days([1.0, 9.0], [5.0, 3.0], 0.0)
    with pytest.raises(ValueError, match="not above base"):
        climate.degree_days([1.0], [5.0], 10.0, 8.0)
    with pytest.raises(ValueError, match="no such"):
        climate.degree_days([1.0], [5.0], 0.0, method="cosine")  # type: ignore[arg-type]


# ---------------------------------------------------------------- expected heat


@pytest.mark.parametrize("upper", [None, 15.0])
def test_expected_heat_is_the_mean_over_many_swinging_days(upper: float | None) -> None:
    # The closed form against drawn days: an independent way to the same mean (standard error below 0.03).
    rng = np.random.default_rng(7)
    ties = np.array([[5.0**2, 0.6 * 5 * 6], [0.6 * 5 * 6, 6.0**2]])
    low, high = rng.multivariate_normal([2.0, 12.0], ties, size=60_000).T
    drawn = np.maximum((np.minimum(low, upper or np.inf) + np.minimum(high, upper or np.inf)) / 2 - 5.0, 0.0)
    closed = climate.expected_degree_days([2.0], [12.0], [5.0], [6.0], 5.0, upper=upper, correlation=0.6)
    assert closed[0] == pytest.approx(drawn.mean(), abs=0.1)


@given(st.floats(-20, 30), st.floats(0, 15), st.floats(0.1, 8), st.floats(0.1, 8), st.floats(-5, 15))
def test_swings_never_take_heat_away(
    low: float, spread: float, sd_min: float, sd_max: float, base: float
) -> None:
    smooth = climate.degree_days([low], [low + spread], base)[0]
    swinging = climate.expected_degree_days([low], [low + spread], [sd_min], [sd_max], base)[0]
    assert swinging >= smooth - 1e-9


# Worked table: smooth against expected heat of March and April and of the whole year, whole °C d, from the
# station normals in climates.csv with a correlation of maximum and minimum of 0.6. Derived, not published.
HEAT = [
    ("Boone IA", 0, 349, 400, 3750, 3907),
    ("Boone IA", 5, 129, 196, 2536, 2673),
    ("Boone IA", 10, 14, 70, 1523, 1648),
    ("Koeln-Stammheim", 0, 515, 517, 3981, 4015),
    ("Koeln-Stammheim", 5, 210, 238, 2274, 2412),
    ("Koeln-Stammheim", 10, 14, 61, 1108, 1209),
    ("Saskatoon SK, airport", 0, 131, 187, 2539, 2645),
    ("Saskatoon SK, airport", 5, 25, 71, 1556, 1654),
    ("Saskatoon SK, airport", 10, 0, 17, 754, 855),
    ("Cambridge NIAB", 0, 452, 453, 3689, 3701),
    ("Cambridge NIAB", 5, 147, 171, 1915, 2046),
    ("Cambridge NIAB", 10, 0, 22, 796, 873),
]


@pytest.mark.parametrize("row", HEAT)
def test_heat_of_a_smooth_year_and_of_swinging_years_as_worked_before(
    row: tuple[str, int, int, int, int, int],
) -> None:
    station, base, spring, spring_expected, year, year_expected = row
    place = at(station)
    smooth = climate.degree_days(place.tmin, place.tmax, base)
    expected = place.heat(base)
    got = [smooth[59:120].sum(), expected[59:120].sum(), smooth.sum(), expected.sum()]
    # spring within a unit; the year within 0.15 % (largest miss 1.5 °C d of 1,523, Boone above 10 °C): the
    # table was worked with another program for the smooth year
    assert got[:2] == pytest.approx([spring, spring_expected], abs=1.0)
    assert got[2:] == pytest.approx([year, year_expected], rel=1.5e-3)


@functools.cache
def record(place: str) -> np.ndarray:
    """Daily weather shipped with the Python package aquacrop: day, month, year, minimum, maximum."""
    spec = importlib.util.find_spec("aquacrop")  # found, not imported: only its weather files are wanted
    if spec is None or not spec.submodule_search_locations:
        pytest.skip("the package aquacrop is not installed")
    file = Path(spec.submodule_search_locations[0]) / "data" / f"{place}_climate.txt"
    return np.loadtxt(file, skiprows=1, usecols=range(5))


@pytest.mark.parametrize(
    ("place", "year", "sums"),
    [
        # Sums worked independently from the same files: of minima, of maxima, then degree-days above 0 °C by
        # both methods of McMaster and Wilhelm, and above 10 °C by the first.
        ("champion", 1983, (679.53, 5773.71, 3851.81, 4025.96, 1602.96)),
        ("brussels", 1977, (2571.30, 4980.40, 3780.35, 3810.05, 884.10)),
    ],
)
def test_yearly_sums_of_a_daily_record(place: str, year: int, sums: tuple[float, ...]) -> None:
    days = record(place)[record(place)[:, 2] == year]
    low, high = days[:, 3], days[:, 4]
    got = [
        low.sum(),
        high.sum(),
        climate.degree_days(low, high, 0.0).sum(),
        climate.degree_days(low, high, 0.0, method="clipped").sum(),
        climate.degree_days(low, high, 10.0).sum(),
    ]
    assert got == pytest.approx(sums, abs=0.006)


@pytest.mark.parametrize("place", ["champion", "brussels"])
@pytest.mark.parametrize(("base", "upper"), [(0, None), (5, None), (10, None), (0, 15), (8, 30), (5, 30)])
def test_expected_heat_is_near_the_mean_of_real_years(place: str, base: float, upper: float | None) -> None:
    # Mean yearly heat of 37 (Champion) and 30 years (Brussels) of daily weather against what twelve means and
    # daily SDs give. Largest misses: 2.4 % of the year, 11 °C d of March and April (both Champion above
    # 10 °C, which the smooth year misses by 6 % and 48 °C d).
    month, year, low, high = record(place)[:, 1:].T
    real = climate.degree_days(low, high, base, upper)
    years = np.unique(year).size

    def laid(values: np.ndarray, of: Callable[[np.ndarray], float]) -> np.ndarray:
        return climate.smooth_year([of(values[month == each]) for each in range(1, 13)])

    expected = climate.expected_degree_days(
        laid(low, np.mean), laid(high, np.mean), laid(low, np.std), laid(high, np.std), base, upper=upper
    )
    assert expected.sum() == pytest.approx(real.sum() / years, rel=0.025)
    spring = real[(month == 3) | (month == 4)].sum() / years
    assert expected[59:120].sum() == pytest.approx(spring, abs=12.0)


# ---------------------------------------------------------------- sun


@pytest.mark.parametrize(
    ("latitude", "day_of_year", "hours"),
    [
        # Allen et al. (1998), FAO Irrigation and Drainage Paper 56, ch. 3, example 9 (eq. 34): 11.7 h.
        pytest.param(-20.0, 246, 11.7, id="fao56-example-9"),
    ],
)
def test_daylength_gives_the_published_example(latitude: float, day_of_year: int, hours: float) -> None:
    assert float(climate.daylength(latitude, day_of_year)) == pytest.approx(hours, abs=0.05)


@pytest.mark.parametrize(("day_of_year", "hours"), [(172, 15.556), (355, 8.444), (80, 11.958)])
def test_daylength_at_46_north_as_computed(day_of_year: int, hours: float) -> None:
    # Computed from FAO-56 equations 24, 25 and 34, not printed there.
    assert float(climate.daylength(46.0, day_of_year)) == pytest.approx(hours, abs=5e-4)


def test_the_polar_day_has_24_hours() -> None:
    assert climate.daylength(75.0, [172, 355]).tolist() == [24.0, 0.0]


# ---------------------------------------------------------------- smooth years


@given(st.lists(st.floats(-40, 40), min_size=12, max_size=12))
def test_a_smooth_year_keeps_every_monthly_mean(monthly: list[float]) -> None:
    year = climate.smooth_year(monthly)
    start = 0
    for mean, length in zip(monthly, climate.MONTH_LENGTHS, strict=True):
        assert year[start : start + length].mean() == pytest.approx(mean, abs=1e-6)
        start += length


def test_a_smooth_year_closes_on_itself_and_stays_flat_when_the_means_are() -> None:
    year = climate.smooth_year(at("Boone IA").tmax[:12])
    steps = np.abs(np.diff(np.append(year, year[0])))
    assert steps[-1] <= steps.max()
    assert np.allclose(climate.smooth_year([7.0] * 12), 7.0)


def test_eleven_months_are_refused() -> None:
    with pytest.raises(ValueError, match="12 monthly means, not 11"):
        climate.smooth_year([0.0] * 11)


# ---------------------------------------------------------------- frost

# Seen median or mean dates of last spring and first autumn minimum at or below 0 °C.
SEEN = [
    # Victory Seeds, Frost dates (Boone); Iowa State University Extension (county: first 6 Oct, 1950-2021)
    ("Boone IA", None, "3 Oct"),
    ("Boone IA", None, "6 Oct"),
    # Kansas State University Extension, Ellis County
    ("Hays KS (1 S)", "26 Apr", "10 Oct"),
    # Democrat and Chronicle (2024), mean last freeze since 1872
    ("Rochester NY, airport", "29 Apr", None),
    # Saskatoon climate page (frost-free season)
    ("Saskatoon SK, airport", "21 May", "15 Sep"),
    # Frost dates for Canadian cities
    ("Winnipeg MB, airport", "25 May", "22 Sep"),
    # The Old Farmer's Almanac, citing Environment and Climate Change Canada
    ("Grande Prairie AB", "18 May", None),
    ("Brandon MB, airport", "27 May", None),
]


@pytest.mark.parametrize(("station", "last", "first"), SEEN)
def test_frost_medians_lie_within_a_week_of_dates_seen(
    station: str, last: str | None, first: str | None
) -> None:
    place = at(station)
    if last:
        assert abs(place.last_spring_frost_day - day_of(last)) <= 7
    if first:
        assert abs(place.first_autumn_frost(0.0) - day_of(first)) <= 7


@pytest.mark.xfail(strict=True, reason="8 days late: grid-cell nights there run about 2 °C warm")
def test_first_frost_of_grande_prairie_lies_within_a_week_of_the_date_seen() -> None:
    # The Old Farmer's Almanac, citing Environment and Climate Change Canada: 13 September.
    assert abs(at("Grande Prairie AB").first_autumn_frost(0.0) - day_of("13 Sep")) <= 7


@pytest.mark.xfail(strict=True, reason="airport against city: 15 days late in spring, 11 early in autumn")
def test_frost_medians_of_edmonton_airport_lie_within_a_week_of_those_seen_in_the_city() -> None:
    # The Old Farmer's Almanac, citing Environment and Climate Change Canada: 7 May and 23 September, city.
    place = at("Edmonton AB, international airport")
    assert abs(place.last_spring_frost_day - day_of("7 May")) <= 7
    assert abs(place.first_autumn_frost(0.0) - day_of("23 Sep")) <= 7


# 10, 50 and 90 % points of 4,000 drawn years (monthly minimum, daily SD, lag-one 0.6): derived, not
# published.
DRAWN = [
    ("Boone IA", ("19 Apr", "4 May", "20 May"), ("15 Sep", "30 Sep", "14 Oct")),
    ("Hays KS (1 S)", ("10 Apr", "25 Apr", "12 May"), ("23 Sep", "10 Oct", "24 Oct")),
    ("Urbana IL", ("6 Apr", "22 Apr", "10 May"), ("28 Sep", "14 Oct", "30 Oct")),
    ("Pendleton OR, airport", ("4 Apr", "25 Apr", "16 May"), ("1 Oct", "16 Oct", "30 Oct")),
    ("Koeln-Stammheim", ("20 Mar", "11 Apr", "29 Apr"), ("16 Oct", "6 Nov", "26 Nov")),
    ("Saskatoon SK, airport", ("7 May", "20 May", "2 Jun"), ("3 Sep", "15 Sep", "27 Sep")),
    ("Jokioinen", ("8 May", "22 May", "3 Jun"), ("7 Sep", "21 Sep", "5 Oct")),
]


@pytest.mark.parametrize(("station", "last", "first"), DRAWN)
def test_frost_dates_by_chance_agree_with_drawn_years(
    station: str, last: tuple[str, str, str], first: tuple[str, str, str]
) -> None:
    place = at(station)
    for chance, spring, autumn in zip((0.1, 0.5, 0.9), last, first, strict=True):
        assert abs(place.last_spring_frost(0.0, chance) - day_of(spring)) <= 2
        assert abs(place.first_autumn_frost(0.0, chance) - day_of(autumn)) <= 2


def test_a_harder_frost_comes_later_in_autumn_and_ends_earlier_in_spring() -> None:
    place = at("Boone IA")
    assert place.first_killing_frost_day > place.first_autumn_frost(0.0)
    assert place.stand_growth_start_day < place.last_spring_frost_day


def test_killing_frost_of_champion_nebraska_from_its_daily_record() -> None:
    # Daily record tables.read() with the Python package aquacrop, 37 years: median first minimum at or below
    # -4 °C on day 290 and last at or below 0 °C on day 130 (1 = 1 January), computed from the record.
    months, _, lowest, _ = record("champion")[:, 1:].T
    mean = climate.smooth_year([lowest[months == month].mean() for month in range(1, 13)])
    spread = climate.smooth_year([lowest[months == month].std() for month in range(1, 13)])
    summer = 200
    autumn = climate.first_hit(mean[summer:], spread[summer:], -4.0, lag_one=0.6, probability=0.5)
    back = slice(summer, None, -1)
    spring = climate.first_hit(mean[back], spread[back], 0.0, lag_one=0.6, probability=0.5)
    assert autumn is not None
    assert spring is not None
    assert abs(summer + autumn + 1 - 290) <= 7
    assert abs(summer - spring + 1 - 130) <= 7


# ---------------------------------------------------------------- the climate of a place


def test_field_work_opens_before_oats_were_sown_in_central_iowa() -> None:
    # Nguyen and others (2022), data set, central Iowa 2017-2020: oats sown 2 to 24 April.
    opens = at("Boone IA").spring_start_day
    assert day_of("10 Mar") <= opens <= day_of("2 Apr")


def test_no_field_work_in_deep_winter_however_mild() -> None:
    for station in tables.read().stations:
        place = at(station)
        assert 45 <= place.spring_start_day <= 125, station
        assert 285 <= place.freeze_day <= 348, station


def test_the_season_repeats_the_year_on_the_day_axis() -> None:
    place = at("Boone IA")
    season, year = place.season_heat(5.0, 30.0), place.heat(5.0, 30.0)
    assert season.shape == (549,)
    assert season[climate.index_of(0)] == year[0]
    assert season[climate.index_of(-1)] == year[364]
    assert season[climate.index_of(-184)] == year[181]
    assert place.heat(5.0, 30.0) is year
    with pytest.raises(ValueError, match="outside the season"):
        climate.index_of(365)


def test_the_year_is_turned_by_half_south_of_the_equator() -> None:
    place = at("Christchurch")
    assert place.shift_days == 181
    assert 150 < int(np.argmax(place.mean_temperature)) < 250
    # longest day near 21 December, which is day 173 counted from 1 July
    assert abs(int(np.argmax(place.day_length())) - 173) <= 2
    july = np.mean(
        [tables.read().stations["Christchurch"].tmin_c[6], tables.read().stations["Christchurch"].tmax_c[6]]
    )
    assert place.mean_temperature[:31].mean() == pytest.approx(july, abs=1e-6)


def test_a_place_that_never_gets_warm_enough_says_so() -> None:
    place = at("Jokioinen")
    assert place.warm_day(25.0) is None
    day = place.warm_day(10.0)
    assert day is not None
    assert place.mean_temperature[day - 1] < 10.0 <= place.mean_temperature[day]


def test_spread_is_borrowed_from_the_nearest_station_that_has_some() -> None:
    assert at("Boone IA").sd_from == "Boone IA"
    assert at("Saskatoon SK, airport").sd_from == "North Battleford SK"
    assert at("Christchurch").sd_from == ""


def test_lines_that_stand_in_for_unknown_spread_are_as_near_as_the_table_says() -> None:
    # The notes of table climate give residuals of 0.60 (minimum) and 0.72 °C (maximum) over station months.
    alone = tables.read().with_change("climate", "any", "sd_borrow_km", -1.0)
    low, high = [], []
    for key, station in tables.read().stations.items():
        if station.tmin_daily_sd_c and station.tmax_daily_sd_c:
            known, guessed = at(key), Climate.of_station(key, alone)
            assert guessed.sd_from == ""
            low.append(known.sd_min - guessed.sd_min)
            high.append(known.sd_max - guessed.sd_max)
    assert np.sqrt(np.mean(np.square(low))) == pytest.approx(0.60, abs=0.05)
    assert np.sqrt(np.mean(np.square(high))) == pytest.approx(0.72, abs=0.05)


def test_every_station_gives_finite_heat_in_the_season() -> None:
    for station in tables.read().stations:
        heat = at(station).season_heat(0.0, 26.0)
        assert np.isfinite(heat).all()
        assert heat.min() >= 0.0


def test_days_of_the_calendar_and_of_the_axis_agree() -> None:
    assert date(2025, 1, 1) + timedelta(days=climate.MONTH_LENGTHS[0]) == date(2025, 2, 1)
    assert climate.season_days()[[0, -1]].tolist() == [-184, 364]
