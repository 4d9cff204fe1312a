"""Conversions against published equivalents."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rotation_opt import units


def crop(pounds_per_bushel: float | None, product: str = "grain") -> SimpleNamespace:
    weight = None if pounds_per_bushel is None else pounds_per_bushel * units.POUND_KG
    return SimpleNamespace(product=product, bushel_kg=weight)


HAY = crop(None, "hay")


@pytest.mark.parametrize(
    ("factor", "published"),
    [
        # U.S. National Institute of Standards and Technology, Handbook 44, Appendix C, General Tables of
        # Units of Measurement; the acre rests on the international foot of 0.3048 m.
        pytest.param(units.ACRE_HA, "0.404686", id="acre"),
        pytest.param(units.POUND_KG, "0.45359237", id="pound"),
        pytest.param(units.SHORT_TON_T * 1000.0, "907.18474", id="short-ton"),
        pytest.param(1.0 / units.SHORT_TON_T, "1.10231", id="tonne-in-short-tons"),
        pytest.param(units.GALLON_L, "3.785412", id="gallon"),
        pytest.param(units.MILE_KM, "1.609344", id="mile"),
        pytest.param(units.SQUARE_YARD_M2, "0.836127", id="square-yard"),
        # the same table: 1 square metre = 10.764 square feet, 1 hectare = 2.471 acres
        pytest.param(1.0 / units.SQUARE_FOOT_M2, "10.764", id="square-metre-in-square-feet"),
        pytest.param(units.area(1.0, "us"), "2.471", id="hectare-in-acres"),
        # 1 lb/acre = 1.12085 kg/ha: quotient of the two lines above; growers round the reverse to 0.89
        pytest.param(1.0 / units.rate(1.0, "us"), "1.12085", id="pounds-per-acre"),
        pytest.param(units.rate(1.0, "us"), "0.89", id="kg-per-hectare"),
    ],
)
def test_factors_are_the_published_ones_to_the_last_digit_printed(factor: float, published: str) -> None:
    places = len(published.partition(".")[2])
    assert factor == pytest.approx(float(published), abs=0.5 * 10.0**-places * 1.000001)


@pytest.mark.parametrize(
    ("pounds", "bushels_per_tonne"),
    [
        # Metric equivalents of US bushels as grain reports of the U.S. Department of Agriculture print them
        # (from memory, to the digits that were recalled with certainty): 36.744 wheat and soybeans,
        # 39.368 corn and rye, 44.092 canola, 45.930 barley, 68.894 oats.
        (60.0, 36.744),
        (56.0, 39.368),
        (50.0, 44.092),
        (48.0, 45.930),
        (32.0, 68.894),
    ],
)
def test_a_tonne_holds_the_published_number_of_bushels(pounds: float, bushels_per_tonne: float) -> None:
    assert units.amount(1.0, crop(pounds), "us") == pytest.approx(bushels_per_tonne, abs=0.0005)


def test_sixty_bushels_of_wheat_an_acre_are_four_tonnes_a_hectare() -> None:
    # Common rule in the trade: wheat t/ha = bu/acre x 0.0673 (from memory).
    assert units.yield_per_area(60 * 0.0673, crop(60.0), "us") == pytest.approx(60.0, abs=0.05)


def test_a_short_ton_an_acre_is_two_point_two_four_tonnes_a_hectare() -> None:
    # 2.24170 t/ha: NIST Handbook 44, Appendix C, short ton over acre.
    assert units.yield_per_area(2.2417, HAY, "us") == pytest.approx(1.0, abs=0.0001)


def test_one_shoot_per_square_metre_is_four_thousand_and_forty_seven_an_acre() -> None:
    # 1 acre = 4,046.86 square metres (NIST Handbook 44, Appendix C).
    square_metres = units.ACRE_HA * 10_000.0
    assert square_metres == pytest.approx(4046.86, abs=0.005)


@pytest.mark.parametrize(
    ("thing", "unit", "expected"),
    [(crop(60.0), "us", "bu"), (crop(None), "us", "cwt"), (HAY, "us", "ton"), (crop(60.0), "metric", "t")],
)
def test_a_crop_is_weighed_in_the_unit_of_its_trade(
    thing: SimpleNamespace, unit: units.Units, expected: str
) -> None:
    assert units.amount_name(thing, unit) == expected


def test_bushels_of_hay_are_refused() -> None:
    with pytest.raises(ValueError, match="bushel"):
        units.tonnes_per("bu", HAY)
    with pytest.raises(ValueError, match="unknown unit"):
        units.tonnes_per("stone", HAY)


@given(
    st.floats(0.001, 1e6), st.sampled_from(["us", "metric"]), st.sampled_from([crop(60.0), crop(None), HAY])
)
def test_price_times_amount_is_the_same_money_in_all_units(
    tonnes: float, custom: units.Units, thing: SimpleNamespace
) -> None:
    money = units.price(250.0, thing, custom) * units.amount(tonnes, thing, custom)
    assert money == pytest.approx(250.0 * tonnes)


@given(st.floats(0.001, 1e6), st.sampled_from(["us", "metric"]))
def test_yield_times_area_is_the_same_amount_in_all_units(t_ha: float, custom: units.Units) -> None:
    wheat = crop(60.0)
    whole = units.yield_per_area(t_ha, wheat, custom) * units.area(17.0, custom)
    assert whole == pytest.approx(units.amount(17.0 * t_ha, wheat, custom))


@given(st.floats(0.01, 1000.0))
def test_weed_density_never_shows_more_than_two_significant_figures(shoots: float) -> None:
    digits = units.density_text(shoots).replace(",", "").replace(".", "").strip("0")
    assert len(digits) <= 2
    assert float(units.density_text(shoots).replace(",", "")) == pytest.approx(shoots, rel=0.051)


def test_money_has_its_sign_in_front_and_no_negative_zero() -> None:
    assert units.money_text(-1234.5, "USD") == "-$1,234"
    assert units.money_text(-0.2, "EUR") == "€0"
    assert units.money_text(50.0, "PLN") == "PLN 50"


def test_figures_keep_their_digits_when_rounding_carries_over() -> None:
    assert units.figure(9.996, 3) == "10.0"
    assert units.figure(0.0999, 2) == "0.10"
    assert units.figure(float("nan")) == "not known"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (units.area_text(16.187, "us"), "40 acres"),
        (units.area_text(0.4047, "us"), "1 acre"),
        (units.amount_text(10.0, HAY, "us"), "11.0 ton"),
        (units.percent_text(0.003), "under 1 %"),
        (units.percent_text(0.25), "25 %"),
        (f"{units.length(3.048, 'us'):g} {units.length_name('us')}", "10 ft"),
        (units.yield_name(HAY, "us"), "ton/acre"),
        (f"{units.money_per_area(247.105, 'us'):.2f}", "100.00"),
    ],
)
def test_texts_carry_their_units(text: str, expected: str) -> None:
    assert text == expected
