"""A direct Monte Carlo of a plan as it is printed, for tests of good and bad years.

`Direct` knows the farm file, the printed figures and one course of years, and nothing else: plain numbers,
one year after another. `fresh` draws courses from the law itself, all years at once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from small_farm import TABLES

from rotation_opt.records import Alternative, Farm, Outlet
from rotation_opt.scenarios import SERIES, Scenarios, Swings


class Direct:
    """One printed plan, run through one course after another in plain numbers.

    ``usual`` is the price of each product on the open market. [currency/t]
    """

    def __init__(self, farm: Farm, plan: Alternative, usual: Mapping[str, float]) -> None:
        figures = plan.figures
        self.farm, self.figures, self.usual = farm, figures, usual
        self.crops = sorted(figures.made_t)  # a product each: standing hay is not the hay of its crop
        self.haul = {crop: TABLES.number_or("crop", crop, "dry_haul_per_t", 0.0) for crop in self.crops}
        self.mine = {crop: [0.0] * farm.years for crop in self.crops}
        fields = {field.name: field for field in farm.fields}
        for each in plan.fields:
            if not each.practice:
                continue
            practice, field = TABLES.practices[each.practice], fields[each.field]
            crop = f"{practice.crop}_standing" if practice.cut_use == "standing" else practice.crop
            if crop in self.mine and practice.cut_use not in ("leave", "graze"):
                share = 1.0 - field.landlord_share
                self.mine[crop][each.year - farm.first_year] += each.yield_t_ha * field.area_ha * share
        own = [crop for crop in self.crops if crop in TABLES.crops]  # standing hay is never brought home
        self.hay = [crop for crop in own if TABLES.crops[crop].product == "hay"]

    def sold(self, crop: str, place: str, year: int) -> float:
        return self.figures.sold_t.get(f"{crop} @ {place}", (0.0,) * self.farm.years)[year]

    def outlets(self, crop: str, year: int) -> list[Outlet]:
        when = self.farm.first_year + year
        return sorted(
            (o for o in self.farm.outlets if o.crop == crop and (not o.years or when in o.years)),
            key=lambda each: each.haul_per_t - each.price_per_t,
        )

    def open_price(self, crop: str, year: int) -> float:
        named = self.outlets(crop, year)
        share = TABLES.number("money", "any", "surplus_price_share") if named else 1.0
        return self.usual[crop] * share

    def planned_sales(self, year: int) -> float:
        money = -self.figures.feed_bought_t[year] * self.farm.feed_price_per_t
        for sale, tonnes in self.figures.sold_t.items():
            crop, place = sale.split(" @ ")
            named = [each for each in self.outlets(crop, year) if each.name == place]
            if tonnes[year]:
                price = named[0].price_per_t - named[0].haul_per_t if named else self.open_price(crop, year)
                money += tonnes[year] * price
        return money

    def net(
        self,
        yields: dict[str, list[float]],
        prices: dict[str, list[float]],
        feed: list[float],
    ) -> list[float]:
        """Net return of each year of one course."""
        farm, figures, found = self.farm, self.figures, []
        barn = farm.hay_stored_now_t
        for year in range(farm.years):
            have = {crop: self.mine[crop][year] * yields[crop][year] for crop in self.crops}
            keep = {
                crop: self.mine[crop][year]
                - sum(t[year] for sale, t in figures.sold_t.items() if sale.split(" @ ")[0] == crop)
                - figures.unsold_t.get(crop, (0.0,) * farm.years)[year]
                for crop in self.hay
            }
            money = 0.0
            barn *= 1.0 if year == 0 else 1.0 - farm.hay_storage_loss
            fed, store = figures.fed_t[year], figures.hay_stored_t[year]

            def fetch(wanted: float, have: dict[str, float] = have, keep: dict[str, float] = keep) -> float:
                got = 0.0
                for crop in self.hay:
                    part = max(0.0, min(have[crop], keep[crop], wanted - got))
                    have[crop], keep[crop], got = have[crop] - part, keep[crop] - part, got + part
                for crop in sorted(self.hay, key=lambda crop: self.open_price(crop, 0)):
                    part = max(0.0, min(have[crop], wanted - got))
                    have[crop], got = have[crop] - part, got + part
                return got

            if farm.feed_need_t:
                barn += fetch(max(0.0, fed - barn))
            left = {}
            for crop in self.crops:
                for outlet in self.outlets(crop, year):
                    left[outlet.name] = float("inf") if outlet.most_t is None else outlet.most_t
                    if outlet.least_t > 0.0:
                        promised = min(outlet.least_t, self.sold(crop, outlet.name, year))
                        price = outlet.price_per_t - outlet.haul_per_t
                        given = min(promised, have[crop])
                        have[crop] -= given
                        left[outlet.name] -= given
                        market = self.usual[crop] * prices[crop][year]
                        money += given * price - (promised - given) * max(0.0, market - price)
            missing = 0.0
            if farm.feed_need_t:
                barn += fetch(max(0.0, fed + store - barn))
                eaten = min(barn, farm.feed_need_t, max(fed, barn - store))
                missing = farm.feed_need_t - eaten
                barn = min(barn - eaten, farm.hay_storage_t)
            places = [
                (each.price_per_t - each.haul_per_t, crop, each)
                for crop in self.crops
                for each in self.outlets(crop, year)
            ]
            places += [(self.open_price(crop, year), crop, "open") for crop in self.crops]
            if farm.feed_need_t:
                places += [(farm.feed_price_per_t, crop, "herd") for crop in self.hay]
            for _, crop, where in sorted(places, key=lambda each: -each[0]):
                if where == "herd":
                    given = min(have[crop], missing)
                    missing -= given
                elif where == "open":
                    given = have[crop]
                    money += given * self.open_price(crop, year) * prices[crop][year]
                else:
                    given = min(have[crop], left[where.name])
                    factor = 1.0 if where.least_t > 0.0 else prices[crop][year]
                    money += given * max(0.0, where.price_per_t * factor - where.haul_per_t)
                have[crop] -= given
            money -= missing * farm.feed_price_per_t * feed[year]
            carried = sum(
                figures.made_t[crop][year] * (yields[crop][year] - 1.0) * self.haul[crop]
                for crop in self.crops
            )
            found.append(figures.net_return[year] + money - self.planned_sales(year) - carried)
        return found

    def run(self, products: Sequence[str], scenarios: Scenarios) -> np.ndarray:
        """(S, T): net return of each year in each course; ``products`` name the last axis of its factors."""
        at = {crop: products.index(crop) for crop in self.crops}
        yields, prices = scenarios.yields.tolist(), scenarios.prices.tolist()
        feed = scenarios.feed_price.tolist()
        return np.array(
            [
                self.net(
                    {crop: [year[k] for year in yields[s]] for crop, k in at.items()},
                    {crop: [year[k] for year in prices[s]] for crop, k in at.items()},
                    feed[s],
                )
                for s in range(len(yields))
            ]
        )


def fresh(swings: Swings, years: int, market: np.ndarray, count: int, seed: int) -> Scenarios:
    """Courses drawn from the law itself: all years, yields and prices at once, nothing mirrored."""
    n, k, r = len(SERIES), len(swings.crops), swings.persistence
    lag = np.abs(np.subtract.outer(np.arange(years), np.arange(years)))
    before = np.subtract.outer(np.arange(years), np.arange(years))  # year of the price less year of the yield
    across = swings.yields * swings.price_yield
    yy, pp = np.kron(np.eye(years), swings.yields), np.kron(r**lag, swings.prices)
    py = np.kron(np.where(before >= 0, r ** np.maximum(before, 0.0), 0.0), across.T)
    law = np.block([[yy, py.T], [py, pp]])
    assert np.linalg.eigvalsh(law)[0] > 1e-9
    rng = np.random.default_rng(seed)
    series = rng.multivariate_normal(np.zeros(len(law)), law, size=count, method="cholesky")
    zy = series[:, : n * years].reshape(count, years, n)
    zp = series[:, n * years :].reshape(count, years, n)
    own_y = rng.standard_normal((count, years, k))
    own_p = rng.multivariate_normal(np.zeros(years), r**lag, size=(count, k)).transpose(0, 2, 1)
    y, p = np.empty((count, years, k)), np.empty((count, years, k))
    for c in range(k):
        a, b = swings.yield_with[c], swings.price_with[c]
        z = a * zy[:, :, swings.yield_series[c]] + (1 - a * a) ** 0.5 * own_y[:, :, c]
        y[:, :, c] = np.clip(1 + swings.yield_cv[c] * z, 0, 2)
        z = b * zp[:, :, swings.price_series[c]] + (1 - b * b) ** 0.5 * own_p[:, :, c]
        s = np.log(1 + swings.price_cv[c] ** 2) ** 0.5
        p[:, :, c] = np.exp(s * z - s * s / 2)
    s = np.log(1 + swings.hay_price_cv**2) ** 0.5
    feed = np.exp(s * zp[:, :, SERIES.index("hay")] - s * s / 2)
    return Scenarios(yields=y, prices=p, feed_price=feed, market_price_per_t=market)
