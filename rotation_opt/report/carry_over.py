"""What each plan leaves to the years after its last one: a cost, or a worth, never in the net return."""

from __future__ import annotations

from collections.abc import Sequence

from rotation_opt import units
from rotation_opt.records import Alternative, CarryOver
from rotation_opt.report.blocks import Block, Bullets, Grid, Paragraph, Section
from rotation_opt.report.summary import Reading
from rotation_opt.report.wording import band

NOTHING = "nothing"
NOT_IN = (
    "This is not part of the net return above. Rough figures for the whole farm, once and not a year, in "
    "{money} of the end of {last}. Costs are what you lose after the plan, worth is what you save."
)
COUNTED = (
    "The choice by money counted the weeds left, at one price for a full stand on any field; here they are "
    "followed field by field."
)
WEEDS = (
    "Weeds left: the yield that the creeping weeds still there will take in {years}, against clean land; on "
    "today's patches, at usual prices and {rate} interest. Every plan is followed by the same crops, as "
    "far as they can be sown: on each field yours as now, from the first on; where one cannot be sown in "
    "time, the next. Low to high as for the weed roots. Damage after {end} is not counted."
)
NITROGEN = (
    "Nitrogen left: what the last crop leaves to the first one after the plan, as far as that crop needs it, "
    "at {price}, the price of what you would buy."
)
STANDS = (
    "Hay stands: seed and setting up (no passes) of a stand that goes on, shared out evenly over its usual "
    "hay years; what is still to come counts. Its nitrogen is not counted beside that."
)
LEASES = "Land counts only as long as its lease runs."


def carry_over_sections(reading: Reading, plans: Sequence[Alternative]) -> list[Section]:
    """One section with a row a plan and the method of each column; none where nothing was reckoned."""
    found = reading.result.carry_over
    if found is None:
        return []
    farm = reading.result.farm
    last = farm.first_year + farm.years - 1
    money = reading.wording.money_unit
    header = (
        "Plan",
        f"Weeds left, {money} (low to high)",
        f"Nitrogen left, {money}",
        *([f"Hay stands, {money}"] if reading.any_hay else []),
    )
    rows = tuple(
        (reading.heading(plan), *_cells(reading, found, plan.key))
        for plan in plans
        if plan.key in found.plans
    )
    blocks: list[Block] = [
        Grid(header=header, rows=rows),
        Paragraph(text=NOT_IN.format(money=money, last=last)),
        *([Paragraph(text=COUNTED)] if farm.count_weeds_left else []),
        Bullets(items=_methods(reading, found, last)),
    ]
    return [Section(key="carry_over", title=f"What is left after {last}", blocks=tuple(blocks))]


def _cells(reading: Reading, found: CarryOver, key: str) -> tuple[str, ...]:
    left = found.plans[key]
    stands = _amount("worth", left.stand_worth)
    if stands != NOTHING:
        stands = f"{stands} ({reading.wording.area(left.stand_ha)})"
    cells = (_cost(left.weeds_cost), _amount("worth", left.nitrogen_worth))
    return (*cells, stands) if reading.any_hay else cells


def _cost(low_likely_high: Sequence[float]) -> str:
    if max(low_likely_high) < 0.5:
        return NOTHING
    return f"cost {band(low_likely_high, _rough)}"


def _amount(word: str, value: float) -> str:
    return f"{word} {_rough(value)}" if value >= 0.5 else NOTHING


def _rough(value: float) -> str:
    """Money of years to come: two figures are more than is known.

    Examples
    --------
    >>> _rough(12345.6), _rough(84.2), _rough(0.3)
    ('12,000', '84', '0')
    """
    return units.figure(value, 2) if value >= 10.0 else f"{value:.0f}"


def _methods(reading: Reading, found: CarryOver, last: int) -> tuple[str, ...]:
    farm, end = reading.result.farm, last + found.years
    years = f"{last + 1}" if found.years == 1 else f"{last + 1} to {end}"
    us = farm.units == "us"
    price = found.nitrogen_per_kg * (units.POUND_KG if us else 1.0)
    nitrogen = NITROGEN.format(price=f"{units.symbol(farm.currency)}{price:.2f} a {'lb' if us else 'kg'}")
    if farm.organic:
        nitrogen = f"{nitrogen.removesuffix('.')} (organic)."
    leased = any(field.lease_end_year is not None for field in farm.fields)
    weeds = WEEDS.format(years=years, end=end, rate=f"{100.0 * found.interest_rate:g}%")
    return (weeds, nitrogen, *([STANDS] if reading.any_hay else []), *([LEASES] if leased else []))
