"""Brings together what the farm, its seasons, work and money say into the arrays of the selection."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np

from .arrays import FieldData, Flags, Floats, Limits, OutletData, SelectionData, ShareData, WeedyGrain
from .budgets import PairBudgets, grazing_land_share, weedy_grain
from .cash_dates import PaymentDates
from .groundwork import Groundwork
from .practices import DatedPractice
from .records import Farm, Field
from .say import Say
from .standing_hay import sold_as
from .tables import Tables
from .weeds.yield_loss import loss_figures
from .workload import PairHours, hire_rate, money

END_COUNTS = 0.5
"""Share of the weight that the weeds left at the end have against those of all the years on the way."""


def selection_data(ground: Groundwork) -> SelectionData:
    """All arrays of the selection for one farm; see `SelectionData`."""
    farm, tables, practice_list = ground.farm, ground.tables, ground.practice_list
    response, hours, budgets, succession = ground.response, ground.hours, ground.budgets, ground.succession
    practices = practice_list.all
    crops = tuple(dict.fromkeys(dated.crop for dated in practices))
    groups = tuple(dict.fromkeys(tables.crops[crop].group for crop in crops))
    sold = [_product(dated, tables) for dated in practices]
    products = tuple(dict.fromkeys(crop for crop in sold if crop))
    figures = [
        [loss_figures(tables, weed, tables.crops[dated.crop].group) for weed in response.weeds]
        for dated in practices
    ]
    loss = np.array(figures, dtype=float).reshape(len(practices), len(response.weeds), 2) / 100.0
    us, limits = farm.region == "us", _limits(ground, products)
    return SelectionData(
        first_year=farm.first_year,
        years=farm.years,
        practice_keys=tuple(dated.key for dated in practices),
        crop_of=np.array([crops.index(dated.crop) for dated in practices], dtype=np.int64),
        group_of=np.array(
            [groups.index(tables.crops[dated.crop].group) for dated in practices], dtype=np.int64
        ),
        crops=crops,
        crop_words=tuple(_name(crop, farm, tables) for crop in crops),
        groups=groups,
        machines=hours.machines,
        machine_words=tuple(
            tables.machines[key].name_us if us else tables.machines[key].name_uk for key in hours.machines
        ),
        products=products,
        product_words=tuple(_name(crop, farm, tables) for crop in products),
        weeds=response.weeds,
        draws=response.draws,
        pair_index=ground.pair_index,
        may_follow=succession.may_follow,
        cost_per_ha=budgets.cost_per_ha,
        yield_t_ha=budgets.yield_t_ha,
        haul_per_t=budgets.haul_per_t,
        bare_days=np.array([programme.bare_days for programme in ground.programmes], dtype=float),
        labour_h=hours.labour,
        machine_h=hours.machine,
        hired_area=hours.hired_ha,
        product_of=np.array([products.index(crop) if crop else -1 for crop in sold], dtype=np.int64),
        is_hay=np.array([bool(crop) and tables.crops[crop].product == "hay" for crop in sold], dtype=bool),
        growth=response.growth,
        crowding=response.crowding,
        autumn_growth=response.autumn_growth,
        autumn_crowding=response.autumn_crowding,
        count_growth=response.count_growth,
        count_crowding=response.count_crowding,
        count_shoots=response.shoots_full * response.count_shoots,
        shoot_power=response.shoot_power,
        reserve_cap=response.reserve_cap,
        loss_index=loss[:, :, 0],
        loss_most=loss[:, :, 1],
        likely=response.draws.index("likely"),
        rules=succession.rules,
        fields=tuple(_field(field, ground) for field in farm.fields),
        limits=limits,
        burden_weight=np.ones(len(response.weeds)),
        burden_when=weight_of_years(farm.years),
        discount=(1.0 + money(farm, tables, "interest_rate")) ** -np.arange(1.0, farm.years + 1.0),
        weedy=_weedy(practices, farm, tables),
        say=Say(
            units=farm.units,
            currency=farm.currency,
            products=tuple(tables.crops[crop] for crop in products),
        ),
        cash_dates=None
        if farm.cash_floor_quarter is None
        else PaymentDates(ground).for_selection(limits.outlets, products),
        left_out=tuple(
            f"{count} {'way' if count == 1 else 'ways'} to grow a crop left out here: {reason}"
            for reason, count in Counter(practice_list.reasons.values()).most_common()
        ),
    )


def weight_of_years(years: int) -> Floats:
    """(T,): how much the weeds of each plan year count where plans are chosen; the end counts most.

    The end alone would reward a last year that strips the ground for show; the mean alone would not
    ask whether the weeds are gone.
    """
    weights = np.full(years, (1.0 - END_COUNTS) / years)
    weights[-1] += END_COUNTS
    return weights


def _weedy(practices: Sequence[DatedPractice], farm: Farm, tables: Tables) -> WeedyGrain:
    known = {crop: weedy_grain(crop, farm, tables) for crop in {dated.crop for dated in practices}}
    off, start = zip(*(known[dated.crop] for dated in practices), strict=True)
    return WeedyGrain(off_per_t=np.array(off, dtype=float), from_loss=np.array(start, dtype=float))


def _name(crop: str, farm: Farm, tables: Tables) -> str:
    known = tables.crops[crop]
    name = known.name_us if farm.region == "us" else known.name_uk
    return name[:1].lower() + name[1:]


def _product(dated: DatedPractice, tables: Tables) -> str:
    """What a practice carries off the field, as it is sold; empty if it is left, grazed or nothing."""
    practice = dated.practice
    carried = practice.cut_use not in ("leave", "graze") and tables.crops[practice.crop].product != "none"
    return sold_as(practice) if carried else ""


# ---------------------------------------------------------------- fields


def _field(field: Field, ground: Groundwork) -> FieldData:
    start, succession = ground.starts[field.name], ground.succession
    return FieldData(
        name=field.name,
        area_ha=field.area_ha,
        history=succession.histories[field.name],
        start_reserve=start.reserve,
        infested_share=start.infested_share,
        allowed=succession.allowed[field.name],
        farmed=succession.farmed[field.name],
        yield_ratio=field.yield_ratio,
        landlord_share=field.landlord_share,
        rent_per_ha=field.rent_per_ha,
        ratios=np.array([field.ratio_of(dated.crop) for dated in ground.practice_list.all])
        if field.yield_ratios
        else None,
    )


# ---------------------------------------------------------------- limits


def _limits(ground: Groundwork, products: Sequence[str]) -> Limits:
    farm, tables, hours = ground.farm, ground.tables, ground.hours
    capacity, budgets, practices = ground.capacity, ground.budgets, ground.practice_list.all
    owned = np.array([farm.machines[key].status == "own" for key in hours.machines], dtype=bool)
    extra_h, extra_cost = extra_hire(farm, tables, hours)
    caps = [farm.machines[key].hire_cap_ha for key in hours.machines]
    feed_price = farm.feed_price_per_t
    feeds = np.array([tables.crops[crop].product == "hay" for crop in products], dtype=bool)
    if feed_price <= 0.0:
        dearest = max(
            (budgets.price_per_t[c] for c, eaten in zip(products, feeds, strict=True) if eaten), default=0.0
        )
        feed_price = dearest * money(farm, tables, "feed_hay_price_ratio")
    outlets = tuple(
        OutletData(
            name=outlet.name,
            product=products.index(outlet.crop),
            price_per_t=outlet.price_per_t,
            haul_per_t=outlet.haul_per_t,
            least_t=np.where(_holds(farm, outlet.years), outlet.least_t, 0.0),
            most_t=np.where(
                _holds(farm, outlet.years), np.inf if outlet.most_t is None else outlet.most_t, 0.0
            ),
        )
        for outlet in farm.outlets
        if outlet.crop in products
    )
    return Limits(
        labour_h=capacity.labour,
        extra_labour_h=capacity.extra_labour,
        extra_labour_cost_per_h=max(0.0, farm.labour.extra_wage_per_h - farm.labour.wage_per_h),
        machine_h=np.where(owned[:, None], capacity.machine, np.inf).reshape(len(owned), 24),
        hire_extra_h=extra_h,
        hire_extra_cost_per_h=extra_cost,
        hire_area_ha=np.array(
            [np.inf if own or cap is None else cap for own, cap in zip(owned, caps, strict=True)], dtype=float
        ),
        outlets=outlets,
        open_price_per_t=_open_prices(farm, tables, products, outlets, budgets),
        feeds=feeds,
        feed_need_t=farm.feed_need_t,
        feed_price_per_t=feed_price,
        storage_t=farm.hay_storage_t,
        stored_now_t=farm.hay_stored_now_t,
        storage_loss=farm.hay_storage_loss,
        cash_floor=farm.cash_floor,
        fixed_cost=farm.fixed_cost,
        cash_floor_quarter=-np.inf if farm.cash_floor_quarter is None else farm.cash_floor_quarter,
        cash_now=farm.cash_now,
        largest=(*_shares(farm.largest_share, farm, tables, practices), *_grazed(farm, tables, practices)),
        least=_shares(farm.least_share, farm, tables, practices),
    )


def _holds(farm: Farm, years: Sequence[int]) -> Flags:
    """(T,): plan years for which an outlet holds; no years given = all."""
    plan = range(farm.first_year, farm.first_year + farm.years)
    return np.array([not years or year in years for year in plan], dtype=bool)


def _open_prices(
    farm: Farm,
    tables: Tables,
    products: Sequence[str],
    outlets: Sequence[OutletData],
    budgets: PairBudgets,
) -> Floats:
    """(T, K): the usual price; reduced while a named outlet is in force; 0 where nobody buys."""
    price = np.tile([max(0.0, budgets.price_per_t[crop]) for crop in products], (farm.years, 1))
    surplus = money(farm, tables, "surplus_price_share")
    for number, crop in enumerate(products):
        if crop in farm.no_market:
            price[:, number] = 0.0
        named = np.zeros(farm.years, bool)
        for outlet in outlets:
            named |= (outlet.most_t > 0) & (outlet.product == number)
        price[named, number] *= surplus
    return price.reshape(farm.years, len(products))


def extra_hire(farm: Farm, tables: Tables, hours: PairHours) -> tuple[Floats, Floats]:
    """Hours a year that own machines can be helped out with by hired ones, and what such an hour costs.

    The own running cost of the hours not run is not taken off: hired help in a pinch is dear.
    """
    count = len(hours.machines)
    extra, cost = np.zeros(count), np.zeros(count)
    for number, key in enumerate(hours.machines):
        own = farm.machines[key]
        if own.status != "own" or not own.also_hire:
            continue
        worked, run = hours.own_ha[:, number].sum(), hours.machine[:, number].sum()
        per_ha = float(run / worked) if worked > 0 else 1.0
        extra[number] = np.inf if own.hire_cap_ha is None else own.hire_cap_ha * per_ha
        # hectares, tonnes, bales or hours that an hour of this machine makes, over all its passes
        an_hour = float(hours.own_units[:, number].sum() / run) if run > 0 else 0.0
        cost[number] = hire_rate(key, farm, tables) * an_hour
    return extra, cost


def _grazed(farm: Farm, tables: Tables, practices: Sequence[DatedPractice]) -> tuple[ShareData, ...]:
    """Land that the herd can graze; nothing where no practice is grazed."""
    member = np.array([dated.practice.cut_use == "graze" for dated in practices], bool)
    if not member.any():
        return ()
    grazed = [dated.practice for dated in practices if dated.practice.cut_use == "graze"]
    share = grazing_land_share(grazed, farm, tables)
    return (ShareData(name="grazed land", member=member, share=share),)


def _shares(
    shares: Mapping[str, float], farm: Farm, tables: Tables, practices: Sequence[DatedPractice]
) -> tuple[ShareData, ...]:
    """Land shares of crops, groups or ``legume`` (a legume as main crop, or sown under it)."""

    def belongs(dated: DatedPractice, key: str) -> bool:
        crop = tables.crops[dated.crop]
        if key == "legume":
            return crop.legume or "legume" in dated.practice.tags
        return key in (crop.key, crop.group)

    def name(key: str) -> str:
        return "legumes" if key == "legume" else _name(key, farm, tables) if key in tables.crops else key

    return tuple(
        ShareData(
            name=name(key), member=np.array([belongs(dated, key) for dated in practices], bool), share=share
        )
        for key, share in shares.items()
    )
