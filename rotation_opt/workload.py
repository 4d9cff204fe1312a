"""Hours of machines and people, by half-month, against the hours that weather and help allow.

Half-months are counted 0-23 = (month - 1) * 2 + (day of the month > 15). Work before 1 January of the harvest
year belongs to the calendar year before it (year 0 of the pair), later work to the harvest year (year 1).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rotation_opt.machinery import hours_per_ha
from rotation_opt.practices import MONTH_STARTS, YEAR, usual_yield
from rotation_opt.records import DatedOperation, Farm, Practice, Programme
from rotation_opt.tables import Tables

Array = npt.NDArray[np.float64]
HALF_MONTHS = 24
_MID = 15  # days in the first half of a month


@dataclass(frozen=True, slots=True, kw_only=True)
class PairHours:
    """Work on one hectare of each pair.

    Attributes
    ----------
    labour : ndarray, shape (n_pairs, 2, 24)
        Hours of the farm's own people; axis 1 is the year (before, harvest year). [h/ha]
    machine : ndarray, shape (n_pairs, n_machines, 2, 24)
        Hours of the farm's own machines. [h/ha]
    machines : tuple of str
        Machine keys of axis 1 of ``machine`` and ``hired_ha``.
    own_ha, hired_ha : ndarray, shape (n_pairs, n_machines)
        Passes by own and by hired machines. [ha/ha]
    own_units : ndarray, shape (n_pairs, n_machines)
        What own work would be paid by if it were hired: hectares, bales, tonnes or hours. [unit/ha]
    hired_h : ndarray, shape (n_pairs, n_machines)
        Hours of hired machines. [h/ha]
    hired_units : ndarray, shape (n_pairs, n_machines)
        What hired work is paid by: hectares, bales, tonnes or hours. [unit/ha]
    """

    labour: Array
    machine: Array
    machines: tuple[str, ...]
    own_ha: Array
    own_units: Array
    hired_ha: Array
    hired_h: Array
    hired_units: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Capacity:
    """Hours there are in each half-month of any one year.

    Attributes
    ----------
    labour, extra_labour : ndarray, shape (24,)
        The farm's own hours, and those of extra paid help. [h]
    machine : ndarray, shape (n_machines, 24)
        Hours of own machines on days fit for their work, in a median year unless
        the farm plans with a bad one; 0 for hired ones. [h]
    machine_bad_year : ndarray, shape (n_machines, 24)
        The same in a bad year.
    machines : tuple of str
        As in `PairHours`.
    """

    labour: Array
    extra_labour: Array
    machine: Array
    machine_bad_year: Array
    machines: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PassWork:
    """One pass of one operation over one hectare."""

    machine: str  # "none" = by hand
    hours: float  # machine hours, or hours by hand
    labour: float  # hours of the farm's own people
    units: float  # hectares, bales, tonnes or hours, as the machine is hired by
    hired: bool


def half_month(day: int) -> int:
    """Half-month 0-23 of a day; days of other years are taken round.

    Examples
    --------
    >>> half_month(0), half_month(14), half_month(15), half_month(-1), half_month(364)
    (0, 0, 1, 23, 23)
    """
    day %= YEAR
    month = max(m for m in range(12) if MONTH_STARTS[m] <= day)
    return 2 * month + int(day - MONTH_STARTS[month] >= _MID)


def days_in_half_months() -> Array:
    """Days in each half-month, shape (24,)."""
    return np.bincount([half_month(day) for day in range(YEAR)], minlength=HALF_MONTHS).astype(float)


def own_machines(farm: Farm, tables: Tables) -> tuple[str, ...]:
    """Machines the farm owns or hires, in the order of the table."""
    return tuple(
        key for key in tables.machines if key in farm.machines and farm.machines[key].status != "none"
    )


def cut_shares(practice: Practice, tables: Tables) -> tuple[float, ...]:
    """Share of the year's hay in each cut a practice takes.

    In a full year of a stand the shares are those of the table, so that fewer cuts bring in less; in the
    year of sowing, whose yield ratio is for the cuts it has, they add up to 1.
    """
    if practice.cuts <= 0:
        return ()
    cuts = range(1, practice.cuts + 1)
    parts = [tables.number_or("crop", practice.crop, f"cut{number}_share", 0.0) for number in cuts]
    whole = sum(parts)
    if whole <= 0.0:
        return (1.0 / practice.cuts,) * practice.cuts
    return tuple(parts) if practice.needs_stand else tuple(part / whole for part in parts)


def pass_work(operation: str, crop_t_ha: float, farm: Farm, tables: Tables) -> PassWork:
    """Hours, labour and hire units of one pass over one hectare on this farm.

    Parameters
    ----------
    operation : str
        Key of the operation.
    crop_t_ha : float
        What passes through the machine: hay of the cut, grain of the harvest. [t/ha]
    farm : Farm
        Own width of the machine, and whether it is owned or hired.
    tables : Tables
        Widths, speeds, efficiencies where the farm gives none.
    """
    key = tables.operations[operation].machine
    if key == "none":
        hours = tables.number_or("operation", operation, "hours_per_ha", 0.0)
        return PassWork(machine="none", hours=hours, labour=hours, units=0.0, hired=False)
    own = farm.machines.get(key)
    width = tables.number("machine", key, "width_m") if own is None or own.width_m is None else own.width_m
    throughput = (
        tables.number("machine", key, "throughput_t_h")
        if tables.has("machine", key, "throughput_t_h")
        else None
    )
    hours = hours_per_ha(
        width,
        tables.number("machine", key, "speed_km_h"),
        tables.number("machine", key, "field_efficiency"),
        crop_t_ha,
        throughput,
    )
    hired = own is None or own.status != "own"
    # a contractor brings his own driver
    labour = 0.0 if hired else hours * tables.number("machine", key, "labour_per_machine_hour")
    units = {"ha": 1.0, "h": hours, "t": crop_t_ha}.get(hire_unit(key, farm, tables))
    if units is None:
        units = crop_t_ha * 1000.0 / tables.number("machine", key, "bale_kg")
    return PassWork(machine=key, hours=hours, labour=labour, units=units, hired=hired)


def crop_in_pass(
    op: DatedOperation, programme: Programme, crop_t_ha: float, shares: Sequence[float]
) -> float:
    """Crop handled by one pass at harvest: its share of the year's crop; nothing for other work. [t/ha]

    Passes of hay harvest are told apart by the number of cuts up to their day.
    """
    if op.part != "harvest":
        return 0.0
    if not shares:
        return crop_t_ha
    cuts = sorted({day for piece in programme.canopies if not piece.under for day in piece.cut_days})
    done = sum(day <= op.day for day in cuts)
    return crop_t_ha * shares[min(max(done, 1), len(shares)) - 1]


def pair_hours(programmes: Sequence[Programme], farm: Farm, tables: Tables) -> PairHours:
    """Hours on one hectare of each pair, by half-month, for own people, own and hired machines."""
    machines = own_machines(farm, tables)
    place = {key: at for at, key in enumerate(machines)}
    labour = np.zeros((len(programmes), 2, HALF_MONTHS))
    machine = np.zeros((len(programmes), len(machines), 2, HALF_MONTHS))
    own_ha, own_units, hired_ha, hired_h, hired_units = (
        np.zeros((len(programmes), len(machines))) for _ in range(5)
    )
    period = [half_month(day) for day in range(YEAR)]
    yields = {key: crop_t_ha(practice, farm, tables) for key, practice in tables.practices.items()}
    shares = {key: cut_shares(practice, tables) for key, practice in tables.practices.items()}
    known: dict[tuple[str, float], PassWork] = {}
    for pair, programme in enumerate(programmes):
        practice = tables.practices[programme.practice]
        for op in programme.operations:
            crop = crop_in_pass(op, programme, yields[practice.key], shares[practice.key])
            work = known.get((op.operation, crop))
            if work is None:
                work = known[op.operation, crop] = pass_work(op.operation, crop, farm, tables)
            year, half = int(op.day >= 0), period[op.day % YEAR]
            labour[pair, year, half] += work.labour
            at = place.get(work.machine)
            if at is None:
                continue
            if work.hired:
                hired_ha[pair, at] += 1.0
                hired_h[pair, at] += work.hours
                hired_units[pair, at] += work.units
            else:
                own_ha[pair, at] += 1.0
                own_units[pair, at] += work.units
                machine[pair, at, year, half] += work.hours
    return PairHours(
        labour=labour,
        machine=machine,
        machines=machines,
        own_ha=own_ha,
        own_units=own_units,
        hired_ha=hired_ha,
        hired_h=hired_h,
        hired_units=hired_units,
    )


def capacity(farm: Farm, tables: Tables) -> Capacity:
    """Hours of people and own machines in each half-month.

    A machine's hours are the days of the half-month x the share of days fit for its work x its hours a day x
    the number of such machines. Haymaking goes by hay days, all else by days fit for field work.
    """
    machines = own_machines(farm, tables)
    days = days_in_half_months()
    usual, bad = (np.zeros((len(machines), HALF_MONTHS)) for _ in range(2))
    for at, key in enumerate(machines):
        own = farm.machines[key]
        if own.status != "own":
            continue
        kind = "hay_share" if tables.machines[key].season == "haymaking" else "suitable_share"
        planned = f"{kind}_bad_year" if farm.labour.bad_year else kind
        a_day = own.hours_a_day * own.units * own.share
        usual[at] = days * field_day_shares(planned, tables) * a_day
        bad[at] = days * field_day_shares(f"{kind}_bad_year", tables) * a_day
    return Capacity(
        labour=np.asarray(farm.labour.hours_by_half_month, dtype=float),
        extra_labour=np.asarray(farm.labour.extra_hours_by_half_month, dtype=float),
        machine=usual,
        machine_bad_year=bad,
        machines=machines,
    )


def field_day_shares(quantity: str, tables: Tables) -> Array:
    """Share of days fit for work in each half-month, shape (24,)."""
    return np.array([tables.number("field_days", f"{half:02d}", quantity) for half in range(HALF_MONTHS)])


def crop_t_ha(practice: Practice, farm: Farm, tables: Tables) -> float:
    """What a practice would bring in without weeds and without regard to the crop before. [t/ha]"""
    return usual_yield(practice.crop, farm, tables) * practice.yield_ratio


def hired_cost(hours: PairHours, farm: Farm, tables: Tables) -> Array:
    """What hired work costs on one hectare of each pair, shape (n_pairs,). [currency/ha]"""
    rates = np.array([hire_rate(key, farm, tables) for key in hours.machines])
    return np.asarray(hours.hired_units @ rates) if rates.size else np.zeros(len(hours.labour))


def hire_unit(machine: str, farm: Farm, tables: Tables) -> str:
    """What hired work with a machine is paid by: "ha", "bale", "t" or "h".

    That of the grower's own rate, else that of the survey rate.
    """
    own = farm.machines.get(machine)
    return tables.machines[machine].hire_unit if own is None or own.hire_unit is None else own.hire_unit


def hire_rate(machine: str, farm: Farm, tables: Tables) -> float:
    """Rate of hired work for one hire unit: the grower's own, else the survey rate brought forward."""
    own = farm.machines.get(machine)
    if own is not None and own.hire_rate is not None:
        return own.hire_rate
    unit = hire_unit(machine, farm, tables)
    rate = tables.number_or("machine", machine, f"hire_per_{unit}", 0.0)
    return rate * money(farm, tables, "hire_forward_factor")


def money(farm: Farm, tables: Tables, quantity: str) -> float:
    """A general money figure: the grower's own where the farm file has one, else the table's."""
    own: Mapping[str, float] = farm.costs
    return own[quantity] if quantity in own else tables.number("money", "any", quantity)
