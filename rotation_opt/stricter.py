"""Whether everything that is possible under some limits was possible, for no less money, under others."""

from __future__ import annotations

import numpy as np

from .arrays import Limits, OutletData, SelectionData, ShareData

MORE_IS_LOOSER = (
    "labour_h",
    "extra_labour_h",
    "machine_h",
    "hire_extra_h",
    "hire_area_ha",
    "open_price_per_t",
    "storage_t",
    "stored_now_t",
    "cash_now",
)
MORE_IS_STRICTER = (
    "extra_labour_cost_per_h",
    "hire_extra_cost_per_h",
    "feed_need_t",
    "feed_price_per_t",
    "storage_loss",
    "cash_floor",
    "cash_floor_quarter",
    "fixed_cost",
)


def within_fields(data: SelectionData, asked: SelectionData) -> bool:
    """Whether every sequence that ``data`` allows is allowed in ``asked``, the same farm otherwise."""
    return len(data.fields) == len(asked.fields) and all(
        bool((land.allowed <= other.allowed).all()) and bool((land.farmed == other.farmed).all())
        for land, other in zip(data.fields, asked.fields, strict=True)
    )


def no_looser(limits: Limits, asked: Limits) -> bool:
    """Whether no limit is looser than in ``asked``: no plan is then worth more.

    Parameters
    ----------
    limits, asked : Limits
        Of the same farm.
    """
    return (
        all(_all_at_most(getattr(limits, name), getattr(asked, name)) for name in MORE_IS_LOOSER)
        and all(_all_at_most(getattr(asked, name), getattr(limits, name)) for name in MORE_IS_STRICTER)
        and np.array_equal(limits.feeds, asked.feeds)
        and limits.downside is asked.downside
        and len(limits.outlets) == len(asked.outlets)
        and all(map(_takes_no_more, limits.outlets, asked.outlets))
        and _shares_no_looser(limits.largest, asked.largest, 1.0)
        and _shares_no_looser(limits.least, asked.least, -1.0)
    )


def _all_at_most(one: object, other: object) -> bool:
    less, more = np.asarray(one, dtype=float), np.asarray(other, dtype=float)
    return less.shape == more.shape and bool((less <= more).all())


def _takes_no_more(outlet: OutletData, asked: OutletData) -> bool:
    """A promise holds only in years in which the outlet takes anything."""
    promised, before = (np.where(each.most_t > 0.0, each.least_t, 0.0) for each in (outlet, asked))
    return (
        outlet.product == asked.product
        and outlet.price_per_t - outlet.haul_per_t <= asked.price_per_t - asked.haul_per_t
        and _all_at_most(outlet.most_t, asked.most_t)
        and _all_at_most(before, promised)
    )


def _shares_no_looser(shares: tuple[ShareData, ...], asked: tuple[ShareData, ...], sign: float) -> bool:
    return len(shares) == len(asked) and all(
        np.array_equal(one.member, other.member) and sign * one.share <= sign * other.share
        for one, other in zip(shares, asked, strict=True)
    )
