"""When a long search has to end: after an emergency time, or because somebody asks for it."""

from __future__ import annotations

import time
from collections.abc import Callable


def _never() -> bool:
    return False


class Brake:
    """Asked by every long loop; searches normally end by their own fixed amount of work.

    Parameters
    ----------
    seconds : float
        Time after which the search ends in any case.
    pulled : callable
        Asked whether somebody wants the search to end (a key, a button).

    Attributes
    ----------
    on : bool
        Whether it was found on when it was last asked.
    """

    def __init__(self, seconds: float, pulled: Callable[[], bool] = _never) -> None:
        self._ends = time.perf_counter() + seconds
        self._pulled = pulled
        self.on = False

    def __call__(self) -> bool:
        self.on = self.on or self._pulled() or time.perf_counter() > self._ends
        return self.on

    def left(self) -> float:
        """Seconds left."""
        return 0.0 if self.on else max(0.0, self._ends - time.perf_counter())
