"""What being cleaner costs: step by step between the plans, and along the whole curve."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from rotation_opt.records import Alternative
from rotation_opt.report.blocks import Block, Bullets, Section
from rotation_opt.report.curve import curve_chart
from rotation_opt.report.price_table import price_notes
from rotation_opt.report.summary import AS_NOW, Reading
from rotation_opt.report.wording import share_range

LEAST_PRICED = 0.05  # a price for each tenth of the roots would be drawn out from less than this


def price_sections(reading: Reading, columns: Sequence[Alternative]) -> list[Section]:
    """What being cleaner costs, step by step from the plan with most roots left to the one with fewest."""
    planned = sorted(
        (plan for plan in columns if plan.key != AS_NOW), key=lambda plan: -reading.roots_left(plan)[1]
    )
    if reading.as_now in columns and reading.as_now is not None:
        planned = [reading.as_now, *planned]
    steps = list(itertools.pairwise(planned))
    sentences = [_step(reading, before, after) for before, after in steps]
    blocks: list[Block] = [Bullets(items=tuple(sentences))] if sentences else []
    chart = curve_chart(reading, columns)
    if chart is not None:
        blocks += [chart, *price_notes(reading)]
    return [Section(key="price", title="What being cleaner costs", blocks=tuple(blocks))] if blocks else []


def _step(reading: Reading, before: Alternative, after: Alternative) -> str:
    words = reading.wording
    left_before, left_after = reading.roots_left(before), reading.roots_left(after)
    roots_before, roots_after = left_before[1], left_after[1]
    change = reading.money_a_year(after) - reading.money_a_year(before)
    amount = words.money(abs(change))
    fewer = roots_before - roots_after
    money = (
        "about the same money"
        if abs(change) < 0.5
        else f"{amount} a year {'more' if change > 0 else 'less'} for the whole farm"
    )
    roots = f"roots at the end {share_range(left_after)} of today's instead of {share_range(left_before)}"
    start = f"From {reading.heading(before)} to {reading.heading(after)}: {roots}, {money}"
    if fewer >= LEAST_PRICED and change < -0.5:
        price = words.money(-change / (fewer * 10.0))
        return f"{start}. That is {price} a year for each 10% of today's roots fewer."
    if fewer > 0.005 and change < -0.5:
        return f"{start}."
    if fewer > 0.005:
        return f"{start}. Being cleaner costs nothing here."
    if fewer < -0.005:
        return f"{start}. It leaves more roots."
    return f"{start}. The roots hardly differ."
