"""Weather years and daily records: what a warmer, a colder or a shorter year does to dates, work and weeds.

Real days come from the records that the Python package aquacrop 3.1 ships (Apache-2.0): Champion, a plain
with cold winters and hot summers (1982-2018); Brussels (1976-2005), Northumberland, cool and mild
(1991-2021); and Cordoba, south of the equator (1991-2021; its warmest month is January).
"""

from __future__ import annotations

import functools
import importlib.util
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from rotation_opt import climate, daily_weather, farm, practices, season, tables, timetable, varieties
from rotation_opt.climate import Climate
from rotation_opt.errors import InputError
from rotation_opt.weeds.emergence import ShootCalendar, shoot_calendar
from rotation_opt.weeds.parameters import weed_parameters

TABLES = tables.read()
EXAMPLE = Path(__file__).parent.parent / "examples" / "tamarack_hollow.toml"
NEAR = {
    "champion": "Hays KS (1 S)",
    "brussels": "Koeln-Stammheim",
    "northumberland": "Malvern",
    "cordoba": "Horsham VIC",
}
THISTLE = ("creeping_thistle",)


# ---------------------------------------------------------------- the records


@functools.cache
def raw(place: str) -> np.ndarray:
    """Day, month, year, minimum, maximum."""
    spec = importlib.util.find_spec("aquacrop")  # found, not imported: only its weather files are wanted
    if spec is None or not spec.submodule_search_locations:
        pytest.skip("the package aquacrop is not installed")
    file = Path(spec.submodule_search_locations[0]) / "data" / f"{place}_climate.txt"
    return np.loadtxt(file, skiprows=1, usecols=range(5))


def lines(place: str, first: int = 0, last: int = 9999) -> list[str]:
    """Rows of a record as a grower would write them."""
    return [
        f"{int(year)}-{int(month):02d}-{int(day):02d},{low:g},{high:g}"
        for day, month, year, low, high in raw(place)
        if first <= year <= last
    ]


def written(rows: list[str], folder: Path, name: str = "weather.csv") -> Path:
    path = folder / name
    path.write_text("\n".join(["date,tmin_c,tmax_c", *rows]) + "\n", encoding="utf-8")
    return path


@functools.cache
def record(place: str) -> daily_weather.DailyWeather:
    with tempfile.TemporaryDirectory() as folder:
        return daily_weather.read(written(lines(place), Path(folder)))


@functools.cache
def at(place: str) -> Climate:
    return climate.of_record(record(place), NEAR[place], TABLES)


@functools.cache
def shoots(place: Climate) -> ShootCalendar:
    return shoot_calendar(place, weed_parameters(TABLES, THISTLE, ["likely"]))


def half_up(place: Climate) -> int:
    """Day of the harvest year on which half the thistle shoots are up."""
    return int(np.argmax(shoots(place).target[climate.index_of(0) :, 0] >= 0.5))


def bud(place: Climate) -> int:
    return int(shoots(place).bud_day[0])


@functools.cache
def local(place: Climate) -> tables.Tables:
    return varieties.fitted(TABLES, place)


def dated(key: str, place: Climate, usual: Climate | None = None) -> practices.DatedPractice:
    """A practice on its days in one year; varieties are those a grower chose for the `usual` climate."""
    calendar = practices.field_calendar(place, TABLES)
    found = practices.date_practice(TABLES.practices[key], place, local(usual or place), calendar)[0]
    assert found is not None
    return found


@functools.cache
def response(place: Climate, *pairs: tuple[str, str]) -> season.Response:
    programmes = [
        timetable.programme(dated(before, place), dated(key, place), place, local(place))
        for before, key in pairs
    ]
    return season.respond(programmes, place, local(place), THISTLE, ["likely"])


def kept(place: Climate, *pairs: tuple[str, str], start: float = 0.3) -> list[float]:
    """Thistle roots left on 1 November after each pair."""
    answer = response(place, *pairs)
    return [float(answer.autumn_after(pair, 0, 0, start)) for pair in range(len(pairs))]


# ---------------------------------------------------------------- a record as a climate


@pytest.mark.parametrize("place", ["champion", "brussels"])
def test_a_record_gives_back_its_own_monthly_means_and_spreads(place: str) -> None:
    month, _, low, high = raw(place)[:, 1:].T
    day = raw(place)[:, 0]
    mine = at(place)
    start = 0
    for of, length in enumerate(climate.MONTH_LENGTHS, start=1):
        here = (month == of) & ~((month == 2) & (day == 29))
        span = slice(start, start + length)
        assert mine.tmin[span].mean() == pytest.approx(low[here].mean(), abs=1e-6)
        assert mine.tmax[span].mean() == pytest.approx(high[here].mean(), abs=1e-6)
        assert mine.sd_min[span].mean() == pytest.approx(low[here].std(), abs=1e-6)
        assert mine.sd_max[span].mean() == pytest.approx(high[here].std(), abs=1e-6)
        start += length
    assert mine.sd_from == "weather.csv"


@pytest.mark.parametrize("place", ["champion", "brussels"])
@pytest.mark.parametrize(("base", "upper"), [(0.0, None), (5.0, 30.0)])
def test_the_years_of_a_record_add_up_to_its_smooth_year(
    place: str, base: float, upper: float | None
) -> None:
    # the smooth year with its spreads stands for the mean of the real years
    years = climate.weather_years(at(place), TABLES)
    assert len(years) == len(record(place).years)
    assert sum(year.weight for year in years) == pytest.approx(1.0)
    real = sum(year.weight * year.climate.heat(base, upper).sum() for year in years)
    assert at(place).heat(base, upper).sum() == pytest.approx(real, rel=0.025)


def test_each_real_year_has_the_days_it_had() -> None:
    # Champion 1983: sums of minima and maxima and of degree-days above 0 and 10 °C, worked independently
    year = next(each for each in climate.weather_years(at("champion"), TABLES) if each.name == "1983").climate
    assert year.tmin.sum() == pytest.approx(679.53, abs=0.006)
    assert year.tmax.sum() == pytest.approx(5773.71, abs=0.006)
    assert year.heat(0.0).sum() == pytest.approx(3851.81, abs=0.006)
    assert year.heat(10.0).sum() == pytest.approx(1602.96, abs=0.006)


def test_frosts_of_real_years_are_those_on_the_thermometer() -> None:
    days = raw("champion")
    for year in climate.weather_years(at("champion"), TABLES)[:12]:
        own = days[(days[:, 2] == int(year.name)) & ~((days[:, 1] == 2) & (days[:, 0] == 29))]
        frosts = np.flatnonzero(own[:, 3] <= 0.0)
        assert year.climate.last_spring_frost_day == frosts[frosts < 200].max()
        assert year.climate.first_autumn_frost(0.0) == frosts[frosts > 200].min()
    # median of the last spring frost over all 37 years: day 130 (1 = 1 January), computed from the record
    last = [each.climate.last_spring_frost_day for each in climate.weather_years(at("champion"), TABLES)]
    assert abs(at("champion").last_spring_frost_day - np.median(last)) <= 7


def test_thistles_come_up_in_each_real_year_when_its_own_heat_is_reached() -> None:
    # Donald (2000): half the shoots at 1.108 / (1 + (X / 488.344)^-5.161) = 0.5, X = 470 °C d above 0 from
    # 1 April, summed here from the record itself
    needed = 488.344 * (1.108 / 0.5 - 1.0) ** (-1 / 5.161)
    assert needed == pytest.approx(470, abs=1)
    days = raw("champion")
    for year in climate.weather_years(at("champion"), TABLES)[:12]:
        own = days[(days[:, 2] == int(year.name)) & ~((days[:, 1] == 2) & (days[:, 0] == 29))]
        heat = np.maximum((own[:, 3] + own[:, 4]) / 2, 0.0)[90:]
        assert abs(half_up(year.climate) - (90 + int(np.argmax(heat.cumsum() >= needed)))) <= 1, year.name


def test_a_leap_day_is_read_and_left_out(tmp_path: Path) -> None:
    year = daily_weather.read(written(lines("champion", 1984, 1984), tmp_path))
    assert year.years == (1984,)
    assert len(year.tmin[0]) == 365
    march = raw("champion")[(raw("champion")[:, 2] == 1984) & (raw("champion")[:, 1] == 3)]
    assert year.tmax[0][59] == march[0, 4]
    # calendars that have no 29 February will do as well
    without = [row for row in lines("champion", 1984, 1984) if "-02-29" not in row]
    assert daily_weather.read(written(without, tmp_path)).tmax == year.tmax


def test_one_year_makes_a_climate_too(tmp_path: Path) -> None:
    year = daily_weather.read(written(lines("brussels", 1977, 1977), tmp_path))
    place = climate.of_record(year, NEAR["brussels"], TABLES)
    (only,) = climate.weather_years(place, TABLES)
    assert (only.name, only.weight) == ("1977", 1.0)
    assert place.heat(0.0).sum() == pytest.approx(only.climate.heat(0.0).sum(), rel=0.02)


def test_south_of_the_equator_a_year_runs_from_july(tmp_path: Path) -> None:
    place = at("cordoba")
    years = climate.weather_years(place, TABLES)
    assert [year.name for year in years[:2]] == ["1991/92", "1992/93"]
    assert years[8].name == "1999/00"
    assert len(years) == len(record("cordoba").years) - 1
    assert 150 < int(np.argmax(place.mean_temperature)) < 250
    # day 0 is 1 July of the first year, day 184 1 January of the next
    days = raw("cordoba")
    july = days[(days[:, 2] == 1991) & (days[:, 1] == 7)]
    january = days[(days[:, 2] == 1992) & (days[:, 1] == 1)]
    assert years[0].climate.tmin[:31] == pytest.approx(july[:, 3])
    assert years[0].climate.tmax[184:215] == pytest.approx(january[:, 4])
    alone = daily_weather.read(written(lines("cordoba", 1995, 1995), tmp_path))
    (one,) = climate.weather_years(climate.of_record(alone, NEAR["cordoba"], TABLES), TABLES)
    assert one.name == "1995"
    assert 150 < int(np.argmax(one.climate.mean_temperature)) < 250


# ---------------------------------------------------------------- years made from normals

PLACES = ("Rochester NY, airport", "Boone IA", "Saskatoon SK, airport", "Cologne", "Christchurch")


@pytest.mark.parametrize("station", PLACES)
def test_the_usual_year_is_the_climate_itself(station: str) -> None:
    place = climate.for_station(station, TABLES)
    cool, usual, warm = climate.weather_years(place, TABLES)
    assert [year.name for year in (cool, usual, warm)] == ["cool", "usual", "warm"]
    assert cool.weight + usual.weight + warm.weight == 1.0
    assert usual.climate is place


@pytest.mark.parametrize("station", PLACES)
def test_a_warm_year_is_earlier_in_everything_that_heat_drives(station: str) -> None:
    place = climate.for_station(station, TABLES)
    cool, usual, warm = (year.climate for year in climate.weather_years(place, TABLES))
    for sooner, later in ((warm, usual), (usual, cool)):
        assert sooner.heat(5.0, 30.0).sum() > later.heat(5.0, 30.0).sum() + 100
        assert sooner.last_spring_frost_day < later.last_spring_frost_day
        assert sooner.first_killing_frost_day > later.first_killing_frost_day
        assert 2 <= half_up(later) - half_up(sooner) <= 25
        assert 2 <= bud(later) - bud(sooner) <= 30
        for key in ("oat", "corn_grain"):
            early, late = dated(key, sooner, place), dated(key, later, place)
            assert early.sowing_day <= late.sowing_day, key
            if late.ripe_day is not None:  # what does not ripen stands until field work ends
                assert early.harvest_day <= late.harvest_day, key
        early, late = dated("alfalfa_1", sooner, place), dated("alfalfa_1", later, place)
        assert early.cut_days[0] < late.cut_days[0]


def test_years_from_normals_spread_as_far_as_real_years_do() -> None:
    # The same place both ways: spread of the days on which half the thistles are up over 37 and 30 real years
    # against that of cool, usual and warm years made from the smooth year of the same record. The seasons of
    # three months that the shift was chosen by are not these dates, so this is a test and no echo.
    for place, slack in (("champion", 0.35), ("brussels", 0.35)):
        mine = at(place)
        real = np.std([half_up(year.climate) for year in climate.weather_years(mine, TABLES)])
        normals = climate.for_station(NEAR[place], TABLES)
        years = climate.weather_years(normals, TABLES)
        days = np.array([half_up(year.climate) for year in years])
        weights = np.array([year.weight for year in years])
        made = np.sqrt(weights @ (days - weights @ days) ** 2)
        assert made == pytest.approx(real, rel=slack), place


def test_the_published_spread_of_monthly_means_is_used_where_there_is_one() -> None:
    # Canadian normals 1971-2000, Saskatoon: standard deviation of monthly means 4.8 in January, 2.4 in April,
    # 1.3 in July and 1.4 in October. Worked from its daily spread it would be 3.5, 2.3, 1.2 and 2.1.
    place = climate.for_station("Saskatoon SK, airport", TABLES)
    spread = climate.month_spread(place, TABLES)
    starts = np.concatenate([[0], np.cumsum(climate.MONTH_LENGTHS)])
    seen = {1: 4.8, 4: 2.4, 7: 1.3, 10: 1.4}
    for month, value in seen.items():
        assert spread[starts[month - 1] : starts[month]].mean() == pytest.approx(value, abs=1e-6)
    other = climate.month_spread(climate.for_station("North Battleford SK", TABLES), TABLES)
    guessed = [other[starts[month - 1] : starts[month]].mean() for month in seen]
    assert np.mean(np.array(guessed) / list(seen.values())) == pytest.approx(1.0, abs=0.15)
    # and in the south the year is turned before it is moved
    south = climate.for_station("Christchurch", TABLES)
    warm = climate.weather_years(south, TABLES)[2].climate
    assert (warm.tmin > south.tmin).all()
    assert warm.shift_days == south.shift_days


def test_the_share_of_the_daily_spread_is_that_of_the_records() -> None:
    share = TABLES.figure("climate", "any", "month_spread_share")
    assert share.low is not None
    assert share.high is not None
    found = []
    for place in ("champion", "brussels"):
        _, month, year, low, high = raw(place).T
        mean = (low + high) / 2
        ratios = []
        for of in range(1, 13):
            monthly = [mean[(month == of) & (year == each)].mean() for each in np.unique(year)]
            ratios.append(np.std(monthly, ddof=1) / mean[month == of].std())
        found.append(np.mean(ratios))
    assert found == pytest.approx([share.low, share.high], abs=0.01)
    assert min(found) < share.value < max(found)


def test_a_year_takes_less_than_a_twentieth_of_a_second() -> None:
    place = climate.for_station("Boone IA", TABLES)
    start = time.perf_counter()
    years = climate.weather_years(place, TABLES)
    for year in years:
        year.climate.season_heat(0.0, 26.0)
        assert year.climate.last_spring_frost_day < year.climate.first_killing_frost_day
    assert (time.perf_counter() - start) / len(years) < 0.05


# ---------------------------------------------------------------- what another station does to dates and work


def test_shoots_buds_sowings_and_cuts_come_later_at_a_cooler_station() -> None:
    warm, cool = at("champion"), at("northumberland")
    assert 5 <= half_up(cool) - half_up(warm) <= 25
    assert 10 <= bud(cool) - bud(warm) <= 35
    for key in ("oat", "spring_wheat", "corn_grain", "soybean"):
        assert 5 <= dated(key, cool).sowing_day - dated(key, warm).sowing_day <= 50, key
    first = [dated("alfalfa_1", place).cut_days[0] for place in (warm, cool)]
    assert 10 <= first[1] - first[0] <= 35


def test_a_mild_winter_opens_the_fields_earlier_and_lets_wheat_be_sown_later() -> None:
    plain, coast = at("champion"), at("brussels")
    assert 14 <= plain.spring_start_day - coast.spring_start_day <= 40
    assert dated("oat", coast).sowing_day < dated("oat", plain).sowing_day
    assert dated("winter_wheat", coast).sowing_day > dated("winter_wheat", plain).sowing_day + 21
    # yet the summer is cooler: corn goes in no sooner and soybeans later
    assert dated("soybean", coast).sowing_day > dated("soybean", plain).sowing_day


def test_within_one_record_a_warm_spring_is_early_and_a_cold_one_late() -> None:
    years = climate.weather_years(at("champion"), TABLES)
    by_spring = sorted(years, key=lambda year: year.climate.mean_temperature[59:151].mean())
    cold, warm = by_spring[0].climate, by_spring[-1].climate
    assert 8 <= half_up(cold) - half_up(warm) <= 40
    assert dated("oat", cold).sowing_day > dated("oat", warm).sowing_day
    assert dated("alfalfa_1", cold).cut_days[0] > dated("alfalfa_1", warm).cut_days[0] + 5


def test_the_third_cut_drops_out_where_the_season_is_short() -> None:
    cuts = {place: len(dated("alfalfa_1", at(place)).cut_days) for place in ("champion", "northumberland")}
    assert cuts == {"champion": 3, "northumberland": 2}


def test_what_does_not_ripen_or_grow_there_is_not_offered_there() -> None:
    grown = farm.read(EXAMPLE, TABLES)
    offered = {}
    for place in ("champion", "northumberland"):
        listed = practices.dated_practices(grown, local(at(place)), at(place))
        offered[place] = {each.key for each in listed.practices}
    # neither the warm crops nor the third cut of hay; the first two cuts and the cereals are
    for key in ("soybean", "corn_grain", "buckwheat", "alfalfa_1"):
        assert key in offered["champion"], key
        assert key not in offered["northumberland"], key
    for key in ("oat", "spring_barley", "winter_wheat", "alfalfa_1_two_cuts"):
        assert key in offered["northumberland"], key


# ---------------------------------------------------------------- and to the ranking of practices


def test_hay_loses_its_lead_over_a_spring_cereal_with_its_third_cut() -> None:
    pairs = (("oat_alfalfa", "alfalfa_1"), ("spring_barley", "spring_wheat"))
    long_hay, long_wheat = kept(at("champion"), *pairs)
    short_hay, short_wheat = kept(at("northumberland"), *pairs)
    assert long_hay < long_wheat
    assert short_hay / short_wheat > long_hay / long_wheat


def test_the_head_start_of_winter_wheat_is_largest_after_a_long_warm_autumn() -> None:
    pairs = (("spring_barley", "winter_wheat"), ("spring_barley", "spring_wheat"))
    ahead = {}
    for place in ("champion", "brussels", "northumberland"):
        fall, spring = response(at(place), *pairs).head_start_days[:, 0]
        ahead[place] = fall - spring
        assert fall > spring, place  # fall wheat is first everywhere
    assert ahead["champion"] > ahead["brussels"] > ahead["northumberland"]


def test_a_summer_smother_crop_cut_twice_does_more_than_one_cut_once() -> None:
    pair = ("spring_barley", "sudangrass")
    cuts = [dated("sudangrass", at(place)).cut_days for place in ("champion", "brussels")]
    assert [len(each) for each in cuts] == [2, 1]
    against = ("spring_barley", "oat")
    hot, mild = (kept(at(place), pair, against) for place in ("champion", "brussels"))
    assert hot[0] / hot[1] < mild[0] / mild[1]


def test_bare_fallow_beats_cereals_in_every_weather() -> None:
    for place in ("champion", "brussels", "northumberland"):
        fallow, wheat = kept(at(place), ("winter_wheat", "fallow"), ("spring_barley", "spring_wheat"))
        assert fallow < wheat, place


def test_weather_alone_moves_what_a_season_leaves_of_the_roots() -> None:
    place = climate.for_station("Boone IA", TABLES)
    pairs = (("spring_barley", "spring_wheat"),)
    left = [kept(year.climate, *pairs)[0] for year in climate.weather_years(place, TABLES)]
    assert max(left) / min(left) > 1.05
    assert max(left) / min(left) < 5.0


# ---------------------------------------------------------------- in the farm file


def farm_with(folder: Path, name: str, rows: list[str] | None, station: str = "") -> Path:
    if rows is not None:
        written(rows, folder)
    text = EXAMPLE.read_text(encoding="utf-8")
    if station:
        text = text.replace("Rochester NY, airport", station)
    path = folder / "my_farm.toml"
    path.write_text(f'{text}\n[climate]\ndaily_file = "{name}"\n', encoding="utf-8")
    return path


def refused(path: Path) -> list[str]:
    with pytest.raises(InputError) as caught:
        farm.read(path, TABLES)
    return [str(fault) for fault in caught.value.faults]


def test_a_farm_file_names_its_record_from_where_it_stands(tmp_path: Path) -> None:
    grown = farm.read(farm_with(tmp_path, "weather.csv", lines("champion", 1990, 1994)), TABLES)
    assert Path(grown.daily_file) == tmp_path / "weather.csv"
    place = climate.for_farm(grown, TABLES)
    station = climate.for_station("Rochester NY, airport", TABLES)
    assert place.latitude == station.latitude
    assert [year.name for year in climate.weather_years(place, TABLES)] == [str(y) for y in range(1990, 1995)]
    assert place.tmax.mean() > station.tmax.mean() + 3  # the record is used, not the normals
    plain = farm.read(EXAMPLE, TABLES)
    assert not plain.daily_file
    assert place.average_of == "of weather.csv, 1990 to 1994"
    assert climate.for_farm(plain, TABLES).average_of == "at Rochester NY, airport"
    assert climate.for_farm(plain, TABLES).tmax == pytest.approx(station.tmax)


def test_the_example_shows_the_block_for_a_record(tmp_path: Path) -> None:
    shown = EXAMPLE.read_text(encoding="utf-8")
    assert '# [climate]\n# daily_file = "weather.csv"\n' in shown
    written(lines("champion", 1990, 1990), tmp_path)
    path = tmp_path / "my_farm.toml"
    path.write_text(shown.replace("# [climate]\n# daily_file", "[climate]\ndaily_file"), encoding="utf-8")
    assert farm.read(path, TABLES).daily_file


def test_a_record_that_is_not_there_is_told_with_the_nearest_name(tmp_path: Path) -> None:
    path = farm_with(tmp_path, "wether.csv", lines("champion", 1990, 1990))
    line = path.read_text(encoding="utf-8").splitlines().index('daily_file = "wether.csv"') + 1
    assert refused(path) == [
        f'my_farm.toml line {line}, [climate], daily_file: found "wether.csv"; allowed is a file that is '
        'there, named from the folder of the farm file. Did you mean "weather.csv"?'
    ]


def test_a_climate_block_without_a_file_is_told() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "my_farm.toml"
        path.write_text(EXAMPLE.read_text(encoding="utf-8") + "\n[climate]\n", encoding="utf-8")
        (sentence,) = refused(path)
    assert "no daily_file; needed is the name of a file of daily temperatures" in sentence


def test_a_record_from_the_other_side_of_the_equator_is_told(tmp_path: Path) -> None:
    (sentence,) = refused(farm_with(tmp_path, "weather.csv", lines("cordoba", 1995, 1995)))
    assert sentence == (
        "weather.csv: found a record whose January is warmer than its July; needed is a record from the same "
        "side of the equator as the station, Rochester NY, airport."
    )


def year(first: date = date(2019, 1, 1), days: int = 365) -> list[str]:
    return [f"{first + timedelta(days=day)},{-5.0},{10.0}" for day in range(days)]


NUMBER = "allowed is a number from -70 to 60, in degrees Celsius."
WHOLE = "needed are whole years, from a 1 January to a 31 December."
FAULTS = {
    "a word for a number": (
        lambda rows: [*rows[:9], "2019-01-10,cold,3", *rows[10:]],
        f'weather.csv line 11, column tmin_c: found "cold"; {NUMBER}',
    ),
    "a blank": (
        lambda rows: [*rows[:9], "2019-01-10,-4,", *rows[10:]],
        f"weather.csv line 11, column tmax_c: found nothing; {NUMBER}",
    ),
    "a row too short": (
        lambda rows: [*rows[:9], "2019-01-10,-4", *rows[10:]],
        f"weather.csv line 11, column tmax_c: found nothing; {NUMBER}",
    ),
    "degrees Fahrenheit": (
        lambda rows: [*rows[:9], "2019-01-10,55,88", *rows[10:]],
        f'weather.csv line 11, column tmax_c: found "88"; {NUMBER}',
    ),
    "not a number": (
        lambda rows: [*rows[:9], "2019-01-10,nan,3", *rows[10:]],
        f'weather.csv line 11, column tmin_c: found "nan"; {NUMBER}',
    ),
    "extremes crossed": (
        lambda rows: [*rows[:9], "2019-01-10,8,3", *rows[10:]],
        "weather.csv line 11, column tmin_c: found a minimum of 8 above the maximum of 3; the minimum is the "
        "lower of the two.",
    ),
    "a date the other way round": (
        lambda rows: [*rows[:9], "10/01/2019,-5,3", *rows[10:]],
        'weather.csv line 11, column date: found "10/01/2019"; allowed is a date as year-month-day, like '
        "2019-04-30.",
    ),
    "a missing day": (
        lambda rows: [*rows[:9], *rows[10:]],
        "weather.csv line 11, column date: found 2019-01-11 after 2019-01-09; needed is every day, and "
        "2019-01-10 is missing.",
    ),
    "missing weeks": (
        lambda rows: [*rows[:9], *rows[30:]],
        "weather.csv line 11, column date: found 2019-01-31 after 2019-01-09; needed is every day, and 21 "
        "days from 2019-01-10 on are missing.",
    ),
    "a day twice": (
        lambda rows: [*rows[:9], rows[8], *rows[9:]],
        "weather.csv line 11, column date: found 2019-01-09 after 2019-01-09; each day stands there once.",
    ),
    "days out of order": (
        lambda rows: [*rows, "2018-12-31,-5,3"],
        "weather.csv line 367, column date: found 2018-12-31 after 2019-12-31; allowed are days in order.",
    ),
    "a year begun late": (
        lambda rows: rows[1:],
        f"weather.csv line 2, column date: found 2019-01-02 as the first day; {WHOLE}",
    ),
    "a year broken off": (
        lambda rows: rows[:-1],
        f"weather.csv, column date: found 2019-12-30 as the last day; {WHOLE}",
    ),
    "no days": (lambda rows: [], "weather.csv: found no days; a record holds one or more whole years."),
}


@pytest.mark.parametrize("kind", FAULTS)
def test_a_faulty_record_is_told_in_one_sentence(kind: str, tmp_path: Path) -> None:
    spoil, sentence = FAULTS[kind]
    assert refused(farm_with(tmp_path, "weather.csv", spoil(year()))) == [sentence]


def test_a_decimal_comma_is_recognised(tmp_path: Path) -> None:
    rows = [*year()[:9], '2019-01-10,"-4,5",3', *year()[10:]]
    (sentence,) = refused(farm_with(tmp_path, "weather.csv", rows))
    assert sentence.endswith("in degrees Celsius. Write a point for the decimal comma.")


def test_missing_columns_are_told_with_the_nearest_name(tmp_path: Path) -> None:
    path = tmp_path / "weather.csv"
    path.write_text("date,t_min_c,tmax_c\n2019-01-01,1,2\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        daily_weather.read(path)
    assert str(caught.value) == (
        "weather.csv line 1: found no column tmin_c; the first line names the columns date, tmin_c and tmax_"
        "c, with commas between. Is t_min_c meant?"
    )
    path.write_text("", encoding="utf-8")
    with pytest.raises(InputError, match=r"weather\.csv line 1: found no column names"):
        daily_weather.read(path)


def test_many_faults_are_counted_and_a_good_file_may_have_more_columns(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        daily_weather.read(written([row.replace("-5.0", "?") for row in year()], tmp_path))
    assert len(caught.value.faults) == 11
    assert str(caught.value.faults[-1]).startswith("weather.csv: found 355 more faults like these")
    path = tmp_path / "more.csv"
    rows = [f"0.2,{row},x" for row in year(days=365)]
    path.write_text("rain_mm,date,TMIN_C,tmax_c,remark\r\n" + "\r\n".join(rows), encoding="utf-8-sig")
    assert daily_weather.read(path).tmax[0][0] == 10.0


def test_bytes_folders_and_missing_files_are_refused(tmp_path: Path) -> None:
    (tmp_path / "photo.csv").write_bytes(b"\x89PNG\x00\xff\xfe")
    for name, said in (
        ("photo.csv", "bytes that are not text"),
        ("none.csv", "no file of that name"),
        ("", "a folder"),
    ):
        with pytest.raises(InputError, match=said):
            daily_weather.read(tmp_path / name)


def test_a_changed_file_is_read_anew(tmp_path: Path) -> None:
    path = written(year(), tmp_path)
    assert daily_weather.read(path).tmax[0][0] == 10.0
    path.write_text(path.read_text(encoding="utf-8").replace("10.0", "12.5"), encoding="utf-8")
    assert daily_weather.read(path).tmax[0][0] == 12.5
