"""What holds the plan with most money back, and what a step more of each limit would bring."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, floor

from rotation_opt import units
from rotation_opt.records import Alternative, TightLimit
from rotation_opt.report.blocks import Grid, Paragraph, Section
from rotation_opt.report.summary import Reading
from rotation_opt.report.wording import Wording, capital, half_month

NOTHING = "no better plan found"
LESS_PAID = frozenset({"debt", "landlord", "bad_years"})
WITHOUT = frozenset({"ban", "refused", "no_market", "no_machine", "bare_soil"})  # there or not


def binding_sections(reading: Reading, columns: Sequence[Alternative]) -> list[Section]:
    """One section; none where the plan with most money is not shown or nothing was asked about it."""
    plan, limits = reading.most_money, reading.result.tight_limits
    if plan is None or not limits or not any(each is plan for each in columns):
        return []
    words = reading.wording
    grid = Grid(
        header=(
            "What holds it back",
            "One step",
            f"Brings, {words.money_unit} a year",
            "At least, for each",
        ),
        rows=tuple(_row(limit, words) for limit in limits),
    )
    said = (
        f"{reading.heading(plan)}, chosen anew with one limit at a time made a step wider, all else as "
        "it is, in every year. The first figure: a plan was found that brings so much more. At most, and "
        "the second figure: no plan brings more than that. What the step itself costs is not taken off."
    )
    if any(limit.kind in WITHOUT for limit in limits):
        said += (
            " Without it = the limit is gone: a crop is sold at its usual price, a machine that is not there "
            "is hired at its usual rate."
        )
    if any(limit.kind == "debt" for limit in limits):
        said += " Less paid on debt brings this beside what is not paid."
    return [Section(key="binding", title="What holds the plans back", blocks=(grid, Paragraph(text=said)))]


def _row(limit: TightLimit, words: Wording) -> tuple[str, ...]:
    gain = floor(limit.gain + 1e-6)
    each = _each(limit, words) if gain > 0 and limit.unit != "whole" else "-"
    return (_name(limit, words), _step(limit, words), _brings(limit, gain), each)


def _brings(limit: TightLimit, gain: int) -> str:
    """From what was found to what is proven, rounded to the safe side."""
    if limit.most is None:
        return f"at least {gain:,}" if gain > 0 else NOTHING
    most = max(ceil(limit.most - 1e-6), gain)
    if gain <= 0:
        return f"{NOTHING}; at most {most:,}"
    return f"{gain:,} to {most:,}" if most > gain else f"{gain:,}"


def _name(limit: TightLimit, words: Wording) -> str:
    """The limit as its grower would call it."""
    when = "" if limit.half_month is None else f", {half_month(limit.half_month)}"
    match limit.kind:
        case "labour":
            return f"Own hours of work{when}"
        case "extra_labour":
            return f"Extra help{when}"
        case "machine":
            return f"{capital(words.machine(limit.what))}{when}"
        case "hire":
            return f"{capital(words.machine(limit.what))} hired beside the own one"
        case "hired_area":
            return f"{capital(words.machine(limit.what))} that is hired"
        case "cash":
            return "Net return of the leanest year"
        case "cash_quarter":
            return "Cash in hand at the end of the leanest quarter"
        case "largest":
            return f"Largest share of {limit.what}"
        case "least":
            return f"Least share of {limit.what}"
        case "promise":
            return f"Promised to {limit.outlet}"
        case "outlet":
            return f"What {limit.outlet} takes"
        case "storage":
            return "Room for hay"
        case "feed":
            return "Hay the herd eats"
        case "debt":
            return "Payments on debt"
        case "late":
            return f"{capital(words.machine(limit.what))} comes late"
        case "bad_years":
            return "Bad years that count"
        case "lease":
            return f"{limit.field}: end of the lease"
        case "landlord":
            return f"{limit.field}: the landlord's share"
        case "ban":
            return f"{limit.field}: no {words.crop(limit.what).lower()}"
        case "refused":
            return f"Not wanted: {words.crop(limit.what).lower()}"
        case "no_market":
            return f"No buyer near for {words.crop(limit.what).lower()}"
        case "no_machine":
            return f"No {words.machine(limit.what)}"
        case "bare_soil":
            first, last = (words.day(int(day)) for day in limit.what.split("-"))
            return f"No bare soil from {first} to {last}"


LESS = frozenset({"cash", "cash_quarter", "least", "promise", "feed"})  # limits that are eased by asking less


def _step(limit: TightLimit, words: Wording) -> str:
    """How much wider."""
    if limit.unit == "whole":
        return _amount(limit, words)
    if limit.kind == "late":
        return f"{_amount(limit, words)} sooner"
    way = "less" if limit.kind in LESS | LESS_PAID else "more"
    crop = f" of {words.crop(limit.what).lower()}" if limit.kind in {"promise", "outlet"} else ""
    return f"{_amount(limit, words)}{crop} {way}"


def _amount(limit: TightLimit, words: Wording) -> str:
    match limit.unit:
        case "h":
            return f"{limit.step:,.0f} hours"
        case "ha":
            return words.area(limit.step)
        case "share":
            points = round(100.0 * limit.step, 3)
            return f"{points:.3g} point{'s' if points != 1 else ''}"
        case "currency":
            return words.money(limit.step)
        case "t":
            if limit.what:
                return words.amount(limit.step, limit.what)
            return f"{words.hay(limit.step)} {words.hay_unit}"
        case "year":
            return "one year"
        case "day":
            return "a day"
        case "whole":
            return "without it"


def _each(limit: TightLimit, words: Wording) -> str:
    """What one unit brings, to the figures that say something."""
    many, one = _units(limit, words)
    return f"{units.figure(limit.gain / many)} {one}"


def _units(limit: TightLimit, words: Wording) -> tuple[float, str]:
    """Units in a step, and one of them."""
    farm, crop = words.farm, words.tables.crops.get(limit.what)
    match limit.unit:
        case "h":
            return limit.step, "an hour"
        case "ha":
            return units.area(
                limit.step, farm.units
            ), f"{'an' if farm.units == 'us' else 'a'} {words.one_area}"
        case "share":
            return 100.0 * limit.step, "a point"
        case "currency":
            return limit.step, f"for {words.money(1.0)}"
        case "t":
            if crop is None:
                return units.hay_amount(limit.step, farm.units), f"a {units.hay_name(farm.units)}"
            return units.amount(limit.step, crop, farm.units), f"a {units.amount_name(crop, farm.units)}"
        case "year" | "day" | "whole":
            return limit.step, f"a {limit.unit}"
