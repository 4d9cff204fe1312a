"""Sequences met so far, as columns of one program."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from .arrays import NOT_FARMED, FieldData, Floats, Integers
from .features import features
from .formulate import Program
from .sequences import Grower, Pool

Path = tuple[int, ...]
Paths = tuple[Path, ...]
HANDED_ON = 150  # sequences a field
BLOCK = 256  # sequences whose features are worked out together: they take much room
Kind = TypeVar("Kind", bound=np.generic)


def allowed_paths(land: FieldData, paths: NDArray[np.integer]) -> NDArray[np.bool_]:
    """(n,): which sequences keep to what a field allows in each year, rules of succession aside."""
    fits = np.where(paths == NOT_FARMED, ~land.farmed, land.allowed[np.arange(paths.shape[1]), paths])
    return np.asarray(fits.all(axis=1), dtype=bool)


def rank_in_field(rank: Floats, field: Integers) -> Integers:
    """(n,): place of each column among those of its field, the least ``rank`` first."""
    order = np.lexsort((rank, field))
    place = np.empty(len(order), np.int64)
    place[order] = np.arange(len(order)) - np.searchsorted(field[order], field[order])
    return place


class Columns:
    """All sequences met so far with what they need of every limit and what they cost.

    Parameters
    ----------
    grower : Grower
    program : Program
    objective : (features,)
        Cost of one unit of every feature.
    """

    def __init__(self, grower: Grower, program: Program, objective: Floats) -> None:
        self.grower, self.program, self.objective = grower, program, objective
        self.keys: list[tuple[int, bytes]] = []
        self.complete = np.zeros(len(grower.data.fields), bool)
        self.plans: list[Paths] = []  # found before
        self._place: dict[tuple[int, bytes], int] = {}
        self._need = _Stack(np.zeros((0, len(program.rows))))
        self._cost = _Stack(np.zeros(0))
        self._field = _Stack(np.zeros(0, np.int64))

    def __len__(self) -> int:
        return len(self.keys)

    def add(self, field: int, paths: NDArray[np.int16]) -> int:
        """Add the new ones among some sequences of a field; returns how many were new."""
        rows = []
        for row, path in enumerate(np.ascontiguousarray(paths)):
            key = (field, path.tobytes())
            if key not in self._place:
                self._place[key] = len(self.keys)
                self.keys.append(key)
                rows.append(row)
        for begin in range(0, len(rows), BLOCK):
            pool = self.grower.pool(field, paths[rows[begin : begin + BLOCK]])
            values = features(self.grower.data, self.program.space, pool, self.grower.machine_work)
            self._need.add(self.program.need(values).T)
            self._cost.add(values @ self.objective)
            self._field.add(np.full(len(values), field, np.int64))
        return len(rows)

    @property
    def need(self) -> Floats:
        """(n, rows): what each sequence needs of every limit."""
        return self._need.rows

    @property
    def cost(self) -> Floats:
        """(n,)"""
        return self._cost.rows

    @property
    def field(self) -> Integers:
        """(n,): field of each sequence."""
        return self._field.rows

    def place(self, plan: Paths) -> list[int]:
        """Columns of a plan; its sequences are added where they are new."""
        found = []
        for field, path in enumerate(plan):
            array = np.array([path], dtype=np.int16)
            self.add(field, array)
            found.append(self._place[field, array.tobytes()])
        return found

    def array(self, columns: Integers) -> NDArray[np.int16]:
        """(n, T): practice indices of some columns."""
        return np.array([np.frombuffer(self.keys[c][1], dtype=np.int16) for c in columns], dtype=np.int16)

    def paths(self, columns: Sequence[int]) -> Paths:
        """A plan as practice indices, field by field."""
        chosen = {self.keys[c][0]: self.keys[c][1] for c in columns}
        fields = range(len(self.grower.data.fields))
        return tuple(tuple(int(p) for p in np.frombuffer(chosen[f], dtype=np.int16)) for f in fields)

    def keep(self, plan: Paths) -> None:
        """Remember a plan as the last one found."""
        if plan in self.plans:
            self.plans.remove(plan)
        self.plans.append(plan)

    def pools(self, rank: Floats) -> tuple[Pool, ...]:
        """What is worth handing on, field by field: all plans, and the sequences of least ``rank`` (n,)."""
        near = (rank_in_field(rank, self.field) < HANDED_ON) | self.complete[self.field]
        for plan in self.plans:
            near[self.place(plan)] = True
        own: list[list[bytes]] = [[] for _ in self.grower.data.fields]
        for column in np.flatnonzero(near):
            field, path = self.keys[column]
            own[field].append(path)
        result = []
        for field, known in enumerate(own):
            rows = {path: row for row, path in enumerate(known)}
            plans = tuple(rows[np.array(plan[field], dtype=np.int16).tobytes()] for plan in self.plans)
            paths = np.array([np.frombuffer(path, dtype=np.int16) for path in known])
            pool = self.grower.pool(field, paths, bool(self.complete[field]))
            result.append(replace(pool, plans=plans))
        return tuple(result)

    def take_in(self, pools: Sequence[Pool]) -> None:
        """Sequences and plans found before, as far as the fields still allow them."""
        data = self.grower.data
        for pool in pools:
            kept = pool.paths[allowed_paths(data.fields[pool.field], pool.paths)]
            self.add(pool.field, kept)
            self.complete[pool.field] = pool.complete and len(kept) > 0
        ordered = sorted(pools, key=lambda pool: pool.field)
        if [pool.field for pool in ordered] == list(range(len(data.fields))):
            for rows in zip(*(pool.plans for pool in ordered), strict=True):
                plan = tuple(
                    tuple(int(p) for p in pool.paths[row]) for pool, row in zip(ordered, rows, strict=True)
                )
                if all(
                    (field, np.array(path, dtype=np.int16).tobytes()) in self._place
                    for field, path in enumerate(plan)
                ):
                    self.keep(plan)


class _Stack(Generic[Kind]):
    """Rows that come block by block, in one array that has room for more."""

    def __init__(self, none: NDArray[Kind]) -> None:
        self._room, self._count = none, 0

    @property
    def rows(self) -> NDArray[Kind]:
        """All so far; not to be written to."""
        return self._room[: self._count]

    def add(self, block: NDArray[Kind]) -> None:
        """Put rows after the others."""
        count = self._count + len(block)
        if count > len(self._room):
            room = np.empty((2 * count, *self._room.shape[1:]), self._room.dtype)
            room[: self._count] = self.rows
            self._room = room
        self._room[self._count : count] = block
        self._count = count
