"""The tree of practice sequences on one field, grown level by level, and the figures of every branch.

A *sequence* is one practice a year. Its season effects depend on the pair (previous practice, practice)
and on the root reserve at the previous harvest, so a prefix shared by many sequences is simulated once.
Reserves between the simulated starts are read off along straight lines in the logarithms; below the
smallest start everything shrinks in proportion.

Growing looks for the sequences that are worth most at given prices of work, tonnes, money and burden.
What the rest of a sequence can still bring is never underestimated: the backward bound (`_Outlook`)
forgets all rules but the pair rule and rounds every reserve down to a grid, so that a branch cut by it
cannot hold a better sequence. A branch cut for want of room (``width``) may, and is accounted for in
``Grown.upper``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .arrays import NOT_FARMED, FieldData, Flags, Floats, Integers, Prices, Rules, SelectionData

LONG_AGO = 99
SMALLEST = 1e-9  # floor inside logarithms only
GRID_PARTS = (1, 4, 1)  # bound grid: parts of each interval of starts with 0, 1 and 2 weeds


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
        Cost of the whole field as a negative number: cost, rent, carriage. Sales are made by the whole farm.
    tonnes : (n, T)
        Tonnes of the year's product that are the grower's, whole field.
    loss : (n, T)
        Share of yield lost to weeds.
    burden : (n, T)
        ha of full-strength stand on 1 November, likely draw.
    """

    field: int
    paths: NDArray[np.int16]
    pairs: Integers
    complete: bool
    money: Floats
    tonnes: Floats
    loss: Floats
    burden: Floats

    def __len__(self) -> int:
        return int(self.paths.shape[0])

    def take(self, rows: Integers | Flags, complete: bool = False) -> Pool:
        """The same pool with some of its sequences."""
        return replace(
            self,
            paths=self.paths[rows],
            pairs=self.pairs[rows],
            money=self.money[rows],
            tonnes=self.tonnes[rows],
            loss=self.loss[rows],
            burden=self.burden[rows],
            complete=complete,
        )


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


def interpolated(starts: Floats, values: Floats, reserve: float) -> float:
    """A response between the simulated starts: straight in the logarithms, in proportion below the first.

    Parameters
    ----------
    starts, values : (S,)
    reserve : float
        Share of an undisturbed stand.

    Examples
    --------
    >>> interpolated(np.array([0.01, 0.1, 1.0]), np.array([0.02, 0.2, 0.5]), 0.001)
    0.002
    """
    if reserve <= 0.0:
        return 0.0
    logs = np.log(np.maximum(values, SMALLEST))
    at = float(np.interp(np.log(reserve), np.log(starts), logs))
    return round(float(np.exp(at)) * min(1.0, reserve / float(starts[0])), 15)


def yield_lost(shoots: Floats, index: Floats, most: Floats, infested_share: Floats) -> Floats:
    """Share of a field's yield lost to several weeds, each by its hyperbola on the infested part.

    ``1 - prod_w (1 - infested_w * I_w D_w / (1 + I_w D_w / A_w))``; weeds are on the last axis.
    """
    strength = index * shoots
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(most > 0, strength / (1.0 + strength / np.where(most > 0, most, 1.0)), 0.0)
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
        for weed in range(weeds):
            for draw in range(draws):
                start = float(before[weed, draw])
                for target, table in (
                    (reserve, data.end_reserve),
                    (autumn, data.autumn_reserve),
                    (shoots, data.shoots_per_m2),
                ):
                    target[year, weed, draw] = interpolated(data.starts, table[pair, weed, draw], start)
        loss[year] = yield_lost(
            shoots[year].T, data.loss_index[practice], data.loss_most[practice], land.infested_share
        )
        burden[year] = land.area_ha * (data.burden_weight * land.infested_share) @ autumn[year]
        cost = (float(data.cost_per_ha[pair]) + land.rent_per_ha) * land.area_ha
        if data.product_of[practice] >= 0:
            weed_free = float(data.yield_t_ha[pair]) * land.yield_ratio * land.area_ha
            made[year] = weed_free * (1.0 - loss[year, data.likely])
            tonnes[year] = made[year] * (1.0 - land.landlord_share)
        money[year] = -cost - made[year] * float(data.haul_per_t[pair])
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
    phase: NDArray[np.int16]  # (n, R3) years of the stand
    stands: Flags  # (n, R3) the stand is still there

    @classmethod
    def of_history(cls, rules: Rules, history: Sequence[int]) -> _Memory:
        memory = cls(
            np.full((1, len(rules.break_years)), LONG_AGO, np.int16),
            np.zeros((1, len(rules.run_most)), np.int16),
            np.zeros((1, len(rules.phase_most)), np.int16),
            np.zeros((1, len(rules.phase_most)), bool),
        )
        for practice in history:
            if practice == NOT_FARMED:
                memory = cls(
                    np.minimum(memory.since + 1, LONG_AGO).astype(np.int16),
                    np.zeros_like(memory.run),
                    np.zeros_like(memory.phase),
                    np.zeros_like(memory.stands),
                )
            else:
                memory = memory.step(rules, np.zeros(1, np.int64), np.array([practice]))
        return memory

    def take(self, rows: Flags) -> _Memory:
        """Memory of some of the branches."""
        return _Memory(self.since[rows], self.run[rows], self.phase[rows], self.stands[rows])

    def step(self, rules: Rules, rows: Integers, practice: Integers) -> _Memory:
        """Memory after branches ``rows`` were lengthened by ``practice``."""
        seen = rules.break_before[:, practice].T
        since = np.where(seen, 1, np.minimum(self.since[rows] + 1, LONG_AGO))
        run = np.where(rules.run_member[:, practice].T, self.run[rows] + 1, 0)
        member = rules.phase_member[:, practice].T
        goes_on = rules.phase_continues[:, practice].T & self.stands[rows]
        phase = np.where(member, np.where(goes_on, self.phase[rows] + 1, 1), 0)
        return _Memory(
            since.astype(np.int16),
            run.astype(np.int16),
            phase.astype(np.int16),
            rules.phase_leaves[:, practice].T.copy(),
        )

    def forbids(self, rules: Rules) -> Flags:
        """(n, P): practices that a break, run or phase rule does not allow next."""
        broken = self.since <= rules.break_years
        full = self.run >= rules.run_most
        old = self.stands & (self.phase >= rules.phase_most)
        young = self.stands & (self.phase < rules.phase_least)
        no = broken.astype(np.float32) @ rules.break_next.astype(np.float32)
        no += full.astype(np.float32) @ rules.run_member.astype(np.float32)
        no += old.astype(np.float32) @ rules.phase_continues.astype(np.float32)
        no += young.astype(np.float32) @ (~rules.phase_continues).astype(np.float32)
        # a practice that takes the last cut and leaves nothing must not end a stand that is too young
        ends = rules.phase_continues & ~rules.phase_leaves
        too_early = self.stands & (self.phase + 1 < rules.phase_least)
        no += too_early.astype(np.float32) @ ends.astype(np.float32)
        result: Flags = no > 0
        return result

    def may_stop(self, rules: Rules) -> Flags:
        """(n,): no stand is younger than its least phase (asked when a lease ends)."""
        result: Flags = ~np.any(self.stands & (self.phase < rules.phase_least), axis=1)
        return result


# ---------------------------------------------------------------- one season, many branches


@dataclass(frozen=True, slots=True)
class _PairWorth:
    """Prices turned into a worth per hectare of every pair in every year, the same for all fields."""

    fixed: Floats  # (T, Q) per ha, before rent
    tonne: Floats  # (T, Q) per tonne that is the grower's
    carried: Floats  # (T, Q) cost of carrying a tonne
    money: Floats  # (T,)
    burden: Floats  # (T,)


class Grower:
    """Grows sequences; keeps what does not depend on prices between calls."""

    def __init__(self, data: SelectionData) -> None:
        self.data = data
        previous, practice = np.nonzero(data.pair_index >= 0)
        pairs = data.pair_index[previous, practice]
        count = len(data.cost_per_ha)
        self.previous_of, self.practice_of = np.zeros(count, np.int64), np.zeros(count, np.int64)
        self.previous_of[pairs], self.practice_of[pairs] = previous, practice
        self.allowed_pair = np.zeros(count, bool)
        self.allowed_pair[pairs] = data.may_follow[previous, practice]
        self.sells = data.product_of[self.practice_of] >= 0
        self.first, self.step = np.log(data.starts[0]), np.log(data.starts[1] / data.starts[0])
        tables = (data.end_reserve, data.autumn_reserve, data.shoots_per_m2)
        self.logs = [np.log(np.maximum(table[:, :, data.likely], SMALLEST)) for table in tables]
        self._grids: dict[int, list[NDArray[np.int64] | Floats]] = {}
        self._outlooks: dict[int, _Outlook] = {}

    def weeds_of(self, field: FieldData) -> Integers:
        """Weeds that are there at all."""
        there = (field.infested_share > 0) & (field.start_reserve[:, self.data.likely] > 0)
        return np.flatnonzero(there)

    def respond(self, pair: Integers, weed: int, reserve: Floats) -> tuple[Floats, Floats, Floats]:
        """Reserve at harvest, on 1 November, and shoots per m2, of n branches (likely draw)."""
        starts = self.data.starts
        safe = np.maximum(reserve, 1e-300)
        at = np.clip((np.log(safe) - self.first) / self.step, 0.0, len(starts) - 1.0)
        low = np.minimum(at.astype(np.int64), len(starts) - 2)
        part = at - low
        small = np.minimum(1.0, reserve / starts[0])
        harvest, autumn, shoots = (
            np.exp(table[pair, weed, low] * (1.0 - part) + table[pair, weed, low + 1] * part) * small
            for table in self.logs
        )
        return harvest, autumn, shoots

    def season(
        self, field: FieldData, weeds: Integers, pair: Integers, reserve: Floats
    ) -> tuple[Floats, Floats, Floats]:
        """Reserve at harvest (n, weeds), burden (n,) and share of yield lost (n,) of n branches."""
        data = self.data
        practice = self.practice_of[pair]
        after = np.empty_like(reserve)
        burden, kept = np.zeros(len(pair)), np.ones(len(pair))
        for column, weed in enumerate(weeds):
            after[:, column], autumn, shoots = self.respond(pair, int(weed), reserve[:, column])
            share = field.infested_share[weed]
            burden += field.area_ha * data.burden_weight[weed] * share * autumn
            strength = data.loss_index[practice, weed] * shoots
            most = data.loss_most[practice, weed]
            part = np.where(most > 0, strength / (1.0 + strength / np.maximum(most, SMALLEST)), 0.0)
            kept *= 1.0 - share * part
        return after, burden, 1.0 - kept

    def pool(self, field: int, paths: NDArray[np.int16], complete: bool = False) -> Pool:
        """Figures of given sequences."""
        data, land = self.data, self.data.fields[field]
        count, years = paths.shape
        weeds = self.weeds_of(land)
        reserve = np.repeat(land.start_reserve[weeds, data.likely][None, :], count, axis=0).astype(float)
        money, tonnes, loss, burden = (np.zeros((count, years)) for _ in range(4))
        pairs = np.full((count, years), -1, np.int64)
        previous = np.full(count, land.history[-1], np.int64)
        for year in range(years):
            if not land.farmed[year] or count == 0:
                continue
            practice = paths[:, year].astype(np.int64)
            pair = data.pair_index[previous, practice]
            reserve, burden[:, year], loss[:, year] = self.season(land, weeds, pair, reserve)
            crop = land.area_ha * land.yield_ratio * data.yield_t_ha[pair] * (1.0 - loss[:, year])
            crop = np.where(self.sells[pair], crop, 0.0)
            tonnes[:, year] = crop * (1.0 - land.landlord_share)
            money[:, year] = -land.area_ha * (data.cost_per_ha[pair] + land.rent_per_ha)
            money[:, year] -= crop * data.haul_per_t[pair]
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

    def worth(self, prices: Prices) -> _PairWorth:
        """Prices turned into a worth of every pair."""
        data = self.data
        shape = (data.years, len(data.cost_per_ha))
        fixed, tonne = np.zeros(shape), np.zeros(shape)
        product = data.product_of[self.practice_of]
        for year in range(data.years):
            for offset in (0, 1):
                when = year + offset
                fixed[year] -= data.labour_h[:, offset] @ prices.labour[when]
                fixed[year] -= np.einsum("qmh,mh->q", data.machine_h[:, :, offset], prices.machine[:, when])
            fixed[year] -= prices.money[year] * data.cost_per_ha
            fixed[year] -= data.hired_area @ prices.hired[:, year]
            fixed[year] -= prices.land[year, self.practice_of]
            tonne[year] = np.where(self.sells, prices.product[year, np.maximum(product, 0)], 0.0)
        carried = prices.money[:, None] * np.where(self.sells, data.haul_per_t, 0.0)
        return _PairWorth(fixed, tonne, carried, prices.money, prices.burden)

    # ------------------------------------------------------------ growth

    def grow(
        self,
        field: int,
        worth: _PairWorth,
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
        rules, weeds = data.rules, self.weeds_of(land)
        fixed = land.area_ha * (worth.fixed - worth.money[:, None] * land.rent_per_ha)
        per_tonne = (1.0 - land.landlord_share) * worth.tonne - worth.carried
        crop = land.area_ha * land.yield_ratio * data.yield_t_ha * per_tonne
        outlook = self._outlook(field)
        ahead = outlook.values(fixed, crop, worth.burden)

        memory = _Memory.of_history(rules, land.history)
        last = np.array([land.history[-1]], np.int64)
        reserve = land.start_reserve[weeds, data.likely][None, :].astype(float)
        value, paths = np.zeros(1), np.zeros((1, 0), np.int16)
        missed, exact = -np.inf, True
        for year in range(data.years):
            if not land.farmed[year]:
                if year == 0 or land.farmed[year - 1]:
                    stay = memory.may_stop(rules)
                    value, paths, last, reserve = value[stay], paths[stay], last[stay], reserve[stay]
                    memory = memory.take(stay)
                paths = np.hstack([paths, np.full((len(paths), 1), NOT_FARMED, np.int16)])
                continue
            may = data.may_follow[last] & land.allowed[year] & ~memory.forbids(rules)
            rows, practice = np.nonzero(may)
            pair = data.pair_index[last[rows], practice]
            after, burden, lost = self.season(land, weeds, pair, reserve[rows])
            worth_now = value[rows] + fixed[year, pair] + crop[year, pair] * (1.0 - lost)
            worth_now -= worth.burden[year] * burden
            hope = worth_now + outlook.at(ahead[year + 1], practice, after)
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
        pool = self.pool(field, chosen_paths, complete) if figures else _bare(field, chosen_paths, complete)
        return Grown(pool=pool, worth=value[order], upper=upper, exact=exact)

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

    def grid(self, parts: int) -> list[NDArray[np.int64] | Floats]:
        """Responses never overestimated on a grid: next grid index, burden and shoots, each (Q, W, G)."""
        if parts not in self._grids:
            fine = np.linspace(0.0, len(self.data.starts) - 1.0, parts * (len(self.data.starts) - 1) + 1)
            low = np.minimum(fine.astype(np.int64), len(self.data.starts) - 2)
            part = fine - low
            result: list[NDArray[np.int64] | Floats] = []
            for number, table in enumerate(self.logs):
                value = table[..., low] * (1.0 - part) + table[..., low + 1] * part
                # the least over all larger starts: valid even where a response is not monotone
                value = np.minimum.accumulate(value[..., ::-1], axis=-1)[..., ::-1]
                nothing = np.zeros((*value.shape[:2], 1))
                if number == 0:
                    cells = np.floor((value - self.first) / self.step * parts - 1e-9).astype(np.int64) + 1
                    cells = np.clip(cells, 0, len(fine))
                    result.append(np.concatenate([nothing.astype(np.int64), cells], axis=-1))
                else:
                    result.append(np.concatenate([nothing, np.exp(value)], axis=-1))
            self._grids[parts] = result
        return self._grids[parts]


class _Outlook:
    """The most that the rest of a sequence can bring, by last practice and reserve rounded down to a grid.

    At most two weeds are followed; further ones count as gone. Rules other than the pair rule and the
    field's own allowed practices are forgotten.
    """

    def __init__(self, grower: Grower, field: int) -> None:
        data, land = grower.data, grower.data.fields[field]
        self.grower, self.land = grower, land
        weeds = grower.weeds_of(land)[:2]
        self.followed = len(weeds)
        self.parts = GRID_PARTS[self.followed]
        order = np.flatnonzero(grower.allowed_pair)
        order = order[np.argsort(grower.previous_of[order], kind="stable")]
        self.pairs = order
        self.before, self.begin = np.unique(grower.previous_of[order], return_index=True)
        cells, autumn, shoots = grower.grid(self.parts) if len(weeds) else (np.zeros((0, 0, 0)),) * 3
        shape = (len(order),) + (autumn.shape[-1],) * len(weeds)
        self.shape = shape[1:]
        burden, kept = np.zeros(shape), np.ones(shape)
        practice = grower.practice_of[order]
        self.next: list[Integers] = []
        for number, weed in enumerate(weeds):
            axes = [None] * len(weeds)
            view = (slice(None), *(slice(None) if n == number else None for n in range(len(axes))))
            share = land.infested_share[weed]
            burden = burden + (land.area_ha * data.burden_weight[weed] * share * autumn[order, weed])[view]
            index, most = data.loss_index[practice, weed][:, None], data.loss_most[practice, weed][:, None]
            strength = index * shoots[order, weed]
            part = np.where(most > 0, strength / (1.0 + strength / np.maximum(most, SMALLEST)), 0.0)
            kept = kept * (1.0 - share * part)[view]
            self.next.append(np.asarray(cells[order, weed], dtype=np.int64)[view])
        self.burden, self.kept, self.practice = burden, kept, practice

    def values(self, fixed: Floats, crop: Floats, burden: Floats) -> list[Floats]:
        """One array (P, grid...) a year: the most that this and later years can bring after a practice."""
        data, land = self.grower.data, self.land
        count = len(data.practice_keys)
        flat = (slice(None),) + (None,) * self.followed
        ahead: list[Floats] = [np.zeros((count, *self.shape))]
        for year in reversed(range(data.years)):
            if not land.farmed[year]:
                ahead.append(np.zeros((count, *self.shape)))
                continue
            later = ahead[-1][(self.practice[flat], *self.next)]
            now = fixed[year, self.pairs][flat] + np.maximum(crop[year, self.pairs], 0.0)[flat] * self.kept
            now = now - burden[year] * self.burden + later
            now[~land.allowed[year, self.practice]] = -np.inf
            best = np.full((count, *self.shape), -np.inf)
            if len(self.pairs):
                best[self.before] = np.maximum.reduceat(now, self.begin, axis=0)
            ahead.append(best)
        return ahead[::-1]

    def at(self, ahead: Floats, practice: Integers, reserve: Floats) -> Floats:
        """Look up n branches."""
        index: list[Integers] = [practice]
        for column in range(self.followed):
            safe = np.maximum(reserve[:, column], 1e-300)
            cell = np.floor((np.log(safe) - self.grower.first) / self.grower.step * self.parts - 1e-9)
            index.append(np.clip(cell.astype(np.int64) + 1, 0, self.shape[column] - 1))
        result: Floats = ahead[tuple(index)]
        return result


def _bare(field: int, paths: NDArray[np.int16], complete: bool) -> Pool:
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
