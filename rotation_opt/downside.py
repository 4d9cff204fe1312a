"""What a fixed plan brings in every course of years that may come.

Fields, work and costs stay as planned; tonnes and prices swing. In each year the farm does with its tonnes
what the plan does: the herd's hay first, then what is promised, then hay for the store, then named buyers by
price up to their most, the rest at the open price. Hay that is short is bought at that year's price.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from rotation_opt.arrays import NOT_FARMED, Floats, Limits, SelectionData
from rotation_opt.columns import Paths
from rotation_opt.finance import cvar_of_loss
from rotation_opt.formulate import Figures
from rotation_opt.groundwork import Groundwork
from rotation_opt.records import Risk
from rotation_opt.scenarios import COURSES, BadYear, Scenarios, bad_years, crops_of_products, draw, swings_of
from rotation_opt.select import evaluate
from rotation_opt.sequences import trace

WORST_SHARE = 0.2
LEAST_T = 0.01
"""Tonnes short of a promise from which on it counts as short."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcomes:
    """A fixed plan in S courses of years.

    Parameters
    ----------
    net : (S, T)
        Net return of the whole farm. [currency]
    present_value : (S,)
        The same of all years, in money of today. [currency]
    short_t : (S, T)
        Tonnes promised that the farm has not grown itself, beyond those the plan itself is short of. [t]
    """

    net: Floats
    present_value: Floats
    short_t: Floats


def outcomes(
    data: SelectionData, figures: Figures, scenarios: Scenarios, *, limits: Limits | None = None
) -> Outcomes:
    """Net return of every year of a fixed plan in every course.

    Parameters
    ----------
    data : SelectionData
    figures : Figures
        Of the plan, as from `select.evaluate` under the same limits.
    scenarios : Scenarios
        With factors of 1 the result is the plan's own net return.
    limits : Limits, optional
        ``data.limits`` by default.

    Notes
    -----
    The price of a buyer who is promised tonnes in that year is fixed; all other prices swing. Promised tonnes
    that the harvest does not give are bought in at the open market's price of that year and delivered at the
    agreed one; where the market is cheaper nothing is gained by it. Buyers are served in the order of their
    usual prices. Only drying and haulage change with the tonnes; hire by the bale or tonne does not.
    """
    used = data.limits if limits is None else limits
    farm = _Farm(data, used, figures, scenarios)
    made_by_year = [farm.year(year) for year in range(data.years)]
    change = np.stack([money for money, _ in made_by_year], axis=1) - (figures.sales - figures.feed_cost)
    carried = (scenarios.yields - 1.0) * figures.made_t * _haul_per_t(data)
    net = figures.net + change - carried.sum(axis=2)
    return Outcomes(
        net=net,
        present_value=net @ data.discount,
        short_t=np.stack([short for _, short in made_by_year], axis=1),
    )


class _Farm:
    """The farm that settles one year after another, all courses at once."""

    def __init__(self, data: SelectionData, limits: Limits, figures: Figures, scenarios: Scenarios) -> None:
        self.data, self.limits, self.plan, self.scenarios = data, limits, figures.recourse, scenarios
        self.tonnes = figures.tonnes * scenarios.yields
        self.stored = np.full(len(self.tonnes), float(limits.stored_now_t))
        self.feeding = limits.feed_need_t > 0.0
        self.hay = [int(k) for k in np.flatnonzero(limits.feeds)]

    def year(self, year: int) -> tuple[Floats, Floats]:
        """Sales less hay bought in and what keeping promises costs, (S,); tonnes short of promises, (S,)."""
        limits, have = self.limits, self.tonnes[:, year].copy()
        keeps = 1.0 if year == 0 else 1.0 - limits.storage_loss
        barn = self.stored * keeps
        fed, store = float(self.plan.fed_t[year]), float(self.plan.stored_t[year])
        kept = np.tile(self.plan.kept_t[year], (len(have), 1))
        if self.feeding:
            barn = barn + self._from_field(year, have, kept, np.maximum(fed - barn, 0.0))
        money, short, room = self._promises(year, have)
        if self.feeding:
            barn = barn + self._from_field(year, have, kept, np.maximum(fed + store - barn, 0.0))
            need = limits.feed_need_t
            eaten = np.minimum(np.minimum(barn, need), np.maximum(fed, barn - store))
            self.stored = np.minimum(barn - eaten, limits.storage_t)
        else:
            need, eaten = 0.0, np.zeros(len(have))
        missing = need - eaten
        for price, product, outlet in self._buyers(year):
            if outlet is None and price is None:  # the herd, in place of hay bought in
                given = np.minimum(have[:, product], missing)
                missing = missing - given
            else:
                given = np.minimum(have[:, product], room[outlet] if outlet is not None else np.inf)
                money += given * self._price(year, product, outlet)
            have[:, product] -= given
        dear = limits.feed_price_per_t * self.scenarios.feed_price[:, year]
        return money - missing * dear, short

    def _from_field(self, year: int, have: Floats, kept: Floats, wanted: Floats) -> Floats:
        """Hay off the field for the herd or the store: first what the plan keeps of each, then the cheapest.

        Takes it off ``have`` and ``kept``, both (S, K).
        """
        taken = np.zeros(len(have))
        open_price = self.limits.open_price_per_t[year]
        for most in (kept, None):
            for product in sorted(self.hay, key=lambda k: float(open_price[k])):
                part = np.minimum(have[:, product], wanted - taken)
                if most is not None:
                    part = np.minimum(part, most[:, product])
                    kept[:, product] -= part
                have[:, product] -= part
                taken += part
        return taken

    def _promises(self, year: int, have: Floats) -> tuple[Floats, Floats, list[Floats]]:
        """What promised tonnes bring, how many are short, and what each buyer still takes."""
        money, short = np.zeros(len(have)), np.zeros(len(have))
        room = [np.full(len(have), float(each.most_t[year])) for each in self.limits.outlets]
        order = sorted(range(len(room)), key=lambda o: -self._usual(o))
        for number in order:
            outlet = self.limits.outlets[number]
            if not outlet.least_t[year] > 0.0 or not outlet.most_t[year] > 0.0:
                continue
            product = outlet.product
            promised = min(float(outlet.least_t[year]), float(self.plan.sold_t[number, year]))
            given = np.minimum(have[:, product], promised)
            have[:, product] -= given
            room[number] = room[number] - given
            price = self._usual(number)
            market = self.scenarios.prices[:, year, product] * self.scenarios.market_price_per_t[product]
            money += given * price - (promised - given) * np.maximum(market - price, 0.0)
            short += promised - given
        return money, short, room

    def _usual(self, number: int) -> float:
        outlet = self.limits.outlets[number]
        return outlet.price_per_t - outlet.haul_per_t

    def _buyers(self, year: int) -> list[tuple[float | None, int, int | None]]:
        """Who takes tonnes of what, the best payer first: (price, product, outlet).

        No outlet is the open market; neither outlet nor price is the herd, which saves hay bought in.
        """
        found: list[tuple[float, float | None, int, int | None]] = []
        for number, outlet in enumerate(self.limits.outlets):
            if outlet.most_t[year] > 0.0:
                found.append((self._usual(number), self._usual(number), outlet.product, number))
        for product, price in enumerate(self.limits.open_price_per_t[year]):
            found.append((float(price), float(price), product, None))
        if self.feeding:
            found += [(self.limits.feed_price_per_t, None, product, None) for product in self.hay]
        found = [each for each in found if each[0] > 0.0]
        return [each[1:] for each in sorted(found, key=lambda each: -each[0])]

    def _price(self, year: int, product: int, number: int | None) -> Floats:
        factor = self.scenarios.prices[:, year, product]
        if number is None:
            return np.asarray(self.limits.open_price_per_t[year, product] * factor)
        outlet = self.limits.outlets[number]
        if outlet.least_t[year] > 0.0:  # agreed beforehand
            factor = np.ones_like(factor)
        return np.asarray(np.maximum(outlet.price_per_t * factor - outlet.haul_per_t, 0.0))


def _haul_per_t(data: SelectionData) -> Floats:
    """(K,): drying and haulage of each product."""
    cost = np.zeros(len(data.products))
    for _, practice in zip(*np.nonzero(data.pair_index >= 0), strict=True):
        if data.product_of[practice] >= 0:
            pairs = data.pair_index[:, practice]
            cost[data.product_of[practice]] = data.haul_per_t[pairs[pairs >= 0][0]]
    return cost


# ---------------------------------------------------------------- what is told of it


def risk(
    data: SelectionData,
    paths: Paths,
    figures: Figures,
    scenarios: Scenarios,
    cases: Sequence[BadYear] = (),
) -> Risk:
    """What is told of a plan: expected, bad and worst years, a dry and a wet year."""
    found = outcomes(data, figures, scenarios)
    mean_net = found.net.mean(axis=1)
    below = found.net < data.limits.cash_floor
    ordered = np.sort(found.net, axis=0)
    tenth = len(ordered) // 10
    promised = (
        np.array([o.least_t for o in data.limits.outlets]).reshape(-1, data.years).max(axis=0, initial=0)
    )
    short = found.short_t[:, promised > 0.0] > LEAST_T
    return Risk(
        courses=len(found.net),
        expected_net=float(mean_net.mean()),
        worst_fifth_net=worst_mean(mean_net),
        expected_present_value=float(found.present_value.mean()),
        worst_fifth_present_value=worst_mean(found.present_value),
        year_below_floor=float(below.mean()),
        any_year_below_floor=float(below.any(axis=1).mean()),
        leanest_year=float(np.median(found.net.min(axis=1))),
        net_by_year=tuple(
            (float(ordered[tenth, year]), float(found.net[:, year].mean()), float(ordered[-tenth - 1, year]))
            for year in range(data.years)
        ),
        contract_short=float(short.mean()) if short.size else None,
        bad_years={each.name: in_bad_year(data, paths, figures, each, scenarios) for each in cases},
    )


def risks(
    ground: Groundwork, data: SelectionData, plans: Sequence[tuple[str, Paths, Figures]]
) -> dict[str, Risk]:
    """What is told of several plans of a farm: (key, sequences, figures) each, all in the same courses."""
    scenarios = farm_scenarios(ground, data)
    cases = bad_years(data, [ground.tables.practices[key] for key in data.practice_keys], ground.tables)
    return {key: risk(data, paths, figures, scenarios, cases) for key, paths, figures in plans}


def farm_scenarios(ground: Groundwork, data: SelectionData, courses: int = COURSES) -> Scenarios:
    """The courses of years of a farm; so many as asked for, always the same."""
    market = np.array([max(0.0, ground.budgets.price_per_t[crop]) for crop in data.products], dtype=float)
    return draw(swings_of(crops_of_products(data), ground.tables), data.years, market, courses=courses)


def worst_mean(outcome: Floats) -> float:
    """Mean of the worst fifth of equally likely outcomes, the more the better."""
    return -cvar_of_loss(-outcome, 1.0 - WORST_SHARE)


def in_bad_year(
    data: SelectionData, paths: Paths, figures: Figures, bad: BadYear, scenarios: Scenarios
) -> tuple[float, ...]:
    """Net return of each year if it were the bad one, less what it costs the years after it.

    Parameters
    ----------
    data : SelectionData
    paths : tuple of tuple of int
    figures : Figures
        Of the same plan.
    bad : BadYear
    scenarios : Scenarios
        For the usual market prices.

    Returns
    -------
    tuple of float, one a plan year
    """
    years = data.years
    usual = Scenarios.usual(years, years, scenarios.market_price_per_t)
    lost = _lost_tonnes(data, paths, bad)  # (years, T, K), grower's and landlord's alike as shares
    yields = usual.yields - lost
    prices, feed_price = usual.prices.copy(), usual.feed_price.copy()
    at = np.arange(years)
    prices[at, at], feed_price[at, at] = bad.prices, bad.feed_price
    found = outcomes(
        data,
        figures,
        Scenarios(
            yields=yields,
            prices=prices,
            feed_price=feed_price,
            market_price_per_t=scenarios.market_price_per_t,
        ),
    )
    cost = (figures.net - found.net).sum(axis=1)
    return tuple(float(each) for each in figures.net - cost)


def _lost_tonnes(data: SelectionData, paths: Paths, bad: BadYear) -> Floats:
    """(T, T, K): share of each year's tonnes that is lost if the year of the first index is the bad one."""
    years, shape = data.years, (data.years, len(data.products))
    there, now, after = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    for number, path in enumerate(paths):
        tonnes = trace(data, number, path).tonnes
        for year, practice in enumerate(path):
            if practice == NOT_FARMED or data.product_of[practice] < 0:
                continue
            place = year, int(data.product_of[practice])
            there[place] += tonnes[year]
            now[place] += tonnes[year] * (1.0 - bad.yields[practice])
            after[place] += tonnes[year] * (1.0 - bad.next_yields[practice])
    share_now = np.divide(now, there, out=np.zeros(shape), where=there > 0.0)
    share_after = np.divide(after, there, out=np.zeros(shape), where=there > 0.0)
    lost = np.zeros((years, *shape))
    for year in range(years):
        lost[year, year] = share_now[year]
        if year + 1 < years:
            lost[year, year + 1] = share_after[year + 1]
    return lost


# ---------------------------------------------------------------- for choosing


def worst_fifth(data: SelectionData, scenarios: Scenarios) -> Callable[[Paths], float]:
    """Mean present value of a plan in its worst fifth of courses: the ``downside`` of `tradeoff.curve`."""

    def of(paths: Paths) -> float:
        return worst_mean(outcomes(data, evaluate(data, paths), scenarios).present_value)

    return of


def changes_per_t(data: SelectionData, scenarios: Scenarios) -> Floats:
    """What a tonne brings in each course, less what it is expected to bring: ``change`` of `arrays.Downside`.

    Parameters
    ----------
    data : SelectionData
    scenarios : Scenarios
        Each course adds a row to the program, so a few hundred at most.

    Returns
    -------
    ndarray (S, T, K)
        Money of today for each planned tonne of the grower's. [currency/t]

    Notes
    -----
    A plan's tonnes are not known when this is asked, so a planned tonne counts at the best price there is for
    it that year: a named buyer's (fixed where tonnes are promised to him) or the open one. What the caps of
    buyers, the store and the herd change is left to `outcomes`.
    """
    limits, haul = data.limits, _haul_per_t(data)
    shape = data.years, len(data.products)
    best = np.array(limits.open_price_per_t, dtype=float).reshape(shape)
    moves, carried = np.ones(shape), np.zeros(shape)
    net = best.copy()
    for outlet in limits.outlets:
        better = (outlet.most_t > 0.0) & (outlet.price_per_t - outlet.haul_per_t > net[:, outlet.product])
        place = better, outlet.product
        net[place] = outlet.price_per_t - outlet.haul_per_t
        best[place], carried[place] = outlet.price_per_t, outlet.haul_per_t
        moves[place] = np.where(outlet.least_t[better] > 0.0, 0.0, 1.0)
    price = best * (1.0 + moves * (scenarios.prices - 1.0))
    brings = scenarios.yields * (np.maximum(price - carried, 0.0) - haul) * data.discount[:, None]
    return np.asarray(brings - brings.mean(axis=0))
