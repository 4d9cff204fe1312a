"""The price of being cleaner, one line a plan, from most money to fewest weeds."""

from __future__ import annotations

from collections.abc import Sequence

from rotation_opt.records import PriceStep
from rotation_opt.report.blocks import Block, Bullets, Grid, Paragraph
from rotation_opt.report.summary import NO_FIGURE, NO_PROOF, Reading, at_most_percent
from rotation_opt.report.wording import weed_percent

FEWEST = 3  # with the two ends alone the plans say it all
HOW_TO_READ = (
    "Each line is the plan with most money found at so few weeds. Weeds = likely roots, all years counting "
    "and the last one most, % of today's. {marks}More could be = money "
    "that a better plan with as few weeds could still bring; a dash where this is not known."
)
MARKS = {"knee": "dear from here on", "bend": "next step dearer"}
MEANT = {
    "bend": "Next step dearer = a step costs several times as much as the one before. ",
    "knee": "Dear from here on = up to here being cleaner costs little for what it brings, after it much. ",
}


def price_grid(reading: Reading) -> Grid | None:
    """A row for each step; None where they are too few to be a curve."""
    steps = reading.result.price_steps
    if len(steps) < FEWEST:
        return None
    money = reading.wording.money_unit
    header = (
        "Weeds, %",
        f"{money} a year",
        f"Costs, {money} a year",
        "Hours a year",
        "More could be, %",
        "Which plan",
    )
    rows = tuple(
        (
            weed_percent(step.burden_share),
            reading.wording.money_figure(step.net_return),
            _cost(reading, steps[0], step),
            f"{step.labour_h:,.0f}",
            _could_be(step.proven_gap),
            _where(reading, step),
        )
        for step in steps
    )
    return Grid(header=header, rows=rows)


def price_notes(reading: Reading) -> list[Block]:
    """How to read the table, and what is not sure."""
    doubts = reading.result.price_doubts
    blocks: list[Block] = [Paragraph(text=_how_to_read(reading.result.price_steps))]
    return [*blocks, Bullets(items=doubts)] if doubts else blocks


def _how_to_read(steps: Sequence[PriceStep]) -> str:
    there = {step.mark for step in steps}
    return HOW_TO_READ.format(marks="".join(text for mark, text in MEANT.items() if mark in there))


def _cost(reading: Reading, first: PriceStep, step: PriceStep) -> str:
    if step is first:
        return NO_FIGURE
    return reading.wording.money_figure(first.net_return - step.net_return)


def _could_be(gap: float | None) -> str:
    return NO_FIGURE if gap is None or gap >= NO_PROOF else at_most_percent(gap)


def _where(reading: Reading, step: PriceStep) -> str:
    """The alternative that stands there, and whether the price changes there."""
    plan = next((each for each in reading.result.alternatives if each.key == step.alternative), None)
    named = "" if plan is None else reading.heading(plan)
    return ", ".join(filter(None, (named, MARKS.get(step.mark, ""))))
