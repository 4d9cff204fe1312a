"""How long each step of a plan takes on the two demo farms, and how much memory; run it by hand.

    python tests/benchmarks/time_plan.py

Prints seconds, shares of the whole and shares of a fixed piece of reckoning on the same machine, so that two
machines can be compared. Nothing is asserted: wall times depend on the machine.
"""

from __future__ import annotations

import resource
import sys
import time

import numpy as np

import rotation_opt
from rotation_opt import tables
from rotation_opt.planning import plan
from rotation_opt.records import Result
from rotation_opt.report import files
from rotation_opt.report.printout import printout

FARMS = ("tamarack_hollow", "lindenhang")


def yardstick() -> float:
    """Seconds for a fixed piece of work: products of square matrices, best of three. [s]"""
    matrix = np.random.default_rng(1).random((900, 900))
    took = []
    for _ in range(3):
        began = time.perf_counter()
        for _ in range(5):
            matrix = matrix @ matrix
            matrix /= matrix.max()
        took.append(time.perf_counter() - began)
    return min(took)


def peak_mb() -> float:
    """Largest memory of this process so far. [MB]"""
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most / (1024 * 1024 if sys.platform == "darwin" else 1024)


def printing(result: Result) -> dict[str, float]:
    """Seconds that each kind of file takes once the plan is known; the first one pays for the imports. [s]"""
    crop_tables = tables.read()
    made = printout(result, crop_tables)
    took = {}
    for kind in (".html", ".xlsx", ".ics", ".txt", ".json"):
        began = time.perf_counter()
        files.contents(kind, result, crop_tables, made, result.alternatives[-1].title)
        took[kind] = time.perf_counter() - began
    return took


def main() -> None:
    """Plan both farms and print a table for each."""
    unit = yardstick()
    print(f"fixed piece of work: {unit:.3f} s (1 unit below)")
    for name in FARMS:
        began = time.perf_counter()
        result = plan(rotation_opt.read_farm(rotation_opt.example_farm(name)))
        whole = time.perf_counter() - began
        print(f"\n{name}: {len(result.farm.fields)} fields, {result.farm.years} years")
        for step, seconds in result.seconds.items():
            print(f"  {step:<18}{seconds:8.2f} s {seconds / whole:6.0%} {seconds / unit:9.1f} units")
        print(f"  {'whole plan':<18}{whole:8.2f} s {1:6.0%} {whole / unit:9.1f} units")
        for kind, seconds in printing(result).items():
            print(f"  {kind + ' file':<18}{seconds:8.2f} s {'':6} {seconds / unit:9.1f} units")
        gaps = {each.title: each.proven_gap for each in result.alternatives if each.proven_gap is not None}
        print("  proven within:", ", ".join(f"{title} {gap:.2%}" for title, gap in gaps.items()))
        print(f"  peak memory so far {peak_mb():.0f} MB")


if __name__ == "__main__":
    main()
