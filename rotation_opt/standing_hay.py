"""Hay sold standing: the buyer cuts and carries it, the owner gets a share of what hay is worth.

It is a product of its own: it cannot be fed or stored, and only an outlet that was agreed for it takes it.
"""

from __future__ import annotations

from rotation_opt.records import Practice

STANDING = "_standing"
"""``alfalfa_standing`` is the product that stands for alfalfa hay sold before it is cut."""


def standing_key(crop: str) -> str:
    """Key under which the standing hay of a crop is sold."""
    return f"{crop}{STANDING}"


def sold_as(practice: Practice) -> str:
    """Key under which what a practice carries off is sold: its crop, or its standing hay."""
    return standing_key(practice.crop) if practice.cut_use == "standing" else practice.crop


def standing_price(hay_price_per_t: float, owner_share: float) -> float:
    """What the owner gets for a tonne that the buyer cuts, bales and carries. [currency/t]

    Parameters
    ----------
    hay_price_per_t : float
        Price of the same hay in the bale. [currency/t]
    owner_share : float
        Share of it that is the owner's; the rest is the buyer's for harvest, loss and risk. [0-1]

    Examples
    --------
    >>> standing_price(180.0, 0.5)
    90.0
    """
    return hay_price_per_t * owner_share
