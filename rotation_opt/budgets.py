"""Money of one hectare of each pair: what it yields without weeds, what it sells for, what it costs.

Costs are running costs: what changes with the plan. The price of owning a machine, rent and the farm's
fixed costs do not belong to a pair and are counted elsewhere.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rotation_opt.herd_feed import grazing_of_hay_herd
from rotation_opt.machinery import fuel_cost_per_ha, repairs_per_hour
from rotation_opt.practices import PracticeList, days_late, stand_of, usual_yield
from rotation_opt.records import Farm, Practice, Programme
from rotation_opt.tables import Tables
from rotation_opt.workload import PairHours, crop_t_ha, cut_shares, hired_cost, money

Array = npt.NDArray[np.float64]
LATE_CUT = "late_cut"  # tag of practices whose first cut is taken after the usual stage
PARTS = (
    "sown material",
    "other inputs",
    "nitrogen bought",
    "own machines",
    "hired work",
    "labour",
    "stand establishment",
    "grazing",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PairBudgets:
    """Money and yield of one hectare of each pair, before weeds.

    Attributes
    ----------
    cost_per_ha : ndarray, shape (n_pairs,)
        Sum of all parts. [currency/ha]
    parts : mapping of str to ndarray, shape (n_pairs,)
        Costs by part, named as in `PARTS`. [currency/ha]
    yield_t_ha : ndarray, shape (n_pairs,)
        What is brought in without weeds; 0 for what is cut and left or grazed. [t/ha]
    haul_per_t : ndarray, shape (n_pairs,)
        Drying and haulage, and what hay cut late is worth less. [currency/t]
    price_per_t : mapping of str to float
        Price of each product that no outlet's own price overrides. [currency/t]
    nitrogen_kg_ha : ndarray, shape (n_pairs,)
        Nitrogen to be bought. [kg/ha]
    """

    cost_per_ha: Array
    parts: Mapping[str, Array]
    yield_t_ha: Array
    haul_per_t: Array
    price_per_t: Mapping[str, float]
    nitrogen_kg_ha: Array


def pair_budgets(
    programmes: Sequence[Programme], practice_list: PracticeList, farm: Farm, tables: Tables, hours: PairHours
) -> PairBudgets:
    """Costs, weed-free yield and haulage of each pair on one hectare of this farm.

    Parameters
    ----------
    programmes : sequence of Programme
        As from `timetable.all_programmes`.
    practice_list : PracticeList
        The farm's practices.
    farm : Farm
        Own yields, prices, wage and money figures.
    tables : Tables
        The crop tables.
    hours : PairHours
        Hours of the same programmes, in the same order.
    """
    practices = {dated.key: dated.practice for dated in practice_list.all}
    pairs = [(practices[each.previous], practices[each.practice]) for each in programmes]
    nitrogen = np.array([nitrogen_to_buy(before, this, tables) for before, this in pairs], dtype=float)
    material = {key: sown_material(this, tables) for key, this in practices.items()}
    other = {key: other_inputs(this, tables) for key, this in practices.items()}
    setting_up = {key: establishment(this, tables) for key, this in practices.items()}
    grazed = {key: grazing_cost(this, farm, tables) for key, this in practices.items()}
    price_per_t, late = prices(farm, tables), days_late(farm, tables)
    parts: dict[str, Array] = {
        "sown material": np.array([material[this.key] for _, this in pairs], dtype=float),
        "other inputs": np.array([other[this.key] for _, this in pairs], dtype=float),
        "nitrogen bought": nitrogen * money(farm, tables, "nitrogen_per_kg"),
        "own machines": own_machine_cost(hours, farm, tables),
        "hired work": hired_cost(hours, farm, tables),
        "labour": hours.labour.sum(axis=(1, 2)) * farm.labour.wage_per_h,
        "stand establishment": np.array([setting_up[this.key] for _, this in pairs], dtype=float),
        "grazing": np.array([grazed[this.key] for _, this in pairs], dtype=float),
    }
    return PairBudgets(
        cost_per_ha=np.sum([parts[name] for name in PARTS], axis=0),
        parts=parts,
        yield_t_ha=np.array(
            [
                pair_yield(before, this, programme, farm, tables)
                for programme, (before, this) in zip(programmes, pairs, strict=True)
            ],
            dtype=float,
        ),
        haul_per_t=np.array(
            [
                haul_per_t(this, tables)
                + quality_loss_per_t(this, price_per_t.get(this.crop, 0.0), tables, late)
                for _, this in pairs
            ],
            dtype=float,
        ),
        price_per_t=price_per_t,
        nitrogen_kg_ha=nitrogen,
    )


def prices(farm: Farm, tables: Tables) -> dict[str, float]:
    """Price of each crop that is sold: the grower's own, else the table's for organic or other produce.

    Hay sold standing has no usual price: only an outlet that was agreed for it pays.
    """
    found: dict[str, float] = {}
    for key, crop in tables.crops.items():
        if crop.product == "standing":
            found[key] = 0.0
        elif key in farm.prices_per_t:
            found[key] = farm.prices_per_t[key]
        elif crop.product != "none":
            usual = tables.number("crop", key, "price_per_t")
            found[key] = (
                tables.number_or("crop", key, "price_organic_per_t", usual) if farm.organic else usual
            )
    return found


def pair_yield(before: Practice, this: Practice, programme: Programme, farm: Farm, tables: Tables) -> float:
    """Weed-free yield of a pair: usual x practice, changed by the crop before and by passes in it. [t/ha]

    The change by the crop before is in tonnes, since published gains did not scale with yield
    (Angus et al. 2015).
    """
    if this.cut_use in ("leave", "graze"):
        return 0.0
    usual = usual_yield(this.crop, farm, tables)
    if usual <= 0.0:
        return 0.0
    made = max(usual * this.yield_ratio + preceding_change(before, this, tables), 0.0)
    if this.cuts:
        made *= sum(cut_shares(this, tables))
    for op in programme.operations:
        if op.part == "in_crop":
            made *= 1.0 - tables.number_or("operation", op.operation, "crop_loss", 0.0)
    return made


def preceding_change(before: Practice, this: Practice, tables: Tables) -> float:
    """Change of yield by what stood before, from table ``preceding``; 0 where it has nothing. [t/ha]

    A row for the crop goes before one for its group. A stand undersown the year before counts by its share
    of a full stand's credit, the crop above it by the rest.
    """

    def after(crop: str) -> float:
        for name in (crop, tables.crops[crop].group):
            if tables.has("preceding", this.crop, f"after:{name}"):
                return tables.number("preceding", this.crop, f"after:{name}")
        return 0.0

    if this.needs_stand:
        return 0.0
    stand, share = stand_broken(before, tables)
    return share * after(stand) + (1.0 - share) * after(before.crop) if stand else after(before.crop)


def stand_broken(before: Practice, tables: Tables) -> tuple[str, float]:
    """Crop of the stand that is broken after a practice ("" = none), and how much of a full stand it is."""
    if not before.leaves_stand:
        return "", 0.0
    stand, year = stand_of(before.leaves_stand)
    return stand, tables.number_or("crop", stand, "sowing_year_credit_share", 1.0) if year == 1 else 1.0


def nitrogen_to_buy(before: Practice, this: Practice, tables: Tables) -> float:
    """Nitrogen a crop needs beyond what the year before and its own cover crop leave. [kg/ha]"""
    need = tables.number_or("crop", this.crop, "nitrogen_need_kg_ha", 0.0)
    return max(need - nitrogen_left(before, this, tables), 0.0)


def nitrogen_left(before: Practice, this: Practice, tables: Tables) -> float:
    """Nitrogen left to a crop by the year before and by its own cover crop. [kg/ha]

    A stand gives its credit when it is broken, not while it is carried on; in the year after its sowing it
    gives a share of it.
    """

    def credit(crop: str) -> float:
        return tables.number_or("crop", crop, "nitrogen_credit_kg_ha", 0.0)

    left = credit(this.cover) if this.cover else 0.0
    if this.needs_stand:
        return left
    stand, share = stand_broken(before, tables)
    if stand:
        return left + share * credit(stand) + (credit(before.crop) if before.crop != stand else 0.0)
    return left + credit(before.crop) + (credit(before.undersown) if before.undersown else 0.0)


def own_machine_cost(hours: PairHours, farm: Farm, tables: Tables) -> Array:
    """Fuel, lubricants and repairs of own machines and the tractor, shape (n_pairs,). [currency/ha]"""
    cost = np.zeros(len(hours.labour))
    worked = hours.machine.sum(axis=(2, 3))
    for at, key in enumerate(hours.machines):
        if farm.machines[key].status != "own":
            continue
        a_pass, an_hour = running_rates(key, farm, tables)
        cost += hours.own_ha[:, at] * a_pass + worked[:, at] * an_hour
    return cost


def running_rates(machine: str, farm: Farm, tables: Tables) -> tuple[float, float]:
    """Fuel and lubricants of one pass over a hectare, and repairs of an hour with the tractor's.

    In currency/ha and currency/h.
    """
    fuel, lubricants = money(farm, tables, "fuel_per_l"), money(farm, tables, "lubrication_share")
    a_pass = fuel_cost_per_ha(tables.number("machine", machine, "fuel_l_ha"), fuel, lubricants)
    an_hour = repairs_per_hour(
        tables.number("machine", machine, "list_price"),
        tables.number("machine", machine, "life_h"),
        tables.number("machine", machine, "repair_rf1"),
        tables.number("machine", machine, "repair_rf2"),
    )
    if tables.machines[machine].season != "harvest":  # combines and forage harvesters drive themselves
        an_hour += money(farm, tables, "tractor_repair_per_h")
    return a_pass, an_hour


def sown_material(this: Practice, tables: Tables) -> float:
    """Cost of what is sown: crop at the practice's rate, undersown and cover crop. [currency/ha]"""
    return sum(sown_costs(this, tables).values())


def sown_costs(this: Practice, tables: Tables) -> dict[str, float]:
    """The same by crop. [currency/ha]"""
    return {
        crop: rate * tables.number("crop", crop, "sown_price_per_kg")
        for crop, rate in sown_kg_ha(this, tables).items()
    }


def sown_kg_ha(this: Practice, tables: Tables) -> dict[str, float]:
    """What is sown, by crop: the crop at the practice's rate, what is undersown, a cover crop. [kg/ha]"""

    def usual(crop: str) -> float:
        return tables.number("crop", crop, "sowing_rate_kg_ha")

    sown = this.sowing != "none" and not this.needs_stand
    rates = {this.crop: usual(this.crop) * this.sowing_rate_ratio} if sown else {}
    for crop in (this.undersown, this.cover):
        if crop:
            rates[crop] = rates.get(crop, 0.0) + usual(crop)
    return rates


def other_inputs(this: Practice, tables: Tables) -> float:
    """Inputs beside nitrogen and seed; a share of them where nothing is carried off. [currency/ha]

    Those of a cover crop before are counted too, for instance its inoculant.
    """
    usual = _crop(this, "other_inputs_per_ha", tables)
    cover = tables.number_or("crop", this.cover, "other_inputs_per_ha", 0.0) if this.cover else 0.0
    if this.cut_use in ("leave", "graze"):
        usual *= tables.number_or("crop", this.crop, "other_inputs_left_share", 1.0)
    return usual + cover


def haul_per_t(this: Practice, tables: Tables) -> float:
    """Drying and carrying home; nothing where the buyer carries it off the field. [currency/t]"""
    return 0.0 if this.cut_use == "standing" else _crop(this, "dry_haul_per_t", tables)


def quality_loss_per_t(
    this: Practice, price_per_t: float, tables: Tables, late: Mapping[str, int] | None = None
) -> float:
    """What a tonne of hay is worth less because it is cut after the usual stage. [currency/t]

    Hay cut at its usual stage brings the usual price. It holds for hay that is fed, too, which feeds less.

    Parameters
    ----------
    this : Practice
    price_per_t : float
        Of hay cut at its usual stage. [currency/t]
    tables : Tables
    late : mapping of str to int, optional
        Operations that wait for a hired machine -> those days. Where haymaking waits `late_cut_days` or
        more, every cut is late; else at most the first one, by the practice.
    """
    if not this.cuts:
        return 0.0
    shares = cut_shares(this, tables)
    waits = max((0, *((late or {}).get(step.operation, 0) for step in tables.programmes[this.harvest])))
    if waits >= tables.number("money", "any", "late_cut_days"):
        share = 1.0
    else:
        share = shares[0] / sum(shares) if LATE_CUT in this.tags else 0.0
    return share * (1.0 - tables.number("money", "any", "late_cut_price_ratio")) * price_per_t


def weedy_grain(crop: str, farm: Farm, tables: Tables) -> tuple[float, float]:
    """What a tonne of weedy grain brings less than clean grain, and the loss of yield from which it is weedy.

    Returns
    -------
    tuple of float
        [currency/t], 0 for what is no grain and for what nobody buys; [share of yield, 0-1].
    """
    from_loss = farm.weedy_from_loss.get(crop, tables.number("money", "any", "weedy_grain_from_loss"))
    if tables.crops[crop].product != "grain" or crop in farm.no_market:
        return 0.0, from_loss
    off = farm.weedy_price_off.get(crop, tables.number("money", "any", "weedy_grain_price_off"))
    return off * prices(farm, tables)[crop], from_loss


def grazing_cost(this: Practice, farm: Farm, tables: Tables) -> float:
    """Fence of a grazed field, less the rent of grazing that it saves; 0 where none is grazed. [currency/ha]

    Rent is saved only where the farm says that it would have to rent: published as a share of what the same
    yield is worth as hay.
    """
    if this.cut_use != "graze":
        return 0.0
    fence = money(farm, tables, "grazing_fence_per_ha")
    if farm.grazing_need_t is None:
        return fence
    hay = crop_t_ha(this, farm, tables) * prices(farm, tables)[this.crop]
    return fence - tables.number("money", "any", "grazing_rent_share") * hay


def grazing_land_share(grazed: Iterable[Practice], farm: Farm, tables: Tables) -> float:
    """Share of the land on which the herd eats all that grows: no plan may have more of it grazed. [0-1]

    Where the farm does not say what the herd has to graze it is what it eats in the months without hay.
    """
    share = tables.number("money", "any", "grazing_use_share")
    eaten_t_ha = max((share * crop_t_ha(each, farm, tables) for each in grazed), default=0.0)
    need_t = farm.grazing_need_t
    if need_t is None:
        need_t = grazing_of_hay_herd(
            farm.feed_need_t,
            tables.number("money", "any", "winter_feed_days"),
            waste_share=tables.number("money", "any", "feed_waste_share"),
        )
    area_ha = sum(field.area_ha for field in farm.fields)
    return 1.0 if eaten_t_ha <= 0.0 else min(need_t / eaten_t_ha / area_ha, 1.0)


def establishment(this: Practice, tables: Tables) -> float:
    """Cost of setting up a stand, beside passes, in the year it is sown. [currency/ha]"""
    if not this.leaves_stand or this.needs_stand:
        return 0.0
    stand, _ = stand_of(this.leaves_stand)
    return tables.number_or("crop", stand, "establishment_per_ha", 0.0)


def _crop(this: Practice, quantity: str, tables: Tables) -> float:
    return tables.number_or("crop", this.crop, quantity, 0.0)
