"""How long the selection takes, how near it proves its plans, and what two other models do in that time.

Run from the top folder, on a quiet machine: ``python tests/benchmarks/bench_selection.py``. Without options
all of it is printed: every size of made-up farm, the questions a grower asks, the growth of time. With the
usual time limit that can take half an hour a seed. Every farm and model runs in a process of its own, so that
its largest memory is its own.

All farms are made up: fields, prices, hours and weeds are invented, those of the demo farm too.
Nothing here fails on a time: read the table.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import resource
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from importlib.metadata import version
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))

import numpy as np
from compact_model import Reference, compact
from instances import SIZES, USUAL_SEED, SizeName, instance, with_plan
from network_model import network
from selection_questions import QUESTIONS, SEEDED, tell, tell_medians
from selection_table import OURS, Found, compared, medians, print_headings, print_models, shown

from rotation_opt.arrays import SelectionData
from rotation_opt.brake import Brake
from rotation_opt.errors import NoPlanError
from rotation_opt.formulate import Goal, Program
from rotation_opt.pricing import Pricing
from rotation_opt.select import evaluate, select
from rotation_opt.sequences import Grower

REFERENCES: dict[str, Callable[..., Reference]] = {"compact": compact, "network": network}
SWEEPS: dict[str, list[tuple[int, int, int]]] = {
    "fields": [(5, 4, 20), (10, 4, 20), (20, 4, 20), (40, 4, 20)],
    "years": [(10, 3, 20), (10, 4, 20), (10, 5, 20), (10, 6, 20)],
    "practices": [(10, 4, 12), (10, 4, 18), (10, 4, 27), (10, 4, 40)],
}
MISSED = "no plan found, though there is one"
AXIS = {"fields": 0, "years": 1, "practices": 2}
Size = tuple[int, int, int]


# ---------------------------------------------------------------- one model, in its own process


def peak_mb() -> float:
    """Largest memory of this process so far. [MB]"""
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most / (1024 * 1024 if sys.platform == "darwin" else 1024)


def own(size: Size, seed: int, seconds: float) -> Found:
    """The selection itself, for most money; then the linear program once more, alone."""
    data = instance(*size, seed)
    result: Found = {"value": None, "proven": None, "s": None}
    notes = []
    began = time.perf_counter()
    try:
        found = select(data, Goal(kind="most_money"), time_limit=seconds)
        result = {"value": found.value, "proven": found.bound, "s": found.seconds}
        notes += ["ended by the time limit"] if found.cut_short else []
    except NoPlanError:
        result["s"] = time.perf_counter() - began
        notes.append(MISSED)
    mb = peak_mb()
    bound, bound_s, whole = linear(data, seconds)
    notes += [] if whole else ["LP ended by the time limit"]
    return {**result, "bound": bound, "bound_s": bound_s, "mb": mb, "note": "; ".join(notes)}


def linear(data: SelectionData, seconds: float) -> tuple[float | None, float, bool]:
    """Value of the linear program over all sequences, how long it took, and whether it came to its end."""
    began = time.perf_counter()
    brake = Brake(seconds)
    program = Program(data, data.limits)
    pricing = Pricing(Grower(data), program, program.money_objective(), (), brake)
    met = pricing.solve()
    took = time.perf_counter() - began
    spent = float(data.discount.sum()) * data.limits.fixed_cost
    bound = -pricing.bound - spent
    return bound if met and np.isfinite(bound) else None, took, not brake.on


def reference(name: str, size: Size, seed: int, seconds: float) -> Found:
    """A reference model; its plan counts at its exact value, and only if it keeps the limits."""
    found = REFERENCES[name](instance(*size, seed), seconds)
    notes = []
    if not found.columns:
        notes.append("not written in time")
    elif found.bound is None:
        notes.append("LP not solved in time")
    if found.columns and found.paths is None:
        notes.append(MISSED)
    if found.breaks:
        notes.append(f"plan breaks {len(found.breaks)} limits when reckoned exactly: {found.exact:,.0f}")
    return {
        "bound": found.bound,
        "bound_s": found.bound_seconds,
        "value": None if found.breaks else found.exact,
        "proven": found.proven,
        "s": found.seconds,
        "mb": peak_mb(),
        "note": "; ".join(notes),
    }


def inside(task: str, size: Size, seed: int, seconds: float) -> None:
    """What `apart` starts: prints one line of JSON for each thing found."""
    if task in QUESTIONS:
        for found in QUESTIONS[task](seed, seconds):
            print(json.dumps({**found, "mb": peak_mb()}), flush=True)
    elif task == OURS:
        print(json.dumps(own(size, seed, seconds)))
    else:
        print(json.dumps(reference(task, size, seed, seconds)))


def apart(task: str, size: Size, seed: int, seconds: float, most: float) -> tuple[list[Found], str]:
    """One task in a process of its own, ended after ``most`` seconds: what it found and what went wrong."""
    command = [sys.executable, __file__, "--inside", task, *map(str, size), str(seed), str(seconds)]
    wrong, out = "", ""
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=most, check=False)
        out = done.stdout
        if done.returncode != 0:
            wrong = (done.stderr.strip().splitlines() or [f"ended with {done.returncode}"])[-1][:70]
    except subprocess.TimeoutExpired as late:
        kept = late.stdout or b""
        out = kept.decode() if isinstance(kept, bytes) else kept
        out, wrong = out[: out.rfind("\n") + 1], f"ended after {most:.0f} s"
    return [json.loads(line) for line in out.splitlines() if line.startswith("{")], wrong


def model(name: str, size: Size, seed: int, seconds: float) -> Found:
    """One model on one farm."""
    # a solver may overrun its limit, and a large model takes long to hand over
    found, wrong = apart(name, size, seed, seconds, 4 * seconds + 60)
    if found:
        return found[-1]
    return {**dict.fromkeys(("bound", "bound_s", "value", "proven", "s", "mb")), "note": wrong}


# ---------------------------------------------------------------- farms and models, one after another


def print_sizes(
    names: Sequence[SizeName], seeds: Sequence[int], seconds: float, models: Sequence[str]
) -> None:
    """The made-up farms of the named sizes, every seed, every model."""
    print("\nMADE-UP FARMS (invented), most money")
    print_headings()
    for name in names:
        size, runs = SIZES[name], []
        title = f"{name} {'x'.join(map(str, size))}"
        for seed in seeds:
            drawn = evaluate(*with_plan(*size, seed)).present_value
            best, found = compared({each: model(each, size, seed, seconds) for each in models}, drawn)
            only = " ONLY, SO SHARES AND MULTIPLES SAY LITTLE" if best == drawn else ""
            about = f"best plan known {best:,.0f} (drawn {drawn:,.0f}{only})"
            print_models(f"{title}, seed {seed}: {about}", found)
            runs.append(found)
        if len(seeds) > 1:
            print_models(f"{title}: MEDIANS over seeds {' '.join(map(str, seeds))}", medians(runs))


# ---------------------------------------------------------------- growth of time


def print_sweep(seeds: Sequence[int], seconds: float) -> None:
    """Growth of time along each axis, the others held; medians over seeds."""
    print("\nGROWTH OF TIME (invented farms): exponent k of seconds ~ size^k, medians over seeds", *seeds)
    print(
        "LP: the linear program alone. whole: searches that found a plan (*: ended by the limit, k too low)."
    )
    known: dict[Size, list[Found]] = {}
    for axis, sizes in SWEEPS.items():
        at = AXIS[axis]
        held = " x ".join("*" if place == at else str(n) for place, n in enumerate(sizes[0]))
        print(f"  {axis} ({held})")
        lp: list[tuple[float, float]] = []
        whole: list[tuple[float, float]] = []
        for size in sizes:
            if size not in known:
                known[size] = [model("own", size, seed, seconds) for seed in seeds]
            ended = [f for f in known[size] if f["bound"] is not None]
            planned = [f for f in ended if f["value"] is not None]
            lp += [(float(size[at]), median(f["bound_s"] for f in ended))] if ended else []
            whole += [(float(size[at]), median(f["s"] for f in planned))] if planned else []
            cut = "*" if any(f["s"] >= seconds for f in planned) else ""
            seen = [
                f"LP {shown(lp[-1][1] if ended else None, '.2f'):>7s} s",
                f"whole {shown(whole[-1][1] if planned else None, '.1f'):>6s} s{cut}",
                f"plan in {len(planned)} of {len(seeds)}",
            ]
            print(f"    {size[at]:4d}: {', '.join(seen)}", flush=True)
        print(f"    k: LP {shown(slope(lp), '.2f')}, whole {shown(slope(whole), '.2f')}", flush=True)


def slope(there: Sequence[tuple[float, float]]) -> float | None:
    """Exponent k of time ~ size^k from pairs of both; None where there are fewer than three."""
    if len(there) < 3:
        return None
    sizes, seconds = np.array(there).T
    return float(np.polyfit(np.log(sizes), np.log(np.maximum(seconds, 1e-3)), 1)[0])


# ---------------------------------------------------------------- the command


def print_questions(seeds: Sequence[int], seconds: float) -> None:
    """The demo farm and what is asked of a plan once it is there."""
    for task in QUESTIONS:
        runs = []
        used = seeds if task in SEEDED else seeds[:1]
        for seed in used:
            found, wrong = apart(task, (0, 0, 0), seed, seconds, 12 * seconds + 900)
            tell(task, seed, found)
            if wrong:
                print(f"  {wrong}", flush=True)
            runs.append(found)
        if len(used) > 1:
            tell_medians(used, runs)


def header(seeds: Sequence[int], seconds: float) -> str:
    load = ", ".join(f"{x:.1f}" for x in os.getloadavg())
    return (
        "SELECTION OF PLANS: times, bounds, plans. ALL FARMS ARE MADE UP: every figure of them is invented.\n"
        f"Python {platform.python_version()}, PuLP {version('pulp')}, highspy {version('highspy')}, numpy "
        f"{version('numpy')}; {os.cpu_count()} cores, load before {load}; limit {seconds:.0f} s; seeds "
        f"{' '.join(map(str, seeds))}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--sizes", nargs="*", choices=list(SIZES), help="made-up farms; no name: all of them")
    parser.add_argument(
        "--seeds", nargs="+", type=int, default=[USUAL_SEED], help="use several for any claim"
    )
    parser.add_argument("--seconds", type=float, default=60.0, help="time limit of every model")
    parser.add_argument("--no-references", action="store_true", help="skip the slow other models")
    parser.add_argument("--sweep", action="store_true", help="growth of time with fields, years, practices")
    parser.add_argument("--questions", action="store_true", help="demo farm, curve, other way, what-ifs")
    parser.add_argument("--inside", nargs=6, metavar="X", help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.inside:
        task, fields, years, practices, seed, seconds = chosen.inside
        inside(task, (int(fields), int(years), int(practices)), int(seed), float(seconds))
        return
    everything = chosen.sizes is None and not (chosen.sweep or chosen.questions)
    print(header(chosen.seeds, chosen.seconds), flush=True)
    if chosen.sizes is not None or everything:
        models = [OURS] if chosen.no_references else [OURS, *REFERENCES]
        print_sizes(chosen.sizes or list(SIZES), chosen.seeds, chosen.seconds, models)
    if chosen.questions or everything:
        print_questions(chosen.seeds, chosen.seconds)
    if chosen.sweep or everything:
        print_sweep(chosen.seeds, chosen.seconds)


if __name__ == "__main__":
    main()
