"""The practices one farm can choose from, and why each of the others is left out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from rotation_opt.climate import Climate
from rotation_opt.practices.calendar import FieldCalendar, field_calendar
from rotation_opt.practices.dating import DatedPractice, date_practice
from rotation_opt.practices.stages import main_weed
from rotation_opt.records import Farm, Practice
from rotation_opt.standing_hay import sold_as
from rotation_opt.tables import Tables

BREAK_STAND = "break_stand"  # programme added when a stand is not carried on


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticeList:
    """The practices of one farm.

    ``all`` starts with ``practices`` in the same order, so an index into one is an index into the other.
    """

    practices: tuple[DatedPractice, ...]
    all: tuple[DatedPractice, ...]
    index: Mapping[str, int]
    left_out: tuple[tuple[str, str], ...]
    calendar: FieldCalendar
    machines: frozenset[str] | None = None  # owned or for hire; None = all
    reasons: Mapping[str, str] = field(default_factory=dict)  # practice key -> why it is left out

    def of(self, key: str) -> DatedPractice:
        """The dated practice with this key.

        Raises
        ------
        KeyError
            If the practice is neither offered nor in a history.
        """
        return self.all[self.index[key]]


def dated_practices(farm: Farm, tables: Tables, climate: Climate) -> PracticeList:
    """All practices this farm can choose from here, and what is left out with the reason.

    Parameters
    ----------
    farm : Farm
        Its machines, markets and refusals decide together with the climate.
    tables : Tables
        The crop tables.
    climate : Climate
        The farm's climate.

    Returns
    -------
    PracticeList
        ``all`` also holds practices of the histories and of the present rotation that are left out.
    """
    calendar = replace(
        field_calendar(climate, tables, main_weed(farm, tables), farm.region), late=days_late(farm, tables)
    )
    needed = {key for field in farm.fields for key in (*field.history, *field.as_now) if key}
    offered: list[DatedPractice] = []
    known: list[DatedPractice] = []
    left_out: list[tuple[str, str]] = []
    reasons: dict[str, str] = {}
    for practice in tables.practices.values():
        dated, too_late = date_practice(practice, climate, tables, calendar, farm.region)
        reason = why_not_here(practice, farm, tables) or too_late
        if not reason:
            offered.append(dated)
            continue
        reasons[practice.key] = reason
        left_out.append((practice.name_us if farm.region == "us" else practice.name_uk, reason))
        if practice.key in needed:
            known.append(replace(dated, available=False))
    every = (*offered, *known)
    return PracticeList(
        practices=tuple(offered),
        all=every,
        index={dated.key: at for at, dated in enumerate(every)},
        left_out=tuple(left_out),
        reasons=reasons,
        calendar=calendar,
        machines=machines_at_hand(farm),
    )


def usual_yield(crop: str, farm: Farm, tables: Tables) -> float:
    """The farm's own usual yield of a crop, else the table's; 0 where nothing is sold. [t/ha]"""
    if tables.crops[crop].product == "none":
        return 0.0
    own = farm.yields_t_ha.get(crop)
    return tables.number("crop", crop, "yield_t_ha") if own is None else own


def programmes_of(practice: Practice) -> tuple[str, ...]:
    """The programmes of work a practice is made of, in their order; empty names left out."""
    return tuple(
        name for name in (practice.between, practice.sow, practice.in_crop, practice.harvest) if name
    )


def machines_at_hand(farm: Farm) -> frozenset[str]:
    """Machines the farm owns or can hire."""
    return frozenset(key for key, machine in farm.machines.items() if machine.status != "none")


def days_late(farm: Farm, tables: Tables) -> dict[str, int]:
    """Operations whose hired machine comes some days after it is called -> those days."""
    hired = {key: each.comes_late_days for key, each in farm.machines.items() if each.status == "hire"}
    return {
        key: late for key, operation in tables.operations.items() if (late := hired.get(operation.machine, 0))
    }


def why_not_here(practice: Practice, farm: Farm, tables: Tables) -> str:
    """Why a farm leaves a practice out, whatever its climate; empty if it does not."""
    return (
        _refused(practice, farm, tables)
        or _no_use(practice, farm, tables)
        or _no_machine(practice, farm, tables)
    )


def _refused(practice: Practice, farm: Farm, tables: Tables) -> str:
    crop = tables.crops[practice.crop]
    us = farm.region == "us"
    if practice.key in farm.refuses:
        return "you do not want it"
    if crop.key in farm.refuses:
        return f"you do not want {(crop.name_us if us else crop.name_uk).lower()}"
    if crop.group in farm.refuses:
        return f"you do not want any {crop.group}"
    tags = sorted(practice.tags & farm.refuses)
    return f"you do not want practices of the kind {tags[0].replace('_', ' ')}" if tags else ""


def _no_use(practice: Practice, farm: Farm, tables: Tables) -> str:
    """Why the product is of no use here: nobody buys it and no stock eats it."""
    crop = tables.crops[practice.crop]
    herd = farm.feed_need_t > 0.0
    if practice.cut_use == "standing":
        agreed = any(outlet.crop == sold_as(practice) for outlet in farm.outlets)
        return "" if agreed else "nobody has agreed to buy it standing"
    if practice.cut_use == "graze":
        return "" if herd or farm.grazing_need_t else "it is grazed, and there is no stock on the farm"
    if crop.product == "none" or practice.cut_use == "leave" or crop.key not in farm.no_market:
        return ""
    if crop.product == "hay" and herd:
        return ""
    name = crop.name_us if farm.region == "us" else crop.name_uk
    return f"nobody near buys {name.lower()}"


def _no_machine(practice: Practice, farm: Farm, tables: Tables) -> str:
    usable = machines_at_hand(farm)
    for machine in tables.machines_for(practice):
        if machine not in usable:
            known = tables.machines[machine]
            word = known.name_us if farm.region == "us" else known.name_uk
            return f"it needs a {word}, which you neither own nor can hire"
    return ""
