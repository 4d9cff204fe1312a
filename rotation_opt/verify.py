"""A second computation of every printed plan, one field and one year at a time.

It starts again from the dated practices: the plan's own programmes are dated, simulated and priced anew, and
everything is added up in plain loops. The tree of sequences, the selection program and the solver are not
used. What it finds is compared with what is printed, and every limit of the farm is checked once more.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt

from rotation_opt.budgets import PairBudgets, grazing_land_share, pair_budgets, weedy_grain
from rotation_opt.farm_arrays import extra_hire
from rotation_opt.groundwork import Groundwork
from rotation_opt.records import Alternative, Check, Crop, Farm, Field, Practice, Rule, YearOnField
from rotation_opt.season import Response, respond
from rotation_opt.standing_hay import sold_as
from rotation_opt.timetable import Timetable
from rotation_opt.weeds.yield_loss import loss_figures, share_lost
from rotation_opt.workload import HALF_MONTHS, PairHours, money, pair_hours

Array = npt.NDArray[np.float64]

MONEY = 1.0
"""Largest difference in money a year that counts as rounding, whole farm. [currency]"""

TONNES, HOURS, SHARE = 0.01, 0.05, 1e-6
"""Likewise for tonnes, hours and shares; the selection works to tolerances of this order."""


@dataclass(frozen=True, slots=True)
class _Season:
    """One field in one year, recomputed."""

    field: Field
    year: int
    practice: Practice
    pair: int
    reserve: Array  # (W, D) on 1 November
    shoots: Array  # (W, D)
    loss: float
    made_t: float


class SeasonsAgain:
    """Seasons of plans dated, simulated and priced anew, each once however many plans have it.

    Parameters
    ----------
    ground : Groundwork
        Farm, tables, climate and dated practices.
    plans : sequence of Alternative
    """

    def __init__(self, ground: Groundwork, plans: Sequence[Alternative]) -> None:
        dated = ground.practice_list
        self.timetable = Timetable(ground.climate, ground.tables, dated.calendar)
        every = dict.fromkeys(pair for plan in plans for pair in pairs_of(ground.farm, plan))
        self.place = {pair: number for number, pair in enumerate(every)}
        self.programmes = [
            self.timetable.programme(dated.of(before), dated.of(this)) for before, this in every
        ]
        self.response: Response = respond(
            self.programmes, ground.climate, ground.tables, ground.response.weeds, ground.response.draws
        )
        self.hours: PairHours = pair_hours(self.programmes, ground.farm, ground.tables)
        self.budgets: PairBudgets = pair_budgets(
            self.programmes, dated, ground.farm, ground.tables, self.hours
        )


def pairs_of(farm: Farm, plan: Alternative) -> tuple[tuple[str, str], ...]:
    """Every (previous, practice) of a plan."""
    found: dict[tuple[str, str], None] = {}
    for field in farm.fields:
        before = field.history[-1]
        for this in plan.practices[field.name]:
            if not this:
                break
            found.setdefault((before, this))
            before = this
    return tuple(found)


class Recheck:
    """Recomputes one alternative.

    Parameters
    ----------
    ground : Groundwork
        Farm, tables, climate and dated practices.
    plan : Alternative
        The plan as it will be printed.
    seasons : SeasonsAgain
        Of this plan, and maybe of others.
    """

    def __init__(self, ground: Groundwork, plan: Alternative, seasons: SeasonsAgain) -> None:
        self.ground, self.plan = ground, plan
        self.farm, self.tables = ground.farm, ground.tables
        self.likely = ground.response.draws.index("likely")
        dated, self.timetable = ground.practice_list, seasons.timetable
        self.misfits = [
            f"{this} after {before}: {why}"
            for before, this in pairs_of(self.farm, plan)
            for fits, why in [self.timetable.fits(dated.of(before), dated.of(this), self.farm.region)]
            if not fits
        ]
        self.pairs, self.programmes = seasons.place, seasons.programmes
        self.response, self.hours, self.budgets = seasons.response, seasons.hours, seasons.budgets
        self.seasons = [season for field in self.farm.fields for season in self._follow(field)]

    def _follow(self, field: Field) -> Iterable[_Season]:
        start = self.ground.starts[field.name]
        reserve, before = start.reserve, field.history[-1]
        draws = np.arange(reserve.shape[1])
        for year, this in enumerate(self.plan.practices[field.name]):
            if not this:
                return
            pair = self.pairs[before, this]
            practice = self.ground.practice_list.of(this).practice
            group = self.tables.crops[practice.crop].group
            autumn, after, shoots = (np.zeros_like(reserve) for _ in range(3))
            kept = 1.0
            for w, weed in enumerate(self.response.weeds):
                autumn[w] = self.response.autumn_after(pair, w, draws, reserve[w])
                after[w] = self.response.after(pair, w, draws, reserve[w])
                shoots[w] = self.response.shoots_after(pair, w, draws, reserve[w])
                index, most = loss_figures(self.tables, weed, group)
                lost = float(share_lost(shoots[w, self.likely], index, most))
                kept *= 1.0 - float(start.infested_share[w]) * lost
            made = float(self.budgets.yield_t_ha[pair]) * field.area_ha * kept
            made *= field.ratio_of(practice.crop)
            yield _Season(field, year, practice, pair, autumn, shoots, 1.0 - kept, made)
            reserve, before = after, this

    # ------------------------------------------------------------ comparisons

    def checks(self) -> tuple[Check, ...]:
        """All lines of the re-check; those about limits are left out for a plan that says which it breaks."""
        lines = [
            self._reserves(),
            self._losses(),
            self._tonnes_made(),
            self._burden(),
            *self._balances(),
            self._labour_hours(),
            self._money(),
        ]
        if not self.plan.breaks:
            lines += [
                self._labour_limit(),
                self._machine_limit(),
                self._hired_limit(),
                self._outlet_limits(),
                self._cash_limit(),
                self._share_limits(),
                self._succession(),
                self._wishes(),
                self._dates(),
            ]
        return tuple(lines)

    def _printed(self) -> Mapping[tuple[str, int], YearOnField]:
        return {(each.field, each.year - self.farm.first_year): each for each in self.plan.fields}

    def _reserves(self) -> Check:
        printed = self._printed()
        worst = 0.0
        for season in self.seasons:
            said = printed[season.field.name, season.year]
            for w, weed in enumerate(self.response.weeds):
                if weed in said.reserve:
                    worst = max(worst, abs(said.reserve[weed][1] - float(season.reserve[w, self.likely])))
        return _line("root reserve left, each field and year", worst, SHARE, "share")

    def _losses(self) -> Check:
        printed = self._printed()
        worst = max(
            (abs(printed[s.field.name, s.year].weed_loss - s.loss) for s in self.seasons), default=0.0
        )
        return _line("share of yield lost to weeds", worst, SHARE, "share")

    def _made(self) -> dict[str, Array]:
        made: dict[str, Array] = {}
        for season in self.seasons:
            if season.made_t > 0.0:
                total = made.setdefault(sold_as(season.practice), np.zeros(self.farm.years))
                total[season.year] += season.made_t
        return made

    def _tonnes_made(self) -> Check:
        made = self._made()
        names = set(made) | set(self.plan.figures.made_t)
        none = np.zeros(self.farm.years)
        worst = max(
            (
                float(np.abs(made.get(n, none) - np.array(self.plan.figures.made_t.get(n, none))).max())
                for n in names
            ),
            default=0.0,
        )
        return _line("tonnes harvested, each crop and year", worst, TONNES, "t")

    def _burden(self) -> Check:
        total = np.zeros(self.farm.years)
        for s in self.seasons:
            if not self.plan.practices[s.field.name][-1]:
                continue
            share = self.ground.starts[s.field.name].infested_share
            total[s.year] += s.field.area_ha * float(share @ s.reserve[:, self.likely])
        said = np.array([likely for _, likely, _ in self.plan.figures.burden[1:]])
        return _line(
            "living root on the whole farm, each year", float(np.abs(total - said).max()), 1e-4, "ha"
        )

    def _grower_tonnes(self) -> dict[str, Array]:
        mine: dict[str, Array] = {}
        for s in self.seasons:
            if s.made_t > 0.0:
                total = mine.setdefault(sold_as(s.practice), np.zeros(self.farm.years))
                total[s.year] += s.made_t * (1.0 - s.field.landlord_share)
        return mine

    def _balances(self) -> list[Check]:
        """What was made = what was sold + fed + put in store + left unsold, crop by crop; hay together."""
        figures, farm = self.plan.figures, self.farm
        none = np.zeros(farm.years)
        hay_in = np.zeros(farm.years)
        worst = 0.0
        for crop, mine in self._grower_tonnes().items():
            sold = sum(
                (np.array(t) for sale, t in figures.sold_t.items() if sale.split(" @ ")[0] == crop),
                none.copy(),
            )
            rest = mine - sold - np.array(figures.unsold_t.get(crop, none))
            if self._is_hay(crop):
                hay_in += rest
            else:
                worst = max(worst, float(np.abs(rest).max()))
        stored = np.array(figures.hay_stored_t)
        keeps = 1.0 - farm.hay_storage_loss
        from_before = np.concatenate(([farm.hay_stored_now_t], stored[:-1] * keeps))
        hay = hay_in + from_before - stored - np.array(figures.fed_t)
        need = np.array(figures.fed_t) + np.array(figures.feed_bought_t) - farm.feed_need_t
        return [
            _line("grain made = sold + left over", worst, TONNES, "t"),
            _line(
                "hay made + from store = sold + fed + into store + left over",
                float(np.abs(hay).max()),
                0.05,
                "t",
            ),
            _line(
                "herd's hay = own hay fed + hay bought",
                float(np.abs(need).max()) if farm.feed_need_t else 0.0,
                0.05,
                "t",
            ),
            _line(
                "hay in store within its room", float(max(stored.max() - farm.hay_storage_t, 0.0)), 0.05, "t"
            ),
        ]

    def _is_hay(self, crop: str) -> bool:
        return self.tables.crops[crop].product == "hay"

    def _labour(self) -> Array:
        """Hours by calendar year (first row: the autumn before the plan) and half-month."""
        total = np.zeros((self.farm.years + 1, HALF_MONTHS))
        for s in self.seasons:
            total[s.year : s.year + 2] += self.hours.labour[s.pair] * s.field.area_ha
        return total

    def _machine(self) -> Array:
        total = np.zeros((len(self.hours.machines), self.farm.years + 1, HALF_MONTHS))
        for s in self.seasons:
            total[:, s.year : s.year + 2] += self.hours.machine[s.pair] * s.field.area_ha
        return total

    def _labour_hours(self) -> Check:
        said = np.array(self.plan.figures.labour_hours)
        worst = float(np.abs(self._labour()[1:] - said).max())
        return _line("hours of work, each half-month", worst, HOURS, "h")

    def _money(self) -> Check:
        figures, farm = self.plan.figures, self.farm
        net = np.full(farm.years, -farm.fixed_cost)
        for s in self.seasons:
            net[s.year] -= (float(self.budgets.cost_per_ha[s.pair]) + s.field.rent_per_ha) * s.field.area_ha
            net[s.year] -= s.made_t * float(self.budgets.haul_per_t[s.pair])
            off, from_loss = weedy_grain(s.practice.crop, farm, self.tables)
            if s.loss >= from_loss:
                net[s.year] -= s.made_t * (1.0 - s.field.landlord_share) * off
        for sale, tonnes in figures.sold_t.items():
            crop, place = sale.split(" @ ", 1)
            outlets = [o for o in farm.outlets if o.crop == crop and o.name == place]
            price = outlets[0].price_per_t - outlets[0].haul_per_t if outlets else None
            for year, t in enumerate(tonnes):
                net[year] += t * (self._open_price(crop, year) if price is None else price)
        net -= np.array(figures.feed_bought_t) * self._bought_hay_price()
        net -= self._extra_labour_cost() + self._extra_hire_cost()
        worst = float(np.abs(net - np.array(figures.net_return)).max())
        return _line("net return, each year", worst, MONEY, farm.currency)

    def _extra_labour_cost(self) -> Array:
        """Hours beyond the farm's own, as many as can be found, at what they cost beyond the wage."""
        labour = self.farm.labour
        beyond = max(0.0, labour.extra_wage_per_h - labour.wage_per_h)
        missing = self._labour() - np.array(labour.hours_by_half_month)
        found = np.clip(missing, 0.0, np.array(labour.extra_hours_by_half_month))
        return _by_plan_year(found.sum(axis=1) * beyond)

    def _extra_hire_cost(self) -> Array:
        """Help for own machines in the half-months in which they cannot do all the work."""
        most, cost = extra_hire(self.farm, self.tables, self.ground.hours)
        total = np.zeros(self.farm.years + 1)
        for m, name in enumerate(self.hours.machines):
            mine = self.farm.machines[name]
            if mine.status == "own" and mine.also_hire:
                excess = np.maximum(self._machine()[m] - self.ground.capacity.machine[m], 0.0)
                total += np.minimum(excess.sum(axis=1), most[m]) * cost[m]
        return _by_plan_year(total)

    def _bought_hay_price(self) -> float:
        """The farm's own price of bought hay; without one, that of its dearest hay and carriage."""
        if self.farm.feed_price_per_t > 0.0:
            return self.farm.feed_price_per_t
        grown = [each.practice for each in self.ground.practice_list.all]
        unsold = ("standing", "leave", "graze")
        sold = {p.crop for p in grown if self._is_hay(p.crop) and p.cut_use not in unsold}
        dearest = max((self.budgets.price_per_t[crop] for crop in sold), default=0.0)
        return dearest * money(self.farm, self.tables, "feed_hay_price_ratio")

    def _open_price(self, crop: str, year: int) -> float:
        """Price of tonnes that no named buyer takes: a reduced one where there is a named buyer that year."""
        if crop in self.farm.no_market:
            return 0.0
        usual = self.budgets.price_per_t[crop]
        when = self.farm.first_year + year
        named = any(o.crop == crop and (not o.years or when in o.years) for o in self.farm.outlets)
        return usual * (money(self.farm, self.tables, "surplus_price_share") if named else 1.0)

    # ------------------------------------------------------------ limits

    def _labour_limit(self) -> Check:
        room = np.array(self.farm.labour.hours_by_half_month) + np.array(
            self.farm.labour.extra_hours_by_half_month
        )
        over = float(np.max(self._labour() - room, initial=0.0))
        return _line("no half-month needs more hours than there are", over, HOURS, "h")

    def _machine_limit(self) -> Check:
        over = 0.0
        for m, name in enumerate(self.hours.machines):
            mine = self.farm.machines[name]
            if mine.status != "own":
                continue
            excess = np.maximum(self._machine()[m] - self.ground.capacity.machine[m], 0.0)
            if mine.also_hire:
                most = extra_hire(self.farm, self.tables, self.ground.hours)[0][m]
                over = max(over, float((excess.sum(axis=1) - most).max()))
            else:
                over = max(over, float(excess.max()))
        return _line("no own machine works more hours than the weather allows", over, HOURS, "h")

    def _hired_limit(self) -> Check:
        over = 0.0
        for m, name in enumerate(self.hours.machines):
            mine = self.farm.machines[name]
            if mine.status == "hire" and mine.hire_cap_ha is not None:
                used = np.zeros(self.farm.years)
                for s in self.seasons:
                    used[s.year] += float(self.hours.hired_ha[s.pair, m]) * s.field.area_ha
                over = max(over, float((used - mine.hire_cap_ha).max()))
        return _line("hired machines within the area their owners take on", over, 0.01, "ha")

    def _outlet_limits(self) -> Check:
        over = 0.0
        for outlet in self.farm.outlets:
            sold = self.plan.figures.sold_t.get(f"{outlet.crop} @ {outlet.name}", (0.0,) * self.farm.years)
            for year, t in enumerate(sold):
                if outlet.years and self.farm.first_year + year not in outlet.years:
                    over = max(over, t)
                    continue
                most = np.inf if outlet.most_t is None else outlet.most_t
                over = max(over, t - most, outlet.least_t - t)
        return _line("contracts met, no buyer given more than he takes", over, TONNES, "t")

    def _cash_limit(self) -> Check:
        short = max((self.farm.cash_floor - net for net in self.plan.figures.net_return), default=0.0)
        return _line("cash above its floor every year", max(short, 0.0), MONEY, self.farm.currency)

    def _share_limits(self) -> Check:
        farm, over = self.farm, 0.0
        areas = np.zeros(farm.years)
        for s in self.seasons:
            areas[s.year] += s.field.area_ha
        for name, most in farm.largest_share.items():
            held = self._held(name)
            over = max(over, float(((held - most * areas) / areas).max()))
        over = max(over, float(((self._grazed_ha() - self._grazing_share() * areas) / areas).max()))
        for name, least in farm.least_share.items():
            over = max(over, float(least - self._held(name).sum() / areas.sum()))
        return _line("shares of the land kept", max(over, 0.0), SHARE, "share")

    def _grazed_ha(self) -> Array:
        grazed = np.zeros(self.farm.years)
        for s in self.seasons:
            grazed[s.year] += s.field.area_ha * (s.practice.cut_use == "graze")
        return grazed

    def _grazing_share(self) -> float:
        """Share of the land whose forage the herd eats up."""
        every = [dated.practice for dated in self.ground.practice_list.all]
        grazed = [practice for practice in every if practice.cut_use == "graze"]
        return grazing_land_share(grazed, self.farm, self.tables)

    def _held(self, name: str) -> Array:
        held = np.zeros(self.farm.years)
        for s in self.seasons:
            crop = self.tables.crops[s.practice.crop]
            if name in (crop.key, crop.group) or (name == "legume" and crop.legume):
                held[s.year] += s.field.area_ha
        return held

    def _succession(self) -> Check:
        """Every rule of the tables on every field, by looking back along the years."""
        broken = len(self.misfits)
        for field in self.farm.fields:
            path = [
                *[self.ground.practice_list.of(key).practice for key in field.history],
                *[
                    self.ground.practice_list.of(key).practice
                    for key in self.plan.practices[field.name]
                    if key
                ],
            ]
            first = len(field.history)
            broken += sum(
                1
                for at in range(first, len(path))
                for rule in self.tables.rules
                if not self._keeps(rule, path, at)
            )
        return _line("succession rules and windows kept", float(broken), 0.0, "broken")

    def _member(self, subject: str, practice: Practice) -> bool:
        return belongs(subject, self.tables.crops[practice.crop])

    def _keeps(self, rule: Rule, path: Sequence[Practice], at: int) -> bool:
        this, before = path[at], path[at - 1]
        if rule.kind == "not_after":
            return not (self._member(rule.subject, this) and self._member(rule.other, before))
        if rule.kind == "break":
            sown = {*_beside(this), *(() if this.needs_stand else (this.crop,))}
            stood = {crop for p in path[max(at - rule.years, 0) : at] for crop in (p.crop, *_beside(p))}
            return not (self._any(rule.subject, sown) and self._any(rule.subject, stood))
        if rule.kind == "run":
            span = path[max(at - rule.years, 0) : at + 1]
            return len(span) <= rule.years or not all(self._member(rule.subject, p) for p in span)
        if rule.kind == "phase_most":
            year = int(this.needs_stand.rpartition(":")[2]) if this.needs_stand else 0
            return not self._member(rule.subject, this) or year <= rule.years
        stand, _, coming = before.leaves_stand.rpartition(":")
        goes_on = this.needs_stand == before.leaves_stand
        return stand != rule.subject or goes_on or int(coming) > rule.years  # phase_least

    def _any(self, subject: str, crops: Iterable[str]) -> bool:
        return any(belongs(subject, self.tables.crops[crop]) for crop in crops)

    def _wishes(self) -> Check:
        """Nothing grown that the grower refuses or that a field is closed to."""
        broken = 0
        for s in self.seasons:
            p = s.practice
            group = self.tables.crops[p.crop].group
            broken += bool({p.key, p.crop, group, *p.tags} & self.farm.refuses)
            broken += bool({p.key, p.crop, *_beside(p), group, *p.tags} & s.field.bans)
        return _line(
            "nothing grown that is refused, or that a field is closed to", float(broken), 0.0, "broken"
        )

    def _dates(self) -> Check:
        """Leases, the day of decision, and the days on which no soil may lie bare.

        Work before the day of decision is only that of the season begun.
        """
        farm, broken = self.farm, 0
        decided = (date.fromisoformat(farm.decided_on) - date(farm.first_year, 1, 1)).days
        covered = {day for first, last in farm.soil_cover for day in _span(first, last)}
        for s in self.seasons:
            programme = self.programmes[s.pair]
            if s.field.lease_end_year is not None:
                broken += farm.first_year + s.year > s.field.lease_end_year
            if s.year == 0:
                before = {(op.day, op.operation) for op in programme.operations if op.day < decided}
                broken += bool(before - self._begun(s.field))
            bare = {day for first, last in programme.bare_spans for day in range(first, last + 1)}
            sown = {day for c in programme.canopies for day in range(c.start_day, c.end_day + 1)}
            broken += any(day % 365 in covered for day in bare - sown)
        return _line("leases, day of decision and soil cover respected", float(broken), 0.0, "broken")

    def _begun(self, field: Field) -> set[tuple[int, str]]:
        """Day and kind of all work of the season that has been begun on a field."""
        if not field.begun:
            return set()
        dated = self.ground.practice_list
        season = self.timetable.programme(dated.of(field.history[-1]), dated.of(field.begun))
        return {(op.day, op.operation) for op in season.operations}


def _beside(practice: Practice) -> tuple[str, ...]:
    """Crops grown beside the main one: sown under it, or as a cover crop before it."""
    return tuple(crop for crop in (practice.undersown, practice.cover) if crop)


def _span(first: int, last: int) -> Iterable[int]:
    """Days of the year from first to last, over the new year if need be."""
    return range(first, last + 1) if first <= last else (*range(first, 365), *range(last + 1))


def belongs(subject: str, crop: Crop) -> bool:
    """Whether a crop is meant by the subject of a rule."""
    if subject.startswith("family:"):
        return crop.family == subject.removeprefix("family:")
    if subject.startswith("group:"):
        return crop.group == subject.removeprefix("group:")
    return crop.small_grain if subject == "small_grain" else crop.key == subject


def recheck(ground: Groundwork, plan: Alternative, seasons: SeasonsAgain | None = None) -> tuple[Check, ...]:
    """Recompute one plan and compare it with what is printed; see `Recheck`."""
    return Recheck(ground, plan, seasons or SeasonsAgain(ground, [plan])).checks()


def _line(what: str, difference: float, allowed: float, unit: str) -> Check:
    return Check(what=what, agrees=difference <= allowed, largest_difference=float(difference), unit=unit)


def _by_plan_year(by_calendar_year: Array) -> Array:
    """The autumn before the plan is counted in its first year."""
    return np.concatenate(([by_calendar_year[0] + by_calendar_year[1]], by_calendar_year[2:]))
