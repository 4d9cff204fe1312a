"""What comes first on paper: the weeds of today, and the plans side by side."""

from __future__ import annotations

from collections.abc import Sequence

from rotation_opt import units
from rotation_opt.records import Alternative, Patch, Result
from rotation_opt.report.annual_seed import seed_notes, seed_rows
from rotation_opt.report.blocks import Block, Bullets, Entries, Entry, Grid, Paragraph, Section
from rotation_opt.report.field_years import ShortNames, field_table
from rotation_opt.report.limits import limits_in_words
from rotation_opt.report.patch_growth import patch_notes, patch_rows
from rotation_opt.report.summary import Reading, side_by_side
from rotation_opt.report.wording import Wording, capital, percent, sentence
from rotation_opt.words import listed

NET_RETURN = (
    "Net return = sales, less seed and other inputs, less running costs and repairs of own machines, less "
    "hire, less own hours at the farm's own wage, less the landlord's share and rent{fixed}. It is what is "
    "left to pay for {rest}. Figures are means of the plan years."
)
ALL_THE_REST = "land, buildings and management"
SOONER = (
    "{best} counts money that comes sooner as more, by {rate} a year{bad}: so {richer} can bring more in the "
    "mean of the years."
)
WEED_ROOTS = (
    "Weed roots = the living root store in late {autumn}, all fields together that are farmed to the end. "
    "Plans are chosen by the likely roots (usual years), all years counting and the last one most. "
    "Low to high = eight in ten courses, over what a count in frames leaves open, other weed figures that "
    "fit published trials, cool and warm years, and the usual error with which trials not seen before are "
    "foretold (a few are missed by far more); so the likely figure can lie near one end. In a hoed crop "
    "shoots are counted after the hoe: there the roots tell more."
)


def summary_sections(reading: Reading, plans: Sequence[Alternative]) -> list[Section]:
    """Weeds today, and the plans side by side; a warning where the second reckoning disagrees.

    Parameters
    ----------
    reading : Reading
    plans : sequence of Alternative
        All that are shown, also those that came out the same as another one.
    """
    columns = [plan for plan in plans if not plan.same_as]
    return [
        _weeds_today(reading.result, reading.wording),
        _summary(reading, columns),
        *_remarks(reading, plans),
        *_checks(reading, columns),
    ]


def field_sections(reading: Reading, columns: Sequence[Alternative], names: ShortNames) -> list[Section]:
    """Fields and years of each plan, and what the short names mean."""
    plans = [_fields(reading, plan, names, first=plan is columns[0]) for plan in columns]
    return [*plans, Section(key="legend", title="What the short names mean", blocks=(names.legend(),))]


def limit_sections(reading: Reading, columns: Sequence[Alternative]) -> list[Section]:
    """The limits of the farm, and those that a plan does not keep."""
    return [_limits(reading, columns)]


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
                _from_to(counts) + _estimated([patch for _, patch in stands]),
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


def _estimated(patches: Sequence[Patch]) -> str:
    """That nobody counted patches, or some of them, for the day of the plan."""
    guessed = [patch.estimated for patch in patches]
    return ", estimated" if all(guessed) else ", partly estimated" if any(guessed) else ""


def _burden_today(result: Result, words: Wording) -> str:
    same = (result.start_burden_ha,) * 3
    return words.weed_area(next((plan.figures.burden[0] for plan in result.alternatives), same))


def _from_to(counts: Sequence[float]) -> str:
    low, high = units.density_text(min(counts)), units.density_text(max(counts))
    return low if low == high else f"{low} to {high}"


def _remarks(reading: Reading, plans: Sequence[Alternative]) -> list[Section]:
    """What is to be said of a plan that has no row; and which plans have no column."""
    entries = []
    for plan in plans:
        if plan.same_as:
            said: tuple[str, ...] = (f"Came out the same as {plan.same_as}, so it has no column of its own.",)
        else:
            said = plan.notes
        if said:
            entries.append(Entry(label=reading.heading(plan), text=" ".join(map(sentence, said))))
    if not entries:
        return []
    return [Section(key="plans", title="More on single plans", blocks=(Entries(items=tuple(entries)),))]


def _net_return(reading: Reading) -> str:
    cost = reading.result.farm.fixed_cost
    fixed = f", less the fixed cost of {reading.wording.money(cost)} a year" if cost else ""
    rest = "management, and for land and buildings not in the fixed cost" if cost else ALL_THE_REST
    return NET_RETURN.format(fixed=fixed, rest=rest)


def _sooner(reading: Reading, columns: Sequence[Alternative]) -> list[Paragraph]:
    """Why a plan with a higher mean is not the one with most money."""
    best = reading.most_money
    if best is None:
        return []
    richer = [
        reading.letter(plan)
        for plan in columns
        if not plan.breaks and round(reading.money_a_year(plan)) > round(reading.money_a_year(best))
    ]
    if not richer:
        return []
    farm = reading.result.farm
    usual = reading.wording.tables.number_or("money", "any", "interest_rate", 0.0)
    rate = farm.costs.get("interest_rate", usual)
    weight = farm.bad_years_weight
    bad = f", and bad years with a weight of {percent(weight)}" if weight > 0.0 else ""
    text = SOONER.format(
        best=reading.heading(best), rate=percent(rate), bad=bad, richer=listed(richer, "and")
    )
    return [Paragraph(text=text)]


def _summary(reading: Reading, columns: Sequence[Alternative]) -> Section:
    return Section(
        key="summary",
        title="Side by side",
        blocks=(
            side_by_side(reading, columns, (*patch_rows(reading), *seed_rows(reading))),
            Paragraph(text=_net_return(reading)),
            *_sooner(reading, columns),
            Paragraph(text=WEED_ROOTS.format(autumn=reading.wording.word("autumn"))),
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
