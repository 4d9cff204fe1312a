"""The printout of alternatives, as data: what is said, in which order, before anything is laid out."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Sequence

from rotation_opt import units
from rotation_opt.records import Alternative, Farm, Result
from rotation_opt.report.annual_seed import seed_notes, seed_rows
from rotation_opt.report.balances import balance_sections
from rotation_opt.report.binding import binding_sections
from rotation_opt.report.blocks import Block, Bullets, Entries, Entry, Grid, Page, Paragraph, Section
from rotation_opt.report.carry_over import carry_over_sections
from rotation_opt.report.cash import cash_sections
from rotation_opt.report.field_years import ShortNames, field_table, practices_of
from rotation_opt.report.limits import limits_in_words
from rotation_opt.report.machines import machine_sections
from rotation_opt.report.patch_growth import patch_notes, patch_rows
from rotation_opt.report.price_table import price_blocks
from rotation_opt.report.risk import risk_sections
from rotation_opt.report.sources_page import MARKS, used_figures
from rotation_opt.report.summary import AS_NOW, Reading, side_by_side
from rotation_opt.report.wording import Wording, capital, sentence, share_range
from rotation_opt.tables import Tables

LEAST_PRICED = 0.05  # a price for each tenth of the roots would be drawn out from less than this
ESTIMATE = (
    "All figures are estimates from tables and a model, not advice and not a promise. "
    "Seasons, prices and people differ; count the shoots every year and plan again."
)
NET_RETURN = (
    "Net return = sales, less seed and other inputs, less running costs and repairs of own machines, less "
    "hire, less labour at the farm's own wage, less the landlord's share and rent. It is what is left to pay "
    "for land, buildings and management. Figures are means of the plan years."
)
WEED_ROOTS = (
    "Weed roots = the living root store in late autumn, all fields together that are farmed to the end. "
    "Plans are chosen by the likely roots (usual years), all years counting and the last one most. "
    "Low to high = eight in ten courses, over other weed figures that fit published trials, cool and warm "
    "years, and the usual error with which trials not seen before are foretold (a few are missed by far "
    "more); so the likely figure can lie near one end. In a hoed crop shoots are counted after the hoe: "
    "there the roots tell more."
)


def plan_page(result: Result, tables: Tables, shown: Sequence[str] | None = None) -> Page:
    """The printout of one run.

    Parameters
    ----------
    result : Result
        What the run found.
    tables : Tables
        Names of crops and practices, and the figures the run looked up.
    shown : sequence of str, optional
        Titles of the alternatives to show; all by default.

    Returns
    -------
    Page
        Title, lead and sections, without layout.
    """
    words = Wording(result.farm, tables)
    reading = Reading(result, words)
    plans = [plan for plan in result.alternatives if shown is None or plan.title in shown]
    columns = [plan for plan in plans if not plan.same_as]
    names = ShortNames(practices_of([plan for plan in (reading.as_now, *columns) if plan is not None]), words)
    return Page(
        title=f"{result.farm.name}: rotation plans {_span(result.farm)}",
        lead=_lead(result.farm, words),
        sections=(
            _weeds_today(result, words),
            _plans(reading, plans),
            _summary(reading, columns),
            *risk_sections(reading, columns),
            *carry_over_sections(reading, columns),
            *_price(reading, columns),
            *(_fields(reading, plan, names, first=plan is columns[0]) for plan in columns),
            _legend(names),
            *cash_sections(reading, columns),
            *balance_sections(reading, columns),
            _limits(reading, columns),
            *binding_sections(reading, columns),
            *machine_sections(reading),
            *_checks(reading, columns),
            *_background(result, tables),
        ),
    )


def _span(farm: Farm) -> str:
    return f"{farm.first_year} to {farm.first_year + farm.years - 1}"


def _lead(farm: Farm, words: Wording) -> tuple[str, ...]:
    area = sum(field.area_ha for field in farm.fields)
    lines = [
        f"{sentence(farm.place)} {len(farm.fields)} fields, {words.area(area)}. "
        f"{'Organic. ' if farm.organic else ''}As of {words.dated(farm.decided_on)}."
    ]
    if farm.adviser:
        lines.append(f"Adviser: {farm.adviser}.")
    if farm.invented:
        lines.append("This is an invented demo farm: its people, fields and figures are made up.")
    return tuple(lines)


def _weeds_today(result: Result, words: Wording) -> Section:
    farm = result.farm
    rows = []
    for weed in dict.fromkeys(patch.weed for field in farm.fields for patch in field.patches):
        stands = [
            (field.name, patch) for field in farm.fields for patch in field.patches if patch.weed == weed
        ]
        counts = [patch.shoots_per_m2 for _, patch in stands]
        record = words.tables.weeds.get(weed)
        rows.append(
            (
                capital(words.weed(weed) if record is None else f"{words.weed(weed)} ({record.latin})"),
                ", ".join(dict.fromkeys(name for name, _ in stands)),
                words.area_figure(sum(patch.area_ha for _, patch in stands)),
                _from_to(counts),
            )
        )
    if not rows:
        return Section(
            key="weeds",
            title="Weeds today",
            blocks=(Paragraph(text="No creeping weed was counted on this farm."),),
        )
    grid = Grid(header=("Weed", "Fields", f"{words.area_unit} infested", "Shoots per m2"), rows=tuple(rows))
    together = (
        f"In the fields farmed to the end of the plan this is as much living root as "
        f"{_burden_today(result, words)} of undisturbed full stand. "
        "Shoots are rounded to two figures: a count is no better."
    )
    return Section(key="weeds", title="Weeds today", blocks=(grid, Paragraph(text=together)))


def _burden_today(result: Result, words: Wording) -> str:
    same = (result.start_burden_ha,) * 3
    return words.weed_area(next((plan.figures.burden[0] for plan in result.alternatives), same))


def _from_to(counts: Sequence[float]) -> str:
    low, high = units.density_text(min(counts)), units.density_text(max(counts))
    return low if low == high else f"{low} to {high}"


def _plans(reading: Reading, plans: Sequence[Alternative]) -> Section:
    entries = []
    for plan in plans:
        if plan.same_as:
            text = f"Came out the same as {plan.same_as}, so it has no column of its own."
        else:
            text = " ".join(filter(None, (sentence(plan.apart), _choose(plan.choose_if), *plan.notes)))
        entries.append(Entry(label=reading.heading(plan), text=text))
    return Section(
        key="plans", title="The plans, and when to choose which", blocks=(Entries(items=tuple(entries)),)
    )


def _choose(text: str) -> str:
    if not text:
        return ""
    sentence = text if text.lower().startswith("choose") else f"Choose this if {text[0].lower()}{text[1:]}"
    return sentence if sentence.endswith(".") else f"{sentence}."


def _summary(reading: Reading, columns: Sequence[Alternative]) -> Section:
    return Section(
        key="summary",
        title="Side by side",
        blocks=(
            side_by_side(reading, columns, (*patch_rows(reading), *seed_rows(reading))),
            Paragraph(text=NET_RETURN),
            Paragraph(text=WEED_ROOTS),
            *patch_notes(reading, columns),
            *seed_notes(reading, columns),
        ),
    )


def _fields(reading: Reading, plan: Alternative, names: ShortNames, *, first: bool) -> Section:
    """One plan; what the letters mean stands below the first, where it is needed."""
    blocks: list[Block] = [field_table(reading, plan, names)]
    if first:
        blocks.append(Bullets(items=names.letters()))
    return Section(
        key=f"fields:{plan.key}", title=f"Fields and years, {reading.heading(plan)}", blocks=tuple(blocks)
    )


def _legend(names: ShortNames) -> Section:
    return Section(key="legend", title="What the short names mean", blocks=(names.legend(),))


def _price(reading: Reading, columns: Sequence[Alternative]) -> list[Section]:
    """What being cleaner costs, step by step from the plan with most roots left to the one with fewest."""
    planned = sorted(
        (plan for plan in columns if plan.key != AS_NOW), key=lambda plan: -reading.roots_left(plan)[1]
    )
    if reading.as_now in columns and reading.as_now is not None:
        planned = [reading.as_now, *planned]
    steps = list(itertools.pairwise(planned))
    sentences = [_step(reading, before, after) for before, after in steps]
    blocks: list[Block] = [Bullets(items=tuple(sentences))] if sentences else []
    blocks += price_blocks(reading)
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


def _limits(reading: Reading, columns: Sequence[Alternative]) -> Section:
    blocks: list[Block] = [Bullets(items=limits_in_words(reading.result.farm, reading.wording))]
    broken = tuple(
        Entry(label=f"{reading.heading(plan)} does not keep", text=sentence)
        for plan in columns
        for sentence in plan.breaks
    )
    if broken:
        blocks.append(Entries(items=broken))
    return Section(key="limits", title="Limits that the plans have to keep", blocks=tuple(blocks))


def _checks(reading: Reading, columns: Sequence[Alternative]) -> list[Section]:
    """Only where the second reckoning disagrees; otherwise one row of the summary says all."""
    rows = tuple(
        (reading.letter(plan), check.what, reading.wording.in_unit(check.largest_difference, check.unit))
        for plan in columns
        for check in reading.result.checks.get(plan.key, ())
        if not check.agrees
    )
    if not rows:
        return []
    warning = Paragraph(
        text="Do not use these plans before this is cleared up: the second reckoning disagrees."
    )
    grid = Grid(header=("Plan", "What", "Largest difference"), rows=rows)
    return [Section(key="checks", title="SECOND RECKONING DISAGREES", blocks=(warning, grid))]


def _background(result: Result, tables: Tables) -> list[Section]:
    sections = []
    if result.left_out:
        sections.append(
            Section(
                key="left_out",
                title="Left out, and why",
                blocks=(Bullets(items=_by_reason(result.left_out)),),
            )
        )
    if result.assumptions:
        sections.append(
            Section(
                key="assumptions",
                title="Taken for granted",
                blocks=(Bullets(items=tuple(result.assumptions)),),
            )
        )
    if result.cautions:
        sections.append(
            Section(key="cautions", title="Take care", blocks=(Bullets(items=tuple(result.cautions)),))
        )
    blocks = [Paragraph(text=text) for text in (_figures_used(tables), ESTIMATE) if text]
    sections.append(Section(key="sources", title="Where the figures come from", blocks=tuple(blocks)))
    return sections


def _by_reason(left_out: Sequence[tuple[str, str]]) -> tuple[str, ...]:
    """Each reason once, with all that it keeps out."""
    names: dict[str, list[str]] = {}
    for name, reason in left_out:
        names.setdefault(reason, []).append(name)
    return tuple(
        f"{capital(reason.rstrip('. '))}: {'; '.join(kept_out)}." for reason, kept_out in names.items()
    )


def _figures_used(tables: Tables) -> str:
    figures = used_figures(tables)
    if not figures:
        return ""
    sources = {figure.source for figure in figures}
    marks: Counter[str] = Counter(figure.mark for figure in figures)
    parts = ", ".join(f"{marks[mark]} {meaning}" for mark, meaning in MARKS.items() if marks[mark])
    return (
        f"{len(figures)} figures from {len(sources)} sources were looked up for this page: {parts}. "
        "`rotation-opt sources --used-by` and the farm file lists them all."
    )
