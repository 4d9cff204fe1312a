"""Canopies: growth curves against an independent program, light, rows, winters, cuts and nurses."""

from __future__ import annotations

import functools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rotation_opt import canopy, climate, tables
from rotation_opt.canopy import Canopy, CanopyParameters
from rotation_opt.climate import Climate, index_of
from rotation_opt.errors import TableError
from rotation_opt.records import CanopyPiece

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


@pytest.mark.parametrize(
    ("name", "sown"),
    [
        ("BarleyGDD", "04/05"),
        ("MaizeGDD", "05/05"),
        ("DryBeanGDD", "06/01"),
        ("SunflowerGDD", "05/10"),
        ("PotatoGDD", "04/20"),
    ],
)
def test_cover_follows_an_independent_program_through_a_real_season(name: str, sown: str) -> None:
    # Kelly and Foster, Python package aquacrop 3.1, daily weather of Champion, 1983, irrigated so that water
    # is never short. Compared day by day until maturity: heat exactly, cover within 0.01 of the ground.
    aquacrop = pytest.importorskip("aquacrop")
    from aquacrop.utils import get_filepath, prepare_weather

    weather = prepare_weather(get_filepath("champion_climate.txt"))
    model = aquacrop.AquaCropModel(
        "1983/04/01",
        "1983/12/30",
        weather,
        aquacrop.Soil("SandyLoam"),
        aquacrop.Crop(name, planting_date=sown),
        aquacrop.InitialWaterContent(value=["FC"]),
        irrigation_management=aquacrop.IrrigationManagement(irrigation_method=1, SMT=[95] * 4),
    )
    model.run_model(till_termination=True)
    theirs = model.get_crop_growth()
    crop = fao(name)
    summed = theirs["gdd_cum"].to_numpy()
    growing = summed > 0
    season = weather[(weather["Date"] >= "1983-04-01") & (weather["Date"] <= "1983-12-30")].iloc[
        : len(theirs)
    ]
    heat = climate.degree_days(
        season["MinTemp"], season["MaxTemp"], crop.base_temperature, crop.upper_temperature, "aquacrop"
    )
    assert growing.sum() > 80
    assert heat[growing] == pytest.approx(theirs["gdd"].to_numpy()[growing], abs=1e-6)
    days = growing & (summed.round() <= crop.heat_maturity)
    ours = canopy.annual_cover(summed[days], crop)
    assert np.abs(ours - theirs["canopy_cover_ns"].to_numpy()[days]).max() <= 0.01


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

# Allen et al. (1998), FAO-56, Table 11: days from sowing (alfalfa: from cutting) to effective full cover =
# initial + development. Each set beside the station that comes nearest to its region. The growth of field
# peas, lentils and flax was chosen by this very table: for them it only shows that nothing has moved since.
CLOSURE = [
    ("corn_grain", "Pendleton OR, airport", day_of(4, 15), 70, 0),  # April, Idaho
    ("field_pea", "Koeln-Stammheim", day_of(5, 15), 40, 0),  # May, Europe
    ("field_pea", "Pendleton OR, airport", day_of(4, 15), 60, 0),  # April, Idaho
    ("dry_bean", "Boone IA", day_of(6, 1), 50, 0),  # May-June, continental
    ("alfalfa", "Pendleton OR, airport", day_of(6, 15), 25, 0),  # later cuts, Idaho
    ("alfalfa", "Davis CA", day_of(7, 15), 15, 0),  # later cuts, California
    ("spring_barley", "Boone IA", day_of(4, 1), 45, 12),  # March-April, 35-45° N
    ("oat", "Boone IA", day_of(4, 1), 45, 0),
    ("spring_wheat", "Boone IA", day_of(4, 1), 45, 0),
    ("soybean", "Urbana IL", day_of(5, 15), 55, 0),  # May, central USA
    ("lentil", "Koeln-Stammheim", day_of(4, 15), 50, 0),  # April, Europe
    ("flax", "Koeln-Stammheim", day_of(4, 15), 60, 0),  # April, Europe
    ("sunflower", "Boone IA", day_of(5, 1), 60, -13),  # April-May
]


@pytest.mark.parametrize("row", CLOSURE, ids=lambda row: f"{row[0]}, {row[1]}")
def test_rows_close_within_ten_days_of_the_handbook(
    request: pytest.FixtureRequest, row: tuple[str, str, int, int, int]
) -> None:
    crop, station, day, wanted, miss = row
    if miss:
        reason = f"{abs(miss)} days {'late' if miss > 0 else 'early'} against the handbook"
        request.node.add_marker(pytest.mark.xfail(strict=True, reason=reason))
    start = {"start": "regrowth", "stand_year": 1} if crop == "alfalfa" else {}
    most = CanopyParameters.of(tables.read(), crop).canopy_max
    green = grown(piece(crop, day, day + 150, **start), station=station).green[index_of(day) :]
    # full cover: 80 % of the ground, or nine tenths of what a thinner crop ever covers
    days = int(np.argmax(green >= min(0.8, 0.9 * most)))
    assert abs(days - wanted) <= 10


@pytest.mark.parametrize(
    ("station", "sown", "wanted"),
    [
        # the same table: initial + development, winter inside them
        pytest.param(
            "Pendleton OR, airport",
            day_of(10, 1) - 365,
            235,  # October, Idaho
            marks=pytest.mark.xfail(strict=True, reason="53 days early"),
        ),
        pytest.param(
            "Davis CA",
            day_of(11, 1) - 365,
            170,  # November, Mediterranean
            marks=pytest.mark.xfail(strict=True, reason="45 days early"),
        ),
    ],
)
def test_winter_wheat_closes_within_ten_days_of_the_handbook(station: str, sown: int, wanted: int) -> None:
    green = grown(piece("winter_wheat", sown, 210), station=station).green[index_of(sown) :]
    assert abs(int(np.argmax(green >= 0.8)) - wanted) <= 10


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


def test_every_crop_of_the_tables_has_a_canopy() -> None:
    for key, crop in tables.read().crops.items():
        if crop.life == "none":
            continue
        start = -95 if crop.life == "winter annual" else 110
        stand = grown(piece(key, start, 260))
        assert 0.0 <= stand.cover.min() <= stand.cover.max() <= 1.0, key
        assert stand.cover.max() > 0.3, key
        assert 0.0 < stand.height_m.max() <= CanopyParameters.of(tables.read(), key).height_m + 1e-9, key


def test_a_crop_without_figures_is_refused_in_one_sentence() -> None:
    with pytest.raises(TableError, match="fallow"):
        CanopyParameters.of(tables.read(), "fallow")
