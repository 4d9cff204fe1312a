"""The table of the selection benchmark: what is held against what, reckoned by hand."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "benchmarks"))

from bench_selection import linear, slope
from instances import instance, with_plan
from selection_table import Found, compared, medians, times

from rotation_opt.select import evaluate


def model(bound: float | None, proven: float | None, value: float | None) -> Found:
    return {"bound": bound, "proven": proven, "value": value, "note": ""}


def test_bounds_are_held_against_the_best_plan_of_any_model() -> None:
    ours, theirs = model(110.0, 104.0, 95.0), model(150.0, 108.0, 100.0)
    best, found = compared({"own": ours, "compact": theirs}, drawn=20.0)
    assert best == 100.0
    assert found["own"]["bound_over"] == pytest.approx(0.1)
    assert found["own"]["gap"] == pytest.approx(9 / 95)
    assert found["own"]["of_best"] == pytest.approx(0.95)
    assert found["compact"]["tighter"] == pytest.approx(5.0)
    assert found["compact"]["proven_tighter"] == pytest.approx(2.0)
    assert found["compact"]["plan_ratio"] == pytest.approx(100 / 95)


def test_where_no_model_finds_a_plan_the_drawn_one_is_the_best_known() -> None:
    best, found = compared({"own": model(30.0, None, None), "compact": model(40.0, 35.0, None)}, drawn=20.0)
    assert best == 20.0
    assert found["compact"]["tighter"] == pytest.approx(2.0)
    assert found["compact"]["proven_tighter"] is None
    assert found["own"]["gap"] is None
    assert found["compact"]["plan_ratio"] is None


def test_a_loss_is_held_against_its_size() -> None:
    best, found = compared({"own": model(-80.0, -90.0, -100.0)}, drawn=-120.0)
    assert best == -100.0
    assert found["own"]["bound_over"] == pytest.approx(0.2)
    assert found["own"]["gap"] == pytest.approx(0.1)


def test_a_bound_below_a_plan_is_called_out() -> None:
    _, found = compared({"own": model(110.0, 99.0, 95.0), "compact": model(150.0, 108.0, 100.0)}, drawn=0.0)
    assert "BELOW" in found["own"]["note"]
    assert not found["compact"]["note"]


def test_a_bound_that_is_reached_is_endlessly_tighter_unless_both_reach_it() -> None:
    assert times(0.1, 0.0) == float("inf")
    assert times(0.0, 0.0) == 1.0
    assert times(None, 0.1) is None


def test_medians_leave_out_what_is_missing_and_count_it() -> None:
    runs = [{"own": model(10.0, 9.0, value)} for value in (1.0, None, 5.0)]
    found = medians(runs)["own"]
    assert found["value"] == 3.0
    assert found["note"] == "LP bound in 3 of 3, plan in 2 of 3"


def test_the_exponent_of_a_power_is_found_and_needs_three_sizes() -> None:
    found = slope([(size, 0.3 * size**1.7) for size in (2.0, 5.0, 9.0)])
    assert found == pytest.approx(1.7)
    assert slope([(1.0, 1.0), (2.0, 2.0)]) is None


@pytest.mark.parametrize("seed", [0, 1])
def test_the_linear_program_alone_bounds_the_plan_drawn_with_a_farm(seed: int) -> None:
    drawn = evaluate(*with_plan(4, 3, 16, seed)).present_value
    bound, _, whole = linear(instance(4, 3, 16, seed), 60.0)
    assert whole
    assert bound is not None
    assert bound >= drawn
