"""A search that is stopped: the best plan so far with a true gap, or plain words that there is none yet."""

from __future__ import annotations

import numpy as np
import pytest
from strategies import random_data

from rotation_opt.brake import Brake
from rotation_opt.errors import NoPlanError
from rotation_opt.formulate import Goal
from rotation_opt.select import Selected, select

MONEY = Goal(kind="most_money")
CLEAN = Goal(kind="least_burden")
DATA = random_data(10, fields=3, years=4, practices=12, tight=0.2, weeds=2)
FULL = select(DATA, MONEY, gap=1e-9)


class Pull:
    """Pulled from one question on."""

    def __init__(self, after: int) -> None:
        self.after, self.asked = after, 0

    def __call__(self) -> bool:
        self.asked += 1
        return self.asked > self.after


def holds(cut: Selected) -> None:
    """The plan keeps all limits, and its bound and gap are true."""
    assert not cut.figures.breaks
    assert cut.value == pytest.approx(cut.figures.present_value)
    assert FULL.bound is not None
    assert cut.value <= FULL.bound + 1e-6 * abs(FULL.bound)
    if cut.bound is None:
        assert cut.gap is None
        return
    assert cut.bound >= FULL.value - 1e-6 * abs(FULL.value)
    assert cut.gap == pytest.approx(abs(cut.bound - cut.value) / abs(cut.value), abs=1e-9)


@pytest.mark.parametrize("after", [0, 1, 2, 3, 5, 8, 13, 30])
def test_a_pulled_brake_gives_the_best_plan_so_far_or_says_that_there_is_none(after: int) -> None:
    pull = Pull(after)
    try:
        cut = select(DATA, MONEY, gap=1e-9, pulled=pull)
    except NoPlanError as fault:
        assert "stopped before a plan was found" in str(fault)
        assert pull.asked > after
        return
    assert cut.cut_short == (pull.asked > after)
    holds(cut)


def test_a_search_pulled_late_ends_with_a_plan_and_says_that_it_was_cut_short() -> None:
    count = Pull(10**9)
    whole = select(DATA, MONEY, gap=1e-9, pulled=count)
    assert not whole.cut_short
    late = select(DATA, MONEY, gap=1e-9, pulled=Pull(count.asked - 1))
    assert late.cut_short
    holds(late)


@pytest.mark.parametrize("goal", [MONEY, CLEAN])
@pytest.mark.parametrize("seed", range(4))
def test_no_time_at_all_gives_a_plan_or_plain_words(goal: Goal, seed: int) -> None:
    data = random_data(seed, fields=3, years=3, practices=5, tight=0.5)
    try:
        cut = select(data, goal, time_limit=0.0)
    except NoPlanError as fault:
        stopped = str(fault) == "The search was stopped before a plan was found."
        assert stopped or str(fault).startswith("No plan ")
        return
    assert cut.cut_short
    assert not cut.figures.breaks


def test_a_brake_stays_on_and_has_no_time_left() -> None:
    answers = iter([False, True, False])
    brake = Brake(100.0, lambda: next(answers))
    assert not brake()
    assert 0.0 < brake.left() <= 100.0
    assert brake()
    assert brake()  # though nobody pulls any more
    assert brake.on
    assert brake.left() == 0.0


def test_a_brake_goes_on_by_itself_when_the_time_is_over() -> None:
    assert Brake(-1.0)()
    assert not Brake(np.inf)()
