"""Own against hire, and what buying a machine would change."""

from __future__ import annotations

import math

from rotation_opt.records import BuyingChoice, MachineCase
from rotation_opt.report.blocks import Block, Bullets, Grid, Paragraph, Section
from rotation_opt.report.summary import Reading
from rotation_opt.report.wording import capital
from rotation_opt.words import listed

NEVER = "never"
WAYS = {"own": "own", "hire": "hired", "none": "not there"}


def machine_sections(reading: Reading) -> list[Section]:
    """The block on owning, hiring and buying; nothing where no machine is hired or for sale."""
    cases, choices = reading.result.machine_cases, reading.result.buying
    blocks: list[Block] = []
    if cases:
        blocks.append(_grid(reading, cases))
    if choices:
        blocks.append(Bullets(items=tuple(_choice(reading, each) for each in choices[1:])))
    if not blocks:
        return []
    blocks.append(Paragraph(text=_how_to_read(reading, cases)))
    return [Section(key="machines", title="Own, hire or buy (estimates)", blocks=tuple(blocks))]


def _grid(reading: Reading, cases: tuple[MachineCase, ...]) -> Grid:
    words = reading.wording
    money, area = words.money_unit, words.area_unit
    header = (
        "Machine",
        "Now",
        f"Work a year, {area}",
        f"All hired, {money} a year",
        f"All own, {money} a year",
        f"Owning is cheaper from, {area} a year",
    )
    rows = tuple(
        (
            capital(words.machine(case.machine)),
            WAYS[reading.result.farm.machines[case.machine].status],
            words.area_figure(case.area_ha),
            words.money_figure(case.hired),
            words.money_figure(case.owning + case.running),
            NEVER if math.isinf(case.break_even_ha) else words.area_figure(case.break_even_ha),
        )
        for case in cases
    )
    return Grid(header=header, rows=rows)


def _choice(reading: Reading, choice: BuyingChoice) -> str:
    """One set of machines bought, against buying nothing."""
    words, farm = reading.wording, reading.result.farm
    names = [words.machine(key) for key in choice.machines]
    what = f"Buying the {listed(names, 'and')}"
    if choice.why_not:
        return f"{what}: no plan was found that keeps all limits. {choice.why_not}"
    hired = [key for key in choice.machines if farm.machines[key].status == "hire"]
    before = "hiring" if len(hired) == len(choice.machines) else "doing without" if not hired else "as now"
    if not choice.searched:
        return (
            f"{what} cannot be worth it: the best plan with it would be at least "
            f"{words.money(-choice.gain)} a year worse than {before}, and owning takes "
            f"{words.money(choice.owning)} a year."
        )
    verdict = (
        f"{words.money(abs(choice.gain))} a year {'better' if choice.gain > 0 else 'worse'} than {before}"
    )
    said = (
        f"{what} comes out {verdict}: the best plan then brings {words.money(choice.net)} a year, and owning "
        f"takes {words.money(choice.owning)} of it."
    )
    nothing = reading.result.buying[0]
    open_money = max((each.gap or 0.0) * abs(each.net) for each in (choice, nothing))
    if abs(choice.gain) <= open_money:
        said += (
            f" That is too close to call: better plans by up to {words.money(open_money)} a year were not "
            "ruled out."
        )
    return said


def _how_to_read(reading: Reading, cases: tuple[MachineCase, ...]) -> str:
    words, farm = reading.wording, reading.result.farm
    plan = reading.most_money
    which = (
        f"The table is for the work in {reading.heading(plan)}, each pass counted. " if plan and cases else ""
    )
    own_price = any(
        mine.terms is not None and mine.terms.price is not None for mine in farm.machines.values()
    )
    listed_price = " unless your farm file says otherwise" if own_price else ""
    dollars = (
        ""
        if farm.currency == "USD"
        else f"; they and the hire rates you did not give are US dollars taken one for one as {farm.currency}"
    )
    listed_price += f" (most are our own judgement{dollars}: put in your own as `price`)"
    kept = {case.years_kept for case in cases}
    rates = {case.interest for case in cases}
    terms = ""
    if len(kept) == 1 and len(rates) == 1:
        terms = f", kept {kept.pop():g} years at {rates.pop() * 100.0:g}% interest"
    shared = [words.machine(key) for key, mine in farm.machines.items() if mine.share < 1.0]
    part = f"Of the {listed(shared, 'and')} only your own part is counted. " if shared else ""
    cash = (
        "What a bought machine costs a year is held against your least cash like fixed cost. "
        if reading.result.buying
        else ""
    )
    return (
        f"{which}Own = depreciation and interest, taxes, insurance and housing, fuel, repairs and the "
        f"driver. Prices are list prices of a new machine{listed_price}{terms}; for one you have, this is "
        f"what it costs to replace it. {part}{cash}These are estimates: nobody knows what a machine brings "
        "when it is sold. Ask for a quote before you decide."
    )
