"""Made-up farms of a wanted size for the benchmark of the selection.

Every figure here is invented. They are only of a plausible size: hours, tonnes and money per hectare as a
mixed arable farm may have them, so that labour and machine peaks, outlets and shares bind together.
A plan always exists: one is drawn first and no limit is tighter than that plan can keep.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from rotation_opt.arrays import FieldData, Limits, OutletData, Rules, SelectionData, ShareData
from rotation_opt.select import evaluate
from rotation_opt.sequences import Grower, no_prices, trace

HALF = 24
WEEDS = 2
SPREAD = np.array([0.85, 1.0, 1.15])  # three draws
CAP = 1.2

SizeName = Literal["small", "medium", "large", "three_hundred", "long"]
SIZES: dict[SizeName, tuple[int, int, int]] = {
    "small": (5, 4, 16),
    "medium": (20, 5, 30),
    "large": (60, 5, 40),
    "three_hundred": (300, 5, 40),
    "long": (20, 8, 40),
}
"""Fields, years and practices of the named sizes."""

USUAL_SEED = 1
"""Taken after results on other seeds had been seen; use several seeds for any claim."""

GROUPS = ("fall cereal", "spring cereal", "pulse", "oilseed", "row crop", "hay", "green manure")
MACHINES = ("seeder", "cultivator", "combine", "baler")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Crop:
    """An invented crop: sown and harvested in a half-month, per-hectare figures."""

    name: str
    group: int
    sown: int  # half-month; from 16 on it is sown in the year before
    cut: int
    yield_t: float
    price: float
    cost: float
    weeds: float  # factor by which the roots grow in a season


CROPS = (
    _Crop(name="winter wheat", group=0, sown=17, cut=14, yield_t=4.2, price=210, cost=420, weeds=0.95),
    _Crop(name="spring barley", group=1, sown=7, cut=14, yield_t=3.3, price=190, cost=330, weeds=1.25),
    _Crop(name="peas", group=2, sown=7, cut=13, yield_t=2.4, price=255, cost=370, weeds=1.7),
    _Crop(name="canola", group=3, sown=8, cut=16, yield_t=2.0, price=480, cost=480, weeds=1.35),
    _Crop(name="corn", group=4, sown=9, cut=20, yield_t=6.8, price=165, cost=620, weeds=2.1),
    _Crop(name="rye", group=0, sown=17, cut=14, yield_t=3.5, price=175, cost=330, weeds=0.8),
    _Crop(name="oats", group=1, sown=7, cut=15, yield_t=3.2, price=180, cost=310, weeds=1.15),
    _Crop(name="lentils", group=2, sown=8, cut=15, yield_t=1.4, price=490, cost=390, weeds=2.0),
    _Crop(name="sunflower", group=4, sown=9, cut=19, yield_t=1.9, price=440, cost=430, weeds=1.9),
    _Crop(name="flax", group=3, sown=8, cut=17, yield_t=1.5, price=470, cost=360, weeds=1.8),
)
HAY_PRICE, HAY_YIELD = 120.0, (3.0, 6.5, 6.0, 5.2)


def instance(fields: int, years: int, practices: int, seed: int) -> SelectionData:
    """Make a farm; the same arguments give the same farm.

    Parameters
    ----------
    fields, years, practices : int
        At least 1, 1 and 9.
    seed : int

    Returns
    -------
    SelectionData

    Raises
    ------
    ValueError
        If a size is too small for the kinds of crops a farm has.
    """
    return with_plan(fields, years, practices, seed)[0]


def with_plan(
    fields: int, years: int, practices: int, seed: int
) -> tuple[SelectionData, tuple[tuple[int, ...], ...]]:
    """A farm as `instance` makes it, and the drawn plan that keeps all its limits."""
    if fields < 1 or years < 1 or practices < 9:
        raise ValueError("a farm needs a field, a year and nine practices")
    rng = np.random.default_rng([seed, fields, years, practices])
    stand = 2 if practices < 24 else 3 if practices < 36 else 4
    annual = practices - stand - 1
    kinds = min(len(CROPS), max(5, annual // 2))
    made = [(CROPS[n % kinds], n // kinds) for n in range(annual)]
    manure, hay = annual, annual + 1
    keys = [f"{crop.name}, way {way + 1}" for crop, way in made]
    keys += ["green manure", *(f"hay, year {age + 1}" for age in range(stand))]
    crop_of = np.array([CROPS.index(c) for c, _ in made] + [len(CROPS)] + [len(CROPS) + 1] * stand)
    group_of = np.array([c.group for c, _ in made] + [6] + [5] * stand)
    way = np.array([w for _, w in made] + [0] * (stand + 1))
    hoed, late = way % 3, (way // 3) % 2  # passes between the rows; sown a half-month later
    cut = np.array([c.cut for c, _ in made] + [12] + [14] * stand) + late
    sown = np.array([c.sown for c, _ in made] + [8] + [7] * stand) + late
    fall = sown >= 16

    follow = np.ones((practices, practices), bool)
    follow[np.ix_(cut + 1 >= 17, fall)] = False  # no time left before sowing in fall
    follow[:, hay:] = False
    for age in range(stand - 1):
        follow[hay + age, hay + age + 1] = True
    follow[hay] = False if stand > 1 else follow[hay]  # a stand stays two years at least
    if stand > 1:
        follow[hay, hay + 1] = True
    follow[:hay, hay] = np.isin(group_of[:hay], (0, 1, 2, 6))
    follow[manure, manure] = False

    previous, practice = np.nonzero(follow)
    pair_index = np.full((practices, practices), -1)
    pair_index[previous, practice] = np.arange(len(practice))
    pairs = len(practice)

    def each(annuals: list[float], green: float, stands: list[float]) -> np.ndarray:
        return np.array([*annuals, green, *stands])

    noise = rng.uniform(0.95, 1.05, practices)
    plain_cost = each([c.cost for c, _ in made], 170, [390.0, *[210.0] * (stand - 1)])
    cost = plain_cost * noise + 15 * hoed - 10 * late
    crop_yield = each([c.yield_t for c, _ in made], 0.0, list(HAY_YIELD[:stand]))
    crop_yield = crop_yield * rng.uniform(0.95, 1.05, practices) * (1 - 0.05 * late - 0.01 * hoed)
    growth = each([c.weeds for c, _ in made], 0.7, [1.0, *[0.55] * (stand - 1)])
    growth = growth * 0.7**hoed * (1 - 0.08 * late)

    feeding = np.isin(group_of[previous], (2, 5, 6)) & (group_of[practice] != 5)
    broken = (group_of[previous] == 5) & (group_of[practice] != 5)
    again = crop_of[previous] == crop_of[practice]
    standing = (group_of[practice] == 5) & (practice > hay)
    pair_cost = cost[practice] - 45 * feeding + 60 * broken
    pair_yield = crop_yield[practice] * np.where(feeding, 1.06, np.where(again & ~standing, 0.9, 1.0))
    season = (growth[practice] * np.where(broken, 0.7, 1.0))[:, None, None] * rng.uniform(
        0.9, 1.1, (pairs, WEEDS, 1)
    )
    season = season * np.array([1.0, 0.85])[None, :, None] * SPREAD

    labour, machine = np.zeros((pairs, 2, HALF)), np.zeros((pairs, len(MACHINES), 2, HALF))
    hired = np.zeros((pairs, len(MACHINES)))

    def work(which: np.ndarray, half: np.ndarray, tool: int, hours: np.ndarray | float) -> None:
        """A pass; from half-month 16 on, work before a fall-sown crop is done in the year before."""
        rows = np.flatnonzero(which)
        before = (half[rows] >= 16) & (fall[practice[rows]] | (tool == 1))
        time = np.broadcast_to(hours, len(which))[rows]
        machine[rows, tool, 1 - before, half[rows]] += time
        labour[rows, 1 - before, half[rows]] += 1.25 * time

    sow, reap, hoe = sown[practice], cut[practice], hoed[practice]
    work(~standing, sow, 0, 0.55)
    work(~standing, np.where(fall[practice], 16, sow - 1), 1, 0.7)
    work(broken, np.full(pairs, 17), 1, 1.4)
    for turn in (1, 2):
        after = np.where(fall[practice], 7 + turn, np.minimum(sow + turn, 12))
        work((hoe >= turn) & ~standing, after, 1, 0.4)
    combined = group_of[practice] < 5
    work(combined, reap, 2, 0.75)
    cuts = np.where(group_of[practice] == 5, np.where(practice == hay, 1, 2), 0)
    for number, half in ((1, 13), (2, 11)):
        rows = np.flatnonzero(cuts >= number)
        labour[rows, 1, half] += 1.3
        machine[rows, 3, 1, half] += 0.5
        hired[rows, 3] += 1

    member = np.array([group_of == g for g in range(len(GROUPS))])
    cereal = member[0] | member[1]
    start_hay = np.arange(practices) == hay
    rules = Rules(
        break_next=np.array([member[2], member[3], start_hay]),
        break_before=np.array([member[2], member[3], member[5]]),
        break_years=np.array([2, 1, 3]),
        run_member=np.array([cereal, member[4]]),
        run_most=np.array([3 if practices < 24 else 2, 2]),
    )
    price = np.array([*(c.price for c in CROPS[:kinds]), HAY_PRICE]) * rng.uniform(0.95, 1.05, kinds + 1)
    product_of = np.array([CROPS.index(c) for c, _ in made] + [-1] + [kinds] * stand)
    shape = (pairs, WEEDS, 3)
    lands = []
    for number in range(fields):
        share = np.zeros(WEEDS)
        there = rng.permutation(WEEDS)[: int(rng.choice([0, 1, 2], p=[0.25, 0.5, 0.25]))]
        share[there] = rng.uniform(0.2, 0.9, len(there))
        second = int(rng.integers(annual))
        last = int(rng.choice(np.flatnonzero(follow[second, :annual])))
        lands.append(
            FieldData(
                name=f"Field {number + 1}",
                area_ha=float(np.round(rng.uniform(4, 20), 1)),
                history=(second, last),
                start_reserve=rng.uniform(0.1, 0.7, WEEDS)[:, None] * SPREAD,
                infested_share=share,
                allowed=np.ones((years, practices), bool),
                farmed=np.ones(years, bool),
                yield_ratio=float(np.round(rng.uniform(0.85, 1.1), 2)),
                landlord_share=0.0,
                rent_per_ha=60.0,
            )
        )
    data = SelectionData(
        first_year=2027,
        years=years,
        practice_keys=tuple(keys),
        crop_of=crop_of,
        group_of=group_of,
        crops=(*(c.name for c in CROPS), "green manure", "hay"),
        crop_words=(*(c.name for c in CROPS), "green manure", "hay"),
        groups=GROUPS,
        machines=MACHINES,
        machine_words=MACHINES,
        products=(*(c.name for c in CROPS[:kinds]), "hay"),
        product_words=(*(c.name for c in CROPS[:kinds]), "hay"),
        weeds=("first weed", "second weed"),
        draws=("low", "likely", "high"),
        pair_index=pair_index,
        may_follow=follow,
        cost_per_ha=pair_cost,
        yield_t_ha=pair_yield,
        haul_per_t=np.where(product_of[practice] >= 0, 6.0, 0.0),
        bare_days=np.where(fall[practice], 40.0, 110.0),
        labour_h=labour,
        machine_h=machine,
        hired_area=hired,
        product_of=product_of,
        is_hay=member[5],
        growth=season,
        crowding=np.maximum(season / CAP, 0.1),
        autumn_growth=1.1 * season,
        autumn_crowding=np.maximum(1.1 * season / CAP, 0.1),
        count_growth=(0.9 * 0.75**hoe)[:, None, None] * np.ones(shape),
        count_crowding=np.full(shape, 0.75),
        count_shoots=np.full(shape, 30.0),
        shoot_power=np.full((WEEDS, 3), 0.7),
        reserve_cap=np.full((WEEDS, 3), CAP),
        loss_index=each([0.02 * min(c.weeds, 1.5) for c, _ in made], 0.0, [0.012] * stand)[:, None]
        * np.ones(WEEDS),
        loss_most=np.full((practices, WEEDS), 0.6),
        likely=1,
        rules=rules,
        fields=tuple(lands),
        limits=_plenty(years, price),
        burden_weight=np.ones(WEEDS),
        burden_when=np.full(years, 1.0 / years),
        discount=1.04 ** -np.arange(1.0, years + 1.0),
    )
    plan = _drawn_plan(data, price, rng)
    paths = tuple(tuple(int(p) for p in path) for path in plan)
    return replace(data, limits=_limits(data, price, plan)), paths


def named(name: SizeName, seed: int = USUAL_SEED) -> SelectionData:
    """A farm of a named size."""
    return instance(*SIZES[name], seed)


def _plenty(years: int, price: np.ndarray) -> Limits:
    """No limit at all."""
    machines = len(MACHINES)
    return Limits(
        labour_h=np.full(HALF, 1e7),
        extra_labour_h=np.zeros(HALF),
        extra_labour_cost_per_h=0.0,
        machine_h=np.full((machines, HALF), np.inf),
        hire_extra_h=np.zeros(machines),
        hire_extra_cost_per_h=np.zeros(machines),
        hire_area_ha=np.full(machines, np.inf),
        outlets=(),
        open_price_per_t=np.tile(price, (years, 1)),
        feeds=np.arange(len(price)) == len(price) - 1,
        feed_need_t=0.0,
        feed_price_per_t=1.4 * float(price[-1]),
        storage_t=0.0,
        stored_now_t=0.0,
        storage_loss=0.1,
        cash_floor=-np.inf,
        fixed_cost=0.0,
        largest=(),
        least=(),
    )


def _drawn_plan(data: SelectionData, price: np.ndarray, rng: np.random.Generator) -> list[np.ndarray]:
    """A plan of good but varied sequences, with even work for the combine; each field at its own prices."""
    grower, plan = Grower(data), []
    total = np.zeros((data.years + 1, HALF))
    for field, land in enumerate(data.fields):
        own = price * rng.uniform(0.75, 1.25, (data.years, len(price)))
        prices = replace(no_prices(data), money=data.discount, product=own * data.discount[:, None])
        if field % 2:  # land at rest keeps the combine free: the best plan would use that land
            prices.land[:, data.group_of == GROUPS.index("green manure")] = -700.0
        pool = grower.grow(field, grower.worth(prices), width=120, keep=40).pool
        hours = np.zeros((len(pool), data.years + 1, HALF))
        for year in range(data.years):
            hours[:, year : year + 2] += land.area_ha * data.machine_h[pool.pairs[:, year], 2]
        chosen = int(np.argmin(((total + hours) ** 2).sum(axis=(1, 2))))
        total += hours[chosen]
        plan.append(pool.paths[chosen].astype(int))
    return plan


def _limits(data: SelectionData, price: np.ndarray, plan: list[np.ndarray]) -> Limits:
    """Limits tight enough to bind, that a drawn plan keeps."""
    years, area = data.years, np.array([land.area_ha for land in data.fields])
    labour = np.zeros((years + 1, HALF))
    machine = np.zeros((len(MACHINES), years + 1, HALF))
    hired = np.zeros((len(MACHINES), years))
    tonnes, money = np.zeros((years, len(price))), np.zeros(years)
    land = np.zeros((years, len(data.practice_keys)))
    for field, path in enumerate(plan):
        seen = trace(data, field, path)
        money += seen.money
        for year, (pair, crop) in enumerate(zip(seen.pairs, path, strict=True)):
            land[year, crop] += area[field]
            hired[:, year] += area[field] * data.hired_area[pair]
            if data.product_of[crop] >= 0:
                tonnes[year, data.product_of[crop]] += seen.tonnes[year]
            for offset in (0, 1):
                labour[year + offset] += area[field] * data.labour_h[pair, offset]
                machine[:, year + offset] += area[field] * data.machine_h[pair, :, offset]
    hands = 0.7 * labour.max(axis=0)
    own = 0.75 * machine.max(axis=1)
    own[2] = 0.5 * machine[2, 1:].mean(axis=0)  # short every year, so that the cap on hire matters
    own[3] = np.inf
    over = np.maximum(machine - np.where(np.isinf(own), 1e9, own)[:, None, :], 0.0).sum(axis=2).max(axis=1)
    contract = int(np.argmax(tonnes[:, :-1].min(axis=0)))
    outlets, open_price = [], np.tile(price, (years, 1))
    for product in np.argsort(-tonnes[:, :-1].sum(axis=0))[:4]:
        least = 0.5 * tonnes[:, product].min() if product == contract else 0.0
        most = max(tonnes[:, product].mean(), least)
        outlets.append(
            OutletData(
                name=f"buyer of {data.products[product]}",
                product=int(product),
                price_per_t=float(price[product] * 1.03),
                haul_per_t=2.0,
                least_t=np.full(years, least),
                most_t=np.full(years, most),
            )
        )
        open_price[:, product] *= 0.75
    top = int(np.argmax([land[:, data.group_of == g].sum() for g in range(5)]))
    shares = land[:, data.group_of == top].sum(axis=1) / area.sum()
    legume = np.isin(data.group_of, (2, 5, 6))
    need = 0.6 * float(area.sum())
    found = Limits(
        labour_h=hands,
        extra_labour_h=np.maximum(0.6 * labour.max(axis=0), 0.3 * float(area.sum())),
        extra_labour_cost_per_h=14.0,
        machine_h=own,
        hire_extra_h=np.array([np.inf, np.inf, max(1.1 * over[2], 1.0), 0.0]),
        hire_extra_cost_per_h=np.array([70.0, 45.0, 20.0, 0.0]),
        hire_area_ha=np.array([np.inf, np.inf, np.inf, max(1.0001 * hired[3].max(), 0.12 * area.sum())]),
        outlets=tuple(outlets),
        open_price_per_t=open_price,
        feeds=np.arange(len(price)) == len(price) - 1,
        feed_need_t=need,
        feed_price_per_t=1.4 * float(price[-1]),
        storage_t=0.5 * need,
        stored_now_t=0.2 * need,
        storage_loss=0.1,
        cash_floor=-np.inf,
        fixed_cost=30.0 * float(area.sum()),
        largest=(ShareData(name=f"{GROUPS[top]} crops", member=data.group_of == top, share=0.0),),
        least=(ShareData(name="legumes", member=legume, share=0.0),),
    )
    least_share = 0.95 * float(land[:, legume].sum()) / float(area.sum() * years)
    found = replace(
        found,
        largest=(replace(found.largest[0], share=min(1.0, float(shares.max()) + 1e-6)),),
        least=(replace(found.least[0], share=least_share),),
    )
    return replace(found, cash_floor=_least_cash(data, found, plan))


def _least_cash(data: SelectionData, limits: Limits, plan: list[np.ndarray]) -> float:
    """A floor a little under the poorest year of the drawn plan."""
    net = evaluate(data, plan, limits=limits).net
    return float(net.min() - 0.02 * abs(net.min()))


def count_sequences(data: SelectionData, field: int) -> int:
    """How many sequences a field may have, counted by levels over what the rules remember."""
    rules, land = data.rules, data.fields[field]
    breaks, runs = len(rules.break_years), len(rules.run_most)

    def step(seen: tuple[int, ...], practice: int) -> tuple[int, ...]:
        ages = [
            1 if rules.break_before[r, practice] else min(seen[r] + 1, int(rules.break_years[r]) + 1)
            for r in range(breaks)
        ]
        return (*ages, *(seen[breaks + r] + 1 if rules.run_member[r, practice] else 0 for r in range(runs)))

    seen = (*(int(n) + 1 for n in rules.break_years), *[0] * runs)
    for practice in land.history:
        if practice >= 0:  # what came before an unknown harvest is taken as long ago
            seen = step(seen, practice)
    level: Counter[tuple[int, tuple[int, ...]]] = Counter({(land.history[-1], seen): 1})
    for year in range(data.years):
        if not land.farmed[year]:
            continue
        following: Counter[tuple[int, tuple[int, ...]]] = Counter()
        for (last, kept), number in level.items():
            for practice in np.flatnonzero(data.may_follow[last] & land.allowed[year]):
                p = int(practice)
                resting = all(
                    not rules.break_next[r, p] or kept[r] > rules.break_years[r] for r in range(breaks)
                )
                short = all(
                    not rules.run_member[r, p] or kept[breaks + r] < rules.run_most[r] for r in range(runs)
                )
                if resting and short:
                    following[(p, step(kept, p))] += number
        level = following
    return sum(level.values())
