"""Which limits stand in each other's way when no plan fits, in the grower's words."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from .arrays import Floats
from .columns import Paths
from .errors import NoPlanError
from .formulate import Program
from .pricing import Pricing

FITS = 1e-6
SAID = 3  # sentences on one limit
AND = " and "


def broken(program: Program, slack: Floats) -> list[str]:
    """Sentences for limits that are broken, the worst of each limit first; at most three of one limit."""
    order = sorted(range(len(slack)), key=lambda n: -slack[n] / program.rows[n].scale)
    count: dict[str, int] = {}
    sentences = []
    for number in order:
        row = program.rows[number]
        if slack[number] <= 1e-5 * row.scale:
            continue
        count[row.limit] = count.get(row.limit, 0) + 1
        if count[row.limit] <= SAID:
            sentences.append(row.sentence(float(slack[number])))
    return sentences


def clash(pricing: Pricing) -> NoPlanError:
    """The smallest set of limits that cannot be kept together, and by how much the nearest plan breaks them.

    Each limit in turn is let go for good if what is left still cannot be kept; what remains is a set of
    which every single limit is needed for the clash. Sequences are priced in anew for every question, so
    that "cannot" is proven, unless the search was stopped.
    """
    rows = pricing.program.rows
    proven = pricing.bound == np.inf
    slack = pricing.master.slack()
    sentences = broken(pricing.program, slack)
    names = list(dict.fromkeys(row.limit for row in rows if row.words))
    involved = {row.limit for row, amount in zip(rows, slack, strict=True) if amount > 1e-5 * row.scale}
    needed = set(names)
    # those that are broken in the nearest plan are the last to be let go
    for name in sorted(names, key=lambda name: name in involved):
        if not _fits(pricing, needed - {name}):
            needed.discard(name)
    helps = [name for name in names if name in needed and _fits(pricing, set(names) - {name})]
    message = (
        "No plan keeps all limits at once." if proven else "No plan was found that keeps all limits at once."
    )
    set_of = [name for name in names if name in needed]
    if len(set_of) > 1:
        message += f" These cannot be kept together: {_listed(set_of)}."
    elif set_of:
        message += f" This one alone cannot be kept: {set_of[0]}."
    if helps:
        message += " One would fit without " + " or without ".join(helps) + "."
    return NoPlanError(message, sentences)


def _fits(pricing: Pricing, kept: Collection[str]) -> bool:
    """Whether some mixture of sequences keeps these limits when the others are let go."""
    weights = np.array([1.0 / row.scale if row.limit in kept else 0.0 for row in pricing.program.rows])
    return pricing.reach(weights) <= FITS


def _listed(names: list[str]) -> str:
    return ", ".join(names[:-1]) + AND + names[-1]


def no_whole(program: Program, slack: Floats, nearest: Paths) -> NoPlanError:
    """No plan of whole fields: what the nearest one breaks."""
    return NoPlanError(
        "No plan of whole fields was found that keeps all limits at once; the nearest one breaks these.",
        broken(program, slack),
        nearest,
    )
