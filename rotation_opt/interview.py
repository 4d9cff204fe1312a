"""Sums done with a grower at the table, before a figure goes into the farm file.

Feed of a herd, grazing, what to sow, what wet grain weighs, what a crop leaves over its costs, how much must
be worked in an hour. ``farm/build.py`` uses `hay_need`; the rest serves an adviser who works out a figure by
hand (from Python) and no plan calls it. Pure arithmetic: no tables, no farm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence


def hay_need(
    head: float,
    live_weight: float,
    intake_share: float,
    days: float,
    *,
    dry_matter_share: float,
    waste_share: float,
) -> float:
    """Hay a herd needs as fed, waste included, in the unit of `live_weight`.

    Parameters
    ----------
    head : float
        Animals.
    live_weight : float
        Of one animal.
    intake_share : float
        Dry matter eaten a day as a share of live weight.
    days : float
        Days fed.
    dry_matter_share : float
        Dry matter in the hay.
    waste_share : float
        Share of what is put out that is not eaten.
    """
    return head * live_weight * intake_share * days / dry_matter_share / (1.0 - waste_share)


def grazing_of_hay_herd(hay_need: float, days_fed: float, *, waste_share: float) -> float:
    """What a herd that needs so much hay eats on the days without hay, in the unit of the need.

    Parameters
    ----------
    hay_need : float
        As fed, waste included.
    days_fed : float
        Days of the year on which hay is fed; it grazes on all others.
    waste_share : float
        Share of the hay put out that is not eaten; grazed forage is not put out.

    Examples
    --------
    >>> round(grazing_of_hay_herd(150.0, 150.0, waste_share=0.2), 6)
    172.0
    """
    return hay_need * (1.0 - waste_share) / days_fed * (365.0 - days_fed)


def animal_unit_months(head: float, animal_units: float, months: float) -> float:
    """Grazing a herd needs, in animal unit months."""
    return head * animal_units * months


def grazing_available(
    areas: Sequence[float], months_per_area: Sequence[float], reserve: float = 0.0
) -> float:
    """Grazing that pastures offer, in animal unit months, with a share held back."""
    return sum(area * rate for area, rate in zip(areas, months_per_area, strict=True)) * (1.0 - reserve)


def head_for_rent(rent: float, rate: float, months: float) -> float:
    """Animals whose monthly rate pays a rent in so many months."""
    return rent / rate / months


def grazing_rent(head: float, rate: float, months: float) -> float:
    """Rent of grazing paid by animal and month."""
    return head * rate * months


def stock_density(head: float, live_weight: float, area: float) -> float:
    """Live weight on a paddock, per area."""
    return head * live_weight / area


def seeds_per_kg(shares: Sequence[float], counts: Sequence[float]) -> float:
    """Seeds in one kilogram (or pound) of a mixture, from shares by weight and counts of its parts."""
    return sum(share * count for share, count in zip(shares, counts, strict=True))


def bulk_rate(pure_live_rate: float, purity: float, germination: float) -> float:
    """What to sow so that so much pure live seed is sown; same unit as the rate."""
    return pure_live_rate / (purity * germination)


def weight_at_moisture(weight: float, moisture: float, wanted: float) -> float:
    """Weight of the same dry matter at another moisture; both moistures as shares of wet weight."""
    return weight * (1.0 - moisture) / (1.0 - wanted)


def capacity_needed(area: float, days: float, hours_a_day: float) -> float:
    """Area an hour that must be worked to finish in the days there are; area in any one unit."""
    return area / days / hours_a_day


def bale_volume(width: float, diameter: float) -> float:
    """Volume of a round bale, in the cube of the unit given."""
    return math.pi / 4.0 * diameter**2 * width


def gross_margin(product_t: float, price_per_t: float, costs: Sequence[float]) -> float:
    """Output value less the costs given, all for the same area."""
    return product_t * price_per_t - sum(costs)
