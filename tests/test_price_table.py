"""The table of what being cleaner costs."""

from __future__ import annotations

import fake_result
import pytest
from whole_page import plan_page

from rotation_opt.records import PriceStep, Result
from rotation_opt.report.terminal import render

TABLES = fake_result.tables()


def step(share: float, money: float, hours: float, **more: object) -> PriceStep:
    values: dict[str, object] = {"proven_gap": 0.004, "mark": "", "alternative": ""}
    return PriceStep(burden_share=share, net_return=money, labour_h=hours, **{**values, **more})  # type: ignore[arg-type]


STEPS = (
    step(1.1, 20000.0, 610.0, alternative="most_money"),
    step(0.6, 19000.0, 620.0, mark="knee", alternative="balanced"),
    step(0.3, 12000.0, 700.0, mark="bend"),
    step(0.1, 4000.0, 810.0, proven_gap=None, alternative="fastest"),
)


def printed(result: Result) -> str:
    return render(plan_page(result, TABLES), width=80)


def lines_with(text: str, *words: str) -> list[str]:
    return [line for line in text.splitlines() if all(word in line for word in words)]


def test_a_line_tells_weeds_money_cost_hours_and_which_plan_stands_there() -> None:
    text = printed(fake_result.result(price_steps=STEPS))
    assert lines_with(text, "110", "20,000", "610", "B: Most money")
    assert lines_with(text, "60", "19,000", "1,000", "620", "C: Balanced")
    assert lines_with(text, "30", "12,000", "8,000", "700", "next step")
    assert lines_with(text, "10", "4,000", "16,000", "810", "D: Fastest")
    assert lines_with(text, "60", "C: Balanced", "dear from")
    told = " ".join(text.split())
    assert "Dear from here on = " in told
    assert "Next step dearer = " in told
    assert " knee" not in told
    assert " bend" not in told
    assert max(len(line) for line in text.splitlines()) <= 80


@pytest.mark.parametrize("count", [0, 2])
def test_without_a_curve_there_is_no_table(count: int) -> None:
    assert "Which plan" not in printed(fake_result.result(price_steps=STEPS[:count]))


def test_what_is_not_proven_stands_below() -> None:
    doubt = "In 2 of the lines more money is not ruled out."
    assert doubt in printed(fake_result.result(price_steps=STEPS, price_doubts=(doubt,)))
    assert doubt not in printed(fake_result.result(price_steps=STEPS))
