"""What no single key can show: values that clash with one another or with the crop tables.

Each check looks at the keys that are sound by themselves and is silent about the others, so that all
faults of a file are told in one go.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise

from rotation_opt import units
from rotation_opt.farm import blocks as b
from rotation_opt.farm import build
from rotation_opt.farm.names import Names
from rotation_opt.farm.reading import Blocks, Placed, Report
from rotation_opt.farm.text import show
from rotation_opt.records import Crop
from rotation_opt.standing_hay import STANDING, standing_key
from rotation_opt.tables import Tables
from rotation_opt.words import listed

MOST_FOR_SALE = 3
_SLACK = 1.0 + 1e-9  # areas that add up to the whole field are not "larger" by rounding


@dataclass(frozen=True, slots=True)
class _Case:
    """All that a check looks at."""

    found: Blocks
    tables: Tables
    names: Names
    report: Report

    @property
    def farm(self) -> b.FarmBlock:
        placed = self.found.single.get("farm")
        return b.FarmBlock() if placed is None else placed.block

    @property
    def first_year(self) -> int | None:
        return self.farm.first_year

    @property
    def years(self) -> int | None:
        placed = self.found.single.get("farm")
        return None if placed is None or "years" in placed.wrong else self.farm.years

    @property
    def customary(self) -> units.Units:
        return "metric" if self.farm.units == "metric" else "us"

    def each(self, name: str) -> Iterator[Placed]:
        yield from self.found.many.get(name, ())

    def tell(self, placed: Placed, key: str, found: str, allowed: str, hint: str = "") -> None:
        path = (*placed.path, key.split(", ", maxsplit=1)[0]) if key else placed.path
        self.report.add(path, placed.title, key, found, allowed, hint)


def check(found: Blocks, tables: Tables, names: Names, report: Report) -> None:
    """Run all checks; faults go to `report`."""
    case = _Case(found, tables, names, report)
    for one in _CHECKS:
        one(case)


def _names_stand_once(case: _Case) -> None:
    for kind in ("field", "machine", "outlet", "crop"):
        entries = [placed for placed in case.each(kind) if placed.block.name is not None]
        counts = Counter(_folded(placed.block.name) for placed in entries)
        seen: set[str] = set()
        for placed in entries:
            name = _folded(placed.block.name)
            if counts[name] > 1 and name in seen:
                hint = "Give every field a name of its own." if kind == "field" else "Take one of them out."
                case.tell(placed, "name", show(placed.block.name), f"each {kind} may stand once", hint)
            seen.add(name)


def _folded(name: str) -> str:
    return " ".join(name.casefold().split())


def _dates_fit_the_plan(case: _Case) -> None:
    placed, first = case.found.single.get("farm"), case.first_year
    if placed is None or first is None:
        return
    decided = case.farm.decided_on
    if decided is not None and decided.year > first:
        allowed = f"allowed is a day before the first harvest year {first} is over"
        case.tell(
            placed, "decided_on", decided.isoformat(), allowed, "Move first_year on, or put the day back."
        )
    for field in case.each("field"):
        for patch in field.patches:
            counted = patch.block.counted_on
            if counted is not None and counted.year > first:
                allowed = f"allowed is a day before the first harvest year {first} is over"
                case.tell(patch, "counted_on", counted.isoformat(), allowed)


def _leases_reach_the_plan(case: _Case) -> None:
    first = case.first_year
    for placed in case.each("field"):
        end = placed.block.lease_end
        if end is not None and first is not None and end < first:
            allowed = f"a field in the plan is held at least until the first harvest year, {first}"
            case.tell(
                placed,
                "lease_end",
                str(end),
                allowed,
                "The lease ends before the plan starts: take the field out, or put in the new lease.",
            )


def _histories_reach_the_plan(case: _Case) -> None:
    first = case.first_year
    for placed in case.each("field"):
        entries = placed.block.history or []
        dated = sorted(entry.year for entry in entries if isinstance(entry, b.HistoryYear))
        if not dated:
            continue
        if len(dated) < len(entries):
            found = "years with some crops and none with others"
            case.tell(placed, "history", found, "allowed is a year with every crop or with none")
        elif dated != list(range(dated[0], dated[0] + len(dated))):
            found = f"the years {listed([str(year) for year in dated], 'and')}"
            case.tell(placed, "history", found, "allowed is each year once and none left out between")
        elif first is not None and dated[-1] != first - 1:
            allowed = f"the last year must be {first - 1}, the year before the plan"
            case.tell(placed, "history", f"a history that ends in {dated[-1]}", allowed)


def _crops_can_be_grown(case: _Case) -> None:
    for placed in case.each("field"):
        block: b.FieldBlock = placed.block
        before = ""
        for key, grown in (("history", build.history_names(block)), ("as_now", block.as_now or [])):
            try:
                keys = build.practice_keys(grown, case.tables, before)
            except LookupError as missing:
                name = case.names.shown("crop", str(missing.args[0]))
                allowed = "allowed is a crop that the crop tables have a practice for"
                case.tell(placed, key, f'"{name}"', allowed)
                break
            _stands_follow_their_sowing(case, placed, key, [before, *keys])
            before = keys[-1] if keys else ""
        if block.as_now is not None and case.years is not None and len(block.as_now) != case.years:
            count = len(block.as_now)
            found = f"{count} crop{'s' if count != 1 else ''}"
            allowed = f"allowed is one for each of the {case.years} years of the plan"
            case.tell(placed, "as_now", found, allowed, "Leave the key out to repeat the history.")


def _stands_follow_their_sowing(case: _Case, placed: Placed, key: str, keys: list[str]) -> None:
    """A year of a hay stand needs the stand; what came before the first year of a history is not known."""
    for entry, (before, now) in enumerate(pairwise(keys), start=1):
        needs = case.tables.practices[now].needs_stand
        if not needs or not before or case.tables.practices[before].leaves_stand == needs:
            continue
        found = f'"{case.names.shown("grown", now)}" after "{case.names.shown("grown", before)}"'
        crop, _, year = needs.partition(":")
        stand = f"a stand of {case.names.shown('crop', crop)} that comes into its year {year}"
        case.tell(placed, f"{key}, entry {entry}", found, f"needed before it is {stand}")


def _patches_fit_their_field(case: _Case) -> None:
    for placed in case.each("field"):
        size = build.area_ha(placed.block)
        by_weed: dict[str, float] = defaultdict(float)
        for patch in placed.patches:
            block: b.PatchBlock = patch.block
            if size is None:
                continue
            area = build.patch_area(block, size)
            if area is None:
                continue
            by_weed[block.weed or ""] += area
            key = block.given(b.PATCH_AREA) or ""
            if area > size * _SLACK:
                case.tell(patch, key, _area(area, case), f"the field has {_area(size, case)}")
            elif block.weed is not None and by_weed[block.weed] > size * _SLACK:
                name = case.names.shown("weed", block.weed)
                found = f"patches of {name} of {_area(by_weed[block.weed], case)} together"
                case.tell(patch, key, found, f"the field has {_area(size, case)}")


def _area(ha: float, case: _Case) -> str:
    return f"{units.figure(units.area(ha, case.customary))} {units.area_name(case.customary)}"


def _machines_are_as_said(case: _Case) -> None:
    for placed in case.each("machine"):
        block: b.MachineBlock = placed.block
        rate = block.given(b.HIRE_RATE)
        if block.name is not None and rate is not None:
            machine = case.tables.machines[block.name]
            try:
                build.hire_rate(block, machine, case.tables)
            except ValueError:
                allowed = (
                    f"this machine {'makes no bales' if rate.endswith('_bale') else 'takes up no crop'}: "
                    f"use {listed(build.hire_keys(machine, case.tables))}"
                )
                case.tell(placed, rate, show(getattr(block, rate)), allowed)
        hired = block.status in ("hire", "buy") or block.also_hire
        for key in (rate, block.given(b.HIRE_CAP)):
            if key is not None and block.status is not None and not hired:
                allowed = 'a hire rate or cap goes with status "hire" or "buy", or with also_hire = true'
                case.tell(placed, key, show(getattr(block, key)), allowed)
        if block.comes_late_days is not None and block.status not in (None, "hire", "buy"):
            allowed = 'comes_late_days goes with status "hire" or "buy"'
            case.tell(placed, "comes_late_days", show(block.comes_late_days), allowed)
        if block.also_hire and block.status not in (None, "own", "buy"):
            case.tell(placed, "also_hire", "true", 'also_hire goes with status "own" or "buy"')
        if block.share_pct is not None and block.status not in (None, "own", "buy"):
            allowed = 'share_pct, your part of a machine owned with others, goes with status "own" or "buy"'
            case.tell(placed, "share_pct", show(block.share_pct), allowed)
    wanted = [placed for placed in case.each("machine") if placed.block.status == "buy"]
    for placed in wanted[MOST_FOR_SALE:]:
        allowed = f"allowed are {MOST_FOR_SALE} machines with it, since every set of them is planned"
        case.tell(placed, "status", '"buy"', allowed, "Ask about the others another time.")


def _weights_suit_the_crop(case: _Case) -> None:
    for kind, families in (("crop", (b.YIELD, b.PRICE)), ("outlet", (b.PRICE, b.LEAST, b.MOST, b.HAUL))):
        for placed in case.each(kind):
            name = placed.block.name if kind == "crop" else placed.block.crop
            crop = case.tables.crops.get(name)
            if crop is not None and crop.product == "none" and placed.block.sold_in_month is not None:
                allowed = f"{case.names.shown('crop', crop.key)} gives nothing to sell"
                case.tell(
                    placed, "sold_in_month", show(placed.block.sold_in_month), allowed, "Take this key out."
                )
            for family in families:
                key = placed.block.given(family)
                if crop is None or key is None:
                    continue
                if "bu" in key.split("_") and crop.bushel_kg is None:
                    others = [other for other in family if "bu" not in other.split("_")]
                    shown = case.names.shown("crop", crop.key)
                    allowed = f"{shown} is not sold by the bushel; use {listed(others)}"
                    case.tell(placed, key, show(getattr(placed.block, key)), allowed)
                elif crop.product == "none":
                    allowed = f"{case.names.shown('crop', crop.key)} gives nothing to sell"
                    case.tell(placed, key, show(getattr(placed.block, key)), allowed, "Take this key out.")


def _outlets_can_be_served(case: _Case) -> None:
    land = [build.area_ha(placed.block) for placed in case.each("field")]
    for placed in case.each("outlet"):
        block: b.OutletBlock = placed.block
        first = case.first_year
        span = range(first, first + case.years) if first is not None and case.years is not None else None
        outside = [year for year in block.years if span is not None and year not in span]
        if span is not None and outside:
            found = listed([str(year) for year in outside], "and")
            case.tell(placed, "years", found, f"allowed are the years of the plan, {span[0]} to {span[-1]}")
        crop = case.tables.crops.get(block.crop or "")
        if crop is None:
            continue
        if crop.product == "none":
            shown = case.names.shown("crop", crop.key)
            case.tell(placed, "crop", f'"{shown}"', "allowed is a crop that gives something to sell")
            continue
        if block.standing and standing_key(crop.key) not in case.tables.crops:
            sold = [key.removesuffix(STANDING) for key in case.tables.crops if key.endswith(STANDING)]
            shown = listed([case.names.shown("crop", key) for key in sold])
            case.tell(placed, "standing", "true", f"sold standing can be {shown}", "Take this key out.")
            continue
        if crop.key in _unsold(case) and not block.standing:
            allowed = "a crop under no_market has no outlet"
            case.tell(
                placed, "crop", f'"{case.names.shown("crop", crop.key)}"', allowed, "Take one of the two out."
            )
        if (
            block.given(b.PRICE) is None
            and build.price_per_t(crop.key, _prices(case), bool(case.farm.organic), case.tables) is None
        ):
            case.tell(placed, "", "no price", f"needed is one of {listed(b.PRICE)}")
        least, most = _tonnes(block, b.LEAST, crop), _tonnes(block, b.MOST, crop)
        key = block.given(b.LEAST) or ""
        if least is not None and most is not None and least > most:
            found = f"{show(getattr(block, key))}, more than {block.given(b.MOST)}"
            case.tell(placed, key, found, "the least may not be above the most")
        if least is not None and land and all(size is not None for size in land):
            _contract_fits_the_land(case, placed, crop, least, sum(size for size in land if size is not None))


def _contract_fits_the_land(case: _Case, placed: Placed, crop: Crop, least_t: float, land_ha: float) -> None:
    """The most generous yield known, the grower's own or the high end of the tables, on all land."""
    yields = [_own_yield(case, crop)]
    if case.tables.has("crop", crop.key, "yield_t_ha"):
        figure = case.tables.figure("crop", crop.key, "yield_t_ha")
        yields += [figure.value, figure.high]
    best = max((value for value in yields if value is not None), default=None)
    if best is None:
        return
    fields = [each.block for each in case.each("field")]
    ratios = [field.yield_ratio_by_crop.get(crop.key, field.yield_ratio) for field in fields]
    could = best * max(ratios, default=1.0) * land_ha
    if least_t > could * _SLACK:
        key = placed.block.given(b.LEAST) or ""
        allowed = f"all land together yields at most {units.amount_text(could, crop, case.customary)} a year"
        case.tell(placed, key, show(getattr(placed.block, key)), allowed, "Look at the unit in the key.")


def _tonnes(block: b.OutletBlock, family: b.Family, crop: Crop) -> float | None:
    try:
        return build.tonnes(block, family, crop)
    except ValueError:  # told by _weights_suit_the_crop
        return None


def _own_yield(case: _Case, crop: Crop) -> float | None:
    for placed in case.each("crop"):
        if placed.block.name == crop.key:
            try:
                return build.yield_t_ha(placed.block, crop)
            except ValueError:
                return None
    return None


def _prices(case: _Case) -> dict[str, float]:
    """Own prices that can be read; the amount does not matter here."""
    return {
        placed.block.name: 0.0
        for placed in case.each("crop")
        if placed.block.name is not None and placed.block.given(b.PRICE) is not None
    }


def _unsold(case: _Case) -> set[str]:
    placed = case.found.single.get("market")
    return set() if placed is None else set(placed.block.no_market)


def _shares_leave_room(case: _Case) -> None:
    placed = case.found.single.get("limits")
    if placed is None:
        return
    block: b.LimitsBlock = placed.block
    for key, least in block.least_share_pct.items():
        largest = block.largest_share_pct.get(key)
        if largest is not None and least > largest:
            found = f"{least:g} for {show(key)}"
            case.tell(placed, "least_share_pct", found, f"largest_share_pct allows {largest:g} for it")
    total = sum(pct for key, pct in block.least_share_pct.items() if key in case.tables.crops)
    if total > 100.0:
        found = f"crops that need {total:g} % of the land together"
        case.tell(placed, "least_share_pct", found, "all of them together may need 100 %")


def _hay_fits_the_barn(case: _Case) -> None:
    placed = case.found.single.get("storage")
    if placed is None:
        return
    room, now = build.hay_t(placed.block, b.HAY_STORE), build.hay_t(placed.block, b.HAY_NOW)
    if room is not None and now is not None and now > room * _SLACK:
        key = placed.block.given(b.HAY_NOW) or ""
        found = show(getattr(placed.block, key))
        case.tell(
            placed,
            key,
            found,
            f"there is room for {show(getattr(placed.block, placed.block.given(b.HAY_STORE)))}",
        )


def _half_months_hold_their_hours(case: _Case) -> None:
    placed = case.found.single.get("labour")
    if placed is None:
        return
    block: b.LabourBlock = placed.block
    for weekly in block.hours_per_week_by_month or []:
        if weekly > 168.0:
            allowed = "one worker has at most 168 hours a week"
            case.tell(
                placed,
                "hours_per_week_by_month",
                f"{weekly:g}",
                allowed,
                "Give the number of people as workers.",
            )
            break


_CHECKS: tuple[Callable[[_Case], None], ...] = (
    _names_stand_once,
    _dates_fit_the_plan,
    _leases_reach_the_plan,
    _histories_reach_the_plan,
    _crops_can_be_grown,
    _patches_fit_their_field,
    _machines_are_as_said,
    _weights_suit_the_crop,
    _outlets_can_be_served,
    _shares_leave_room,
    _hay_fits_the_barn,
    _half_months_hold_their_hours,
)
