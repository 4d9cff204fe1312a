"""Random farms as arrays, for the tests of the selection. Every number here is made up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import strategies as st

from rotation_opt.arrays import (
    FieldData,
    Limits,
    OutletData,
    Rules,
    SelectionData,
    ShareData,
    WeedyGrain,
)

HALF = 24


def random_rules(rng: np.random.Generator, practices: int, stand: int) -> Rules:
    """Two break rules and a run rule; the last ``stand`` practices are years of one stand."""
    breaks = rng.random((2, practices)) < 0.35
    runs = rng.random((1, practices)) < 0.5
    breaks[:, practices - stand + 1 :] = False  # a stand goes on without a break
    breaks[:, 0] = runs[:, 0] = False  # practice 0 is idle land: it fits everywhere
    return Rules(
        break_next=breaks,
        break_before=breaks | (rng.random((2, practices)) < 0.1),
        break_years=rng.integers(1, 3, 2),
        run_member=runs,
        run_most=rng.integers(1, 3, 1),
    )


def random_data(
    seed: int,
    *,
    fields: int = 3,
    years: int = 3,
    practices: int = 5,
    weeds: int = 2,
    machines: int = 2,
    products: int = 3,
    tight: float = 0.5,
    free_rules: bool = False,
) -> SelectionData:
    """A farm out of nothing; ``tight`` is the chance of each farm limit to be there at all."""
    rng = np.random.default_rng(seed)
    stand = 2 if practices >= 4 else 0
    rules = random_rules(rng, practices, stand)
    follow = rng.random((practices, practices)) < 0.85
    for age in range(practices - stand, practices)[1:]:
        follow[:, age] = False
        follow[age - 1, age] = True
    follow[:, 0] = True
    pair_index = np.full((practices, practices), -1)
    simulated = follow | (rng.random((practices, practices)) < 0.3)
    pair_index[simulated] = np.arange(int(simulated.sum()))
    pairs = int(simulated.sum())
    practice_of = np.nonzero(simulated)[1]

    draws = 3
    shape = (pairs, weeds, draws)
    spread = np.array([0.85, 1.0, 1.15])
    cap = 1.5

    def season(least: float, most: float) -> tuple[np.ndarray, np.ndarray]:
        """Growth, and a crowding under which no reserve passes the cap."""
        growth = np.exp(rng.uniform(np.log(least), np.log(most), (pairs, weeds, 1))) * spread
        return growth, growth / cap * rng.uniform(1.0, 1.5, (pairs, weeds, 1))

    growth, crowding = season(0.05, 5.0)
    autumn_growth, autumn_crowding = season(0.05, 5.0)
    count_growth, count_crowding = season(0.3, 1.2)

    product_of = np.where(rng.random(practices) < 0.15, -1, rng.integers(0, products, practices))
    product_of[0] = -1
    labour = _hours(rng, (pairs, 1), 2.0)[:, 0]
    machine = _hours(rng, (pairs, machines), 1.0)
    hired = np.zeros((pairs, machines))
    hired[:, -1] = rng.integers(0, 3, pairs)
    machine[:, -1] = 0.0  # the last machine is always hired
    idle = practice_of == 0
    labour[idle] = machine[idle] = hired[idle] = 0.0

    lands = tuple(
        _field(rng, number, years, practices, weeds, np.flatnonzero(follow.any(axis=1)))
        for number in range(fields)
    )
    area = sum(f.area_ha for f in lands)
    data = SelectionData(
        first_year=2027,
        years=years,
        practice_keys=tuple(f"practice_{p}" for p in range(practices)),
        crop_of=np.arange(practices) // 2,
        group_of=np.arange(practices) // 3,
        crops=tuple(f"crop_{c}" for c in range((practices + 1) // 2)),
        crop_words=tuple(f"crop {c}" for c in range((practices + 1) // 2)),
        groups=tuple(f"group_{g}" for g in range((practices + 2) // 3)),
        machines=tuple(f"machine_{m}" for m in range(machines)),
        machine_words=tuple(f"machine {m}" for m in range(machines)),
        products=tuple(f"product_{k}" for k in range(products)),
        product_words=tuple(f"product {k}" for k in range(products)),
        weeds=tuple(f"weed_{w}" for w in range(weeds)),
        draws=("low", "likely", "high"),
        pair_index=pair_index,
        may_follow=follow,
        cost_per_ha=np.where(idle, 40.0, rng.uniform(50, 400, pairs)),
        yield_t_ha=rng.uniform(1.0, 6.0, practices)[practice_of] * rng.uniform(0.9, 1.1, pairs),
        haul_per_t=rng.uniform(0, 15, practices)[practice_of],
        bare_days=rng.integers(0, 120, pairs).astype(float),
        labour_h=labour,
        machine_h=machine,
        hired_area=hired,
        product_of=product_of,
        is_hay=product_of == products - 1,
        growth=growth,
        crowding=crowding,
        autumn_growth=autumn_growth,
        autumn_crowding=autumn_crowding,
        count_growth=count_growth,
        count_crowding=count_crowding,
        count_shoots=rng.uniform(5, 60, (pairs, weeds, 1)) * np.ones(shape),
        shoot_power=np.array(rng.uniform(0.3, 1.0, (weeds, 1)) * np.ones(draws)),
        reserve_cap=np.full((weeds, draws), cap),
        loss_index=rng.uniform(0, 0.03, (practices, weeds)),
        loss_most=rng.uniform(0, 0.9, (practices, weeds)),
        likely=1,
        rules=rules,
        fields=lands,
        limits=_limits(rng, years, practices, machines, products, tight, area, product_of),
        burden_weight=rng.uniform(0.5, 1.5, weeds),
        burden_when=rng.dirichlet(np.ones(years)),
        discount=1.04 ** -np.arange(1.0, years + 1.0),
        weedy=_weedy(np.random.default_rng([seed, practices]), product_of),
    )
    return replace(data, rules=without_rules(practices)) if free_rules else data


def _weedy(rng: np.random.Generator, product_of: np.ndarray) -> WeedyGrain | None:
    """What weedy grain brings less, in two of three farms; by draws of its own."""
    if rng.random() < 1.0 / 3.0:
        return None
    off = np.where(rng.random(len(product_of)) < 0.7, rng.uniform(0.0, 40.0, len(product_of)), 0.0)
    return WeedyGrain(
        off_per_t=np.where(product_of >= 0, off, 0.0), from_loss=rng.uniform(0.01, 0.3, len(product_of))
    )


def without_rules(practices: int) -> Rules:
    """No succession rule at all."""
    none = np.zeros((0, practices), bool)
    nothing = np.zeros(0, np.int64)
    return Rules(
        break_next=none,
        break_before=none,
        break_years=nothing,
        run_member=none,
        run_most=nothing,
    )


def _hours(rng: np.random.Generator, shape: tuple[int, int], most: float) -> np.ndarray:
    """Hours per hectare in two or three half-months of the two calendar years."""
    hours = np.zeros((*shape, 2, HALF))
    for _ in range(3):
        half = rng.integers(0, HALF, shape)
        offset = (half < 14).astype(int)  # autumn work before, spring and summer work in the harvest year
        index = np.indices(shape)
        hours[index[0], index[1], offset, half] += rng.uniform(0, most, shape)
    return hours


def _field(  # noqa: PLR0917
    rng: np.random.Generator, number: int, years: int, practices: int, weeds: int, possible: np.ndarray
) -> FieldData:
    farmed = np.ones(years, bool)
    if rng.random() < 0.2:
        farmed[int(rng.integers(1, years + 1)) :] = False
    allowed = rng.random((years, practices)) < 0.93
    allowed[:, 0] = True
    share = np.where(rng.random(weeds) < 0.6, rng.uniform(0.1, 1.0, weeds), 0.0)
    return FieldData(
        name=f"Field {number}",
        area_ha=float(rng.uniform(2, 20)),
        history=tuple(int(p) for p in rng.choice(possible, 2)),
        start_reserve=rng.uniform(0.0, 0.8, weeds)[:, None] * np.array([0.7, 1.0, 1.4]),
        infested_share=share,
        allowed=allowed,
        farmed=farmed,
        yield_ratio=float(rng.uniform(0.8, 1.1)),
        landlord_share=float(rng.choice([0.0, 0.0, 0.3])),
        rent_per_ha=float(rng.uniform(0, 100)),
        ratios=None if number % 2 == 0 else np.linspace(0.7, 1.2, practices),
    )


def _limits(  # noqa: PLR0917
    rng: np.random.Generator,
    years: int,
    practices: int,
    machines: int,
    products: int,
    tight: float,
    area: float,
    product_of: np.ndarray,
) -> Limits:
    def there() -> bool:
        return bool(rng.random() < tight)

    plenty = 1e6
    price = rng.uniform(60, 300, products)
    outlets = []
    open_price = np.tile(price, (years, 1))
    for product in range(products):
        if there():
            most = float(rng.uniform(0.5, 2.5) * area)
            least = float(rng.uniform(0.0, 0.15) * area) if there() else 0.0
            hold = rng.random(years) < 0.8
            outlets.append(
                OutletData(
                    name=f"buyer {product}",
                    product=product,
                    price_per_t=float(price[product] * rng.uniform(1.0, 1.3)),
                    haul_per_t=float(rng.uniform(0, 10)),
                    least_t=np.where(hold, least, 0.0),
                    most_t=np.where(hold, max(most, least), 0.0),
                )
            )
            open_price[hold, product] *= 0.6
        elif rng.random() < 0.15:
            open_price[:, product] = 0.0
    feeds = np.zeros(products, bool)
    feeds[-1] = True
    labour = rng.uniform(0.2, 1.5, HALF) * area if there() else np.full(HALF, plenty)
    machine = np.full((machines, HALF), np.inf)
    machine[:-1] = rng.uniform(0.2, 0.8, (machines - 1, HALF)) * area if there() else plenty
    member = rng.random((2, practices)) < 0.4
    return Limits(
        labour_h=labour,
        extra_labour_h=np.where(rng.random(HALF) < 0.7, rng.uniform(0, area, HALF), 0.0),
        extra_labour_cost_per_h=float(rng.uniform(0, 12)),
        machine_h=machine,
        hire_extra_h=np.append(rng.choice([0.0, 0.5 * area, np.inf], machines - 1), 0.0),
        hire_extra_cost_per_h=rng.uniform(10, 90, machines),
        hire_area_ha=np.append(np.full(machines - 1, np.inf), 1.2 * area if there() else np.inf),
        outlets=tuple(outlets),
        open_price_per_t=open_price,
        feeds=feeds,
        feed_need_t=float(rng.uniform(0, 2.0) * area) if there() else 0.0,
        feed_price_per_t=float(price[-1] * 1.4),
        storage_t=float(rng.uniform(0, area)),
        stored_now_t=float(rng.uniform(0, 0.5 * area)),
        storage_loss=0.1,
        cash_floor=float(rng.uniform(-400, 100) * area) if there() else -np.inf,
        fixed_cost=float(rng.uniform(0, 50) * area),
        largest=(ShareData(name="some crops", member=member[0], share=float(rng.uniform(0.4, 0.9))),)
        if there()
        else (),
        least=(ShareData(name="other crops", member=member[1], share=float(rng.uniform(0.05, 0.3))),)
        if there()
        else (),
    )


def small_farms() -> st.SearchStrategy[SelectionData]:
    """Farms small enough to list every plan: 2-3 fields, 3 years, 3-5 practices."""
    return st.builds(
        random_data,
        st.integers(0, 2**31),
        fields=st.integers(2, 3),
        practices=st.integers(3, 5),
        tight=st.sampled_from([0.2, 0.5, 0.9]),
    )


def large_data(
    seed: int = 0, *, fields: int = 10, years: int = 5, practices: int = 35, tight: float = 0.9
) -> SelectionData:
    """A farm of full size with limits that bind and can be kept: what an adviser would bring."""
    data = random_data(
        seed, fields=fields, years=years, practices=practices, weeds=3, machines=8, products=12, tight=tight
    )
    limits = data.limits
    area = sum(land.area_ha for land in data.fields)
    common = int(np.argmax(np.bincount(data.product_of[data.product_of >= 0], minlength=12)))
    hours = np.sort(data.labour_h.sum(axis=(1, 2)))[len(data.labour_h) // 2]
    lands = tuple(
        replace(land, infested_share=np.where(np.arange(3) == number % 4, land.infested_share, 0.0))
        for number, land in enumerate(data.fields)
    )
    return replace(
        data,
        fields=lands,
        limits=replace(
            limits,
            labour_h=np.full(HALF, 0.25 * hours * area),
            cash_floor=-100.0 * area,
            # one contract, for what most practices grow; the other outlets only have a most
            outlets=tuple(
                replace(o, least_t=o.least_t * (0.3 if o.product == common else 0.0)) for o in limits.outlets
            ),
        ),
    )
