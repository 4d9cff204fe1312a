"""A third way to write the same farm: a path through a network for every field, for the benchmark only.

Nodes are (year, practice), arcs are pairs of practices; one unit flows through the network of each field. The
nodes are whole, so that the arcs are too. Break years and longest runs, which a network of pairs forgets, are
put back as cuts over the nodes from the start. Each arc has its own cost, yield, hours and weed growth.

Weeds and limits are written as in `compact_model`: one log reserve a field, year and weed, chords below the
step of a year, lines below the loss. The relaxation is a valid upper bound of the exact problem (most money)
for the reason given there; it is at least as tight as that of the assignment, since a flow into a practice
comes out of the very practices before it. Without weeds the integer program is the exact problem.
"""

from __future__ import annotations

from collections import defaultdict
from typing import Any

import numpy as np
from compact_model import Model, Move, Reference, run_reference

from rotation_opt.arrays import SelectionData


class Network(Model):
    """The arc-flow program of a farm."""

    def kinds_of_moves(self) -> list[list[Move]]:
        """Every pair by itself."""
        data, result = self.data, []
        for practice in range(len(data.practice_keys)):
            before = np.flatnonzero(data.may_follow[:, practice]).tolist()
            result.append([Move(practice, (p,), (int(data.pair_index[p, practice]),)) for p in before])
        return result

    def link(self, field: int, year: int, moves: list[tuple[Move, Any]]) -> None:
        """What flows into a node flows out again."""
        out: dict[int, list[tuple[Any, float]]] = defaultdict(list)
        for move, variable in moves:
            out[move.before[0]].append((variable, 1.0))
        for practice in range(len(self.data.practice_keys)):
            if self._has(field, year - 1, practice):
                self.row([(self.choices[field, year - 1, practice], -1.0), *out[practice]], "=", 0.0)


def network(data: SelectionData, time_limit: float, *, relaxation: bool = True) -> Reference:
    """The arc-flow program; see the head of this file."""
    return run_reference(Network, data, time_limit, relaxation=relaxation)
