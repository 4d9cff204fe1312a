"""The usual changes asked for at the kitchen table: a farm with one of them, and a sentence on it."""

from __future__ import annotations

from dataclasses import replace

from .records import Farm
from .tables import Tables

Changed = tuple[Farm, str]


def hired(farm: Farm, tables: Tables, machine: str) -> Changed:
    """A machine that can be hired: one that was not at hand, or more of one that is owned.

    Raises
    ------
    ValueError
        If it can be hired already; says so.
    """
    mine, name = farm.machines[machine], _machine(farm, tables, machine)
    if mine.status == "hire" or (mine.status == "own" and mine.also_hire):
        raise ValueError(f"the {name} can be hired already.")
    if mine.status == "own":
        return _with(farm, machine, also_hire=True), f"The {name} can be hired beside your own"
    return _with(farm, machine, status="hire"), f"The {name} can be hired"


def late(farm: Farm, tables: Tables, machine: str, days: int) -> Changed:
    """A hired machine that comes some days after it is called.

    Raises
    ------
    ValueError
        If it is not hired; says so.
    """
    name = _machine(farm, tables, machine)
    if farm.machines[machine].status != "hire":
        raise ValueError(f"the {name} is not hired, and only a hired machine comes late.")
    said = f"The hired {name} comes {days} day{'' if days == 1 else 's'} after it is called"
    return _with(farm, machine, comes_late_days=days), said


def lease_lost(farm: Farm, field: str, last_year: int) -> Changed:
    """A field that is farmed no longer than a year.

    Raises
    ------
    ValueError
        If the year is not within the plan, or the lease ends by then anyhow; says so.
    """
    mine = next(each for each in farm.fields if each.name == field)
    last = farm.first_year + farm.years - 1
    until = last if mine.lease_end_year is None else min(mine.lease_end_year, last)
    if not farm.first_year <= last_year < last:
        raise ValueError(
            f"{last_year} is not from {farm.first_year} to {last - 1}: give the last harvest year."
        )
    if last_year >= until:
        raise ValueError(f"{field} is farmed until {until} as it is.")
    fields = tuple(replace(each, lease_end_year=last_year) if each is mine else each for each in farm.fields)
    return replace(farm, fields=fields), f"{field} is lost after the harvest of {last_year}"


def no_buyer(farm: Farm, tables: Tables, *, crop: str = "", outlet: str = "") -> Changed:
    """Nobody buys a crop any more, or one of its buyers is gone and the others are as before."""
    if outlet:
        left = tuple(each for each in farm.outlets if each.name != outlet)
        return replace(farm, outlets=left), f"{outlet} buys nothing"
    left = tuple(each for each in farm.outlets if each.crop != crop)
    known = tables.crops[crop]
    name = known.name_us if farm.region == "us" else known.name_uk
    gone = replace(farm, outlets=left, no_market=farm.no_market | {crop})
    return gone, f"Nobody buys {name[:1].lower()}{name[1:]}"


def _with(farm: Farm, machine: str, **changes: object) -> Farm:
    mine = replace(farm.machines[machine], **changes)  # type: ignore[arg-type]
    return replace(farm, machines={**farm.machines, machine: mine})


def _machine(farm: Farm, tables: Tables, key: str) -> str:
    machine = tables.machines[key]
    return machine.name_us if farm.region == "us" else machine.name_uk
