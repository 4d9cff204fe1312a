"""The tree of practice sequences on one field, grown level by level, and the figures of every branch.

A *sequence* is one practice a year. Its season effects depend on the pair (previous practice, practice)
and on the root reserve at the previous harvest, so a prefix shared by many sequences is simulated once.

Growing looks for the sequences that are worth most at given prices of work, tonnes, money and burden.
What the rest of a sequence can still bring is never underestimated: the backward bound (`_Outlook`)
forgets all rules but the pair rule and rounds every reserve down to a grid, so that a branch cut by it
cannot hold a better sequence. A branch cut for want of room (``width``) may, and is accounted for in
``Grown.upper``.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from .arrays import (
    NOT_FARMED,
    QUARTERS_BEFORE,
    QUARTERS_SPANNED,
    CashDates,
    FieldData,
    Flags,
    Floats,
    Integers,
    MachineWork,
    Prices,
    Rules,
    SelectionData,
)
from .weeds.response import reserve_after

LONG_AGO = 99
TINY = 1e-12  # against division by nothing
ROUNDING = 1e-9  # share by which two ways of reckoning a worth may differ
LEAST_EDGE = 0.01  # second edge of the grid, as a share of the largest reserve
MOST_PAIRS = 0.8  # share of the pairs of all years from which on one year has no table of its own
FOLLOWED = 4  # times as many branches as are kept: beyond that it pays to choose which to follow
GRID = (1, 24, 8)  # points of the bound's grid of reserves with 0, 1 and 2 weeds


@dataclass(frozen=True, slots=True, kw_only=True)
class Pool:
    """Sequences of one field with their figures (n sequences).

    Parameters
    ----------
    field : int
    paths : (n, T) int16
        Practice indices, ``NOT_FARMED`` where the field is no longer farmed.
    pairs : (n, T) int
        Pair indices, -1 where not farmed.
    complete : bool
        True only if every allowed sequence of the field is here.
    money : (n, T)
        Cost of the whole field as a negative number: cost, rent, carriage, and what weedy grain brings less.
        Sales are made by the whole farm.
    tonnes : (n, T)
        Tonnes of the year's product that are the grower's, whole field.
    loss : (n, T)
        Share of yield lost to weeds.
    burden : (n, T)
        ha of full-strength stand on 1 November, likely draw.
    plans : tuple of int
        Rows that belong to plans found before: the k-th of every field make the k-th plan.
    """

    field: int
    paths: NDArray[np.int16]
    pairs: Integers
    complete: bool
    money: Floats
    tonnes: Floats
    loss: Floats
    burden: Floats
    plans: tuple[int, ...] = ()

    def __len__(self) -> int:
        return int(self.paths.shape[0])


@dataclass(frozen=True, slots=True, kw_only=True)
class Grown:
    """What one growth found: the pool, the worth of each sequence, and the most that any can be worth."""

    pool: Pool
    worth: Floats  # (n,)
    upper: float  # no allowed sequence of the field is worth more; -inf if there is none
    exact: bool  # nothing was cut for want of room


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldTrace:
    """One sequence on one field, year by year, all weeds and draws."""

    pairs: tuple[int, ...]
    reserve: Floats  # (T, W, D) at harvest, infested part
    autumn: Floats  # (T, W, D) on 1 November, infested part
    shoots: Floats  # (T, W, D) per m2 of the infested part
    loss: Floats  # (T, D) share of yield lost on the whole field
    made_t: Floats  # (T,) whole field, likely draw
    tonnes: Floats  # (T,) the grower's share
    money: Floats  # (T,) whole field, cost as a negative number
    burden: Floats  # (T, D) ha of full-strength stand


def yield_lost(shoots: Floats, index: Floats, most: Floats, infested_share: Floats) -> Floats:
    """Share of a field's yield lost to several weeds, each by its hyperbola on the infested part.

    ``1 - prod_w (1 - infested_w * I_w D_w / (1 + I_w D_w / A_w))``; weeds are on the last axis.
    """
    strength = index * shoots
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(most > 0, strength / (1.0 + strength / np.where(most > 0, most, 1.0)), 0.0)
        part = np.minimum(part, 1.0)
    part = np.minimum(part, 1.0)
    left: Floats = np.prod(1.0 - infested_share * part, axis=-1)
    return 1.0 - left


def trace(data: SelectionData, field: int, path: Sequence[int]) -> FieldTrace:
    """Follow one sequence on one field with every weed and draw, year by year, without the tree.

    Raises
    ------
    ValueError
        If two practices follow one another that were never simulated as a pair.
    """
    land = data.fields[field]
    years, weeds, draws = data.years, len(data.weeds), len(data.draws)
    reserve, autumn, shoots = (np.zeros((years, weeds, draws)) for _ in range(3))
    loss, burden = np.zeros((years, draws)), np.zeros((years, draws))
    made, tonnes, money = np.zeros(years), np.zeros(years), np.zeros(years)
    pairs = []
    before, previous = np.array(land.start_reserve, dtype=float), land.history[-1]
    for year, practice in enumerate(path):
        if practice == NOT_FARMED:
            pairs.append(-1)
            continue
        pair = int(data.pair_index[previous, practice])
        if pair < 0:
            names = data.practice_keys[previous], data.practice_keys[practice]
            raise ValueError(f"{names[1]} after {names[0]} was not simulated")
        reserve[year] = reserve_after(data.growth[pair], data.crowding[pair], before)
        autumn[year] = reserve_after(data.autumn_growth[pair], data.autumn_crowding[pair], before)
        counted = reserve_after(data.count_growth[pair], data.count_crowding[pair], before)
        shoots[year] = data.count_shoots[pair] * counted**data.shoot_power
        loss[year] = yield_lost(
            shoots[year].T, data.loss_index[practice], data.loss_most[practice], land.infested_share
        )
        burden[year] = land.area_ha * (data.burden_weight * land.infested_share) @ autumn[year]
        cost = (float(data.cost_per_ha[pair]) + land.rent_per_ha) * land.area_ha
        if data.product_of[practice] >= 0:
            weed_free = float(data.yield_t_ha[pair]) * float(land.ratio(practice)) * land.area_ha
            made[year] = weed_free * (1.0 - loss[year, data.likely])
            tonnes[year] = made[year] * (1.0 - land.landlord_share)
        money[year] = -cost - made[year] * float(data.haul_per_t[pair])
        if data.weedy is not None:
            money[year] -= tonnes[year] * float(data.weedy.off(practice, loss[year, data.likely]))
        pairs.append(pair)
        before, previous = reserve[year], practice
    return FieldTrace(
        pairs=tuple(pairs),
        reserve=reserve,
        autumn=autumn,
        shoots=shoots,
        loss=loss,
        made_t=made,
        tonnes=tonnes,
        money=money,
        burden=burden,
    )


# ---------------------------------------------------------------- rules along a branch


@dataclass(frozen=True, slots=True)
class _Memory:
    """What the rules have to remember of n branches."""

    since: NDArray[np.int16]  # (n, R) harvests since the last member of the break rule, 1 = the last one
    run: NDArray[np.int16]  # (n, R2)

    @classmethod
    def of_history(cls, rules: Rules, history: Sequence[int]) -> _Memory:
        """Memory of one field before the plan."""
        memory = cls(
            np.full((1, len(rules.break_years)), LONG_AGO, np.int16),
            np.zeros((1, len(rules.run_most)), np.int16),
        )
        for practice in history:
            if practice == NOT_FARMED:
                since = np.minimum(memory.since + 1, LONG_AGO).astype(np.int16)
                memory = cls(since, np.zeros_like(memory.run))
            else:
                memory = memory.step(rules, np.zeros(1, np.int64), np.array([practice]))
        return memory

    def step(self, rules: Rules, rows: Integers, practice: Integers) -> _Memory:
        """Memory after branches ``rows`` were lengthened by ``practice``."""
        seen = rules.break_before[:, practice].T
        since = np.where(seen, 1, np.minimum(self.since[rows] + 1, LONG_AGO))
        run = np.where(rules.run_member[:, practice].T, self.run[rows] + 1, 0)
        return _Memory(since.astype(np.int16), run.astype(np.int16))

    def forbids(self, rules: Rules) -> Flags:
        """(n, P): practices that a break or run rule does not allow next."""
        no = np.zeros((len(self.since), rules.break_next.shape[1]), bool)
        for which, members in (
            (self.since <= rules.break_years, rules.break_next),
            (self.run >= rules.run_most, rules.run_member),
        ):
            for rule in np.flatnonzero(which.any(axis=0)):
                no |= which[:, rule, None] & members[rule]
        return no


# ---------------------------------------------------------------- one season, many branches


@dataclass(frozen=True, slots=True)
class PairWorth:
    """Prices turned into a worth per hectare of every pair in every year, the same for all fields."""

    fixed: Floats  # (T, Q) per ha, before rent
    tonne: Floats  # (T, Q) per tonne that is the grower's
    carried: Floats  # (T, Q) cost of carrying a tonne
    docked: Floats  # (T, Q) what a tonne that is the grower's brings less where weeds took much
    rent: Floats  # (T,) money that is paid evenly over the year
    burden: Floats  # (T,)


class Grower:
    """Grows sequences; keeps what does not depend on prices between calls.

    Parameters
    ----------
    data : SelectionData
    like : Grower, optional
        Where it is of the same seasons, what they ask of machines is taken from it.
    """

    def __init__(self, data: SelectionData, like: Grower | None = None) -> None:
        self.data = data
        previous, practice = np.nonzero(data.pair_index >= 0)
        pairs = data.pair_index[previous, practice]
        count = len(data.cost_per_ha)
        self.previous_of, self.practice_of = np.zeros(count, np.int64), np.zeros(count, np.int64)
        self.previous_of[pairs], self.practice_of[pairs] = previous, practice
        self.allowed_pair = np.zeros(count, bool)
        self.allowed_pair[pairs] = data.may_follow[previous, practice]
        self.sells = data.product_of[self.practice_of] >= 0
        self.off_per_t, self.weedy_from = np.zeros(count), np.full(count, np.inf)  # (Q,)
        if data.weedy is not None:
            self.off_per_t = np.where(self.sells, data.weedy.off_per_t[self.practice_of], 0.0)
            self.weedy_from = data.weedy.from_loss[self.practice_of]
        draw = data.likely
        self.shoot_power = data.shoot_power[:, draw]
        # (W, Q) of the likely draw, next to each other in memory
        self.growth, self.crowding = _by_weed(data.growth, draw), _by_weed(data.crowding, draw)
        self.autumn = _by_weed(data.autumn_growth, draw), _by_weed(data.autumn_crowding, draw)
        self.count = _by_weed(data.count_growth, draw), _by_weed(data.count_crowding, draw)
        self.count_shoots = _by_weed(data.count_shoots, draw)
        self.labour_h = np.ascontiguousarray(np.moveaxis(data.labour_h, 0, 2))  # (2, H, Q)
        self.machine_work: tuple[MachineWork, ...]
        self.machine_h: dict[tuple[int, int, int], Floats]  # (Q,) hours of one machine in one half-month
        if like is not None and like.data.machine_h is data.machine_h:
            self.machine_work, self.machine_h = like.machine_work, like.machine_h
        else:
            self.machine_work = MachineWork.by_offset(data)
            self.machine_h = {
                (machine, work.offset, half): hours
                for work in self.machine_work
                for machine, half, hours in zip(
                    work.machine.tolist(), work.half.tolist(), np.ascontiguousarray(work.hours.T), strict=True
                )
            }
        self._outlooks: dict[int, _Outlook] = {}

    def weeds_of(self, field: FieldData) -> Integers:
        """Weeds that are there at all."""
        return np.flatnonzero(field.infested_share > 0)

    def start(self, field: FieldData, weeds: Integers) -> Floats:
        """Reserve of each weed at the last harvest: (1, weeds)."""
        start: Floats = field.start_reserve[weeds, self.data.likely]
        return start[None, :]

    def lost(self, field: FieldData, weed: int, pair: Integers, reserve: Floats) -> Floats:
        """Share of a field's yield lost to one weed."""
        data, practice = self.data, self.practice_of[pair]
        growth, crowding = self.count
        counted = reserve_after(growth[weed, pair], crowding[weed, pair], reserve)
        shoots = self.count_shoots[weed, pair] * counted ** self.shoot_power[weed]
        strength, most = data.loss_index[practice, weed] * shoots, data.loss_most[practice, weed]
        part = np.where(most > 0, strength / (1.0 + strength / np.maximum(most, TINY)), 0.0)
        result: Floats = field.infested_share[weed] * np.minimum(part, 1.0)
        return result

    def full_stand(self, field: FieldData, weed: int, pair: Integers, reserve: Floats) -> Floats:
        """Burden of one weed on 1 November. [ha of full-strength stand]"""
        growth, crowding = self.autumn
        result = reserve_after(growth[weed, pair], crowding[weed, pair], reserve)
        result *= field.area_ha * self.data.burden_weight[weed] * field.infested_share[weed]
        return result

    def season(
        self, field: FieldData, weeds: Integers, pair: Integers, reserve: Floats
    ) -> tuple[Floats, Floats, Floats]:
        """Reserve at harvest (n, weeds), burden (n,) and share of yield lost (n,) of n branches."""
        after = np.empty_like(reserve)
        burden, kept = np.zeros(len(pair)), np.ones(len(pair))
        for column, weed in enumerate(weeds):
            before = reserve[:, column]
            after[:, column] = reserve_after(self.growth[weed, pair], self.crowding[weed, pair], before)
            burden += self.full_stand(field, int(weed), pair, before)
            kept *= 1.0 - self.lost(field, int(weed), pair, before)
        return after, burden, 1.0 - kept

    def pool(self, field: int, paths: NDArray[np.int16], complete: bool = False) -> Pool:
        """Figures of given sequences."""
        data, land = self.data, self.data.fields[field]
        count, years = paths.shape
        weeds = self.weeds_of(land)
        reserve = np.repeat(self.start(land, weeds), count, axis=0)
        money, tonnes, loss, burden = (np.zeros((count, years)) for _ in range(4))
        pairs = np.full((count, years), -1, np.int64)
        previous = np.full(count, land.history[-1], np.int64)
        for year in range(years):
            if not land.farmed[year] or count == 0:
                continue
            practice = paths[:, year].astype(np.int64)
            pair = data.pair_index[previous, practice]
            reserve, burden[:, year], loss[:, year] = self.season(land, weeds, pair, reserve)
            crop = land.area_ha * land.ratio(practice) * data.yield_t_ha[pair] * (1.0 - loss[:, year])
            crop = np.where(self.sells[pair], crop, 0.0)
            tonnes[:, year] = crop * (1.0 - land.landlord_share)
            money[:, year] = -land.area_ha * (data.cost_per_ha[pair] + land.rent_per_ha)
            money[:, year] -= crop * data.haul_per_t[pair]
            if data.weedy is not None:
                money[:, year] -= tonnes[:, year] * data.weedy.off(practice, loss[:, year])
            pairs[:, year] = pair
            previous = practice
        return Pool(
            field=field,
            paths=paths,
            pairs=pairs,
            complete=complete,
            money=money,
            tonnes=tonnes,
            loss=loss,
            burden=burden,
        )

    def worth(self, prices: Prices) -> PairWorth:
        """Prices turned into a worth of every pair."""
        data = self.data
        shape = (data.years, len(data.cost_per_ha))
        fixed, tonne = np.zeros(shape), np.zeros(shape)
        product = data.product_of[self.practice_of]
        for year in range(data.years):
            for offset in (0, 1):
                when = year + offset
                for half in np.flatnonzero(prices.labour[when]):
                    fixed[year] -= self.labour_h[offset, half] * prices.labour[when, half]
                for machine, half in np.argwhere(prices.machine[:, when]):
                    hours = self.machine_h.get((int(machine), offset, int(half)))
                    if hours is not None:
                        fixed[year] -= hours * prices.machine[machine, when, half]
            fixed[year] -= prices.money[year] * data.cost_per_ha
            fixed[year] -= data.hired_area @ prices.hired[:, year]
            fixed[year] -= prices.land[year, self.practice_of]
            tonne[year] = np.where(self.sells, prices.product[year, np.maximum(product, 0)], 0.0)
        carried = prices.money[:, None] * np.where(self.sells, data.haul_per_t, 0.0)
        rent, docked = prices.money, self._harvest_money(prices) * self.off_per_t
        if data.cash_dates is not None and prices.paid.any():
            rent = rent + self._by_quarter(data.cash_dates, prices.paid, fixed, carried)
        return PairWorth(fixed, tonne, carried, docked, rent, prices.burden)

    def _harvest_money(self, prices: Prices) -> Floats:
        """Worth of one unit of money that is paid when a pair is harvested, (T, Q)."""
        data = self.data
        worth = np.repeat(prices.money[:, None], len(data.cost_per_ha), axis=1)
        if data.cash_dates is not None:
            later = np.append(prices.paid, np.zeros(QUARTERS_SPANNED))
            for year in range(data.years):
                worth[year] += later[4 * (year + 1) + data.cash_dates.carried]
        return worth

    def _by_quarter(self, dates: CashDates, paid: Floats, fixed: Floats, carried: Floats) -> Floats:
        """Take the worth of money in each quarter off pairs and carriage; returns that of rent (T,)."""
        data, rent = self.data, np.zeros(self.data.years)
        later = np.append(paid, np.zeros(QUARTERS_SPANNED))  # after the plan nobody asks
        haul = np.where(self.sells, data.haul_per_t, 0.0)
        for year in range(data.years):
            begin = 4 * (year + 1)
            first = begin - QUARTERS_BEFORE
            fixed[year] -= dates.cost_per_ha @ later[first : first + QUARTERS_SPANNED]
            carried[year] += later[begin + dates.carried] * haul
            rent[year] = later[begin : begin + 4].mean()
        return rent

    # ------------------------------------------------------------ growth

    def grow(
        self,
        field: int,
        worth: PairWorth,
        *,
        width: int,
        keep: int,
        least: float = -np.inf,
        figures: bool = True,
    ) -> Grown:
        """Best sequences of one field at given prices.

        Parameters
        ----------
        worth : from `Grower.worth`
        width : int
            Most branches kept at a level; the best by worth so far plus the most the rest can bring.
        keep : int
            Most sequences returned.
        least : float
            Sequences worth less are not looked for.

        Returns
        -------
        Grown
        """
        data, land = self.data, self.data.fields[field]
        rules = data.rules
        priced = self._priced(field, worth)
        memory = priced.outlook.memory
        last = np.array([land.history[-1]], np.int64)
        reserve = self.start(land, self.weeds_of(land))
        value, paths = np.zeros(1), np.zeros((1, 0), np.int16)
        missed, exact = -np.inf, True
        for year in range(data.years):
            if not land.farmed[year]:
                paths = np.hstack([paths, np.full((len(paths), 1), NOT_FARMED, np.int16)])
                continue
            may = data.may_follow[last] & land.allowed[year] & ~memory.forbids(rules)
            rows, practice = np.nonzero(may)
            pair = data.pair_index[last[rows], practice]
            most = value[rows] + priced.most(year, pair, reserve, rows)
            near = _not_below(most, least)  # the others are out of reach: their season is not followed
            if len(near) > FOLLOWED * width:  # few are kept: as few as can be are followed
                first = near[np.argpartition(-most[near], 2 * width)[: 2 * width]]
                hope = priced.followed(year, pair[first], value[rows[first]], reserve[rows[first]])[2]
                near = _not_below(most, max(least, -float(np.partition(-hope, width)[width])))
            rows, practice, pair = rows[near], practice[near], pair[near]
            after, worth_now, hope = priced.followed(year, pair, value[rows], reserve[rows])
            chosen = np.flatnonzero(hope >= least)
            if len(chosen) > width:
                order = np.argpartition(-hope[chosen], width)
                missed = max(missed, float(hope[chosen[order[width:]]].max()))
                chosen, exact = np.sort(chosen[order[:width]]), False
            rows, last = rows[chosen], practice[chosen]
            value, reserve = worth_now[chosen], after[chosen]
            memory = memory.step(rules, rows, last)
            paths = np.hstack([paths[rows], last[:, None].astype(np.int16)])
        enough = value >= least
        value, paths = value[enough], paths[enough]
        upper = max(missed, float(value.max()) if len(value) else -np.inf)
        order = np.argsort(-value, kind="stable")
        complete = exact and len(order) <= keep and least == -np.inf
        if len(order) > keep:
            order = self._varied(paths, order, keep)
        chosen_paths = paths[order]
        pool = self.pool(field, chosen_paths, complete) if figures else bare(field, chosen_paths, complete)
        return Grown(pool=pool, worth=value[order], upper=upper, exact=exact)

    def _priced(self, field: int, worth: PairWorth) -> _Priced:
        land = self.data.fields[field]
        fixed = land.area_ha * (worth.fixed - worth.rent[:, None] * land.rent_per_ha)
        per_tonne = (1.0 - land.landlord_share) * worth.tonne - worth.carried
        outlook = self._outlook(field)
        crop = outlook.weed_free * per_tonne
        docked = outlook.weed_free * (1.0 - land.landlord_share) * worth.docked
        ahead = outlook.known_values(worth, fixed, crop, docked)
        return _Priced(self, land, self.weeds_of(land), fixed, crop, docked, worth.burden, outlook, ahead)

    def _varied(self, paths: NDArray[np.int16], order: Integers, keep: int) -> Integers:
        """The best ``keep`` sequences, half of them each with crops of its own."""
        crops = np.append(self.data.crop_of, -1)[paths[order]]
        _, first = np.unique(crops, axis=0, return_index=True)
        different = np.sort(first)[: max(1, keep // 2)]
        rest = np.setdiff1d(np.arange(len(order)), different, assume_unique=True)
        chosen: Integers = order[np.sort(np.concatenate([different, rest[: keep - len(different)]]))]
        return chosen

    def _outlook(self, field: int) -> _Outlook:
        if field not in self._outlooks:
            self._outlooks[field] = _Outlook(self, field)
        return self._outlooks[field]


@dataclass(frozen=True, slots=True)
class _Effects:
    """What p pairs do to a full crop and to the weeds, by the cell (C) that a season begins in: (C, p)."""

    kept: Floats  # share of the crop that weeds leave
    weedy: Floats  # the same where it is grain with weeds in it, else 0
    burden: Floats
    later: Integers  # where practice and cell after the season stand in the flat array of the next year

    def of(self, rows: Flags) -> _Effects:
        """Those of some pairs."""
        some = partial(np.compress, rows, axis=1)  # not [:, rows], which would lay cells out in strides
        return _Effects(some(self.kept), some(self.weedy), some(self.burden), some(self.later))


@dataclass(frozen=True, slots=True)
class _Turn:
    """The pairs that a field can take in one year."""

    pairs: Integers  # (p,) in the order of the practices before
    place: Integers  # (Q,) where each pair stands among them
    before: Integers  # practices before, and where the pairs after each begin
    begin: Integers
    shut: Integers  # places of pairs that stand here but cannot be taken this year
    effects: _Effects
    any_weedy: Flags  # (C,)


@dataclass(frozen=True, slots=True)
class _Ahead:
    """The most that one year and later ones can bring."""

    after: Floats  # (C, P) after each practice
    by_pair: Floats  # (C, p) with each pair
    place: Integers  # (Q,)


class _Outlook:
    """The most that the rest of a sequence can bring, by last practice and reserve rounded down to a grid.

    At most two weeds are followed; further ones count as gone. Rules other than the pair rule and the
    field's own allowed practices are forgotten.
    """

    def __init__(self, grower: Grower, field: int) -> None:
        data, land = grower.data, grower.data.fields[field]
        self.grower, self.land = grower, land
        self.memory = _Memory.of_history(data.rules, land.history)
        self.weed_free = land.area_ha * land.ratio(grower.practice_of) * data.yield_t_ha  # (Q,) [t]
        self.weeds = grower.weeds_of(land)[:2]
        self.points = GRID[len(self.weeds)]
        steps = list(itertools.product(range(self.points), repeat=len(self.weeds)))
        self.step = np.array(steps, np.int64).reshape(
            len(steps), -1
        )  # (C, weeds) along the grid of each weed
        top = data.reserve_cap[self.weeds, data.likely]
        # cells hold all from their own edge up to the next; finer where little is left of a weed
        self.edges = [np.append(0.0, np.geomspace(LEAST_EDGE, 1.0, self.points)[:-1]) * high for high in top]
        self._known: tuple[PairWorth, list[_Ahead]] | None = None
        can: list[Flags | None] = []
        last = np.zeros(len(data.practice_keys), bool)
        last[land.history[-1]] = True
        for year in range(data.years):
            if not land.farmed[year]:
                can.append(None)
                continue
            now = grower.allowed_pair & last[grower.previous_of] & land.allowed[year, grower.practice_of]
            can.append(now)
            last = np.zeros_like(last)
            last[grower.practice_of[now]] = True
        ever = np.flatnonzero(np.any([now for now in can if now is not None], axis=0))
        ever = ever[np.argsort(grower.previous_of[ever], kind="stable")]
        effects = self._effects(ever)
        same: dict[bytes, _Turn] = {}
        for now in can:
            if now is not None and now.tobytes() not in same:
                mine = now[ever]
                # a table of its own takes more room than it saves work where few pairs are missing
                whole = np.count_nonzero(mine) > MOST_PAIRS * len(mine)
                same[now.tobytes()] = (
                    self._turn(ever, np.flatnonzero(~mine), effects)
                    if whole
                    else self._turn(ever[mine], np.zeros(0, np.int64), effects.of(mine))
                )
        self.turns = [None if now is None else same[now.tobytes()] for now in can]

    def _turn(self, pairs: Integers, shut: Integers, effects: _Effects) -> _Turn:
        place = np.zeros(len(self.grower.previous_of), np.int64)
        place[pairs] = np.arange(len(pairs))
        before, begin = np.unique(self.grower.previous_of[pairs], return_index=True)
        return _Turn(pairs, place, before, begin, shut, effects, np.any(effects.weedy, axis=1))

    def _effects(self, pairs: Integers) -> _Effects:
        grower, land, shape = self.grower, self.land, (len(self.step), len(pairs))
        burden, kept, cell = np.zeros(shape), np.ones(shape), np.zeros(shape, np.int64)
        for number, weed in enumerate(self.weeds):
            pair, start, step = pairs[None, :], self.edges[number][:, None], self.step[:, number]
            burden += grower.full_stand(land, int(weed), pair, start)[step]
            kept *= 1.0 - grower.lost(land, int(weed), pair, start)[step]
            after = reserve_after(grower.growth[weed, pair], grower.crowding[weed, pair], start)
            cell = self.points * cell + self._steps(number, after)[step]
        # a cell holds reserves from its edge up: where the edge loses enough for weedy grain, all of it does
        weedy = np.where(1.0 - kept >= grower.weedy_from[pairs], kept, 0.0)
        return _Effects(
            kept, weedy, burden, len(grower.data.practice_keys) * cell + grower.practice_of[pairs]
        )

    def _steps(self, number: int, reserve: Floats) -> Integers:
        """Steps along the grid of one weed, never too high."""
        steps = np.searchsorted(self.edges[number], reserve * (1.0 - 1e-9), side="right") - 1
        result: Integers = np.maximum(steps, 0)
        return result

    def cell(self, reserve: Floats) -> Integers:
        """(n,): cells of n branches."""
        cell = np.zeros(len(reserve), np.int64)
        for number in range(len(self.weeds)):
            cell = self.points * cell + self._steps(number, reserve[:, number])
        return cell

    def known_values(self, worth: PairWorth, fixed: Floats, crop: Floats, docked: Floats) -> list[_Ahead]:
        """As `values`; a field is often grown several times at the same prices, wider and wider."""
        if self._known is None or self._known[0] is not worth:
            self._known = None  # its room is used again
            self._known = worth, self.values(fixed, crop, docked, worth.burden)
        return self._known[1]

    def values(self, fixed: Floats, crop: Floats, docked: Floats, burden: Floats) -> list[_Ahead]:
        """The most that each year and later ones can bring; last what comes after the plan, nothing."""
        cells, count = len(self.step), len(self.grower.data.practice_keys)
        nothing = _Ahead(np.zeros((cells, count)), np.zeros((cells, 0)), np.zeros(0, np.int64))
        ahead = [nothing]
        for year in reversed(range(len(self.turns))):
            turn = self.turns[year]
            if turn is None:
                ahead.append(nothing)
                continue
            effects, own = turn.effects, fixed[year, turn.pairs]
            most = np.maximum(crop[year, turn.pairs], 0.0)
            off = np.minimum(docked[year, turn.pairs], most)
            by_pair, part = np.empty_like(effects.kept), np.empty_like(most)
            for cell, now in enumerate(by_pair):  # one at a time stays inside the processor cache
                np.multiply(most, effects.kept[cell], out=now)
                now += own
                if turn.any_weedy[cell]:
                    now -= np.multiply(off, effects.weedy[cell], out=part)
                if burden[year] != 0.0:
                    now -= np.multiply(burden[year], effects.burden[cell], out=part)
                if ahead[-1] is not nothing:
                    now += np.take(ahead[-1].after, effects.later[cell], out=part, mode="clip")
            by_pair[:, turn.shut] = -np.inf
            best = np.full((cells, count), -np.inf)
            if len(turn.pairs):
                best[:, turn.before] = np.maximum.reduceat(by_pair, turn.begin, axis=1)
            ahead.append(_Ahead(best, by_pair, turn.place))
        return ahead[::-1]


@dataclass(frozen=True, slots=True)
class _Priced:
    """One field at some prices."""

    grower: Grower
    land: FieldData
    weeds: Integers
    fixed: Floats  # (T, Q) worth of the whole field, whatever it yields
    crop: Floats  # (T, Q) of its yield without weeds
    docked: Floats  # (T, Q) of that, lost where weeds took much
    burden: Floats  # (T,)
    outlook: _Outlook
    ahead: list[_Ahead]

    def most(self, year: int, pair: Integers, reserve: Floats, rows: Integers) -> Floats:
        """(n,): the most that pairs and later years can bring, each after one of the reserves."""
        ahead = self.ahead[year]
        result: Floats = ahead.by_pair[self.outlook.cell(reserve)[rows], ahead.place[pair]]
        return result

    def followed(
        self, year: int, pair: Integers, value: Floats, reserve: Floats
    ) -> tuple[Floats, Floats, Floats]:
        """Reserve after a season of n branches, their worth by then, and with the most that can follow."""
        grower = self.grower
        after, burden, lost = grower.season(self.land, self.weeds, pair, reserve)
        earned = self.crop[year, pair] - np.where(
            lost >= grower.weedy_from[pair], self.docked[year, pair], 0.0
        )
        worth = value + self.fixed[year, pair] + earned * (1.0 - lost)
        worth -= self.burden[year] * burden
        later = self.ahead[year + 1].after[self.outlook.cell(after), grower.practice_of[pair]]
        return after, worth, worth + later


def _not_below(most: Floats, floor: float) -> Integers:
    """Places of what may come to a worth, but for rounding."""
    return np.flatnonzero(most >= floor - ROUNDING * max(1.0, abs(floor)))


def _by_weed(table: Floats, draw: int) -> Floats:
    result: Floats = np.ascontiguousarray(table[:, :, draw].T)
    return result


def bare(field: int, paths: NDArray[np.int16], complete: bool) -> Pool:
    """Given sequences without their figures."""
    nothing = np.zeros((len(paths), 0))
    return Pool(
        field=field,
        paths=paths,
        pairs=nothing.astype(np.int64),
        complete=complete,
        money=nothing,
        tonnes=nothing,
        loss=nothing,
        burden=nothing,
    )


def no_prices(data: SelectionData) -> Prices:
    """Prices at which every sequence is worth nothing."""
    years, machines = data.years, len(data.machines)
    return Prices(
        money=np.zeros(years),
        product=np.zeros((years, len(data.products))),
        labour=np.zeros((years + 1, 24)),
        machine=np.zeros((machines, years + 1, 24)),
        hired=np.zeros((machines, years)),
        land=np.zeros((years, len(data.practice_keys))),
        burden=np.zeros(years),
        paid=np.zeros(data.quarters),
    )


def grow(
    data: SelectionData, field: int, prices: Prices, *, width: int, keep: int, least: float = -np.inf
) -> Grown:
    """Best sequences of one field at given prices; see `Grower.grow`."""
    grower = Grower(data)
    return grower.grow(field, grower.worth(prices), width=width, keep=keep, least=least)


def exhaustive(data: SelectionData, field: int) -> Pool:
    """Every allowed sequence of one field."""
    everything = 2**62
    return grow(data, field, no_prices(data), width=everything, keep=everything).pool
