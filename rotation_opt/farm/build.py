"""Checked blocks to a :class:`records.Farm`: the one place where farm units become SI and hectares."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Literal, TypeVar

from rotation_opt import units
from rotation_opt.farm import blocks as b
from rotation_opt.farm import weather
from rotation_opt.farm.reading import Blocks, Placed
from rotation_opt.herd_feed import hay_need
from rotation_opt.records import (
    Crop,
    Farm,
    Field,
    Labour,
    Machine,
    Outlet,
    OwnMachine,
    Patch,
    Practice,
    Purchase,
)
from rotation_opt.standing_hay import standing_key, standing_price
from rotation_opt.tables import Tables

T = TypeVar("T")
HireUnit = Literal["ha", "bale", "t", "h"]

DAYS_IN_MONTH = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
#: Days of each half-month; the first half ends on the 15th.
DAYS_IN_HALF_MONTH = tuple(days for month in DAYS_IN_MONTH for days in (15, month - 15))
_FRAME_M2 = {"frame_m2": 1.0, "frame_sq_ft": units.SQUARE_FOOT_M2, "frame_sq_yd": units.SQUARE_YARD_M2}
CURRENCY = {"us": "USD", "metric": "EUR"}


def sure(value: T | None) -> T:
    """A value that the checks have shown to be there."""
    if value is None:
        raise AssertionError("a needed key is missing although no fault was told")
    return value


# ---------------------------------------------------------------- conversions by key


def area_ha(block: b.Block, family: b.Family = b.AREA) -> float | None:
    """Area in hectares from the key that is given. Shares of a field are not handled here."""
    key = block.given(family)
    if key is None or key.endswith("_pct"):
        return None
    value = float(getattr(block, key))
    return value * units.ACRE_HA if key.endswith("_acres") else value


def money_per_ha(block: b.Block, family: b.Family) -> float | None:
    """Money per hectare from the key that is given."""
    key = block.given(family)
    if key is None:
        return None
    value = float(getattr(block, key))
    return value / units.ACRE_HA if key.endswith("_per_acre") else value


def money_per_t(block: b.Block, family: b.Family, crop: Crop) -> float | None:
    """Money per tonne from a key ending in ``_per_bu``, ``_per_ton`` ...

    Raises
    ------
    ValueError
        If the crop is not sold by the bushel.
    """
    key = block.given(family)
    if key is None:
        return None
    return float(getattr(block, key)) / units.tonnes_per(key.rpartition("_per_")[2], crop)


def tonnes(block: b.Block, family: b.Family, crop: Crop) -> float | None:
    """Tonnes from a key ending in ``_bu``, ``_ton`` ...; raises ValueError as :func:`money_per_t`."""
    key = block.given(family)
    if key is None:
        return None
    return float(getattr(block, key)) * units.tonnes_per(key.rpartition("_")[2], crop)


def yield_t_ha(block: b.CropBlock, crop: Crop) -> float | None:
    """Tonnes per hectare from a key like ``yield_bu_per_acre``; raises ValueError as :func:`money_per_t`."""
    key = block.given(b.YIELD)
    if key is None:
        return None
    _, unit, _, land = key.split("_")
    value = float(getattr(block, key)) * units.tonnes_per(unit, crop)
    return value / units.ACRE_HA if land == "acre" else value


def hay_t(block: b.Block, family: b.Family) -> float | None:
    """Tonnes of hay from a key in short tons or tonnes."""
    key = block.given(family)
    if key is None:
        return None
    return float(getattr(block, key)) * (units.SHORT_TON_T if key.endswith("_ton") else 1.0)


def feed_need_t(block: b.LivestockBlock, tables: Tables) -> float:
    """Hay the herd eats in a year, as fed: what the file says, else from head, weight and days."""
    if block.head is None:
        return hay_t(block, b.HAY_NEED) or 0.0
    weight = sure(block.given(b.LIVE_WEIGHT))
    kg = float(getattr(block, weight)) * (units.POUND_KG if weight.endswith("_lb") else 1.0)
    share = {
        name: tables.number("money", "any", name)
        for name in ("feed_intake_share", "feed_dry_matter_share", "feed_waste_share")
    }
    return (
        hay_need(
            block.head,
            kg,
            share["feed_intake_share"],
            sure(block.days),
            dry_matter_share=share["feed_dry_matter_share"],
            waste_share=share["feed_waste_share"],
        )
        / 1000.0
    )


def density(block: b.Block, family: b.Family) -> float | None:
    """Shoots per square metre, from a density or from counts in a frame."""
    key = block.given(family)
    if key is None:
        return None
    if key == "counts":
        counts: list[float] = getattr(block, key)
        return sum(counts) / len(counts) / _frame_m2(block)
    value = float(getattr(block, key))
    return value / units.SQUARE_FOOT_M2 if key.endswith("_sq_ft") else value


def _frame_m2(block: b.Block) -> float:
    """Size of the counting frame."""
    frame = sure(block.given(b.FRAME))
    return float(getattr(block, frame)) * _FRAME_M2[frame]


def half_months(block: b.LabourBlock, family: b.Family) -> tuple[float, ...] | None:
    """24 values of hours, from hours by half-month or hours a week."""
    key = block.given(family)
    if key is None:
        return None
    if key.endswith("by_half_month"):
        return tuple(float(hours) for hours in getattr(block, key))
    people = block.workers if family is b.HOURS else 1.0
    weekly = [getattr(block, key)] * 12 if key.endswith("per_week") else getattr(block, key)
    return tuple(float(weekly[i // 2]) * people * days / 7.0 for i, days in enumerate(DAYS_IN_HALF_MONTH))


_HIRED_BY: Mapping[str, tuple[HireUnit, float]] = {
    "hire_rate_per_acre": ("ha", 1.0 / units.ACRE_HA),
    "hire_rate_per_ha": ("ha", 1.0),
    "hire_rate_per_bale": ("bale", 1.0),
    "hire_rate_per_ton": ("t", 1.0 / units.SHORT_TON_T),
    "hire_rate_per_t": ("t", 1.0),
    "hire_rate_per_hour": ("h", 1.0),
}


def hire_units(machine: Machine, tables: Tables) -> frozenset[HireUnit]:
    """What a machine can be hired by: area or the hour; weight and bales only if crop passes through it."""
    handles_crop = machine.season in ("haymaking", "harvest")
    makes_bales = tables.has("machine", machine.key, "bale_kg")
    return frozenset({"ha", "h", *(("t",) if handles_crop else ()), *(("bale",) if makes_bales else ())})


def hire_keys(machine: Machine, tables: Tables) -> tuple[str, ...]:
    """Keys of a farm file by which the hire rate of a machine can be given."""
    return tuple(key for key in b.HIRE_RATE if _HIRED_BY[key][0] in hire_units(machine, tables))


def hire_rate(block: b.MachineBlock, machine: Machine, tables: Tables) -> tuple[float, HireUnit] | None:
    """Own hire rate and what it is paid by: ``("ha", "bale", "t", "h")``; None if the file gives none.

    Raises
    ------
    ValueError
        If the rate is given in a unit that says nothing about the work of this machine.
    """
    key = block.given(b.HIRE_RATE)
    if key is None:
        return None
    by, factor = _HIRED_BY[key]
    if by not in hire_units(machine, tables):
        raise ValueError(f"not hired by the {by}")
    return float(getattr(block, key)) * factor, by


# ---------------------------------------------------------------- history and present rotation


def history_names(block: b.FieldBlock) -> list[str]:
    """Crop or practice keys of a field's history, oldest first."""
    entries = block.history or []
    dated = [entry for entry in entries if isinstance(entry, b.HistoryYear)]
    if dated:
        return [entry.crop for entry in sorted(dated, key=lambda entry: entry.year)]
    return [entry for entry in entries if isinstance(entry, str)]


def practice_keys(grown: Iterable[str], tables: Tables, before: str = "") -> list[str]:
    """Practice keys of crops or practices grown one after the other.

    A bare crop stands for its usual practice; a hay stand grows older by a year each time it follows
    itself, so that ``["alfalfa", "alfalfa"]`` is a sowing year and a first full hay year.

    Raises
    ------
    LookupError
        If the tables have no practice that grows the crop in that place; carries the crop's key.
    """
    keys: list[str] = []
    previous = tables.practices.get(before)
    for name in grown:
        practice = _practice(name, previous, tables)
        keys.append(practice.key)
        previous = practice
    return keys


def _practice(name: str, previous: Practice | None, tables: Tables) -> Practice:
    if name in tables.practices and name not in tables.crops:
        return tables.practices[name]
    stands = previous.leaves_stand if previous is not None else ""
    choices = [practice for practice in tables.practices.values() if practice.crop == name]
    if stands and any(practice.needs_stand == stands for practice in choices):
        fitting = [practice for practice in choices if practice.needs_stand == stands]
    else:
        fitting = [practice for practice in choices if not practice.needs_stand] or choices
    if not fitting:
        raise LookupError(name)
    usual = [practice for practice in fitting if practice.usual]
    # a stand that is new: sown in spring, which is possible after any crop
    spring = [practice for practice in fitting if practice.sowing == "spring"]
    return (usual or spring or fitting)[0]


def repeated(history: Sequence[str], years: int) -> list[str]:
    """The present rotation where none is given: the history over again."""
    return [history[year % len(history)] for year in range(years)]


# ---------------------------------------------------------------- the farm


def build(found: Blocks, tables: Tables, file: str) -> Farm:
    """The farm record from blocks that hold no fault."""
    farm: b.FarmBlock = found.single["farm"].block
    custom = sure(farm.units)
    limits: b.LimitsBlock = _block(found, "limits", b.LimitsBlock)
    storage: b.StorageBlock = _block(found, "storage", b.StorageBlock)
    livestock: b.LivestockBlock = _block(found, "livestock", b.LivestockBlock)
    market: b.MarketBlock = _block(found, "market", b.MarketBlock)
    costs: b.CostsBlock = _block(found, "costs", b.CostsBlock)
    years = farm.years
    crops = [placed.block for placed in found.many.get("crop", ())]
    prices = own_prices(crops, tables)
    organic = sure(farm.organic)
    feed_price = hay_t_price(livestock)
    return Farm(
        name=sure(farm.name),
        place=farm.place,
        adviser=farm.adviser,
        invented=farm.invented,
        region="uk" if (farm.region or ("us" if custom == "us" else "uk")) == "uk" else "us",
        units="us" if custom == "us" else "metric",
        currency=farm.currency or CURRENCY[custom],
        station=sure(farm.climate),
        climate_note=farm.climate_note,
        daily_file=str(weather.daily_file(found, Path(file)) or ""),
        first_year=sure(farm.first_year),
        years=years,
        decided_on=_iso(sure(farm.decided_on)),
        organic=organic,
        fields=tuple(_field(placed, years, tables) for placed in found.many["field"]),
        machines=_machines(found, tables),
        labour=_labour(found.single["labour"].block, tables),
        outlets=tuple(
            _outlet(placed.block, prices, organic, tables) for placed in found.many.get("outlet", ())
        ),
        no_market=frozenset(market.no_market),
        yields_t_ha=own_yields(crops, tables),
        prices_per_t=prices,
        costs=_costs(costs),
        feed_need_t=feed_need_t(livestock, tables),
        grazing_need_t=hay_t(livestock, b.GRAZING_NEED),
        feed_price_per_t=feed_price if feed_price is not None else _bought_hay(prices, organic, tables),
        hay_storage_t=hay_t(storage, b.HAY_STORE) or 0.0,
        hay_stored_now_t=hay_t(storage, b.HAY_NOW) or 0.0,
        hay_storage_loss=storage.loss_pct / 100.0
        if storage.loss_pct is not None
        else tables.number("money", "any", "hay_storage_loss"),
        cash_floor=-math.inf if limits.cash_floor is None else limits.cash_floor,
        fixed_cost=limits.fixed_cost_per_year + (costs.debt_payment_per_year or 0.0),
        debt_per_year=costs.debt_payment_per_year or 0.0,
        debt_month=costs.debt_payment_month or 12,
        cash_now=limits.cash_now,
        cash_floor_quarter=limits.cash_floor_quarter,
        bad_years_weight=limits.bad_years_weight_pct / 100.0,
        count_weeds_left=limits.count_weeds_left,
        sold_month={sure(c.name): c.sold_in_month for c in crops if c.sold_in_month is not None},
        refuses=banned(limits.refuses, tables),
        largest_share={key: pct / 100.0 for key, pct in limits.largest_share_pct.items()},
        least_share={key: pct / 100.0 for key, pct in limits.least_share_pct.items()},
        soil_cover=tuple((span.first, span.last) for span in limits.soil_cover),
        target_shoots_per_m2=_or(density(limits, b.TARGET), 1.0),
        weedy_price_off={
            sure(c.name): c.weedy_price_off_pct / 100.0 for c in crops if c.weedy_price_off_pct is not None
        },
        weedy_from_loss={
            sure(c.name): c.weedy_from_loss_pct / 100.0 for c in crops if c.weedy_from_loss_pct is not None
        },
        file=file,
    )


def _block(found: Blocks, name: str, model: type[T]) -> T:
    placed = found.single.get(name)
    return model() if placed is None else placed.block


def _or(value: float | None, default: float) -> float:
    return default if value is None else value


def _iso(day: date) -> str:
    return day.isoformat()


def _field(placed: Placed, years: int, tables: Tables) -> Field:
    block: b.FieldBlock = placed.block
    size = sure(area_ha(block))
    names = history_names(block)
    history = practice_keys(names, tables)
    if block.as_now is not None:
        as_now = practice_keys(block.as_now, tables, history[-1])
    else:
        as_now = practice_keys(repeated(names, years), tables, history[-1])
    return Field(
        name=sure(block.name),
        area_ha=size,
        history=tuple(history),
        as_now=tuple(as_now),
        patches=tuple(patch(each.block, size) for each in placed.patches),
        lease_end_year=block.lease_end,
        landlord_share=block.landlord_share_pct / 100.0,
        rent_per_ha=money_per_ha(block, b.RENT) or 0.0,
        soil=block.soil,
        yield_ratio=block.yield_ratio,
        yield_ratios=dict(block.yield_ratio_by_crop),
        bans=banned(block.bans, tables),
    )


def patch_area(block: b.PatchBlock, field_ha: float) -> float | None:
    """Size of a patch in hectares, also where it is given as a share of its field."""
    if block.share_of_field_pct is not None:
        return field_ha * block.share_of_field_pct / 100.0
    return area_ha(block, b.PATCH_AREA)


def patch(block: b.PatchBlock, field_ha: float) -> Patch:
    """A counted patch in hectares and shoots per square metre."""
    return Patch(
        weed=sure(block.weed),
        area_ha=sure(patch_area(block, field_ha)),
        shoots_per_m2=sure(density(block, b.COUNTED)),
        counted_on=_iso(sure(block.counted_on)),
        stage=sure(block.stage),  # type: ignore[arg-type]  # checked against the same list of stages
        stops=len(block.counts or ()),
        frame_m2=_frame_m2(block) if block.counts else 0.0,
    )


def banned(wanted: Iterable[str], tables: Tables) -> frozenset[str]:
    """Keys of crops and practices, crop groups, tags; wider names become the crops they stand for."""
    practices = tables.practices.values()
    known = {*tables.crops, *tables.practices, *(crop.group for crop in tables.crops.values())}
    known |= {tag for practice in practices for tag in practice.tags}
    keys: set[str] = set()
    for name in wanted:
        if name in known:
            keys.add(name)
        else:
            keys |= {key for key, crop in tables.crops.items() if name in _wider_names(crop)}
    return frozenset(keys)


def _wider_names(crop: Crop) -> set[str]:
    names = {crop.family, crop.kind}
    if crop.legume:
        names.add("legume")
    if crop.small_grain:
        names.add("small_grain")
    return names


def _machines(found: Blocks, tables: Tables) -> Mapping[str, OwnMachine]:
    farm: b.FarmBlock = found.single["farm"].block
    labour: b.LabourBlock = found.single["labour"].block
    usual_hours = sure(labour.machine_hours_a_day)
    given: dict[str, b.MachineBlock] = {p.block.name: p.block for p in found.many.get("machine", ())}
    machines = {}
    for key, machine in tables.machines.items():
        block = given.get(key)
        if block is None:
            block = b.MachineBlock(name=None, status=farm.other_machines)
        own_rate, hired_by = hire_rate(block, machine, tables) or (None, None)
        width = block.width_ft * units.FOOT_M if block.width_ft is not None else block.width_m
        machines[key] = OwnMachine(
            machine=key,
            status=_status(block),  # type: ignore[arg-type]  # one of own, hire, none
            width_m=width,
            hours_a_day=block.hours_a_day if block.hours_a_day is not None else usual_hours,
            units=block.number,
            hire_rate=own_rate,
            hire_unit=hired_by,
            hire_cap_ha=area_ha(block, b.HIRE_CAP),
            also_hire=block.also_hire and block.status == "own",
            comes_late_days=block.comes_late_days or 0,
            buy=block.status == "buy",
            terms=_terms(block),
            share=1.0 if block.share_pct is None else block.share_pct / 100.0,
        )
    return machines


def _status(block: b.MachineBlock) -> str:
    """How a machine is got at; one that might be bought is hired till then if the file says how."""
    if block.status != "buy":
        return sure(block.status)
    says_how = block.given(b.HIRE_RATE) or block.given(b.HIRE_CAP) or block.comes_late_days is not None
    return "hire" if says_how or block.also_hire else "none"


def _terms(block: b.MachineBlock) -> Purchase | None:
    """The grower's own terms of owning a machine; None if the file gives none."""
    terms = (block.price, block.years_kept, _share(block.interest_pct))
    if all(each is None for each in terms):
        return None
    return Purchase(price=terms[0], years_kept=terms[1], interest=terms[2])


def _labour(block: b.LabourBlock, tables: Tables) -> Labour:
    wage, extra = block.wage_per_hour, block.extra_wage_per_hour
    return Labour(
        hours_by_half_month=sure(half_months(block, b.HOURS)),
        wage_per_h=wage if wage is not None else tables.number("money", "any", "wage_per_h"),
        extra_hours_by_half_month=half_months(block, b.EXTRA_HOURS) or (0.0,) * 24,
        extra_wage_per_h=extra if extra is not None else tables.number("money", "any", "extra_wage_per_h"),
        bad_year=block.bad_year,
    )


def own_yields(crops: Iterable[b.CropBlock], tables: Tables) -> dict[str, float]:
    """The grower's own yields by crop, t/ha."""
    given = {sure(c.name): yield_t_ha(c, tables.crops[sure(c.name)]) for c in crops}
    return {key: value for key, value in given.items() if value is not None}


def own_prices(crops: Iterable[b.CropBlock], tables: Tables) -> dict[str, float]:
    """The grower's own prices by crop, per tonne."""
    given = {sure(c.name): money_per_t(c, b.PRICE, tables.crops[sure(c.name)]) for c in crops}
    return {key: value for key, value in given.items() if value is not None}


def price_per_t(crop: str, prices: Mapping[str, float], organic: bool, tables: Tables) -> float | None:
    """The grower's price of a crop, else that of the crop tables; None if there is none."""
    if crop in prices:
        return prices[crop]
    for quantity in ("price_organic_per_t", "price_per_t") if organic else ("price_per_t",):
        if tables.has("crop", crop, quantity):
            return tables.number("crop", crop, quantity)
    return None


def _outlet(block: b.OutletBlock, prices: Mapping[str, float], organic: bool, tables: Tables) -> Outlet:
    key = sure(block.crop)
    crop = tables.crops[key]
    price = money_per_t(block, b.PRICE, crop)
    if price is None:
        price = sure(price_per_t(key, prices, organic, tables))
        if block.standing:
            price = standing_price(price, tables.number("money", "any", "standing_hay_share"))
    return Outlet(
        name=sure(block.name),
        crop=standing_key(key) if block.standing else key,
        price_per_t=price,
        least_t=tonnes(block, b.LEAST, crop) or 0.0,
        most_t=tonnes(block, b.MOST, crop),
        years=tuple(sorted(set(block.years))),
        haul_per_t=money_per_t(block, b.HAUL, crop) or 0.0,
        sold_month=block.sold_in_month,
    )


def _costs(block: b.CostsBlock) -> dict[str, float]:
    """Own figures under the names they have in the table of money figures."""
    figures: dict[str, float | None] = {
        "fuel_per_l": block.fuel_per_gallon / units.GALLON_L
        if block.fuel_per_gallon is not None
        else block.fuel_per_litre,
        "nitrogen_per_kg": block.nitrogen_per_lb / units.POUND_KG
        if block.nitrogen_per_lb is not None
        else block.nitrogen_per_kg,
        "interest_rate": _share(block.interest_pct),
        "surplus_price_share": _share(block.surplus_price_pct),
    }
    return {key: value for key, value in figures.items() if value is not None}


def _share(percent: float | None) -> float | None:
    return None if percent is None else percent / 100.0


def hay_t_price(block: b.LivestockBlock) -> float | None:
    """Price of hay bought in, per tonne."""
    key = block.given(b.HAY_PRICE)
    if key is None:
        return None
    value = float(getattr(block, key))
    return value / units.SHORT_TON_T if key.endswith("_ton") else value


def _bought_hay(prices: Mapping[str, float], organic: bool, tables: Tables) -> float:
    """Price of hay bought in where the farm file gives none: the dearest hay of its own, carried here."""
    sold = [
        price
        for key, crop in tables.crops.items()
        if crop.product == "hay" and (price := price_per_t(key, prices, organic, tables)) is not None
    ]
    ratio = tables.number("money", "any", "feed_hay_price_ratio")
    return max(sold, default=0.0) * ratio
