"""How long the selection takes on made-up farms of full size: seconds and proven gap by goal.

Run from the top folder: ``python tests/benchmarks/bench_selection.py [farms] [seconds a call]``.
"""

from __future__ import annotations

import resource
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))

from strategies import large_data

from rotation_opt.errors import NoPlanError
from rotation_opt.formulate import Goal
from rotation_opt.sequences import Grower, no_prices
from rotation_opt.solve import Selected, select


def shown(name: str, began: float, found: Selected) -> None:
    gap = "unknown" if found.gap is None else f"{found.gap:.3%}"
    print(
        f"  {name:22s}{time.perf_counter() - began:6.1f} s   value {found.value:12,.2f}   proven gap {gap}   "
        f"{found.rounds} rounds, {found.columns} sequences"
    )


def main(farms: int = 3, seconds: float = 2.7) -> None:
    for seed in range(farms):
        data = large_data(seed)
        pairs = int(data.may_follow.sum())
        print(f"farm {seed}: {len(data.fields)} fields, {data.years} years, {pairs} pairs allowed")
        began = time.perf_counter()
        grower = Grower(data)
        worth = grower.worth(no_prices(data))
        for field in range(len(data.fields)):
            grower.grow(field, worth, width=500, keep=100)
        print(f"  {'tree, 500 wide':22s}{time.perf_counter() - began:6.1f} s for all fields")
        whole = time.perf_counter()
        try:
            began = time.perf_counter()
            rich = select(data, Goal(kind="most_money"), time_limit=seconds)
            shown("most money", began, rich)
            began = time.perf_counter()
            clean = select(data, Goal(kind="least_burden"), pools=rich.pools, time_limit=seconds)
            shown("least burden", began, clean)
            ends = [float(data.burden_when @ plan.figures.burden[:, data.likely]) for plan in (rich, clean)]
            began = time.perf_counter()
            goal = Goal(kind="most_money", burden_most=0.5 * sum(ends))
            shown("money, half the weeds", began, select(data, goal, pools=clean.pools, time_limit=seconds))
        except NoPlanError as fault:
            print(f"  no plan: {fault}")
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(f"  {'all three':22s}{time.perf_counter() - whole:6.1f} s   largest memory {memory:,.0f} MB")


if __name__ == "__main__":
    main(*(kind(text) for kind, text in zip((int, float), sys.argv[1:], strict=False)))
