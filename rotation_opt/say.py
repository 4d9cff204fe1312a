"""Amounts of one farm in the units of its grower, for sentences made far from the page."""

from __future__ import annotations

import math
from dataclasses import dataclass

from .units import SHORT_TON_T, Traded, Units, amount_name, area, area_name, symbol, tonnes_per


def in_words(amount: float) -> str:
    """An amount with as many digits as a grower would say.

    Examples
    --------
    >>> in_words(1234.5), in_words(3.26), in_words(0.0312)
    ('1,234', '3.3', '0.031')
    """
    if amount >= 10:
        return f"{amount:,.0f}"
    return f"{amount:.1f}" if amount >= 1 else f"{amount:.2g}"


def round_step(amount: float) -> float:
    """An amount to one significant figure, as one would say "some 300 more".

    Examples
    --------
    >>> round_step(268.0), round_step(0.93), round_step(0.0)
    (300.0, 0.9, 0.0)
    """
    return float(f"{amount:.0e}") if math.isfinite(amount) else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Say:
    """How a farm counts; farms made from numbers alone count in tonnes and hectares.

    Parameters
    ----------
    units : {"us", "metric"}
    currency : str
        Code; none is written where it is empty.
    products : tuple of Traded
        What is sold, in the order of the arrays; tonnes where a product is not among them.
    """

    units: Units = "metric"
    currency: str = ""
    products: tuple[Traded, ...] = ()

    def money(self, value: float) -> str:
        """Money with its sign in front."""
        sign = symbol(self.currency) if self.currency else ""
        return f"{'-' if value < 0 else ''}{sign}{in_words(abs(value))}"

    def area(self, ha: float) -> str:
        """Hectares or acres."""
        return f"{in_words(area(ha, self.units))} {area_name(self.units)}"

    def tonnes(self, t: float, product: int) -> str:
        """Tonnes of a product, or the bushels, hundredweights or tons in them."""
        name, size = self._unit(product)
        return f"{in_words(t / size)} {name}{'s' if name == 'ton' else ''}"

    def hours(self, h: float) -> str:
        """Hours."""
        return f"{in_words(h)} h"

    def step_t(self, t: float, product: int) -> float:
        """Tonnes near ``t`` that are a round figure in the unit of the product. [t]"""
        _, size = self._unit(product)
        return round_step(t / size) * size

    def step_hay_t(self, t: float) -> float:
        """Tonnes of hay near ``t`` that are a round figure in tons or tonnes. [t]"""
        size = SHORT_TON_T if self.units == "us" else 1.0
        return round_step(t / size) * size

    def step_ha(self, ha: float) -> float:
        """Hectares near ``ha`` that are a round figure in the farm's unit. [ha]"""
        size = 1.0 / area(1.0, self.units)
        return round_step(ha / size) * size

    def _unit(self, product: int) -> tuple[str, float]:
        """Name and tonnes of the unit a product is weighed in."""
        if product >= len(self.products):
            return "t", 1.0
        name = amount_name(self.products[product], self.units)
        return name, tonnes_per(name, self.products[product])
