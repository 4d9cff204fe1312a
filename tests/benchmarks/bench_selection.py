"""How long the selection takes on made-up farms, how near it proves its plans, and what other models do.

Run from the top folder: ``python tests/benchmarks/bench_selection.py --help``. Every farm and model runs in a
process of its own, so that its largest memory is its own. All figures of the farms are invented.
Nothing here fails on a time: read the table.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))

import numpy as np
from compact_model import Reference, compact
from instances import SIZES, USUAL_SEED, instance
from network_model import network

from rotation_opt.errors import NoPlanError
from rotation_opt.formulate import Goal
from rotation_opt.select import select

REFERENCES: dict[str, Callable[..., Reference]] = {"compact": compact, "network": network}
SWEEPS: dict[str, list[tuple[int, int, int]]] = {
    "fields": [(5, 4, 20), (10, 4, 20), (20, 4, 20), (40, 4, 20)],
    "years": [(10, 3, 20), (10, 4, 20), (10, 5, 20), (10, 7, 20)],
    "practices": [(10, 4, 12), (10, 4, 18), (10, 4, 27), (10, 4, 40)],
}
AXIS = {"fields": 0, "years": 1, "practices": 2}
Found = dict[str, Any]


def own(size: tuple[int, int, int], seed: int, seconds: float) -> Found:
    """The selection itself, for most money."""
    data = instance(*size, seed)
    try:
        found = select(data, Goal(kind="most_money"), time_limit=seconds)
    except NoPlanError as fault:
        return {"bound": None, "bound_s": None, "value": None, "proven": None, "s": None, "note": str(fault)}
    return {
        "bound": None,  # the bound of the linear program alone is not reported yet: put it here
        "bound_s": found.bound_seconds,
        "value": found.value,
        "proven": found.bound,
        "s": found.seconds,
        "note": "ended by the time limit" if found.cut_short else "",
    }


def reference(name: str, size: tuple[int, int, int], seed: int, seconds: float) -> Found:
    """A reference model; its plan counts at its exact value, and only if it keeps the limits."""
    found = REFERENCES[name](instance(*size, seed), seconds)
    kept = found.exact if not found.breaks else None
    notes = [] if found.columns else ["not written in time"]
    if found.columns and found.paths is None:
        notes.append("no plan")
    if found.breaks:
        notes.append(f"breaks {len(found.breaks)} limits when reckoned exactly: {found.exact:,.0f}")
    return {
        "bound": found.bound,
        "bound_s": found.bound_seconds if found.bound is not None else None,
        "value": kept,
        "proven": found.proven,
        "s": found.seconds,
        "note": "; ".join(notes),
    }


def apart(model: str, size: tuple[int, int, int], seed: int, seconds: float) -> Found:
    """One model on one farm in a process of its own."""
    command = [sys.executable, __file__, "--one", model, *map(str, size), str(seed), str(seconds)]
    nothing: Found = dict.fromkeys(("bound", "bound_s", "value", "proven", "s", "mb"))
    try:
        # a solver may overrun its limit, and a large model takes long to hand over
        done = subprocess.run(command, capture_output=True, text=True, timeout=4 * seconds + 60, check=False)
    except subprocess.TimeoutExpired:
        return {**nothing, "note": f"ended after {4 * seconds + 60:.0f} s"}
    if done.returncode != 0:
        return {**nothing, "note": (done.stderr.strip().splitlines() or ["ended"])[-1][:60]}
    result: Found = json.loads(done.stdout.splitlines()[-1])
    return result


def one(model: str, size: tuple[int, int, int], seed: int, seconds: float) -> None:
    """What `apart` starts."""
    found = own(size, seed, seconds) if model == "own" else reference(model, size, seed, seconds)
    found["mb"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps(found))


HEAD = ("model", "LP s", "LP over", "proven over", "gap", "whole s", "MB", "plan", "of best", "note")
FORM = "  {:10s}{:>8s}{:>10s}{:>13s}{:>10s}{:>9s}{:>8s}{:>13s}{:>9s}  {}"


def shown(value: float | None, form: str) -> str:
    return "-" if value is None else format(value, form)


def rows(name: str, found: dict[str, Found]) -> None:
    """Bounds and plans of one farm against the best plan that any model found."""
    values = [f["value"] for f in found.values() if f["value"] is not None]
    best = max(values) if values else None
    print(f"{name}: best plan known {shown(best, ',.0f')}")

    def over(value: float | None) -> float | None:
        return None if value is None or not best else (value - best) / abs(best)

    for model, f in found.items():
        gap = None
        if f["value"] and f["proven"] is not None:
            gap = abs(f["proven"] - f["value"]) / abs(f["value"])
        ratio = f["value"] / best if f["value"] is not None and best else None
        print(
            FORM.format(
                model,
                shown(f["bound_s"], ".2f"),
                shown(over(f["bound"]), ".2%"),
                shown(over(f["proven"]), ".2%"),
                shown(gap, ".3%"),
                shown(f["s"], ".1f"),
                shown(f["mb"], ",.0f"),
                shown(f["value"], ",.0f"),
                shown(ratio, ".4f"),
                f["note"],
            ).rstrip()
        )
    mine = found["own"]
    for model, f in found.items():
        if model == "own":
            continue
        bound = None
        if best and mine["proven"] and f["proven"] is not None:
            bound = f["proven"] / mine["proven"]
        plan = f["value"] / mine["value"] if f["value"] is not None and mine["value"] else None
        print(f"  {model} / own: proven bound {shown(bound, '.4f')}, plan {shown(plan, '.4f')}")
    # more rows here: the curve of money against weeds, alternatives, what-ifs


def slope(sizes: list[float], seconds: list[float]) -> float:
    """Exponent k of time ~ size^k."""
    return float(np.polyfit(np.log(sizes), np.log(np.maximum(seconds, 1e-3)), 1)[0])


def sweep(seed: int, seconds: float) -> None:
    """Growth of time along each axis, the others held."""
    print("growth of time (exponent of size)")
    for axis, sizes in SWEEPS.items():
        found = [apart("own", size, seed, seconds) for size in sizes]
        there = [(float(size[AXIS[axis]]), f) for size, f in zip(sizes, found, strict=True) if f["s"]]
        if len(there) < 2:
            print(f"  {axis:10s} too few farms came to an end")
            continue
        exponents = [slope([x for x, _ in there], [f[key] for _, f in there]) for key in ("bound_s", "s")]
        steps = ", ".join(f"{x:.0f}: {f['bound_s']:.2f} / {f['s']:.1f} s" for x, f in there)
        print(f"  {axis:10s} LP {exponents[0]:.2f}, whole {exponents[1]:.2f}   ({steps})")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", nargs="*", choices=list(SIZES), default=["small", "medium", "large"])
    parser.add_argument("--seconds", type=float, default=60.0, help="time limit of every model")
    parser.add_argument("--seed", type=int, default=USUAL_SEED)
    parser.add_argument("--no-references", action="store_true", help="skip the slow other models")
    parser.add_argument("--sweep", action="store_true", help="growth of time with fields, years, practices")
    parser.add_argument("--one", nargs=6, metavar="X", help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.one:
        model, fields, years, practices, seed, seconds = chosen.one
        one(model, (int(fields), int(years), int(practices)), int(seed), float(seconds))
        return
    if chosen.sizes:
        print("'over': above the best plan that any model found, reckoned exactly")
        print(FORM.format(*HEAD))
    for name in chosen.sizes:
        models = ["own"] if chosen.no_references else ["own", *REFERENCES]
        found = {model: apart(model, SIZES[name], chosen.seed, chosen.seconds) for model in models}
        rows(f"{name} {'x'.join(map(str, SIZES[name]))}", found)
    if chosen.sweep:
        sweep(chosen.seed, chosen.seconds)


if __name__ == "__main__":
    main()
