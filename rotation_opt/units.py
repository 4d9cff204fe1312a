"""Conversions at the two edges: the farm file comes in, the printed page goes out.

Inside everything is SI, hectares and tonnes. The factors are the exact ones of the international yard
and pound: U.S. National Institute of Standards and Technology, Handbook 44, Appendix C, "General Tables
of Units of Measurement". The weight of a bushel is a custom of the trade and belongs to the crop
(``records.Crop.bushel_kg``).
"""

from __future__ import annotations

import math
from typing import Literal, Protocol

Units = Literal["us", "metric"]

# NIST Handbook 44, Appendix C. All exact.
INCH_M = 0.0254
FOOT_M = 0.3048
MILE_KM = 1.609344
SQUARE_FOOT_M2 = 0.09290304
SQUARE_YARD_M2 = 0.83612736
ACRE_HA = 0.40468564224
POUND_KG = 0.45359237
HUNDREDWEIGHT_T = POUND_KG / 10.0  # the short hundredweight of 100 lb
SHORT_TON_T = 0.90718474
GALLON_L = 3.785411784  # US liquid gallon
M2_PER_HA = 10_000.0
DECITONNE_T = 0.1  # dt, the same as a metric quintal (q)

SYMBOLS = {"USD": "$", "CAD": "C$", "GBP": "£", "EUR": "€", "CHF": "CHF ", "DKK": "DKK ", "SEK": "SEK "}


class Traded(Protocol):
    """What must be known of a crop to name its amounts: :class:`records.Crop` will do."""

    @property
    def product(self) -> str: ...

    @property
    def bushel_kg(self) -> float | None: ...


# ---------------------------------------------------------------- area, length, volume


def area(ha: float, units: Units) -> float:
    """Area in the units of the farm: acres or hectares.

    Examples
    --------
    >>> round(area(1.0, "us"), 4)
    2.4711
    """
    return ha / ACRE_HA if units == "us" else ha


def area_name(units: Units) -> str:
    """Unit of :func:`area`, for a column header: ``acres`` or ``ha``."""
    return "acres" if units == "us" else "ha"


def area_text(ha: float, units: Units) -> str:
    """Area with its unit, to one decimal below ten and whole above.

    Examples
    --------
    >>> area_text(16.187, "us"), area_text(1.25, "metric")
    ('40 acres', '1.2 ha')
    """
    value = area(ha, units)
    name = "acre" if units == "us" and f"{value:.1f}" == "1.0" else area_name(units)
    if name == "acre":
        return "1 acre"
    return f"{value:.1f} {name}" if abs(value) < 9.95 else f"{value:,.0f} {name}"


def length(m: float, units: Units) -> float:
    """Length in the units of the farm: feet or metres."""
    return m / FOOT_M if units == "us" else m


def length_name(units: Units) -> str:
    """Unit of :func:`length`."""
    return "ft" if units == "us" else "m"


# ---------------------------------------------------------------- amounts of a crop


def amount_name(crop: Traded, units: Units) -> str:
    """Unit in which a crop is weighed: ``bu``, ``cwt``, ``ton`` (2,000 lb) or ``t`` (1,000 kg)."""
    if units == "metric":
        return "t"
    if crop.bushel_kg is not None:
        return "bu"
    return "cwt" if crop.product == "grain" else "ton"


def tonnes_per(unit: str, crop: Traded) -> float:
    """Tonnes in one ``bu``, ``cwt``, ``lb``, ``ton``, ``dt`` or ``t`` of a crop.

    Raises
    ------
    ValueError
        If the crop is not sold by the bushel, or the unit is unknown.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> wheat = SimpleNamespace(product="grain", bushel_kg=60 * POUND_KG)
    >>> round(1 / tonnes_per("bu", wheat), 3)
    36.744
    """
    if unit == "bu":
        if crop.bushel_kg is None:
            raise ValueError("not sold by the bushel")
        return crop.bushel_kg / 1000.0
    weights = {
        "cwt": HUNDREDWEIGHT_T,
        "lb": POUND_KG / 1000.0,
        "ton": SHORT_TON_T,
        "dt": DECITONNE_T,
        "t": 1.0,
    }
    if unit not in weights:
        raise ValueError(f"unknown unit of weight {unit!r}")
    return weights[unit]


def amount(t: float, crop: Traded, units: Units) -> float:
    """Tonnes in the unit of :func:`amount_name`."""
    return t / tonnes_per(amount_name(crop, units), crop)


def amount_text(t: float, crop: Traded, units: Units) -> str:
    """Amount with its unit, e.g. ``4,100 bu`` or ``35 ton``."""
    return f"{figure(amount(t, crop, units))} {amount_name(crop, units)}"


def yield_per_area(t_ha: float, crop: Traded, units: Units) -> float:
    """Yield in the unit of :func:`yield_name`."""
    return amount(t_ha, crop, units) * (ACRE_HA if units == "us" else 1.0)


def yield_name(crop: Traded, units: Units) -> str:
    """Unit of a yield: ``bu/acre``, ``cwt/acre``, ``ton/acre`` or ``t/ha``."""
    return f"{amount_name(crop, units)}/{'acre' if units == 'us' else 'ha'}"


def price(per_t: float, crop: Traded, units: Units) -> float:
    """Price per unit of :func:`amount_name`."""
    return per_t * tonnes_per(amount_name(crop, units), crop)


def hay_amount(t: float, units: Units) -> float:
    """Hay in short tons or tonnes."""
    return t / SHORT_TON_T if units == "us" else t


def hay_name(units: Units) -> str:
    """Unit of :func:`hay_amount`: ``ton`` (2,000 lb) or ``t``."""
    return "ton" if units == "us" else "t"


def rate(kg_ha: float, units: Units) -> float:
    """A rate by weight (sowing, nitrogen) in lb/acre or kg/ha."""
    return kg_ha / POUND_KG * ACRE_HA if units == "us" else kg_ha


# ---------------------------------------------------------------- money


def money_per_area(per_ha: float, units: Units) -> float:
    """Money per acre or per hectare."""
    return per_ha * ACRE_HA if units == "us" else per_ha


def symbol(currency: str) -> str:
    """Sign written before an amount of money; the code and a space where none is customary."""
    return SYMBOLS.get(currency, f"{currency} ")


def money_text(value: float, currency: str) -> str:
    """Money to the whole unit, with its sign in front.

    Examples
    --------
    >>> money_text(12345.6, "USD"), money_text(-80.2, "EUR"), money_text(-0.3, "USD")
    ('$12,346', '-€80', '$0')
    """
    whole = round(value)
    return f"{'-' if whole < 0 else ''}{symbol(currency)}{abs(whole):,}"


# ---------------------------------------------------------------- figures


def figure(value: float, digits: int = 3) -> str:
    """A number to so many significant figures, without exponent, thousands set off.

    Examples
    --------
    >>> figure(4123.4), figure(0.04567), figure(0.0)
    ('4,120', '0.0457', '0')
    """
    if not math.isfinite(value):
        return "not known"
    if value == 0.0:
        return "0"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    rounded = round(value, places)
    if rounded:  # 9.996 becomes 10.0: count the places again
        places = digits - 1 - math.floor(math.log10(abs(rounded)))
    return f"{rounded:,.{max(places, 0)}f}"


def density_text(shoots_per_m2: float) -> str:
    """Shoots per square metre, never more than two significant figures: a count is no better.

    Examples
    --------
    >>> density_text(23.7), density_text(1.04), density_text(0.004), density_text(0.0)
    ('24', '1.0', 'under 0.01', '0')
    """
    if 0.0 < shoots_per_m2 < 0.01:
        return "under 0.01"
    return figure(shoots_per_m2, 2)


def percent_text(share: float) -> str:
    """A share as whole per cent; ``under 1 %`` for a little more than nothing."""
    value = share * 100.0
    if 0.0 < value < 0.5:
        return "under 1 %"
    return f"{value:.0f} %"
