"""A fixed plan settled in every course of years that may come.

Fields, work and costs stay as planned; tonnes and prices swing. In each year the farm does with its tonnes
what the plan does: the herd's hay first, then what is promised, then hay for the store, then named buyers by
price up to their most, the rest at the open price. Hay that is short is bought at that year's price.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rotation_opt.arrays import Floats, Limits, SelectionData
from rotation_opt.formulate import Figures
from rotation_opt.scenarios import Scenarios


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
    carried = (scenarios.yields - 1.0) * figures.made_t * haul_per_t(data)
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


def haul_per_t(data: SelectionData) -> Floats:
    """(K,): drying and haulage of each product.

    The least over its practices: what a late first cut takes off a tonne is in the same figure, and stays as
    planned.
    """
    cost = np.full(len(data.products), np.inf)
    before, practice = np.nonzero((data.pair_index >= 0) & (data.product_of >= 0))
    np.minimum.at(cost, data.product_of[practice], data.haul_per_t[data.pair_index[before, practice]])
    return np.where(np.isfinite(cost), cost, 0.0)
