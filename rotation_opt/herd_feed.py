"""What a herd eats, from what a grower knows of it. Pure arithmetic: no tables, no farm."""

from __future__ import annotations


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
