"""What a machine does and costs: capacity, fuel, repairs, remaining value, owning against hiring.

The forms are those of the ASABE standards EP496 and D497 as the state extension handbooks print them;
the coefficients come in as arguments, from the crop tables.
"""

from __future__ import annotations

import math

from rotation_opt.finance import capital_recovery_factor

SQUARE_METRES_PER_METRE_KM = 10.0  # 1 m wide at 1 km/h = 1000 m2/h = 0.1 ha/h: unit arithmetic, not a figure


def effective_field_capacity(width_m: float, speed_km_h: float, efficiency: float) -> float:
    """Area worked in an hour, turns and filling included.

    Parameters
    ----------
    width_m : float
        Working width. [m]
    speed_km_h : float
        Speed over the ground. [km/h]
    efficiency : float
        Field efficiency: share of full width and time really used. [0-1]

    Returns
    -------
    float
        Effective field capacity. [ha/h]

    References
    ----------
    ASABE EP496, Agricultural Machinery Management: width x speed x efficiency / 10.

    Examples
    --------
    >>> round(effective_field_capacity(3.0, 10.0, 0.8), 2)
    2.4
    """
    return width_m * speed_km_h * efficiency / SQUARE_METRES_PER_METRE_KM


def hours_per_ha(
    width_m: float,
    speed_km_h: float,
    efficiency: float,
    crop_t_ha: float = 0.0,
    throughput_t_h: float | None = None,
) -> float:
    """Machine hours on one hectare; a baler or combine may be held up by the crop instead of its width.

    Parameters
    ----------
    width_m, speed_km_h, efficiency : float
        As for `effective_field_capacity`.
    crop_t_ha : float, default 0
        What passes through the machine. [t/ha]
    throughput_t_h : float, optional
        What the machine can take in. None = not limited. [t/h]
    """
    by_width = 1.0 / effective_field_capacity(width_m, speed_km_h, efficiency)
    by_crop = crop_t_ha / throughput_t_h if throughput_t_h else 0.0
    return max(by_width, by_crop)


def accumulated_repairs(hours: float, rf1: float, rf2: float) -> float:
    """Repairs from new to so many hours, as a share of list price: ``RF1 (h/1000)^RF2`` (ASABE D497)."""
    return float(rf1 * (hours / 1000.0) ** rf2)


def repairs_per_hour(list_price: float, life_h: float, rf1: float, rf2: float) -> float:
    """Average repair cost an hour over the machine's life. [currency/h]"""
    return list_price * accumulated_repairs(life_h, rf1, rf2) / life_h


def remaining_value_share(years: float, hours_a_year: float, c1: float, c2: float, c3: float) -> float:
    """Remaining value as a share of list price: ``(C1 - C2 n^0.5 - C3 h^0.5)^2`` (ASABE D497)."""
    return max(c1 - c2 * math.sqrt(years) - c3 * math.sqrt(hours_a_year), 0.0) ** 2


def capital_recovery(purchase: float, remaining: float, rate: float, years: float) -> float:
    """Depreciation and interest as one even yearly amount. [currency a year]"""
    return (purchase - remaining) * capital_recovery_factor(rate, years) + remaining * rate


def ownership_cost(purchase: float, remaining: float, rate: float, years: float, overhead: float) -> float:
    """What a machine costs a year whether it works or not. [currency a year]

    Depreciation and interest as one even amount, and taxes, insurance and housing as a share of the mean of
    price and remaining value (Iowa State University Extension, File A3-29).

    Parameters
    ----------
    purchase, remaining : float
        Price paid, and what it brings when it is sold. [currency]
    rate : float
        Interest. [share a year]
    years : float
        How long it is kept.
    overhead : float
        Taxes, insurance and housing. [share a year]
    """
    return capital_recovery(purchase, remaining, rate, years) + overhead * (purchase + remaining) / 2.0


def fuel_cost_per_ha(fuel_l_ha: float, fuel_per_l: float, lubrication_share: float) -> float:
    """Fuel with its share of lubricants. [currency/ha]"""
    return fuel_l_ha * fuel_per_l * (1.0 + lubrication_share)


def break_even_area(owning_a_year: float, hire_per_area: float, running_per_area: float) -> float:
    """Area a year above which owning costs less than hiring; infinite if hiring is never dearer.

    Examples
    --------
    >>> round(break_even_area(1000.0, 21.0, 4.0), 1)
    58.8
    """
    saved = hire_per_area - running_per_area
    return owning_a_year / saved if saved > 0.0 else math.inf
