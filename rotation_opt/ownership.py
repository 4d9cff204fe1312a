"""What owning a machine costs a year against hiring it, for a given amount of work.

All of it are estimates: nobody knows today what a machine will bring when it is sold.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

from rotation_opt.budgets import running_rates
from rotation_opt.finance import partial_budget
from rotation_opt.machinery import break_even_area, ownership_cost, remaining_value_share
from rotation_opt.records import Farm, MachineCase, OwnMachine, Purchase
from rotation_opt.tables import Tables
from rotation_opt.workload import PairHours, hire_rate, money

ROUNDS = 100
AS_THE_TABLES = Purchase(price=None, years_kept=None, interest=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Owning:
    """Cost of owning one machine; money of this farm's part of it."""

    price: float
    remaining: float
    years_kept: float
    interest: float
    a_year: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """What one machine does in a mean year of a plan; the driver counts for own machines only.

    ``area_ha`` counts each pass, ``units`` is what hire is paid by.
    """

    area_ha: float
    hours: float
    units: float


def owning(machine: str, farm: Farm, tables: Tables, hours_a_year: float) -> Owning:
    """Yearly cost of owning a machine on the terms of the farm file, else those of the tables.

    Parameters
    ----------
    machine : str
        Its key.
    farm : Farm
        Price, years kept, interest and share, where its file gives them.
    tables : Tables
    hours_a_year : float
        Its work, by which a combine loses value. [h]

    Notes
    -----
    The remaining value is a share of the list price (ASABE D497). Where the farm file gives a price, that
    stands in for the list price: the shares are of today's money, the list prices of the tables are older.
    """
    mine = farm.machines.get(machine)
    terms = AS_THE_TABLES if mine is None or mine.terms is None else mine.terms
    share = 1.0 if mine is None else mine.share
    count = 1 if mine is None else mine.units
    price = tables.number("machine", machine, "list_price") if terms.price is None else terms.price
    years = money(farm, tables, "machine_years_kept") if terms.years_kept is None else terms.years_kept
    rate = money(farm, tables, "interest_rate") if terms.interest is None else terms.interest
    c1, c2, c3 = (tables.number("machine", machine, f"remaining_c{number}") for number in (1, 2, 3))
    price *= share * count
    remaining = price * remaining_value_share(years, hours_a_year / count, c1, c2, c3)
    overhead = money(farm, tables, "machine_overhead_share")
    return Owning(
        price=price,
        remaining=remaining,
        years_kept=years,
        interest=rate,
        a_year=ownership_cost(price, remaining, rate, years, overhead),
    )


def work_of(machine: str, hours: PairHours, areas: Mapping[int, float], years: int) -> Work:
    """Work of one machine, own and hired, in a mean year.

    Parameters
    ----------
    machine : str
    hours : PairHours
    areas : Mapping of int to float
        Hectares of each pair over all years of a plan. [ha]
    years : int
        Years of the plan.
    """
    at = hours.machines.index(machine)
    total = [0.0, 0.0, 0.0]
    for pair, area in areas.items():
        total[0] += area * float(hours.own_ha[pair, at] + hours.hired_ha[pair, at])
        total[1] += area * float(hours.machine[pair, at].sum() + hours.hired_h[pair, at])
        total[2] += area * float(hours.own_units[pair, at] + hours.hired_units[pair, at])
    return Work(area_ha=total[0] / years, hours=total[1] / years, units=total[2] / years)


def machine_case(machine: str, farm: Farm, tables: Tables, work: Work) -> MachineCase:
    """Own against hire for so much work; the driver of an own machine is paid the farm's wage."""
    mine = farm.machines[machine]
    cost = owning(machine, farm, tables, work.hours)
    a_pass, an_hour = running_rates(machine, farm, tables)
    driver = tables.number("machine", machine, "labour_per_machine_hour") * farm.labour.wage_per_h
    running = work.area_ha * a_pass + work.hours * (an_hour + driver)
    hired = work.units * hire_rate(machine, farm, tables)
    saved = partial_budget(added_income=0.0, reduced_cost=hired, reduced_income=0.0, added_cost=running)
    area = work.area_ha
    now: Literal["own", "hire", "buy"] = "buy" if mine.buy else "own" if mine.status == "own" else "hire"
    return MachineCase(
        machine=machine,
        now=now,
        area_ha=area,
        hours=work.hours,
        price=cost.price,
        remaining=cost.remaining,
        years_kept=cost.years_kept,
        interest=cost.interest,
        owning=cost.a_year,
        running=running,
        hired=hired,
        break_even_ha=_break_even(machine, farm, tables, work, saved / area) if area else math.inf,
    )


def _break_even(machine: str, farm: Farm, tables: Tables, work: Work, saved_per_ha: float) -> float:
    """Area a year from which owning costs less than hire, the machine worn by just that area. [ha]"""
    area = work.area_ha
    for _ in range(ROUNDS):
        cost = owning(machine, farm, tables, work.hours * area / work.area_ha).a_year
        found = break_even_area(cost, saved_per_ha, 0.0)
        if not math.isfinite(found) or abs(found - area) <= 1e-9 * area:
            return found
        area = found
    return area


def bought(farm: Farm, machines: tuple[str, ...]) -> Farm:
    """The farm with these machines owned; who was hired before can still be called in a pinch."""

    def own(mine: OwnMachine) -> OwnMachine:
        return replace(mine, status="own", also_hire=mine.also_hire or mine.status == "hire")

    return replace(
        farm, machines={key: own(each) if key in machines else each for key, each in farm.machines.items()}
    )
