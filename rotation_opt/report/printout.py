"""All pages of a plan's printout, in their order."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from rotation_opt.records import Alternative, Farm, Result
from rotation_opt.report.background import background_sections, caution_sections
from rotation_opt.report.balances import balance_sections
from rotation_opt.report.binding import binding_sections
from rotation_opt.report.blocks import Bullets, Page, Paragraph, Printout, Section
from rotation_opt.report.budget import budget_page
from rotation_opt.report.calendar_page import calendar_page
from rotation_opt.report.canopy_page import canopy_page
from rotation_opt.report.carry_over import carry_over_sections
from rotation_opt.report.cash import cash_sections
from rotation_opt.report.cleaner import price_sections
from rotation_opt.report.content import field_sections, limit_sections, summary_sections
from rotation_opt.report.field_years import ShortNames, practices_of
from rotation_opt.report.followup import KEY as FOLLOWUP
from rotation_opt.report.followup import followup_page
from rotation_opt.report.machines import machine_sections
from rotation_opt.report.reasons_page import reasons_page
from rotation_opt.report.risk import risk_sections
from rotation_opt.report.scouting import scouting_page
from rotation_opt.report.summary import AS_NOW, Reading
from rotation_opt.report.weed_course import weeds_page
from rotation_opt.report.weed_plan import weed_plan_page
from rotation_opt.report.wording import Wording
from rotation_opt.tables import Tables

PAGES = {
    "summary": "the plans side by side",
    "cleaner": "what being cleaner costs",
    "fields": "fields and years",
    "limits": "limits, and what holds the plans back",
    "care": "what to take care of",
    "risk": "good and bad years, and what is left after the plan",
    "money": "cash by quarter, owning and hiring",
    "balances": "where hay, hours and crops go",
    "canopy": "which crops stand before the weed comes up",
    "budget": "what each crop brings and costs; hire and inputs to order",
    "weeds": "the course of the weeds on each field",
    "reasons": "why this crop here",
    "calendar": "what to do when",
    "weed-plan": "one dated page for a landlord, a certifier or a weed authority",
    "scouting": "a sheet to count the shoots with",
    "background": "what the figures rest on",
}
"""Pages by the key they are asked for by, in their order, and what is on them."""

FIRST = ("summary", "cleaner", "fields", "limits", "care")
"""Pages printed where no others are asked for."""


def printout(result: Result, tables: Tables, shown: Sequence[str] | None = None) -> Printout:
    """The printout of one run.

    Parameters
    ----------
    result : Result
        What the run found.
    tables : Tables
        Names of crops and practices, and the figures the run looked up.
    shown : sequence of str, optional
        Titles of the alternatives to show; all by default. For one that came out the same as another, that
        other one is shown too, since it alone has columns and pages.

    Returns
    -------
    Printout
        All pages, without layout.
    """
    farm = result.farm
    words = Wording(farm, tables)
    plans = _shown(result, shown)
    reading = Reading(result, words)
    pages = _pages(reading, plans)
    return Printout(
        title=f"{farm.name}: rotation plans {_span(farm)}",
        lead=_lead(farm, words),
        foot=_foot(farm, words),
        pages=tuple(page for page in pages if page.sections),
        language="en-US" if farm.region == "us" else "en-GB",
        paper="Letter" if farm.units == "us" else "A4",
    )


def _shown(result: Result, titles: Sequence[str] | None) -> list[Alternative]:
    if titles is None:
        return list(result.alternatives)
    asked = [plan for plan in result.alternatives if plan.title in titles]
    wanted = {plan.title for plan in asked} | {plan.same_as for plan in asked}
    return [plan for plan in result.alternatives if plan.title in wanted]


def only(whole: Printout, keys: Sequence[str]) -> Printout:
    """The same with some pages only; a page about one plan goes by the key of its kind."""
    return replace(whole, pages=tuple(page for page in whole.pages if kind_of(page) in keys))


def first_pages(whole: Printout) -> Printout:
    """The first few pages, and which others there are."""
    first = only(whole, (FOLLOWUP, *FIRST))  # the first one stands there only where the rest was planned anew
    others = dict.fromkeys(kind_of(page) for page in whole.pages if page not in first.pages)
    if not others:
        return first
    how = (
        "Print one with --page NAME, all with --page all; --save FILE.html or FILE.pdf writes them to a file."
    )
    blocks = (Bullets(items=tuple(f"{key}: {PAGES[key]}" for key in others)), Paragraph(text=how))
    more = Section(key="more", title="More pages", blocks=blocks)
    return replace(
        first, pages=(*first.pages, Page(key="more", title="More pages", lead=(), sections=(more,)))
    )


def kind_of(page: Page) -> str:
    """Key in `PAGES` of a page; that of a page about one plan goes on with the plan."""
    return page.key.partition(":")[0]


def _pages(reading: Reading, plans: Sequence[Alternative]) -> Iterator[Page]:
    result, words = reading.result, reading.wording
    columns = [plan for plan in plans if not plan.same_as]
    grown = [plan for plan in (reading.as_now, *columns) if plan is not None]
    names = ShortNames(practices_of(grown), words)
    yield followup_page(reading, columns, names)
    yield _page("summary", "Side by side", summary_sections(reading, plans))
    yield _page("cleaner", "What being cleaner costs", price_sections(reading, columns))
    yield _page("fields", "Fields and years", field_sections(reading, columns, names))
    limits = (*limit_sections(reading, columns), *binding_sections(reading, columns))
    yield _page("limits", "Limits", limits)
    yield _page("care", "Before you go by it", caution_sections(result))
    risks = (*risk_sections(reading, columns), *carry_over_sections(reading, columns))
    yield _page("risk", "Good and bad years", risks)
    yield _page("money", "Money", (*cash_sections(reading, columns), *machine_sections(reading)))
    yield _page("balances", "Balances", balance_sections(reading, columns))
    yield canopy_page(reading, columns)
    # as now may be what is done: the plan followed, after a year of it, or the best there is
    now = "" if reading.as_now is None else reading.as_now.title
    goes_on = result.followup is not None or any(plan.same_as == now for plan in result.alternatives if now)
    for plan in columns:
        yield budget_page(reading, plan)
        yield weeds_page(reading, plan)
        if plan.key != AS_NOW:
            yield reasons_page(reading, plan)
        if plan.key != AS_NOW or goes_on:
            yield calendar_page(reading, plan)
            yield weed_plan_page(reading, plan)
    yield scouting_page(reading, columns)
    yield _page("background", "What the figures rest on", background_sections(result, words.tables))


def _page(key: str, title: str, sections: Sequence[Section]) -> Page:
    return Page(key=key, title=title, lead=(), sections=tuple(sections))


def _span(farm: Farm) -> str:
    return f"{farm.first_year} to {farm.first_year + farm.years - 1}"


def _lead(farm: Farm, words: Wording) -> tuple[str, ...]:
    lines = [f"{words.land} {'Organic. ' if farm.organic else ''}As of {words.dated(farm.decided_on)}."]
    if farm.adviser:
        lines.append(f"Adviser: {farm.adviser}.")
    if farm.invented:
        lines.append("This is an invented demo farm: its people, fields and figures are made up.")
    return tuple(lines)


def _foot(farm: Farm, words: Wording) -> str:
    """What stands on every sheet: whose plan, by whom, of when."""
    adviser = f", adviser {farm.adviser}" if farm.adviser else ""
    invented = ", an invented farm" if farm.invented else ""
    return f"{farm.name}{invented}{adviser}, as of {words.dated(farm.decided_on)}"
