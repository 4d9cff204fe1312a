"""What a dry or a wet year takes from a fixed plan, as the drought of 1988 and the floods of 1993 did."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rotation_opt.arrays import NOT_FARMED, Floats, SelectionData
from rotation_opt.columns import Paths
from rotation_opt.formulate import Figures
from rotation_opt.records import Practice
from rotation_opt.scenarios import SERIES, TABLE, Scenarios, crops_of_products, goes_by
from rotation_opt.sequences import trace
from rotation_opt.settling import outcomes
from rotation_opt.tables import Tables
from rotation_opt.workload import cut_shares


@dataclass(frozen=True, slots=True, kw_only=True)
class BadYear:
    """What one kind of bad year does, against the usual.

    Parameters
    ----------
    name : str
        ``dry`` or ``wet``.
    yields : (P,)
        Factor on what each practice brings in that year.
    next_yields : (P,)
        Factor on what each practice brings in the year after.
    prices : (K,)
        Factor on the price of each product in that year.
    feed_price : float
        Factor on the price of hay bought in.
    """

    name: str
    yields: Floats
    next_yields: Floats
    prices: Floats
    feed_price: float


def bad_years(data: SelectionData, practices: Sequence[Practice], tables: Tables) -> tuple[BadYear, BadYear]:
    """A dry and a wet year.

    Dry: every crop yields as its series did in the drought of 1988, a stand of hay sown that spring fails,
    hay is dear. Wet: as in the floods of 1993; a cut of hay cannot be made, the others are late.

    Parameters
    ----------
    data : SelectionData
    practices : sequence of Practice, length P
        In the order of ``data.practice_keys``.
    tables : Tables
    """
    new_stand = tables.number(TABLE, "any", "dry_year_new_stand")
    missed = int(tables.number(TABLE, "any", "wet_year_missed_cuts"))
    dry, dry_after, wet = (np.ones(len(practices)) for _ in range(3))
    for place, practice in enumerate(practices):
        if data.product_of[place] < 0:
            continue
        series = SERIES[goes_by(practice.crop, "yields_with", tables)[0]]
        dry[place] = tables.number(TABLE, series, "dry_year_yield")
        wet[place] = tables.number(TABLE, series, "wet_year_yield")
        if not practice.cuts:
            continue
        if not practice.needs_stand and practice.sowing == "spring":
            dry[place] *= new_stand
        if practice.needs_stand.endswith(":1"):
            dry_after[place] = new_stand
        shares = cut_shares(practice, tables)
        if len(shares) > missed:
            wet[place] *= sum(shares[: len(shares) - missed]) / sum(shares)
    hay_dry = tables.number(TABLE, "hay", "dry_year_price")
    hay_place = SERIES.index("hay")
    goes_with_hay = np.array(
        [goes_by(crop, "prices_with", tables)[0] == hay_place for crop in crops_of_products(data)],
        dtype=bool,
    )
    return (
        BadYear(
            name="dry",
            yields=dry,
            next_yields=dry_after,
            prices=np.where(goes_with_hay, hay_dry, 1.0),
            feed_price=hay_dry,
        ),
        BadYear(
            name="wet",
            yields=wet,
            next_yields=np.ones(len(practices)),
            prices=np.where(goes_with_hay, tables.number("money", "any", "late_cut_price_ratio"), 1.0),
            feed_price=1.0,
        ),
    )


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
