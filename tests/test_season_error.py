"""How far off one season may be: fixed, as large as the tables say, and never over the cap."""

from __future__ import annotations

import numpy as np
import pytest

from rotation_opt import tables
from rotation_opt.season_error import ERRORS_A_DRAW, reserve_with_error, season_errors
from rotation_opt.weeds.response import reserve_after

TABLES = tables.read()
WEED = "creeping_thistle"


def errors(spread: float, draws: int = 40) -> np.ndarray:
    return season_errors(TABLES.with_change("weed", WEED, "season_error", spread), WEED, draws)


def test_the_same_errors_come_at_every_call() -> None:
    assert np.array_equal(season_errors(TABLES, WEED, 21), season_errors(TABLES, WEED, 21))
    assert season_errors(TABLES, WEED, 21).shape == (ERRORS_A_DRAW, 21)


@pytest.mark.parametrize("weed", TABLES.weeds)
def test_errors_spread_as_the_tables_say_about_none(weed: str) -> None:
    off = np.log(season_errors(TABLES, weed, 40))
    spread = TABLES.number("weed", weed, "season_error")
    assert np.std(off) == pytest.approx(spread, rel=0.1)  # 1000 numbers: 2 % standard error
    assert abs(np.mean(off)) < 3.5 * spread / np.sqrt(off.size)


def test_a_larger_figure_is_a_larger_error_of_each_number_and_none_is_none() -> None:
    assert (errors(0.0) == 1.0).all()
    assert np.log(errors(0.6)) == pytest.approx(2.0 * np.log(errors(0.3)))


def test_no_two_numbers_are_alike() -> None:
    assert len(np.unique(errors(0.3))) == errors(0.3).size


CAP = np.array([1.2])


def test_a_thin_stand_is_off_by_the_whole_error_and_a_dense_one_by_less() -> None:
    growth, crowding, off = np.array([3.0]), np.array([4.0]), np.array([[0.5], [2.0]])

    def ratio(reserve: float) -> np.ndarray:
        with_error = reserve_with_error(growth, crowding, reserve, off, cap=CAP)
        return np.asarray(with_error / reserve_after(growth, crowding, reserve))

    assert ratio(1e-9) == pytest.approx(off)
    assert 0.5 < ratio(1.1)[0, 0] < 1.0 < ratio(1.1)[1, 0] < 2.0


def test_no_error_lets_more_stand_than_the_season_would_of_any_start_nor_than_the_cap() -> None:
    growth, crowding, huge = np.array([3.0]), np.array([4.0]), np.array([1e6])
    crowded = reserve_with_error(growth, crowding, 1.0, huge, cap=CAP)
    assert crowded == pytest.approx(growth / crowding, rel=1e-5)
    assert (crowded <= growth / crowding).all()
    assert reserve_with_error(growth, 0.0 * crowding, 1.0, huge, cap=CAP) == CAP


def test_without_error_it_is_the_season_itself() -> None:
    growth, crowding = np.array([0.4, 3.0]), np.array([0.1, 4.0])
    assert np.array_equal(
        reserve_with_error(growth, crowding, 0.7, 1.0, cap=CAP), reserve_after(growth, crowding, 0.7)
    )
