"""Courses of years: the table behind them is copied and worked out right, and the draws are what it says."""

from __future__ import annotations

import statistics
from dataclasses import replace

import numpy as np
import pytest

from rotation_opt import tables
from rotation_opt.errors import TableError
from rotation_opt.scenarios import SERIES, Scenarios, Swings, draw, nearest_correlation, swings_of

TABLES = tables.read()
CROPS = ("corn_grain", "soybean", "winter_wheat", "spring_barley", "alfalfa", "oat", "buckwheat", "field_pea")
YEARS = 3
MANY = 20000
WITHIN = 4.5 / np.sqrt(MANY / 2)  # sampling error of a correlation; half of the courses are mirror images


def swings() -> Swings:
    return swings_of(CROPS, TABLES)


def many() -> Scenarios:
    return draw(swings(), YEARS, np.ones(len(CROPS)), courses=MANY)


# ---------------------------------------------------------------- the table


# agridat 1.27 (USDA NASS), 1982-2011: correlations of relative residuals of state yields from a straight
# trend, computed for these tables; Minnesota, Wisconsin, Michigan, Iowa (no barley), South Dakota.
@pytest.mark.parametrize(
    ("one", "other", "states"),
    [
        ("corn", "soybean", (0.74, 0.66, 0.54, 0.65, 0.77)),
        ("corn", "wheat", (0.37, 0.56, 0.32, 0.33, 0.43)),
        ("barley", "corn", (0.17, 0.56, 0.50, 0.49)),
        ("corn", "hay", (0.49, 0.71, 0.34, 0.78, 0.34)),
        ("soybean", "wheat", (-0.04, 0.14, 0.07, 0.07, 0.13)),
        ("barley", "soybean", (-0.21, 0.09, 0.05, 0.12)),
        ("hay", "soybean", (0.40, 0.47, 0.35, 0.45, 0.29)),
        ("barley", "wheat", (0.84, 0.51, 0.59, 0.73)),
        ("hay", "wheat", (0.12, 0.51, 0.02, 0.31, 0.59)),
        ("barley", "hay", (0.21, 0.44, 0.37, 0.31)),
    ],
)
def test_a_correlation_of_yields_is_the_mean_of_the_states(
    one: str, other: str, states: tuple[float, ...]
) -> None:
    figure = TABLES.figure("variability", one, f"yield_correlation:{other}")
    assert figure.value == pytest.approx(statistics.mean(states), abs=0.00501)
    assert (figure.low, figure.high) == (min(states), max(states))


def test_the_swing_of_hay_prices_is_that_of_the_five_reports_in_its_note() -> None:
    # Hay & Forage Grower (USDA Agricultural Prices): January 2020 and 2022, May 2023, February and April 2025
    reports = (171, 211, 279, 159, 180)
    figure = TABLES.figure("variability", "hay", "price_cv")
    assert all(str(price) in figure.note for price in reports)
    swing = statistics.stdev(reports) / statistics.mean(reports)
    assert figure.value == pytest.approx(swing, abs=0.005)


def test_yields_of_a_farm_swing_two_and_a_half_times_as_far_as_those_of_a_state() -> None:
    # Harwood and others (1999, USDA): a farm's corn yields swing two to three times as far as a state's;
    # agridat 1.27: New York corn, hay and wheat, Michigan soybean, Wisconsin barley, per cent
    states = {"corn_grain": 8.5, "alfalfa": 6.4, "winter_wheat": 9.2, "soybean": 11.1, "spring_barley": 10.5}
    for crop, state in states.items():
        figure = TABLES.figure("crop", crop, "yield_cv")
        assert (figure.source, figure.mark) == ("AGRIDAT", "derived")
        assert figure.value == pytest.approx(2.5 * state / 100, abs=0.00501)
        assert figure.low == pytest.approx(2.0 * state / 100, abs=0.00501)
        assert figure.high == pytest.approx(3.0 * state / 100, abs=0.00501)


def test_yields_of_a_dry_year_are_the_median_of_the_states_whose_worst_it_was() -> None:
    # agridat 1.27: per cent of trend in 1988 and 1993 where that was the worst year of 1982-2011
    worst = {
        ("corn", "dry_year_yield"): (38, 30),
        ("soybean", "dry_year_yield"): (35,),
        ("wheat", "dry_year_yield"): (40, 51),
        ("barley", "dry_year_yield"): (43, 35, 42, 58),
        ("hay", "dry_year_yield"): (40, 52, 32, 34, 43),
        ("corn", "wet_year_yield"): (44, 39, 29, 20),
        ("soybean", "wet_year_yield"): (37, 28),
        ("wheat", "wet_year_yield"): (29, 39),
    }
    for (series, quantity), below in worst.items():
        left = 1.0 - statistics.median(below) / 100.0
        assert TABLES.number("variability", series, quantity) == pytest.approx(left, abs=1e-9)


def test_every_crop_that_is_sold_goes_by_one_series_for_yields_and_one_for_prices() -> None:
    # a product of its own kind (hay sold standing) goes by its crop
    sold = [key for key, crop in TABLES.crops.items() if TABLES.has("crop", key, "yield_cv")]
    assert len(sold) > 15
    for key in sold:
        for what in ("yields_with", "prices_with"):
            assert sum(TABLES.has("variability", key, f"{what}:{series}") for series in SERIES) == 1, key


def test_a_crop_that_goes_by_no_series_is_named() -> None:
    with pytest.raises(TableError, match="fallow"):
        swings_of(("fallow",), TABLES)


# ---------------------------------------------------------------- possible correlations


def test_a_possible_matrix_is_left_as_it_is() -> None:
    wanted = swings().together
    assert np.linalg.eigvalsh(wanted)[0] > 0.0  # that of the tables is possible
    assert nearest_correlation(wanted) is wanted


def test_an_impossible_matrix_becomes_a_possible_one_nearby() -> None:
    wanted = np.array([[1.0, 0.9, -0.5], [0.9, 1.0, 0.5], [-0.5, 0.5, 1.0]])
    assert np.linalg.eigvalsh(wanted)[0] < -0.1
    made = nearest_correlation(wanted)
    assert np.linalg.eigvalsh(made)[0] > -1e-12
    assert np.allclose(np.diag(made), 1.0)
    assert np.abs(made - wanted).max() < 0.3
    assert np.array_equal(np.sign(np.round(made, 9)), np.sign(wanted))


# ---------------------------------------------------------------- draws


def test_yields_and_prices_have_the_mean_1_and_the_swing_of_the_table() -> None:
    drawn, asked = many(), swings()
    assert drawn.yields.mean(axis=0) == pytest.approx(np.ones((YEARS, len(CROPS))), abs=1e-12)
    assert drawn.prices.mean(axis=0) == pytest.approx(np.ones((YEARS, len(CROPS))), abs=1e-12)
    assert drawn.feed_price.mean(axis=0) == pytest.approx(np.ones(YEARS), abs=1e-12)
    # buckwheat swings so far that the cut-off at 0 and 2 shows
    room = np.where(asked.yield_cv > 0.4, 0.04, 0.02)
    swing = drawn.yields.std(axis=0)
    assert np.all(np.abs(swing / asked.yield_cv - 1.0) < room)
    assert np.all(np.abs(drawn.prices.std(axis=0) / asked.price_cv - 1.0) < 0.03)
    assert drawn.yields.min() >= 0.0
    assert drawn.yields.max() <= 2.0


def _expected(asked: Swings, left: str, right: str) -> np.ndarray:
    """(K, K) correlations of yields (or logarithms of prices) of the crops in one year."""
    place = {"yield": asked.yield_series, "price": asked.price_series}
    share = {"yield": asked.yield_with, "price": asked.price_with}
    offset = {"yield": 0, "price": len(SERIES)}
    table = asked.together
    made = np.array(
        [
            [share[left][a] * share[right][b] * table[offset[left] + i, offset[right] + j]
             for b, j in enumerate(place[right])]
            for a, i in enumerate(place[left])
        ]
    )  # fmt: skip
    if left == right:
        np.fill_diagonal(made, 1.0)
    return made


@pytest.mark.parametrize(("left", "right"), [("yield", "yield"), ("price", "price"), ("yield", "price")])
@pytest.mark.parametrize("year", [0, YEARS - 1])
def test_crops_swing_together_as_the_table_says(left: str, right: str, year: int) -> None:
    drawn, asked = many(), swings()
    values = {"yield": drawn.yields[:, year], "price": np.log(drawn.prices[:, year])}
    together = np.corrcoef(values[left].T, values[right].T)[: len(CROPS), len(CROPS) :]
    assert np.abs(together - _expected(asked, left, right)).max() < WITHIN
    assert np.abs(_expected(asked, left, right)).max() > 5 * WITHIN  # there is something to see


def test_a_price_remembers_the_year_before_and_a_yield_does_not() -> None:
    drawn, asked = many(), swings()
    for crop in range(len(CROPS)):
        price, crop_yield = np.log(drawn.prices[:, :, crop]), drawn.yields[:, :, crop]
        for year in range(1, YEARS):
            remembered = np.corrcoef(price[:, year - 1], price[:, year])[0, 1]
            assert abs(remembered - asked.persistence) < WITHIN
            assert abs(np.corrcoef(crop_yield[:, year - 1], crop_yield[:, year])[0, 1]) < WITHIN


def test_hay_bought_in_costs_what_hay_sells_for() -> None:
    drawn = many()
    assert drawn.feed_price == pytest.approx(drawn.prices[:, :, CROPS.index("alfalfa")])


def test_draws_are_the_same_again_and_other_crops_do_not_change_them() -> None:
    one, again = draw(swings(), YEARS, np.ones(8)), draw(swings(), YEARS, np.ones(8))
    assert np.array_equal(one.yields, again.yields)
    assert np.array_equal(one.prices, again.prices)
    fewer = draw(swings_of(("oat", "soybean"), TABLES), YEARS, np.ones(2))
    assert fewer.yields[:, :, 0] == pytest.approx(one.yields[:, :, CROPS.index("oat")])
    # the prices are brought to the mean 1 crop by crop
    assert fewer.prices[:, :, 1] == pytest.approx(one.prices[:, :, CROPS.index("soybean")])
    other = draw(swings(), YEARS, np.ones(8), seed=1)
    assert not np.allclose(one.yields, other.yields)


def test_without_swings_every_year_is_the_usual_one() -> None:
    still = replace(swings(), yield_cv=np.zeros(len(CROPS)), price_cv=np.zeros(len(CROPS)), hay_price_cv=0.0)
    drawn = draw(still, YEARS, np.ones(len(CROPS)))
    usual = Scenarios.usual(len(drawn.yields), YEARS, np.ones(len(CROPS)))
    assert drawn.yields == pytest.approx(usual.yields)
    assert drawn.prices == pytest.approx(usual.prices)


def test_courses_come_in_pairs() -> None:
    with pytest.raises(ValueError, match="odd"):
        draw(swings(), YEARS, np.ones(len(CROPS)), courses=7)
