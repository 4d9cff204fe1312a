"""Runs the selection program; the only file that names a solver."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from .formulate import Figures, Goal
from .arrays import Limits, SelectionData
from .sequences import Pool


@dataclass(frozen=True, slots=True, kw_only=True)
class Selected:
    """One plan and how far it can be from the best.

    Parameters
    ----------
    paths : tuple of tuple of int
        Practice indices, field by field; -1 = no longer farmed.
    value : float
        The objective (present value in money; ha of full-strength stand for least burden).
    bound : float or None
        No plan can be better than this; None if not proven.
    gap : float or None
        |bound - value| / |value|.
    figures : Figures
    pools : tuple of Pool
        To hand to the next call: a later goal starts from them.
    rounds, columns, seconds : how the search went.
    """

    paths: tuple[tuple[int, ...], ...]
    value: float
    bound: float | None
    gap: float | None
    figures: Figures
    pools: tuple[Pool, ...]
    rounds: int
    columns: int
    seconds: float


def select(
    data: SelectionData,
    goal: Goal,
    *,
    limits: Limits | None = None,
    pools: Sequence[Pool] = (),
    time_limit: float = 20.0,
) -> Selected:
    """Choose one sequence for every field.

    Raises
    ------
    NoPlanError
        If no plan meets all limits; names the clashing limits in words.
    """
    raise NotImplementedError


def evaluate(data: SelectionData, paths: Sequence[Sequence[int]], *, limits: Limits | None = None) -> Figures:
    """Figures of a fixed plan; limits it does not keep are listed in words, not forbidden."""
    raise NotImplementedError
