"""Canopies: growth curves against an independent program, light, rows, winters, cuts and nurses."""

from __future__ import annotations

import functools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rotation_opt import canopy, climate, practices, season, tables, timetable
from rotation_opt.canopy import Canopy, CanopyParameters
from rotation_opt.climate import Climate, index_of
from rotation_opt.errors import TableError
from rotation_opt.records import CanopyPiece, Programme

# FAO degree-day crop sets as carried by the Python package aquacrop 3.1.0 (FAO, AquaCrop reference manual,
# 2023, Annex I): base, upper, plants per m², cm² per plant, CGC, CCx, CDC, heat to emergence, senescence,
# maturity.
FAO_SETS = {
    "BarleyGDD": (0, 15, 150, 1.5, 0.008697, 0.8, 0.006, 98, 924, 1296),
    "MaizeGDD": (8, 30, 7.5, 6.5, 0.012494, 0.96, 0.01, 80, 1400, 1700),
    "WheatGDD": (0, 26, 450, 1.5, 0.005001, 0.96, 0.004, 150, 1700, 2400),
    "SunflowerGDD": (4, 30, 5.7, 5, 0.014993, 0.98, 0.006, 170, 1900, 2400),
    "DryBeanGDD": (9, 30, 13.1579, 10, 0.009879, 0.99, 0.008813, 59, 903, 1298),
    "PotatoGDD": (2, 26, 4, 15, 0.01615, 0.92, 0.002, 200, 984, 1276),
    "SoybeanGDD": (5, 30, 33, 5, 0.005, 0.98, 0.0015, 200, 2200, 2700),
    "SorghumGDD": (8, 30, 20, 3, 0.012001, 0.9, 0.009862, 136, 1579, 1760),
    "SugarBeetGDD": (5, 30, 10, 1, 0.010541, 0.98, 0.003857, 23, 1704, 2203),
    "HydWheatGDD": (0, 26, 450, 1.5, 0.006728, 0.96, 0.003334, 217, 2253, 2576),  # wheat, Hyderabad
}


def fao(name: str) -> CanopyParameters:
    base, upper, plants, each, growth, most, decline, emerge, senesce, mature = FAO_SETS[name]
    return CanopyParameters(
        crop=name,
        life="annual",
        base_temperature=base,
        upper_temperature=upper,
        plants_per_m2=plants,
        cover_per_plant_cm2=each,
        canopy_growth=growth,
        canopy_max=most,
        canopy_decline=decline,
        heat_emergence=emerge,
        heat_senescence=senesce,
        heat_maturity=mature,
        height_m=1.0,
        usual_row_spacing_m=0.18,
        winter_cover_kept=0.0,
        frost_kill_c=None,
        stubble_cover=0.0,
        thin_after_year=0.0,
        thin_per_year=0.0,
    )


@functools.cache
def at(station: str) -> Climate:
    return Climate.of_station(station, tables.read())


def piece(crop: str, start_day: int, end_day: int, **changed: object) -> CanopyPiece:
    plain = CanopyPiece(
        crop=crop,
        start="sown",
        start_day=start_day,
        end_day=end_day,
        cut_days=(),
        sowing_rate_ratio=1.0,
        row_spacing_m=0.0,
        stand_year=0,
        under=False,
    )
    return replace(plain, **changed)  # type: ignore[arg-type]


def grown(*pieces: CanopyPiece, station: str = "Boone IA") -> Canopy:
    return canopy.cover_of(pieces, at(station), tables.read())


def day_of(month: int, day: int) -> int:
    return sum(climate.MONTH_LENGTHS[: month - 1]) + day - 1


# ---------------------------------------------------------------- the curves


@pytest.mark.parametrize(
    ("name", "growth", "decline"),
    [
        # Worked from the FAO equations with the sets above (computed check values, not printed by FAO):
        # cover 0, 100, 200, 300, 400, 500, 600, 800 °C d after emergence; 0 to 400 after senescence began.
        (
            "BarleyGDD",
            [0.0225, 0.0537, 0.1281, 0.3057, 0.5807, 0.7081, 0.7615, 0.7932],
            [0.8, 0.7636, 0.6942, 0.5617, 0.3087],
        ),
        (
            "MaizeGDD",
            [0.0049, 0.0170, 0.0593, 0.2069, 0.6408, 0.8685, 0.9338, 0.9578],
            [0.96, 0.8743, 0.6354, 0, 0],
        ),
        (
            "WheatGDD",
            [0.0675, 0.1113, 0.1835, 0.3026, 0.4982, 0.6800, 0.7902, 0.8975],
            [0.96, 0.9357, 0.8990, 0.8439, 0.7607],
        ),
    ],
)
def test_growth_and_decline_give_the_worked_values(
    name: str, growth: list[float], decline: list[float]
) -> None:
    crop = fao(name)
    after_emergence = [0, 100, 200, 300, 400, 500, 600, 800]
    cover = canopy.canopy_growth(after_emergence, crop.first_cover, crop.canopy_max, crop.canopy_growth)
    assert cover == pytest.approx(growth, abs=6e-5)
    green = canopy.canopy_decline([0, 100, 200, 300, 400], crop.canopy_max, crop.canopy_decline)
    assert green == pytest.approx(decline, abs=6e-5)


@pytest.mark.parametrize("name", sorted(FAO_SETS))
def test_curves_are_those_of_the_independent_program(name: str) -> None:
    # its own growth and decline functions on the same heat, without the day-by-day run around them
    pytest.importorskip("aquacrop")
    from aquacrop.solution.cc_development import cc_development

    crop = fao(name)
    heat = np.arange(0.0, 1500.0, 7.0)
    top, rate, decline = crop.canopy_max, crop.canopy_growth, crop.canopy_decline
    for mode, ours in (
        ("Growth", canopy.canopy_growth(heat, crop.first_cover, top, rate)),
        ("Decline", canopy.canopy_decline(heat, top, decline)),
    ):
        theirs = [cc_development(crop.first_cover, top, rate, decline, each, mode, top) for each in heat]
        assert ours == pytest.approx(theirs, abs=1e-9)


# Site and first year of daily weather shipped with aquacrop, crop set, sowing, what ours misses by (0: within
# 0.01 of the ground on every day; measured: wheat of Hyderabad at most 0.0088, barley 0.0064, soybean 0.0056,
# dry bean 0.0050, the others 0.0017).
AQUACROP_SEASONS = [
    ("champion", 1983, "BarleyGDD", "04/05", 0.0),
    ("champion", 1983, "MaizeGDD", "05/05", 0.0),
    ("champion", 1983, "DryBeanGDD", "06/01", 0.0),
    ("champion", 1983, "SunflowerGDD", "05/10", 0.0),
    ("champion", 1983, "PotatoGDD", "04/20", 0.0),
    ("champion", 1994, "BarleyGDD", "04/15", 0.0),
    ("champion", 1994, "MaizeGDD", "05/05", 0.0),
    ("champion", 1994, "SunflowerGDD", "05/10", 0.0),
    ("brussels", 1977, "BarleyGDD", "04/05", 0.0),
    ("brussels", 1990, "PotatoGDD", "04/20", 0.0),
    ("cambridge", 2003, "BarleyGDD", "03/20", 0.0),
    ("cambridge", 2003, "PotatoGDD", "04/20", 0.0),
    ("tunis", 1990, "MaizeGDD", "04/15", 0.0),
    ("tunis", 1990, "DryBeanGDD", "04/15", 0.0),
    ("tunis", 1990, "SoybeanGDD", "04/15", 0.0),
    ("tunis", 1990, "SorghumGDD", "04/15", 0.0),
    ("tunis", 1990, "SugarBeetGDD", "04/01", 0.0),
    ("tunis", 1990, "HydWheatGDD", "11/15", 0.0),
    ("hyderabad", 2003, "HydWheatGDD", "11/15", 0.0),
    ("champion", 1983, "WheatGDD", "04/01", 0.021),
    ("champion", 1983, "WheatGDD", "10/05", 0.021),
    ("brussels", 1990, "WheatGDD", "10/05", 0.021),
]


@pytest.mark.parametrize("season", AQUACROP_SEASONS, ids=lambda season: "-".join(map(str, season[:3])))
def test_cover_follows_an_independent_program_through_a_real_season(
    request: pytest.FixtureRequest, season: tuple[str, int, str, str, float]
) -> None:
    # Kelly and Foster, Python package aquacrop 3.1, with the daily weather it ships, watered so that nothing
    # is ever short, from sowing through senescence to maturity: heat exactly, cover within 0.01 of the
    # ground.
    site, year, name, sown, miss = season
    if miss:
        reason = (
            f"up to {miss} too much from mid-flowering on: that program ends growth there in wheat (0.007), "
            "and lets the curve level off below its largest cover to fit (0.014)"
        )
        request.node.add_marker(pytest.mark.xfail(strict=True, reason=reason))
    aquacrop = pytest.importorskip("aquacrop")
    from aquacrop.utils import get_filepath, prepare_weather

    weather = prepare_weather(get_filepath(f"{site}_climate.txt"))
    # potatoes count as transplants there, which get the heat of the whole day they come up on; sown like the
    # rest they start with what is left of it, as ours do
    seeded = {"PlantMethod": 1} if name == "PotatoGDD" else {}
    model = aquacrop.AquaCropModel(
        f"{year}/{sown}",
        f"{year + 1 if 'Wheat' in name else year}/12/30",
        weather,
        aquacrop.Soil("SandyLoam"),
        aquacrop.Crop(name, planting_date=sown, **seeded),
        aquacrop.InitialWaterContent(value=["FC"]),
        irrigation_management=aquacrop.IrrigationManagement(irrigation_method=4, NetIrrSMT=100),
    )
    model.run_model(till_termination=True)
    theirs = model.get_crop_growth()
    crop = fao(name)
    summed = theirs["gdd_cum"].to_numpy()
    days = (summed > 0) & (summed.round() <= crop.heat_maturity)
    season_weather = weather[weather["Date"] >= f"{year}-{sown.replace('/', '-')}"].iloc[: len(theirs)]
    heat = climate.degree_days(
        season_weather["MinTemp"],
        season_weather["MaxTemp"],
        crop.base_temperature,
        crop.upper_temperature,
        "aquacrop",
    ).cumsum()
    cover = theirs["canopy_cover_ns"].to_numpy()[days]
    assert days.sum() > 80
    assert heat[days] == pytest.approx(summed[days], abs=1e-6)
    assert heat[days][-1] > crop.heat_maturity - 30 or cover[-1] == 0.0  # ripe or dead: the whole season
    assert cover[-1] < cover.max() - 0.03  # and leaves had begun to die
    assert np.abs(canopy.annual_cover(heat[days], crop) - cover).max() <= 0.01


def test_cover_never_falls_while_leaves_are_only_growing() -> None:
    crop = fao("BarleyGDD")
    cover = canopy.annual_cover(np.arange(0.0, 924.0), crop)
    assert (np.diff(cover) >= 0).all()
    assert cover[:98].max() == 0.0
    assert cover.max() <= crop.canopy_max


@given(st.floats(0.1, 3), st.floats(0.1, 3), st.sampled_from(sorted(FAO_SETS)))
def test_more_seed_never_gives_less_cover(a: float, b: float, name: str) -> None:
    thin, thick = sorted((a, b))
    heat = np.linspace(0, 2500, 400)
    crop = fao(name)
    assert (canopy.annual_cover(heat, crop, thick) >= canopy.annual_cover(heat, crop, thin) - 1e-9).all()


def test_doubling_the_seed_brings_the_canopy_forward_by_the_heat_of_one_doubling() -> None:
    # ln 2 / CGC: 80 °C d in barley, 139 in wheat, 55 in maize, 70 in dry bean (worked from the FAO sets).
    for name, gain in {"BarleyGDD": 80, "WheatGDD": 139, "MaizeGDD": 55, "DryBeanGDD": 70}.items():
        crop = fao(name)
        heat = np.arange(0, 900.0, 0.5)
        half = 0.5 * crop.canopy_max
        usual = heat[np.argmax(canopy.annual_cover(heat, crop) >= half)]
        double = heat[np.argmax(canopy.annual_cover(heat, crop, 2.0) >= half)]
        assert usual - double == pytest.approx(gain, abs=1.0)


def test_alfalfa_covers_the_ground_again_after_the_heat_worked_for_it() -> None:
    # Worked from the FAO alfalfa set (stubble cover 0.05): half of CCx after 196, 80 % of the ground after
    # 296, 98 % of CCx after 475 °C d above 5 °C.
    crop = replace(fao("BarleyGDD"), canopy_growth=0.011512, canopy_max=0.95, stubble_cover=0.05)
    heat = np.arange(0, 600.0)
    cover = canopy.regrowth_cover(heat, crop)
    assert abs(int(np.argmax(cover >= 0.475)) - 196) <= 1
    assert abs(int(np.argmax(cover >= 0.80)) - 296) <= 1
    assert abs(int(np.argmax(cover >= 0.98 * 0.95)) - 475) <= 1


# ---------------------------------------------------------------- against dates in a handbook

# Allen et al. (1998), FAO-56, Table 11: days from sowing (alfalfa: from cutting; first cut: from the last -4
# °C) to effective full cover = initial + development. Each set beside the station that comes nearest to its
# region. The growth of field peas, lentils and flax was chosen by this very table: for them it only shows
# that nothing has moved since. Spring cereals are sown on the middle of the days seen in central Iowa, 2-24
# April (Nguyen and others 2022).
CLOSURE = [
    ("corn_grain", "Pendleton OR, airport", day_of(4, 15), 70, 0),  # April, Idaho
    ("corn_grain", "Fort Collins CO", day_of(4, 15), 70, 0),  # the same row, higher and colder
    ("field_pea", "Koeln-Stammheim", day_of(5, 15), 40, 0),  # May, Europe
    ("field_pea", "Pendleton OR, airport", day_of(4, 15), 60, 0),  # April, Idaho
    ("field_pea", "Davis CA", day_of(3, 15), 50, 0),  # March-April, Mediterranean
    ("dry_bean", "Boone IA", day_of(6, 1), 50, 0),  # May-June, continental
    ("dry_bean", "Fort Collins CO", day_of(6, 15), 50, 0),  # June, Idaho
    ("faba_bean", "Koeln-Stammheim", day_of(5, 15), 40, 0),  # May, Europe
    ("alfalfa", "Pendleton OR, airport", day_of(6, 15), 25, 0),  # later cuts, Idaho
    ("alfalfa", "Davis CA", day_of(7, 15), 15, 0),  # later cuts, California
    ("alfalfa", "Fort Collins CO", -1, 40, 0),  # first cut, Idaho
    ("spring_barley", "Boone IA", day_of(4, 13), 45, 0),  # March-April, 35-45° N
    ("oat", "Boone IA", day_of(4, 13), 45, 0),
    ("spring_wheat", "Boone IA", day_of(4, 13), 45, 0),
    ("soybean", "Urbana IL", day_of(5, 15), 55, 0),  # May, central USA
    ("lentil", "Koeln-Stammheim", day_of(4, 15), 50, 0),  # April, Europe
    ("flax", "Koeln-Stammheim", day_of(4, 15), 60, 0),  # April, Europe
    ("sunflower", "Boone IA", day_of(5, 1), 60, -13),  # April-May
]


def days_to_close(crop: str, station: str, day: int, full: float = 0.8) -> int:
    """Days from sowing to full cover: 80 % of the ground, or 90 % of what a thinner crop ever covers."""
    start = {"start": "regrowth", "stand_year": 1} if crop == "alfalfa" else {}
    most = CanopyParameters.of(tables.read(), crop).canopy_max
    green = grown(piece(crop, day, day + 330, **start), station=station).green[index_of(day) :]
    return int(np.argmax(green >= min(full, 0.9 * most)))


@pytest.mark.parametrize("row", CLOSURE, ids=lambda row: f"{row[0]}, {row[1]}, {row[3]} d")
def test_rows_close_within_ten_days_of_the_handbook(
    request: pytest.FixtureRequest, row: tuple[str, str, int, int, int]
) -> None:
    crop, station, day, wanted, miss = row
    if miss:
        reason = f"{abs(miss)} days {'late' if miss > 0 else 'early'} against the handbook"
        request.node.add_marker(pytest.mark.xfail(strict=True, reason=reason))
    day = at(station).stand_growth_start_day if day < 0 else day
    assert abs(days_to_close(crop, station, day) - wanted) <= 10


@pytest.mark.parametrize("crop", ["spring_barley", "oat", "spring_wheat"])
@pytest.mark.parametrize("april", [2, 24])
def test_spring_cereals_sown_first_and_last_close_on_either_side_of_the_handbook(
    crop: str, april: int
) -> None:
    # The row gives 45 days for any sowing in March or April; sown on the first and last day seen in central
    # Iowa ours take 39 to 56 (barley on 2 April is the slowest, 11 days over).
    days = days_to_close(crop, "Boone IA", day_of(4, april))
    assert days >= 45 if april == 2 else 35 <= days <= 46


def test_sunflowers_close_when_the_calendar_set_of_the_same_organisation_says() -> None:
    # FAO-56 has 60 days for sunflowers sown in April or May, the FAO crop-water model 43 to 46: its sets in
    # days (Python package aquacrop 3.1: Sunflower, SunflowerGDD) come up after 18 days and grow by 0.2197 or
    # 0.24606 a day from 0.0029 or 0.00285. Two of its papers disagree by two weeks; ours follows the second.
    for growth, start in ((0.2197, 0.0029), (0.24606, 0.00285)):
        cover = canopy.canopy_growth(np.arange(100.0), start, 0.98, growth)
        theirs = 18 + int(np.argmax(cover >= 0.8))
        assert abs(days_to_close("sunflower", "Boone IA", day_of(5, 1)) - theirs) <= 10
        assert abs(days_to_close("sunflower", "Davis CA", day_of(4, 15)) - theirs) <= 10


@pytest.mark.parametrize(
    ("station", "sown", "wanted"),
    [
        # the same table: initial + development, winter inside them. October, Idaho: the irrigated plain there
        # lies between the two stations in cold (yearly means 10.0 and 7.7 °C).
        pytest.param(
            "Fort Collins CO",
            day_of(10, 1) - 365,
            235,
            marks=pytest.mark.xfail(strict=True, reason="12 days early"),
        ),
        ("Hamilton MT", day_of(10, 1) - 365, 235),
        # November, Mediterranean: season of 240 days, a month longer than ours at Davis
        pytest.param(
            "Davis CA",
            day_of(11, 1) - 365,
            170,
            marks=pytest.mark.xfail(strict=True, reason="25 days early; a place warmer than the row's"),
        ),
    ],
)
def test_winter_wheat_closes_within_ten_days_of_the_handbook(station: str, sown: int, wanted: int) -> None:
    assert abs(days_to_close("winter_wheat", station, sown) - wanted) <= 10


def test_winter_wheat_of_the_mountain_plains_closes_when_the_handbook_says_between_two_stations() -> None:
    # FAO-56, Table 11, October, Idaho: 160 + 75 days; 12 days early at the warmer, 10 late at the colder.
    sown = day_of(10, 1) - 365
    warmer, colder = (days_to_close("winter_wheat", at_, sown) for at_ in ("Fort Collins CO", "Hamilton MT"))
    assert warmer < 235 < colder
    assert (warmer + colder) / 2 == pytest.approx(235, abs=5)


def test_november_wheat_of_a_mild_winter_lies_between_two_publications_of_one_organisation() -> None:
    # FAO-56 gives 170 days to full cover for wheat sown in November (Mediterranean); the wheat set of the FAO
    # crop-water model, in days, 75 (Python package aquacrop 3.1, WheatGDD: up after 13 days, 0.04902 a day
    # from 0.0675). No growth rate meets both.
    cover = canopy.canopy_growth(np.arange(200.0), 0.0675, 0.96, 0.04902)
    quick = 13 + int(np.argmax(cover >= 0.8))
    assert quick == pytest.approx(75, abs=1)
    assert quick <= days_to_close("winter_wheat", "Davis CA", day_of(11, 1) - 365) <= 170


def test_winter_wheat_of_eastern_england_stands_as_thick_in_april_as_the_benchmark_crop() -> None:
    # HGCA, The wheat growth guide (2nd ed. 2008), from memory: green area index 2.0 at the start of stem
    # extension, 10 April, for wheat sown in early October. Cover from area index as Hsiao et al. 2009 (maize)
    # and by an extinction coefficient of 0.65 (SWAT+ plant table): 0.65 and 0.73.
    index = 2.0
    low, high = 1.005 * (1 - np.exp(-0.6 * index)) ** 1.2, 1 - np.exp(-0.65 * index)
    assert (round(low, 2), round(high, 2)) == (0.65, 0.73)
    first, last = (
        grown(piece("winter_wheat", day_of(10, of) - 365, 210), station="Cambridge NIAB").green
        for of in (1, 10)
    )
    april = index_of(day_of(4, 10))
    assert last[april] < high
    assert first[april] > low
    assert (first[april] + last[april]) / 2 == pytest.approx((low + high) / 2, abs=0.05)


# ---------------------------------------------------------------- light and rows


def test_light_under_a_full_canopy_is_what_the_cover_leaves() -> None:
    assert canopy.share_of_light(0.8, 1.0) == pytest.approx(0.2)
    assert canopy.share_of_light(0.0, 1.0) == pytest.approx(1.0)
    assert canopy.share_of_light(0.8, 0.0, 0.1) == pytest.approx(1.0)


@given(st.floats(0, 1), st.floats(0.05, 3), st.floats(0, 4), st.floats(0, 4))
def test_a_taller_weed_never_gets_less_light(cover: float, height: float, a: float, b: float) -> None:
    low, high = sorted((a, b))
    light = canopy.share_of_light(cover, height, [low, high])
    assert 0.0 <= light[0] <= light[1] + 1e-12 <= 1.0 + 1e-9


def test_light_broadcasts_over_weeds_and_days() -> None:
    heights = np.array([[0.1], [0.5], [2.0]])
    light = canopy.share_of_light(np.linspace(0, 0.9, 7), 1.0, heights)
    assert light.shape == (3, 7)
    assert (light[2] == 1.0).all()


@given(st.floats(0, 0.99), st.floats(0.1, 1.0), st.floats(0.1, 1.0))
def test_narrower_rows_never_leave_more_light(cover: float, a: float, b: float) -> None:
    narrow, wide = sorted((a, b))
    clumping = tables.read().number("canopy", "any", "clumping_m")
    exponents = [canopy.row_exponent(cover, spacing, 0.76, clumping) for spacing in (narrow, wide)]
    light = [float(canopy.share_of_light(cover, 1.0, 0.0, exponent)) for exponent in exponents]
    assert light[0] <= light[1] + 1e-12


def test_usual_rows_change_nothing_and_closed_rows_do_not_matter() -> None:
    assert canopy.row_exponent(0.3, 0.76, 0.76, 0.31) == pytest.approx(1.0)
    assert canopy.row_exponent(1.0, 0.19, 0.76, 0.31) == pytest.approx(1.0)


def test_halving_wide_rows_costs_weeds_the_published_share_of_their_biomass() -> None:
    # Singh et al. (2023), meta-analysis of 35 US studies in corn and soybean: rows under 76 cm against
    # 76 cm, weed biomass 55 % lower. The weed grows by ln W = CGC x light x heat (the fitting rule that
    # stands in the note of the figure), from emergence until the crop's leaves begin to die.
    clumping = tables.read().number("canopy", "any", "clumping_m")
    sets = {
        "maize": (fao("MaizeGDD").first_cover, 0.96, 0.012494, 1400 - 80),
        "soybean": (33 * 5 / 1e4, 0.98, 0.005, 2200 - 200),
    }
    left = []
    for first, most, growth, heat in sets.values():
        cover = canopy.canopy_growth(np.arange(heat), first, most, growth)
        narrow = canopy.share_of_light(cover, 1.0, 0.0, canopy.row_exponent(cover, 0.38, 0.76, clumping))
        wide = canopy.share_of_light(cover, 1.0, 0.0)
        left.append(np.exp(growth * (narrow - wide).sum()))
    assert np.sqrt(left[0] * left[1]) == pytest.approx(0.45, abs=0.01)
    assert all(0.40 <= each <= 0.50 for each in left)


def test_soybean_in_wide_rows_shades_the_ground_two_months_after_planting() -> None:
    # University of Missouri course page (weak source): 76 cm soybean shades the ground about 60 days after
    # planting.
    cover = grown(piece("soybean", day_of(5, 15), 270, row_spacing_m=0.76)).cover
    assert abs(int(np.argmax(cover[index_of(day_of(5, 15)) :] >= 0.8)) - 60) <= 5


def test_rows_act_through_the_whole_season_of_a_crop() -> None:
    wide = grown(piece("corn_grain", 125, 280, row_spacing_m=0.76))
    narrow = grown(piece("corn_grain", 125, 280, row_spacing_m=0.38))
    assert (narrow.cover >= wide.cover - 1e-12).all()
    assert narrow.cover[index_of(155)] > wide.cover[index_of(155)] + 0.02
    assert np.array_equal(narrow.green, wide.green)


# ---------------------------------------------------------------- seasons


def test_nothing_stands_before_sowing_or_from_the_last_day_on() -> None:
    stand = grown(piece("spring_barley", 97, 205))
    assert stand.cover.shape == stand.height_m.shape == (549,)
    assert stand.cover[: index_of(97)].max() == 0.0
    assert stand.cover[index_of(204)] > 0.0
    assert stand.cover[index_of(205) :].max() == 0.0
    assert stand.height_m[index_of(205) :].max() == 0.0


def test_a_bare_field_is_bare() -> None:
    bare = grown()
    assert bare.cover.shape == (549,)
    assert bare.cover.max() == bare.height_m.max() == 0.0
    assert bare.share_of_light(0.2).min() == 1.0


def test_the_stand_of_a_season_is_the_annual_curve_on_the_heat_of_the_place() -> None:
    place, crop = at("Boone IA"), CanopyParameters.of(tables.read(), "spring_barley")
    heat = place.season_heat(crop.base_temperature, crop.upper_temperature)[index_of(97) : index_of(205)]
    curve = canopy.annual_cover(np.cumsum(heat), crop)
    assert grown(piece("spring_barley", 97, 205)).green[index_of(97) : index_of(205)] == pytest.approx(
        curve, abs=1e-9
    )


def test_twice_the_seed_never_covers_less_on_any_day() -> None:
    for crop in ("spring_barley", "winter_wheat", "soybean"):
        start = -95 if crop == "winter_wheat" else 110
        usual, thick = (grown(piece(crop, start, 200, sowing_rate_ratio=rate)) for rate in (1.0, 2.0))
        assert (thick.cover >= usual.cover - 1e-9).all(), crop


def test_winter_wheat_hardly_grows_in_winter_and_is_ahead_of_spring_wheat_in_may() -> None:
    fall, spring = grown(piece("winter_wheat", -95, 200)), grown(piece("spring_wheat", 95, 215))
    winter = fall.green[index_of(-20) : index_of(50)]
    assert winter.max() - winter.min() < 0.05
    assert fall.green[index_of(130)] > spring.green[index_of(130)] + 0.3
    # it ripens by the heat of the new year, so it is nearly dead by mid-July
    assert fall.green[index_of(199)] < 0.8 * fall.green.max()


def test_autumn_sown_leaves_stand_still_from_freeze_up_until_the_land_can_be_worked() -> None:
    # FAO-56, Table 11, note 2 (from memory): the stages lengthen by the days without growth. Cover is held
    # over winter, with some loss, and growth is taken up again in spring, however mild single days are.
    place = at("Pendleton OR, airport")
    kept = tables.read().number("crop", "winter_wheat", "winter_cover_kept")
    stand = grown(piece("winter_wheat", -92, 210), station="Pendleton OR, airport").green
    begin, end = index_of(place.freeze_day - 365), index_of(place.spring_start_day)
    assert (np.diff(stand[begin:end]) <= 1e-12).all()
    assert stand[end - 1] == pytest.approx(kept * stand[begin], rel=0.02)
    assert stand[begin] > stand[begin - 10]
    assert stand[end + 10] > stand[end]


def test_a_harder_winter_leaves_less_wheat_in_spring() -> None:
    usual = tables.read().number("crop", "winter_wheat", "winter_cover_kept")
    few = tables.read().with_change("crop", "winter_wheat", "winter_cover_kept", usual / 4)
    place = at("Brookings SD")
    stand = piece("winter_wheat", -110, 200)
    kept, lost = (canopy.cover_of([stand], place, each) for each in (tables.read(), few))
    spring = index_of(place.spring_start_day)
    assert lost.green[spring] == pytest.approx(kept.green[spring] / 4)
    assert (lost.green <= kept.green + 1e-9).all()


def test_killing_frost_ends_a_tender_cover_crop_but_not_rye() -> None:
    limit = tables.read().number("crop", "cover_buckwheat", "frost_kill_c")
    frost = at("Boone IA").first_autumn_frost(limit) - 365
    tender = grown(piece("cover_buckwheat", -160, 100))
    hardy = grown(piece("cover_rye", -110, 120))
    assert tender.cover[index_of(frost - 1)] > 0.3
    assert tender.cover[index_of(frost) :].max() == 0.0
    assert hardy.cover[index_of(100)] > hardy.cover[index_of(-20)] > 0.1


def test_each_cut_opens_the_stand_for_weeks() -> None:
    # Canopy closure after a cut: 20 days by the FAO set, 25 by FAO-56 (Idaho): about 2.5 to 4 weeks of open
    # ground after each cut.
    cuts = (155, 195, 240)
    stand = grown(piece("alfalfa", 0, 365, start="regrowth", stand_year=1, cut_days=cuts))
    for cut in cuts:
        assert stand.cover[index_of(cut)] == pytest.approx(0.05, abs=0.01)
        assert stand.cover[index_of(cut - 1)] > 0.8
    closed = int(np.argmax(stand.cover[index_of(155) :] >= 0.8))
    assert 10 <= closed <= 28


def test_a_stand_starts_in_spring_and_ends_with_killing_frost() -> None:
    place = at("Boone IA")
    stand = grown(piece("alfalfa", -120, 365, start="regrowth", stand_year=1))
    dormant = slice(index_of(place.first_killing_frost_day - 365), index_of(place.stand_growth_start_day))
    assert stand.green[dormant].max() == 0.0
    assert stand.green[index_of(place.stand_growth_start_day + 30)] > 0.2
    assert stand.green[index_of(place.first_killing_frost_day) :].max() == 0.0


def test_old_stands_are_thinner() -> None:
    crop = CanopyParameters.of(tables.read(), "alfalfa")
    thinned = int(crop.thin_after_year) + 2
    assert crop.most_cover(1) == crop.canopy_max
    assert crop.most_cover(thinned) == pytest.approx(crop.canopy_max * (1 - 2 * crop.thin_per_year))
    young, old = (
        grown(piece("alfalfa", 0, 365, start="regrowth", stand_year=year)).cover[index_of(150)]
        for year in (1, thinned)
    )
    assert old < young


def test_clover_stays_small_under_wheat_and_closes_within_weeks_after_it() -> None:
    # Wisconsin extension on frost-sown red clover: small under the wheat, closed within weeks after harvest.
    both = grown(
        piece("winter_wheat", -95, 200), piece("cover_red_clover", 80, 365, under=True), station="Boone IA"
    )
    clover = both.piece_cover[1]
    assert clover[index_of(199)] < 0.3
    assert clover[index_of(199 + 35)] > 0.8
    alone = grown(piece("cover_red_clover", 80, 365)).cover
    assert alone[index_of(150)] > clover[index_of(150)] + 0.2


def test_two_pieces_shade_together_and_the_taller_gives_the_height() -> None:
    both = grown(piece("oat", 95, 200), piece("alfalfa", 95, 365, under=True))
    day = index_of(170)
    assert both.cover[day] == pytest.approx(1 - np.prod(1 - both.piece_cover[:, day]))
    assert both.height_m[day] == both.piece_height_m[0, day]
    assert both.height_m[index_of(230)] == both.piece_height_m[1, index_of(230)]
    # a weed above the low alfalfa is shaded by the oats alone
    above = both.piece_height_m[1, day] + 0.05
    assert both.share_of_light(above)[day] == pytest.approx(
        float(canopy.share_of_light(both.piece_cover[0, day], both.piece_height_m[0, day], above))
    )


def test_dead_straw_goes_on_shading_until_harvest() -> None:
    stand = grown(piece("spring_barley", 97, 260))
    late = index_of(250)
    assert stand.green[late] == 0.0
    share = tables.read().number("canopy", "any", "dead_shade_share")
    assert stand.cover[late] == pytest.approx(share * stand.cover.max(), rel=0.05)


def test_what_was_sown_before_the_axis_begins_has_had_its_heat() -> None:
    early, late = grown(piece("cover_red_clover", -280, 100)), grown(piece("cover_red_clover", -184, 100))
    assert early.cover[index_of(-184)] > 0.3
    assert late.cover[index_of(-184)] == 0.0


def test_a_later_sowing_moves_the_curve_by_the_heat_it_missed() -> None:
    place, crop = at("Boone IA"), CanopyParameters.of(tables.read(), "oat")
    heat = place.season_heat(crop.base_temperature, crop.upper_temperature)
    early, late = (grown(piece("oat", sown, 190)).green for sown in (95, 116))
    missed = heat[index_of(95) : index_of(116)].sum()
    day = index_of(150)
    since = heat[index_of(95) : day + 1].sum()
    # the late field stands on day 150 where the early one stood when it had had that much less heat
    assert late[day] == pytest.approx(float(canopy.annual_cover(since - missed, crop)), abs=1e-6)
    assert early[day] > late[day] + 0.1


def test_an_old_stand_is_slower_and_thinner_after_every_cut() -> None:
    cuts = (155, 195, 240)
    thinned = int(CanopyParameters.of(tables.read(), "alfalfa").thin_after_year) + 2
    young, old = (
        grown(piece("alfalfa", 0, 365, start="regrowth", stand_year=year, cut_days=cuts)).green
        for year in (1, thinned)
    )
    for cut, until in zip(cuts, (195, 240, 270), strict=True):
        regrowth = [stand[index_of(cut) : index_of(until)] for stand in (young, old)]
        assert regrowth[0][0] == pytest.approx(regrowth[1][0])  # both from stubble
        assert 0 < np.argmax(regrowth[0] >= 0.6) < np.argmax(regrowth[1] >= 0.6)
        assert regrowth[0].max() > regrowth[1].max() + 0.02
    assert all(young[index_of(cut) + 25] > 3 * young[index_of(cut)] for cut in cuts)


def test_hay_in_its_seeding_year_covers_later_than_a_stand_of_the_year_before() -> None:
    # Teixeira and others (lucerne, New Zealand): leaf area 0.009 per °C d in the first year, 0.016 in
    # regrowth
    sown, standing = grown(piece("alfalfa", 100, 365)), grown(piece("alfalfa", 0, 365, start="regrowth"))
    assert sown.green[index_of(150)] < standing.green[index_of(150)] - 0.3
    assert sown.green[index_of(230)] > 0.8  # closed in its first summer all the same


def test_smother_crops_have_closed_by_the_time_a_grower_leaves_them() -> None:
    # Björkman, Cornell: buckwheat is 35 to 40 days in the ground as a cover, sudangrass must have 60 to 70;
    # both are sown to smother, so the ground is shut by then. Winter rye sown in September covers before
    # winter.
    for key, days in (("cover_buckwheat", 40), ("sorghum_sudangrass", 60)):
        stand = grown(piece(key, 160, 260)).cover
        assert stand[index_of(160 + days)] > 0.8, key
        assert stand[index_of(160 + 14)] < 0.8, key  # not at once either
    rye = grown(piece("cover_rye", day_of(9, 10) - 365, 120)).green
    assert rye[index_of(day_of(11, 15) - 365)] > 0.3


def test_a_cover_crop_sown_too_late_hardly_covers_before_frost() -> None:
    early, late = (grown(piece("cover_radish", day, 0)).cover.max() for day in (-150, -105))
    assert late < 0.5 * early


def test_a_crop_gets_taller_until_it_is_cut_and_again_after() -> None:
    wheat = grown(piece("spring_wheat", 95, 215)).height_m
    alive = wheat[index_of(110) : index_of(214)]
    assert (np.diff(alive) >= -1e-9).all()
    assert alive[-1] == pytest.approx(tables.read().number("crop", "spring_wheat", "height_m"), rel=0.1)
    assert wheat[index_of(125)] < 0.6 * alive[-1]
    cuts = (155, 195)
    hay = grown(piece("alfalfa", 0, 365, start="regrowth", stand_year=1, cut_days=cuts)).height_m
    for cut in cuts:
        assert hay[index_of(cut)] < 0.3 * hay[index_of(cut - 1)]
        assert hay[index_of(cut + 30)] > 2.5 * hay[index_of(cut)]


def test_a_green_manure_cut_and_left_stands_like_hay_and_nothing_is_baled() -> None:
    book, place = tables.read(), at("Rochester NY, airport")
    calendar = practices.field_calendar(place, book)
    before, hay, left = (
        practices.date_practice(book.practices[key], place, book, calendar)[0]
        for key in ("oat_alfalfa", "alfalfa_1", "alfalfa_1_leave")
    )
    sold, kept = (timetable.programme(before, each, place, book) for each in (hay, left))
    work = {operation.operation for operation in kept.operations}
    assert "mow_leave" in work
    assert not work & {"bale", "bale_large", "rake", "mow_condition"}
    assert any("bale" in operation.operation for operation in sold.operations)
    cover = canopy.cover_of(kept.canopies, place, book).cover
    cuts = [each.day for each in kept.operations if each.operation == "mow_leave"]
    assert len(cuts) == 3
    for cut in cuts:
        assert cover[index_of(cut - 1)] > 0.7
        assert cover[index_of(cut)] < 0.1


def test_a_climbing_weed_gets_out_of_part_of_the_shade() -> None:
    # bindweed twines up the crop (climb_escape of the weed tables); one that could not would stand darker
    book, place = tables.read(), at("Boone IA")
    bush = book.with_change("weed", "field_bindweed", "climb_escape", 0.0)
    crop = Programme(
        previous="",
        practice="oat",
        start_day=-139,
        sowing_day=95,
        harvest_day=205,
        operations=(),
        canopies=(piece("oat", 95, 205, row_spacing_m=0.18),),
        bare_days=0,
        bare_spans=(),
    )
    weeds = ("creeping_thistle", "field_bindweed")
    climbing, not_climbing = (season.respond([crop], place, each, weeds).light[0] for each in (book, bush))
    escape = book.number("weed", "field_bindweed", "climb_escape")
    assert climbing[0] == not_climbing[0]  # nothing else moves
    assert 0.3 * escape < climbing[1] - not_climbing[1] <= escape


def test_every_crop_of_the_tables_has_a_canopy() -> None:
    for key, crop in tables.read().crops.items():
        if crop.life == "none" or crop.kind == "product":  # hay sold standing is not sown
            continue
        start = -95 if crop.life == "winter annual" else 110
        stand = grown(piece(key, start, 260))
        assert 0.0 <= stand.cover.min() <= stand.cover.max() <= 1.0, key
        assert stand.cover.max() > 0.3, key
        assert 0.0 < stand.height_m.max() <= CanopyParameters.of(tables.read(), key).height_m + 1e-9, key


def test_a_crop_without_figures_is_refused_in_one_sentence() -> None:
    with pytest.raises(TableError, match="fallow"):
        CanopyParameters.of(tables.read(), "fallow")
