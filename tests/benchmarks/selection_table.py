"""The table of `bench_selection`: models on one farm held against the best plan known and against ours."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median
from typing import Any

SAME = 1e-6  # share of the money below which a bound and a plan are the same
MUCH = 100.0  # shares and multiples above this are not spelled out: such a bound says nothing
OURS = "own"
COLUMNS = (  # heading, key, width, form
    ("LP bound", "bound", 13, ",.0f"),
    ("over", "bound_over", 9, ".2%"),
    ("LP s", "bound_s", 8, ".2f"),
    ("proven bound", "proven", 13, ",.0f"),
    ("over", "proven_over", 9, ".2%"),
    ("plan", "value", 13, ",.0f"),
    ("of best", "of_best", 9, ".4f"),
    ("gap", "gap", 9, ".3%"),
    ("whole s", "s", 9, ".1f"),
    ("MB", "mb", 7, ",.0f"),
)
MEANING = """\
over: above the best plan known for that farm, found by any of the models or drawn with the farm. Every plan
is reckoned exactly; one that breaks a limit does not count. times tighter: how far their bound is above the
best plan known, as a multiple of how far ours is (below 1: ours is looser). LP: the linear program alone, in
a search of its own; a reference model has the whole time limit for it and once more for its plan."""
Found = dict[str, Any]


def shown(value: float | None, form: str) -> str:
    """A figure, or a dash where there is none."""
    return "-" if value is None else format(value, form)


def _cut_off(value: float | None, form: str) -> str:
    """A share or a multiple, cut off where it is beyond all meaning."""
    if value is None or value <= MUCH:
        return shown(value, form)
    return f"> {MUCH:.0%}" if form.endswith("%") else f"over {MUCH:.0f}"


def compared(found: dict[str, Found], drawn: float) -> tuple[float, dict[str, Found]]:
    """The best plan known, and each model's figures held against it and against ours.

    Parameters
    ----------
    found : dict
        What each model came to.
    drawn : float
        Worth of a plan that is known beforehand.
    """
    best = max([drawn, *(f["value"] for f in found.values() if f["value"] is not None)])
    result = {}
    for name, f in found.items():
        over = {key: above(f[key], best) for key in ("bound", "proven")}
        wrong = any(share is not None and share < -SAME for share in (over["bound"], over["proven"]))
        result[name] = {
            **f,
            "bound_over": over["bound"],
            "proven_over": over["proven"],
            "gap": above(f["proven"], f["value"]),
            "of_best": f["value"] / best if f["value"] is not None and best else None,
            "note": "; ".join(part for part in (f["note"], "A BOUND BELOW A PLAN" if wrong else "") if part),
        }
    ours = result[OURS]
    for f in result.values():
        f["tighter"] = times(f["bound_over"], ours["bound_over"])
        f["proven_tighter"] = times(f["proven_over"], ours["proven_over"])
        f["plan_ratio"] = f["value"] / ours["value"] if f["value"] is not None and ours["value"] else None
    return best, result


def above(value: float | None, plan: float | None) -> float | None:
    """How far a value lies above a plan, as a share of the plan."""
    return None if value is None or not plan else (value - plan) / abs(plan)


def times(theirs: float | None, ours: float | None) -> float | None:
    """How many times as far off theirs is; inf where ours is not off at all."""
    if theirs is None or ours is None:
        return None
    if ours > SAME:
        return theirs / ours
    return 1.0 if theirs <= SAME else float("inf")


def medians(runs: Sequence[dict[str, Found]]) -> dict[str, Found]:
    """Medians over seeds of every figure; what is missing is left out and counted in the note."""
    result = {}
    for name in runs[0]:
        mine = [run[name] for run in runs]
        there = {key: [f[key] for f in mine if f[key] is not None] for key in mine[0] if key != "note"}
        counts = {"LP bound": len(there["bound"]), "plan": len(there["value"])}
        result[name] = {
            **{key: median(values) if values else None for key, values in there.items()},
            "note": ", ".join(f"{what} in {n} of {len(runs)}" for what, n in counts.items()),
        }
    return result


def print_headings() -> None:
    """What the columns mean, and their headings."""
    print(MEANING)
    print(_line("", [heading for heading, _, _, _ in COLUMNS], "note"))


def print_models(title: str, found: dict[str, Found]) -> None:
    """One line a model, then how each other model stands against ours."""
    print(title)
    for name, f in found.items():
        cells = [(_cut_off if form.endswith("%") else shown)(f[key], form) for _, key, _, form in COLUMNS]
        print(_line(name, cells, f["note"]))
    for name, f in found.items():
        if name == OURS:
            continue
        bound, proven = (f"{_cut_off(f[key], '.2f')} times tighter" for key in ("tighter", "proven_tighter"))
        plan = f"their plan {shown(f['plan_ratio'], '.4f')} of ours"
        print(f"  ours against {name}: LP bound {bound}, proven bound {proven}; {plan}", flush=True)


def _line(name: str, cells: Sequence[str], note: str) -> str:
    filled = [f"{cell:>{width}s}" for cell, (_, _, width, _) in zip(cells, COLUMNS, strict=True)]
    return f"  {name:8s}{''.join(filled)}  {note}".rstrip()
