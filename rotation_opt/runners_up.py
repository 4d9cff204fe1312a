"""What comes second on each field in each year of a plan: another crop there, all other fields as they are.

Sequences of one field with another crop in that year are put into the plan one by one: those met in the
search, and some grown for what the other fields leave. Limits but those on cash are looked at in closed form,
money by `scoring`; what comes out first is settled exactly. A second that would move other fields too is not
seen.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from .alternatives import AS_NOW, BALANCED, FASTEST, OTHER_WAY, Proposal
from .arrays import NOT_FARMED, Flags, Floats, Integers, SelectionData
from .columns import Path, Paths, allowed_paths
from .features import features
from .formulate import Program
from .groundwork import Groundwork
from .ledgers import RunnerUp
from .passed_limits import PassedLimits
from .scoring import Scoring
from .select import grower_of
from .sequences import Grower, Pool
from .solver import KeptPlan
from .tradeoff import price_between

FINE = 1e6  # for breaking a limit by its own scale: dearer than anything a tonne or an hour can bring
TINY = 1e-6
POINTS = 0.03
"""A second counts as clean as a cleaner plan if it leaves at most this share of today's roots more, the
years weighted as for choosing."""
ROUNDS = 30  # most rounds in which the score is sharpened where it led to
REWARD = 0.5  # of the mean cost of a hectare
A_LITTLE = 1e-3  # tonnes: where nothing is made of a product, the price of a little more of it is asked for
WIDTH, GROWN = 150, 40  # as in `Grower.grow`
SAID = 2  # rules told where no other crop may stand

CLEAN = (BALANCED, FASTEST)
Rule = Callable[[int, Path, int], str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """A plan whose seconds are looked for.

    Parameters
    ----------
    key : str
    paths : Paths
        Keeps all limits.
    clean : bool
        Whether it was chosen for fewer weeds too, not for money alone.
    apart : bool
        Whether it was chosen to have other crops than the plan with most money.
    """

    key: str
    paths: Paths
    clean: bool = False
    apart: bool = False


@dataclass(frozen=True, slots=True)
class _Exact:
    """A plan with what the farm does about it, fixed cost left out."""

    worth: float  # by which plans for most money are chosen
    net: float  # plain, of all years


@dataclass(frozen=True, slots=True)
class _Others:
    """The other fields of a plan."""

    need: Floats  # (rows,)
    cost: float  # as minimised
    money: float  # plain, of all years


@dataclass(frozen=True, slots=True)
class _Parts:
    """What some sequences, or whole plans, cost and need."""

    own: Floats  # (n,) cost where it is the same everywhere
    scored: Floats  # (n, rows scored)
    cash: Floats  # (n, cash rows) money known before recourse
    watched: Floats  # (n, rows) needs of the limits by name

    def exchanged(self, total: _Parts, at: int) -> _Parts:
        """Of the whole plan ``total`` with each sequence in place of the one at ``at``."""
        pairs = ((getattr(total, each.name), getattr(self, each.name)) for each in fields(self))
        return _Parts(*(whole - mine[at] + mine for whole, mine in pairs))


@dataclass(frozen=True, slots=True)
class _Known:
    """The sequences of one field (n)."""

    paths: NDArray[np.int16]  # (n, T)
    crops: Integers  # (n, T), -1 = not farmed
    need: Floats  # (n, rows)
    cost: Floats  # (n,) as minimised
    money: Floats  # (n,) of the field's own over all years, plain
    weighted: Floats  # (n,) burden, the years weighted as for choosing [ha]
    end: Floats  # (n,) burden after the last year if the field is farmed then [ha]

    def parts(self, scoring: Scoring, limits: PassedLimits) -> _Parts:
        """What the score and the limits ask of each sequence."""
        cash = np.zeros((len(self.need), 0))
        if len(scoring.cash):
            cash = self.need[:, scoring.cash] + self.need @ scoring.linear_money.T
        return _Parts(
            self.cost + self.need @ scoring.linear,
            self.need[:, scoring.rows],
            cash,
            self.need[:, limits.rows],
        )

    def place(self, path: Path) -> int:
        return int(np.flatnonzero((self.paths == np.array(path, np.int16)).all(axis=1))[0])


class RunnersUp:
    """Looks for seconds among some sequences.

    Parameters
    ----------
    data : SelectionData
    plans : sequence of Chosen
    pools : sequence of Pool
        Sequences met before, any number of pools a field.
    today_ha : float
        Burden today, which changes of the roots are a share of. [ha of full-strength stand]
    price : float or None
        What a hectare of full-strength stand fewer costs between the plan with most money and the cleanest.
        [money of today/ha]
    why_not : callable, optional
        Sentence on why a practice may not follow some years on a field; "" if it may.
    """

    def __init__(
        self,
        data: SelectionData,
        plans: Sequence[Chosen],
        pools: Sequence[Pool],
        *,
        today_ha: float,
        price: float | None = None,
        why_not: Rule = lambda field, before, practice: "",
    ) -> None:
        self.data, self.plans, self.today_ha, self.price, self.why_not = data, plans, today_ha, price, why_not
        self.program = Program(data, data.limits)
        self.plan_cost, self.recourse_cost = self.program.money_objective()
        self.a_little = A_LITTLE * np.array([row.family == "outlets" for row in self.program.rows])
        grower = grower_of(data)
        met = [*pools, *self._grown(grower, {pool.field for pool in pools if pool.complete})]
        self.known = self._sequences(grower, met)
        self.scoring = self._scoring(self.known)
        self.limits = PassedLimits(self.program, self.scoring)
        self.parts = [each.parts(self.scoring, self.limits) for each in self.known]
        self.kept = KeptPlan(self.program, self.recourse_cost, broken=False)
        self.plain = np.array([variable.money for variable in self.program.variables])

    def _sequences(self, grower: Grower, pools: Sequence[Pool]) -> list[_Known]:
        """Those of the pools and of the plans, field by field."""
        found = []
        for field, land in enumerate(self.data.fields):
            own = np.array([plan.paths[field] for plan in self.plans], np.int16)
            met = [pool.paths[allowed_paths(land, pool.paths)] for pool in pools if pool.field == field]
            found.append(self._known(grower.pool(field, np.unique(np.vstack([own, *met]), axis=0))))
        return found

    def _known(self, pool: Pool) -> _Known:
        data = self.data
        values = features(data, self.program.space, pool)
        return _Known(
            pool.paths,
            np.where(pool.paths == NOT_FARMED, -1, data.crop_of[pool.paths]),
            np.ascontiguousarray(self.program.need(values).T),
            values @ self.plan_cost,
            pool.money.sum(axis=1),
            pool.burden @ data.burden_when,
            pool.burden[:, -1] * bool(data.fields[pool.field].farmed[-1]),
        )

    def _scoring(self, known: Sequence[_Known], least: float = np.inf) -> Scoring:
        """Scores of plans of some sequences; of needs down to ``least`` if that is less."""
        fine = [FINE / row.scale if row.words else 10.0 * FINE for row in self.program.rows]
        lowest = np.sum([each.need.min(axis=0) for each in known], axis=0)
        return Scoring(
            self.program,
            self.recourse_cost,
            np.array(fine),
            self.data.discount,
            least_need=np.minimum(lowest, least),
            most_need=np.sum([each.need.max(axis=0) for each in known], axis=0),
        )

    def _grown(self, grower: Grower, complete: Collection[int]) -> Iterator[Pool]:
        """More sequences of each field of each plan that suit what the other fields leave, with other crops.

        Those met in the search suit the best plans; few of them have another crop and still bring what the
        field has to bring. Prices are those at which the farm without the field would pay for it; the crops
        that the plan has there cost `REWARD` more.
        """
        data, known = self.data, self._sequences(grower, ())
        scoring = self._scoring(known, 0.0)
        reward = REWARD * float(np.abs(data.cost_per_ha).mean())
        no_matter = np.full(len(scoring.cash), np.inf)
        for plan in self.plans:
            places = [each.place(path) for each, path in zip(known, plan.paths, strict=True)]
            total = np.sum([each.need[n] for each, n in zip(known, places, strict=True)], axis=0)
            for field, path in enumerate(plan.paths):
                if field in complete:
                    continue
                rest = (total - known[field].need[places[field]] + self.a_little)[scoring.rows]
                scoring.sharpen(rest)
                prices = self.program.prices(self.plan_cost, -scoring.slopes(rest, no_matter))
                if plan.clean and self.price is not None:
                    prices = replace(prices, burden=prices.burden + self.price * data.burden_when)
                land = prices.land.copy()
                for year, practice in enumerate(path):
                    if practice != NOT_FARMED:
                        land[year, data.crop_of == data.crop_of[practice]] += reward
                worth = grower.worth(replace(prices, land=land))
                yield grower.grow(field, worth, width=WIDTH, keep=GROWN, figures=False).pool

    def find(self) -> dict[str, tuple[RunnerUp, ...]]:
        """The second of every field and year that is farmed, by plan.

        For a plan chosen for money the second is the exchange that leaves most money. For a cleaner one it is
        that with most money among those that leave no more roots than `POINTS` allows; if there is none, the
        one that is best once roots more are charged at ``price`` (without a price: with fewest roots).
        """
        return {plan.key: tuple(self._of_plan(plan)) for plan in self.plans}

    def _of_plan(self, plan: Chosen) -> list[RunnerUp]:
        at = [known.place(path) for known, path in zip(self.known, plan.paths, strict=True)]
        total = self._whole(at)
        chosen = list(zip(self.known, at, strict=True))
        need = np.sum([known.need[n] for known, n in chosen], axis=0)
        cost, money = (
            float(sum(getattr(known, what)[n] for known, n in chosen)) for what in ("cost", "money")
        )
        found = []
        for field, (known, n) in enumerate(chosen):
            others = _Others(need - known.need[n], cost - float(known.cost[n]), money - float(known.money[n]))
            parts = self.parts[field].exchanged(total, n)
            found += _Exchanges(self, plan, field, n, parts, others).seconds()
        return found

    def _whole(self, at: Sequence[int]) -> _Parts:
        """A whole plan from the places of its sequences."""
        scoring = self.scoring
        chosen = list(zip(self.parts, at, strict=True))
        own, scored, cash, watched = (
            np.sum([getattr(part, each.name)[n] for part, n in chosen], axis=0) for each in fields(_Parts)
        )
        base = scoring.base_money if len(scoring.cash) else 0.0
        return _Parts(own + scoring.base, scored, cash + base, watched)

    def sharpen(self, scored: Floats) -> bool:
        """Make the score exact for one plan; true if anything changed."""
        # where nothing is made of a product, the line for a little more of it holds for other plans too
        changed = self.scoring.sharpen(scored + self.a_little[self.scoring.rows])
        return self.scoring.sharpen(scored) or changed

    def settle(self, known: _Known, n: int, others: _Others) -> _Exact | None:
        """A plan from one sequence and the other fields; None if it breaks a limit."""
        cost, _ = self.kept.solve(others.need + known.need[n])
        if not np.isfinite(cost):
            return None
        net = others.money + float(known.money[n]) + float(self.plain @ self.kept.recourse)
        return _Exact(-others.cost - float(known.cost[n]) - cost, net)


class _Exchanges:
    """One field of one plan with each of its sequences (n) in turn."""

    def __init__(  # noqa: PLR0917
        self, of: RunnersUp, plan: Chosen, field: int, at: int, parts: _Parts, others: _Others
    ) -> None:
        self.of, self.plan, self.field, self.at, self.known = of, plan, field, at, of.known[field]
        self.parts, self.others = parts, others
        self.past = of.limits.past(parts.watched)
        self.broken = of.limits.broken(self.past)
        self.roots = self.known.weighted - self.known.weighted[at]
        self.exact: dict[int, _Exact | None] = {}
        self.strict = False  # what the score takes for short of cash is taken for it
        self._score()

    def _score(self) -> None:
        """Worth of each exchange where limits may be broken for nothing, and which limits are.

        Cash is looked at only where all other limits are kept; what is settled stays as it is.
        """
        limits, scoring, parts = self.of.limits, self.of.scoring, self.parts
        rest = scoring.score(parts.scored, np.full_like(parts.cash, np.inf))
        self.worth = limits.fines(self.past) - parts.own - rest
        self.names = self.broken.copy()
        if parts.cash.shape[1]:
            kept = np.flatnonzero(~self.broken.any(axis=1))
            self.names[kept] |= limits.short(parts.scored[kept], parts.cash[kept], rest[kept])
        self.keeps: Flags = np.logical_not((self.names if self.strict else self.broken).any(axis=1))
        for n in self.exact:
            self._note(n)

    def _note(self, n: int) -> None:
        """What is settled goes before what is scored."""
        exact = self.exact[n]
        self.keeps[n] = exact is not None
        if exact is not None:
            self.worth[n], self.names[n] = exact.worth, False

    def seconds(self) -> list[RunnerUp]:
        data = self.of.data
        farmed = np.flatnonzero(self.known.crops[self.at] >= 0)
        others = {int(year): self.known.crops[:, year] != self.known.crops[self.at, year] for year in farmed}
        found = self._settled(others)
        told = []
        for (year, other), best in zip(others.items(), found, strict=True):
            here = RunnerUp(
                field=data.fields[self.field].name, year=data.first_year + year, decided_by="unknown"
            )
            told.append(self._none(here, year, other) if best is None else self._second(here, best, other))
        return told

    def _settled(self, others: dict[int, Flags]) -> list[int | None]:
        """The best exchange of each year: whatever comes out first is settled until it stays so.

        What the score takes for short of cash need not be; after `ROUNDS` it is taken for it.
        """
        best: list[int | None] = [self.at]
        exactly: set[int] = set()  # scored
        for turn in range(2 * ROUNDS):
            ahead = [self._ahead(other) for other in others.values()]
            sharper = False
            for n in {n for n in (*best, *ahead) if n is not None} - exactly:
                sharper |= self.of.sharpen(self.parts.scored[n])
                exactly.add(n)
            if sharper or turn == ROUNDS:
                self.strict |= turn == ROUNDS
                self._score()
            new = {n for n in best if n is not None and n not in self.exact}
            for n in new:
                self.exact[n] = self.of.settle(self.known, n, self.others)
                self._note(n)
            if turn and not sharper and not new:
                break
            best = [self._best(other) for other in others.values()]
        return [n if n is None or self.exact.get(n) is not None else None for n in best]

    def _best(self, other: Flags) -> int | None:
        """The second among exchanges with another crop, as told at `RunnersUp.find`."""
        fit = np.flatnonzero(other & self.keeps)
        if not len(fit):
            return None
        if self.plan.clean:
            clean = fit[self.roots[fit] <= POINTS * self.of.today_ha + TINY]
            if not len(clean):
                price = self.of.price
                by = -self.roots if price is None else self.worth - price * self.roots
                return int(fit[by[fit].argmax()])
            fit = clean
        return int(fit[self.worth[fit].argmax()])

    def _ahead(self, other: Flags) -> int | None:
        """The exchange with another crop that would be best, and better than the plan, but for the limits."""
        fit = (
            other
            & self.names.any(axis=1)
            & (self.worth > self.worth[self.at] + TINY * abs(self.worth[self.at]))
        )
        if self.plan.clean:
            fit &= self.roots <= TINY
        ahead = np.flatnonzero(fit)
        return int(ahead[self.worth[ahead].argmax()]) if len(ahead) else None

    def _second(self, here: RunnerUp, best: int, other: Flags) -> RunnerUp:
        data, known, today = self.of.data, self.known, self.of.today_ha
        now, exact, ahead = self.exact[self.at], self.exact[best], self._ahead(other)
        assert now is not None and exact is not None
        more = float(known.end[best] - known.end[self.at])
        here = replace(
            here,
            practices=tuple("" if p == NOT_FARMED else data.practice_keys[p] for p in known.paths[best]),
            net_a_year=(exact.net - now.net) / data.years,
            roots=more / today if today > 0.0 else 0.0,
        )
        if ahead is not None:
            names = tuple(self.of.limits.names[k] for k in np.flatnonzero(self.names[ahead]))
            return replace(here, decided_by="limit", limits=names)
        worth = self.worth[self.at]
        gains = self.worth[best] > worth + TINY * abs(worth)
        if self.plan.clean and (other & self.keeps & (self.worth > worth)).any():
            return replace(here, decided_by="roots")
        return replace(here, decided_by="crops" if self.plan.apart and gains else "money")

    def _none(self, here: RunnerUp, year: int, other: Flags) -> RunnerUp:
        """Why there is no second: the limit that the exchanges break most often, or the rules."""
        if other.any():
            broken = self.names[other].sum(axis=0)
            most = self.of.limits.names[int(broken.argmax())] if broken.any() else None
            return replace(here, decided_by="limit", limits=() if most is None else (most,))
        data, path = self.of.data, self.plan.paths[self.field]
        before, crop = path[:year], data.crop_of[path[year]]
        said = Counter[str]()
        for practice in np.flatnonzero(data.crop_of != crop):
            said[self.of.why_not(self.field, before, int(practice))] += 1
        if said[""] or not said:
            return here
        return replace(here, decided_by="rules", rules=tuple(rule for rule, _ in said.most_common(SAID)))


def runners_up(
    ground: Groundwork, data: SelectionData, proposal: Proposal
) -> dict[str, tuple[RunnerUp, ...]]:
    """The seconds of all plans shown but the present rotation, which may break limits and rules.

    Parameters
    ----------
    ground : Groundwork
    data : SelectionData
        Of the same farm.
    proposal : Proposal
        As from `alternatives.propose`.
    """
    drafts = [each for each in proposal.drafts if each.key != AS_NOW and each.key not in proposal.same_as]
    if not drafts:
        return {}
    plans = [
        Chosen(key=each.key, paths=each.paths, clean=each.key in CLEAN, apart=each.key == OTHER_WAY)
        for each in drafts
    ]
    met = () if proposal.richest is None else proposal.richest.pools
    first, last = proposal.curve.points[0], proposal.curve.points[-1]
    price = price_between(first, last) if first.burden > last.burden else None
    today = sum(
        land.area_ha
        * float(data.burden_weight * land.infested_share @ ground.starts[land.name].autumn[:, data.likely])
        for land in data.fields
        if land.farmed[-1]
    )

    def why_not(field: int, before: Path, practice: int) -> str:
        keys = [data.practice_keys[p] for p in before]
        reason = ground.succession.why_not(data.fields[field].name, keys, data.practice_keys[practice])
        return "" if reason is None else reason[1]

    pools = (*met, *proposal.curve.pools)
    return RunnersUp(data, plans, pools, today_ha=today, price=price, why_not=why_not).find()
