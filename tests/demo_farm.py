"""The demo farms planned once for all tests that look at their plans: a whole run takes a minute."""

from __future__ import annotations

import os
import pickle
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
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


shared: list[Path] = []
"""Where the processes of one test run leave plans for each other: set in `conftest`, else empty."""

PATIENCE_S = 900.0
"""A process that has waited so long for another one plans the farm itself."""


@cache
def demo(name: str) -> Run:
    """A demo farm planned as a grower would have it planned, listened to on the way; once in a test run."""
    return _once_in_a_run(shared[0] / f"{name}.pickle", name) if shared else _planned(name)


def _once_in_a_run(kept: Path, name: str) -> Run:
    """Plan the farm, or wait for the process that is at it and read what it found."""
    claim, ends = kept.with_suffix(".claim"), time.monotonic() + PATIENCE_S
    while not kept.exists() and time.monotonic() < ends:
        try:
            os.close(os.open(claim, os.O_CREAT | os.O_EXCL))
        except FileExistsError:
            time.sleep(0.2)
            continue
        try:
            if not kept.exists():  # else the other process has come to its end just now
                run = _planned(name)
                half = kept.with_suffix(".half")
                half.write_bytes(pickle.dumps(run, protocol=pickle.HIGHEST_PROTOCOL))
                half.replace(kept)
                return run
        finally:
            claim.unlink()  # should planning fail, the next process finds out for itself
    return pickle.loads(kept.read_bytes()) if kept.exists() else _planned(name)


def _planned(name: str) -> Run:
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
