"""The linear program of a question close to one that was answered: taken no further than it has to go.

A bound kept from that answer holds here too, and its sequences are at hand. Where a mixture of them comes
near that bound, no new ones are priced.
"""

from __future__ import annotations

import numpy as np

from .arrays import Floats
from .pricing import Pricing

NEAR = 1e-3  # a mixture that costs so much more than the bound, as a share, is near enough


class Nearby(Pricing):
    """Pricing of sequences met before, with a bound known before."""

    known = -np.inf  # no plan costs less

    def solve(self) -> bool:
        met = super().solve()
        if met:
            self.bound = max(self.bound, self.known)
        return met

    def _price(self, objective: Floats) -> int:
        if self.met and self.value - self.known <= NEAR * max(1.0, abs(self.value)):
            self.last_bound = self.known
            return 0
        return super()._price(objective)

    def enrich(self, width: int, keep: int, duals: Floats | None = None) -> None:
        """Nothing: near-best sequences were handed on."""

    def within(self, room: float, most: int) -> float:
        """Nothing: the bound need not be that of the present prices, so no proof can start from them."""
        return 0.0

    def grow_at(self, field: int, prices: Floats, width: int, keep: int) -> None:
        """Nothing, as in `enrich`: plans of whole fields brought in what suits what other fields leave."""
