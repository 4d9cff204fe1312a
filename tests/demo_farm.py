"""The demo farms planned once for all tests that look at their plans: a whole run takes a minute."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

import pytest

import rotation_opt
from rotation_opt import alternatives, planning
from rotation_opt.alternatives import Proposal
from rotation_opt.arrays import SelectionData
from rotation_opt.distinct import Different
from rotation_opt.groundwork import Groundwork
from rotation_opt.records import Result
from rotation_opt.select import Selected


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One call of `planning.plan` and what its steps handed on."""

    result: Result
    ground: Groundwork
    data: SelectionData
    richest: Selected
    cleanest: Selected
    other: Different
    proposal: Proposal


@cache
def demo(name: str) -> Run:
    """A demo farm planned as a grower would have it planned, listened to on the way."""
    heard: dict[str, list[Any]] = {}

    def listen(patch: pytest.MonkeyPatch, room: object, step: str) -> None:
        real: Callable[..., Any] = getattr(room, step)

        def told(*arguments: Any, **options: Any) -> Any:
            made = real(*arguments, **options)
            heard.setdefault(step, []).append(made)
            return made

        patch.setattr(room, step, told)

    with pytest.MonkeyPatch.context() as patch:
        for step in ("lay", "selection_data", "propose"):
            listen(patch, planning, step)
        for step in ("select", "tight_limits", "different"):
            listen(patch, alternatives, step)
        result = planning.plan(rotation_opt.read_farm(rotation_opt.example_farm(name)))
    cleanest = heard["select"][1]
    return Run(
        result=result,
        ground=heard["lay"][0],
        data=heard["selection_data"][0],
        richest=heard["tight_limits"][0][1],  # the questions may bring a better plan to light
        cleanest=cleanest,
        other=heard["different"][0],
        proposal=heard["propose"][0],
    )


def agree(one: tuple[float, float | None], other: tuple[float, float | None]) -> None:
    """Two searches for the same thing, more is better: neither found more than the other has proven.

    That is all that two plans with a bound each can say of one another: they then lie within the wider of
    the two gaps.
    """
    slack = 1e-6 * max(abs(one[0]), abs(other[0])) + 1e-6
    for (found, _), (_, bound) in ((one, other), (other, one)):
        assert bound is not None
        assert found <= bound + slack


FRESH_GAP = 0.03
"""At which a search from nothing may stop: it bounds the answer from both sides in a third of the time."""
