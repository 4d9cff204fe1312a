"""The price of being cleaner as a picture: net return against the roots left, with the plans on it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from rotation_opt.farm_arrays import weight_of_years
from rotation_opt.records import Alternative, Field
from rotation_opt.report.blocks import Chart, Grid, Panel, Series
from rotation_opt.report.price_table import price_grid
from rotation_opt.report.summary import NO_FIGURE, Reading
from rotation_opt.report.wording import weed_percent

ALONG = "most money found"
PLANS = "the plans, by letter"

_Place = tuple[Alternative, float, float]  # roots as a share of today's, net return a year


def curve_chart(reading: Reading, columns: Sequence[Alternative]) -> Chart | None:
    """Net return a year against weed roots, all years counting and the last one most, as for choosing.

    Parameters
    ----------
    reading : Reading
    columns : sequence of Alternative
        The plans to mark by their letters, whether they lie on the curve or not.

    Returns
    -------
    Chart or None
        None where there are too few steps for a curve. Its table has a row for each step, and below a rule
        one for each plan that is none of them.
    """
    steps, grid = reading.result.price_steps, price_grid(reading)
    if grid is None:
        return None
    money, say = reading.wording.money_unit, reading.wording.money_figure
    marked = _places(reading, columns)
    curve = Series(
        label=ALONG,
        kind="line",
        x=tuple(100.0 * step.burden_share for step in steps),
        y=tuple(step.net_return for step in steps),
    )
    plans = Series(
        label=PLANS,
        kind="points",
        x=tuple(100.0 * roots for _, roots, _ in marked),
        y=tuple(net for _, _, net in marked),
        names=tuple(reading.letter(plan) for plan, _, _ in marked),
        style=1,
    )
    panel = Panel(
        title="",
        x_label="Weed roots, % of today's",
        y_label=f"Net return of the whole farm, {money} a year",
        y_from_zero=False,
        series=(curve, plans),
    )
    first, last = steps[0], steps[-1]
    return Chart(
        key="cleaner",
        title="Net return against weed roots",
        alt=(
            f"The most money found at so few weeds goes from {say(first.net_return)} {money} a year with "
            f"{weed_percent(first.burden_share)}% of today's roots to {say(last.net_return)} with "
            f"{weed_percent(last.burden_share)}%. The plans are marked by their letters. The scale of money "
            "does not start at zero."
        ),
        panels=(panel,),
        table=_table(reading, grid, marked),
    )


def _places(reading: Reading, columns: Sequence[Alternative]) -> list[_Place]:
    """Where plans stand. Those off the curve are put to the scale of one that stands on it."""
    share_of = {step.alternative: step.burden_share for step in reading.result.price_steps}
    scales = (
        share_of[plan.key] / roots
        for plan in reading.result.alternatives
        if plan.key in share_of and (roots := _weighted_roots(reading, plan)) > 0.0
    )
    scale = next(scales, None)
    return [
        (plan, share, reading.money_a_year(plan))
        for plan in columns
        if (share := _share(reading, plan, share_of, scale)) is not None
    ]


def _share(
    reading: Reading, plan: Alternative, share_of: Mapping[str, float], scale: float | None
) -> float | None:
    if plan.key in share_of:
        return share_of[plan.key]
    return None if scale is None else scale * _weighted_roots(reading, plan)


def _weighted_roots(reading: Reading, plan: Alternative) -> float:
    """Likely roots over the years, each weighted as for choosing. [ha of full-strength stand]"""
    farm = reading.result.farm
    weights = weight_of_years(farm.years)
    fields = {field.name: field for field in farm.fields}
    return float(
        sum(
            weights[entry.year - farm.first_year] * _infested_ha(fields[entry.field], weed) * likely
            for entry in plan.fields
            for weed, (_, likely, _) in entry.reserve.items()
        )
    )


def _infested_ha(field: Field, weed: str) -> float:
    return min(sum(patch.area_ha for patch in field.patches if patch.weed == weed), field.area_ha)


def _table(reading: Reading, grid: Grid, marked: Sequence[_Place]) -> Grid:
    """The steps, then the plans that are none of them."""
    on_curve = {step.alternative for step in reading.result.price_steps}
    unknown = (NO_FIGURE,) * (len(grid.header) - 3)
    others = tuple(
        (weed_percent(roots), reading.wording.money_figure(net), *unknown, reading.heading(plan))
        for plan, roots, net in marked
        if plan.key not in on_curve
    )
    groups = grid.groups | {len(grid.rows)} if others else grid.groups
    return replace(grid, rows=(*grid.rows, *others), groups=groups)
