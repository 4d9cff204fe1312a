"""What each crop brings and costs, year by year; what has to be hired and bought."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rotation_opt import cash_flow, units
from rotation_opt.ledgers import CropAccount, HiredWork
from rotation_opt.records import Alternative
from rotation_opt.report.blocks import Block, Grid, Page, Section
from rotation_opt.report.summary import NO_FIGURE, Reading
from rotation_opt.report.wording import capital

SEED = "sown material"
COLUMNS = (
    ("Sales", (cash_flow.SALES, cash_flow.WEEDY)),
    ("Seed", (SEED, "stand establishment")),
    ("Other inputs", ("other inputs", "nitrogen bought")),
    ("Own machines", ("own machines",)),
    ("Hire", ("hired work", cash_flow.EXTRA_HIRE)),
    ("Wages", ("labour", cash_flow.EXTRA_HELP)),
    ("Drying, hauling", (cash_flow.HAULING,)),
    ("Rent", (cash_flow.RENT,)),
    ("Fixed, debt, hay bought", (cash_flow.FIXED, cash_flow.DEBT, cash_flow.HAY)),
)
"""Head of a column and the parts of the money it adds up."""

WHOLE_FARM, TOTAL = "Farm as a whole", "Total"
HOW_TO_READ = (
    "Costs are below zero. The harvest year counts, also for work done the year before. The total of a year "
    "is its net return. Farm as a whole = what belongs to no single crop. Hay that is fed earns nothing "
    "here: it saves hay that would be bought. Estimates; put your own prices into the farm file."
)
HIRE_UNITS = {"ha": "", "bale": "bales", "t": "t", "h": "hours"}


def budget_page(reading: Reading, plan: Alternative) -> Page:
    """Budgets of one plan by crop and year, and the lists of hire and inputs.

    Parameters
    ----------
    reading : Reading
    plan : Alternative
    """
    result = reading.result
    accounts = result.accounts.get(plan.key, ())
    key = f"budget:{plan.key}"
    sections = [
        Section(
            key=f"{key}:{year}",
            title=f"Harvest {year}",
            blocks=(_year(reading, [each for each in accounts if each.year == year]),),
        )
        for year in dict.fromkeys(each.year for each in accounts)
    ]
    lists = [*_hire(reading, result.hired.get(plan.key, ())), *_inputs(reading, accounts)]
    if lists:
        sections.append(Section(key=f"{key}:lists", title="To hire and to buy", blocks=tuple(lists)))
    title = f"Budget by crop and year, {reading.heading(plan)}"
    return Page(key=key, title=title, lead=(HOW_TO_READ,), sections=tuple(sections))


def _year(reading: Reading, accounts: Sequence[CropAccount]) -> Grid:
    words = reading.wording
    shown: list[tuple[str, tuple[str, ...]]] = [
        (head, parts) for head, parts in COLUMNS if any(_sum(each, parts) for each in accounts)
    ]
    known = {part for _, parts in COLUMNS for part in parts}
    others = {part for each in accounts for part in each.money} - known
    if others:
        shown.append(("Other", tuple(sorted(others))))
    money = words.money_unit
    header = (
        f"Crop, {money}",
        words.area_unit,
        *(head for head, _ in shown),
        "Net return",
        f"Net per {words.one_area}",
    )
    rows = []
    for each in accounts:
        if each.crop or each.money:
            rows.append(_row(reading, each, shown))
    total = [sum(_sum(each, parts) for each in accounts) for _, parts in shown]
    area, net = sum(each.area_ha for each in accounts), sum(total)
    rows.append(
        (
            TOTAL,
            words.area_figure(area),
            *(words.money_figure(value) for value in total),
            words.money_figure(net),
            words.money_figure(words.money_per_area(net / area)) if area else NO_FIGURE,
        )
    )
    return Grid(header=header, rows=tuple(rows), groups=frozenset({len(rows) - 1}))


def _row(
    reading: Reading, account: CropAccount, shown: Sequence[tuple[str, tuple[str, ...]]]
) -> tuple[str, ...]:
    words = reading.wording
    net = sum(account.money.values())
    per_area = (
        words.money_figure(words.money_per_area(net / account.area_ha)) if account.area_ha else NO_FIGURE
    )
    return (
        capital(words.crop(account.crop)) if account.crop else WHOLE_FARM,
        words.area_figure(account.area_ha) if account.crop else NO_FIGURE,
        *(words.money_figure(_sum(account, parts)) for _, parts in shown),
        words.money_figure(net),
        per_area,
    )


def _sum(account: CropAccount, parts: Sequence[str]) -> float:
    return sum(account.money.get(part, 0.0) for part in parts)


def _hire(reading: Reading, hired: Sequence[HiredWork]) -> Iterator[Block]:
    """Machines down, years across: how much of each, and what all of it costs."""
    if not hired:
        return
    words, years = reading.wording, _years(reading)
    rows = []
    for machine, unit in dict.fromkeys((each.machine, each.unit) for each in hired):
        amounts = {each.year: each.amount for each in hired if each.machine == machine and each.unit == unit}
        cells = (_amount(reading, amounts.get(year, 0.0), unit) for year in years)
        name = f"{capital(words.machine(machine))}, {HIRE_UNITS[unit] or words.area_unit}"
        rows.append((name, *cells))
    costs = (sum(each.cost for each in hired if each.year == year) for year in years)
    rows.append((f"All hired work, {words.money_unit}", *(words.money_figure(cost) for cost in costs)))
    header = ("Hire", *(str(year) for year in years))
    yield Grid(header=header, rows=tuple(rows), groups=frozenset({len(rows) - 1}))


def _amount(reading: Reading, value: float, unit: str) -> str:
    return reading.wording.area_figure(value) if unit == "ha" else f"{value:,.0f}"


def _inputs(reading: Reading, accounts: Sequence[CropAccount]) -> Iterator[Block]:
    """Seed and nitrogen by year."""
    if not accounts:
        return
    words, years = reading.wording, _years(reading)
    weight, per_kg = ("lb", 1.0 / units.POUND_KG) if reading.result.farm.units == "us" else ("kg", 1.0)
    rows = []
    for crop in dict.fromkeys(crop for each in accounts for crop in each.sown_kg):
        sown = (sum(each.sown_kg.get(crop, 0.0) for each in accounts if each.year == year) for year in years)
        rows.append(
            (f"Seed of {words.crop(crop).lower()}, {weight}", *(f"{kg * per_kg:,.0f}" for kg in sown))
        )
    nitrogen = [sum(each.nitrogen_kg for each in accounts if each.year == year) for year in years]
    rows.append((f"Nitrogen, {weight}", *(f"{kg * per_kg:,.0f}" for kg in nitrogen)))
    yield Grid(header=("To buy", *(str(year) for year in years)), rows=tuple(rows))


def _years(reading: Reading) -> range:
    farm = reading.result.farm
    return range(farm.first_year, farm.first_year + farm.years)
