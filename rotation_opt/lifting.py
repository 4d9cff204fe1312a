"""Limits that are there or not, or belong to one field: each lifted by itself, as data of the selection.

A farm that allows all of them is worked out once; lifting one alone is then a matter of masks.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from .arrays import CashDates, Flags, SelectionData
from .cash_dates import PaymentDates
from .farm_arrays import selection_data
from .groundwork import Groundwork
from .practices import why_not_here
from .records import Farm, Field, LimitKind
from .standing_hay import sold_as
from .succession import bare_in, field_reasons, unsown_spans
from .tables import Tables
from .wider_ground import widened

POINT = 0.01
MOST_FREED = 20  # ways to grow something that are worked out anew for the sake of these questions


@dataclass(frozen=True, slots=True, kw_only=True)
class Lift:
    """One limit lifted, or made a step wider: the farm without it, and what it is."""

    kind: LimitKind
    farm: Farm
    field: str = ""  # name of the field, "" = the whole farm
    what: str = ""  # crop, kind of crop or machine by key; days of the year
    step: float = 1.0


def lifts_of(farm: Farm, tables: Tables) -> tuple[Lift, ...]:
    """Every limit of a farm of this kind that could change something, those of single fields first.

    Single ways to grow a crop that are refused are not asked about, and no more new ones than `MOST_FREED`
    are worked out.
    """
    rules = [lift for field in farm.fields for lift in _of_field(farm, field)]
    rules += [
        Lift(
            kind="bare_soil",
            farm=replace(farm, soil_cover=tuple(span for span in farm.soil_cover if span != this)),
            what=f"{this[0]}-{this[1]}",
        )
        for this in farm.soil_cover
    ]
    freed: set[str] = set()
    for lift in _of_choice(farm, tables):
        new = freed | _freed(farm, lift.farm, tables)
        if len(new) <= MOST_FREED and (new != freed or _priced(farm, lift, tables)):
            rules.append(lift)
            freed = new
    return tuple(rules)


def _of_field(farm: Farm, field: Field) -> list[Lift]:
    def changed(**changes: object) -> Farm:
        new = replace(field, **changes)  # type: ignore[arg-type]
        return replace(farm, fields=tuple(new if each is field else each for each in farm.fields))

    found = [
        Lift(kind="ban", farm=changed(bans=field.bans - {ban}), field=field.name, what=ban)
        for ban in sorted(field.bans)
    ]
    end = field.lease_end_year
    if end is not None and end < farm.first_year + farm.years:
        found.append(Lift(kind="lease", farm=changed(lease_end_year=end + 1), field=field.name))
    if field.landlord_share > 0.0:
        step = min(POINT, field.landlord_share)
        less = changed(landlord_share=field.landlord_share - step)
        found.append(Lift(kind="landlord", farm=less, field=field.name, step=step))
    return found


def _of_choice(farm: Farm, tables: Tables) -> list[Lift]:
    """What decides which ways of growing something there are."""
    found = [
        Lift(kind="no_market", farm=replace(farm, no_market=farm.no_market - {crop}), what=crop)
        for crop in sorted(farm.no_market)
    ]
    found += [
        Lift(
            kind="no_machine",
            farm=replace(farm, machines={**farm.machines, key: replace(own, status="hire")}),
            what=key,
        )
        for key, own in sorted(farm.machines.items())
        if own.status == "none"
    ]
    kinds = {each.group for each in tables.crops.values()} | set(tables.crops)
    kinds |= {tag for each in tables.practices.values() for tag in each.tags}
    found += [
        Lift(kind="refused", farm=replace(farm, refuses=farm.refuses - {what}), what=what)
        for what in sorted(farm.refuses & kinds)
    ]
    return found


def _freed(farm: Farm, wider: Farm, tables: Tables) -> set[str]:
    """Practices that one farm leaves out and a wider one does not."""
    return {
        key
        for key, each in tables.practices.items()
        if why_not_here(each, farm, tables) and not why_not_here(each, wider, tables)
    }


def _priced(farm: Farm, lift: Lift, tables: Tables) -> bool:
    """Whether something that is grown anyway finds its buyer."""
    return lift.kind == "no_market" and any(
        sold_as(each) == lift.what and not why_not_here(each, farm, tables)
        for each in tables.practices.values()
    )


class Lifting:
    """A farm in which any of some limits can be lifted.

    Parameters
    ----------
    ground : Groundwork
    data : SelectionData
        Of the same farm.
    lifts : tuple of Lift
    """

    def __init__(self, ground: Groundwork, data: SelectionData, lifts: tuple[Lift, ...]) -> None:
        self.ground, self.data = ground, data
        self.open = _open_ground(ground, lifts)
        self._dates: dict[tuple[str, ...], CashDates] = {}  # by names of the outlets

    @cached_property
    def everything(self) -> SelectionData:
        """With all lifts at once that decide about ways of growing something."""
        return self.under(self.open.farm)

    def under(self, farm: Farm) -> SelectionData:
        """Data of a farm between the one that was worked out and the one that allows all.

        Practices have the same places whatever is lifted.
        """
        there, tables = self.open, self.open.tables
        every = tuple(
            replace(dated, available=dated.available and not why_not_here(dated.practice, farm, tables))
            for dated in there.practice_list.all
        )
        known = replace(there.practice_list, all=every)
        years = farm.first_year + np.arange(farm.years)
        allowed: dict[str, Flags] = {}
        farmed: dict[str, Flags] = {}
        for field in farm.fields:
            no = field_reasons(
                farm,
                field,
                tables,
                practice_list=known,
                last=there.succession.histories[field.name][-1],
                programmes=there.programmes,
                pair_index=there.pair_index,
            )
            mask = np.ones((farm.years, len(every)), bool)
            for place in no:
                mask[place] = False
            allowed[field.name] = mask
            end = field.lease_end_year
            farmed[field.name] = np.ones(farm.years, bool) if end is None else years <= end
        succession = replace(
            there.succession, allowed=allowed, farmed=farmed, may_follow=self._may_follow(farm)
        )
        sold = {sold_as(each.practice) for each in every if each.available} | set(self.data.products)
        bought = tuple(outlet for outlet in farm.outlets if outlet.crop in sold)
        yearly = replace(farm, outlets=bought, cash_floor_quarter=None)  # when money is paid is known
        found = selection_data(replace(there, farm=yearly, succession=succession))
        own, dates = self.data.limits, None
        if farm.cash_floor_quarter is not None:
            key = tuple(outlet.name for outlet in bought)
            if key not in self._dates:
                self._dates[key] = PaymentDates(
                    replace(there, farm=replace(farm, outlets=bought))
                ).for_selection(found.limits.outlets, found.products)
            dates = self._dates[key]
        return replace(
            found,
            limits=replace(
                found.limits,
                feed_price_per_t=own.feed_price_per_t,
                cash_floor_quarter=own.cash_floor_quarter,
            ),
            weeds_left_price=self.data.weeds_left_price,
            cash_dates=dates,
        )

    def _may_follow(self, farm: Farm) -> Flags:
        """Pairs that no rule forbids, those that leave the ground bare among them."""
        may = self.open.succession.may_follow
        if farm.soil_cover == self.open.farm.soil_cover:
            return may
        may = may.copy()
        for pair in zip(*np.nonzero(may), strict=True):
            if bare_in(self._unsown[int(self.open.pair_index[pair])], farm.soil_cover) is not None:
                may[pair] = False
        return may

    @cached_property
    def _unsown(self) -> Mapping[int, tuple[tuple[int, int], ...]]:
        """Spans of bare ground of every pair."""
        return {at: unsown_spans(each) for at, each in enumerate(self.open.programmes)}


def _open_ground(ground: Groundwork, lifts: tuple[Lift, ...]) -> Groundwork:
    """The farm that allows all of what decides about ways of growing something."""
    farm = ground.farm
    what = {kind: {each.what for each in lifts if each.kind == kind} for kind in ("refused", "no_market")}
    hired = {each.what for each in lifts if each.kind == "no_machine"}
    wider = replace(
        farm,
        refuses=farm.refuses - what["refused"],
        no_market=farm.no_market - what["no_market"],
        machines={
            key: replace(own, status="hire") if key in hired else own for key, own in farm.machines.items()
        },
        soil_cover=() if any(each.kind == "bare_soil" for each in lifts) else farm.soil_cover,
    )
    return ground if wider == farm else widened(ground, wider)
