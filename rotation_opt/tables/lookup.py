"""Looking up crops, practices, figures and their sources by name."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import replace
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any, cast

from rotation_opt.errors import TableError
from rotation_opt.records import (
    AnnualWeed,
    Caution,
    Crop,
    Figure,
    Machine,
    Operation,
    PatchPractice,
    Practice,
    Rule,
    Source,
    Station,
    Step,
    Weed,
)
from rotation_opt.tables.build import BUILDERS, DRAW_TABLE, FIGURE_FILES, figures_of
from rotation_opt.tables.checks import check, nearest
from rotation_opt.tables.sheets import column_list, read_sheets
from rotation_opt.tables.trials import TRIAL_FILES, Trial, trials_of


def folder() -> Traversable:
    """Where the shipped tables are: inside the installed package, or beside it in a checkout."""
    shipped = resources.files("rotation_opt") / "crop_tables"
    return shipped if shipped.is_dir() else Path(__file__).parent.parent.parent / "crop_tables"


def read(where: Path | None = None) -> Tables:
    """Read and check all crop tables of one folder.

    Parameters
    ----------
    where : Path, optional
        Folder with the CSV files; the shipped tables if left out (these are read once and kept).

    Returns
    -------
    Tables

    Raises
    ------
    TableError
        If a table does not keep to ``columns.csv``: names file, line, column, what was found and what is
        allowed, for all faults (the first 20 are written out).
    """
    return _shipped() if where is None else _read(where)


@functools.cache
def _shipped() -> Tables:
    return _read(folder())


def _read(where: Traversable) -> Tables:
    sheets = read_sheets(where)
    check(sheets, column_list(sheets["columns"]))
    records = {name: build(sheets[name].rows) for name, build in BUILDERS.items() if name in sheets}
    if all(name in sheets for name in TRIAL_FILES):
        records["trials"] = trials_of(sheets)
    return Tables(where.name, records, dict(figures_of(sheets)))


class Tables:
    """All crop tables, looked up by name.

    Classification tables are attributes (``crops``, ``weeds``, ``machines``, ``operations``,
    ``programmes``, ``practices``, ``rules``, ``stations``, ``sources``, ``cautions``); a table whose file
    does not exist raises TableError when it is asked for. Numbers come from :meth:`number`.

    Attributes
    ----------
    read_figures : set of (table, subject, quantity)
        Every figure looked up so far.
    """

    def __init__(
        self, place: str, records: Mapping[str, Any], figures: Mapping[tuple[str, str, str], Figure]
    ) -> None:
        self._place = place
        self._records = records
        self._figures = figures
        self.read_figures: set[tuple[str, str, str]] = set()

    def __repr__(self) -> str:
        return f"Tables({self._place!r}, {len(self._figures)} figures)"

    def _table(self, name: str) -> Any:
        try:
            return self._records[name]
        except KeyError:
            raise TableError(f"{self._place}: {name}.csv is missing; it is needed for this.") from None

    @property
    def crops(self) -> Mapping[str, Crop]:
        """Crops by key, in the order of the file."""
        return cast("Mapping[str, Crop]", self._table("crops"))

    @property
    def weeds(self) -> Mapping[str, Weed]:
        """Creeping perennials by key."""
        return cast("Mapping[str, Weed]", self._table("weeds"))

    @property
    def annual_weeds(self) -> Mapping[str, AnnualWeed]:
        """Annual weeds by key."""
        return cast("Mapping[str, AnnualWeed]", self._table("annual_weeds"))

    @property
    def machines(self) -> Mapping[str, Machine]:
        """Machines by key."""
        return cast("Mapping[str, Machine]", self._table("machines"))

    @property
    def operations(self) -> Mapping[str, Operation]:
        """Kinds of pass by key."""
        return cast("Mapping[str, Operation]", self._table("operations"))

    @property
    def programmes(self) -> Mapping[str, tuple[Step, ...]]:
        """Steps of each programme of work, in their order."""
        return cast("Mapping[str, tuple[Step, ...]]", self._table("programmes"))

    @property
    def practices(self) -> Mapping[str, Practice]:
        """Practices by key, in the order of the file."""
        return cast("Mapping[str, Practice]", self._table("practices"))

    def machines_for(self, practice: Practice) -> tuple[str, ...]:
        """Machines that a practice cannot do without, in the order of its work."""
        programmes = (practice.between, practice.sow, practice.in_crop, practice.harvest)
        steps = (step for name in programmes if name for step in self.programmes[name])
        machines = (self.operations[step.operation].machine for step in steps)
        return tuple(dict.fromkeys(machine for machine in machines if machine != "none"))

    @property
    def patch_practices(self) -> Mapping[str, PatchPractice]:
        """Work on small patches, by key."""
        return cast("Mapping[str, PatchPractice]", self._table("patch_practices"))

    @property
    def rules(self) -> tuple[Rule, ...]:
        """Succession rules."""
        return cast("tuple[Rule, ...]", self._table("succession"))

    @property
    def stations(self) -> Mapping[str, Station]:
        """Monthly normals by station."""
        return cast("Mapping[str, Station]", self._table("climates"))

    @property
    def sources(self) -> Mapping[str, Source]:
        """Where figures come from, by key."""
        return cast("Mapping[str, Source]", self._table("sources"))

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """Sentences to print where work can hurt someone or money is projected."""
        return cast("tuple[Caution, ...]", self._table("cautions"))

    @property
    def trials(self) -> Mapping[str, Trial]:
        """Published outcomes of weed trials by key, with the seasons that stand for them."""
        return cast("Mapping[str, Trial]", self._table("trials"))

    @property
    def draws(self) -> tuple[str, ...]:
        """Names of the parameter draws, in the order of the file."""
        return cast("tuple[str, ...]", self._table("weed_draws"))

    def number(self, table: str, subject: str, quantity: str) -> float:
        """Value of one figure, in the unit of ``columns.csv``.

        Parameters
        ----------
        table : str
            One of ``crop, weed, weed_parameter, machine, operation, money, field_days, preceding``.
        subject, quantity : str
            As in the table.

        Raises
        ------
        TableError
            If there is no such figure; names the file and the nearest spelling.
        """
        return self.figure(table, subject, quantity).value

    def number_or(self, table: str, subject: str, quantity: str, default: float) -> float:
        """Value of one figure, or `default` where the table has none for this subject."""
        return self.number(table, subject, quantity) if self.has(table, subject, quantity) else default

    def has(self, table: str, subject: str, quantity: str) -> bool:
        """Whether the table holds this figure."""
        return (table, subject, quantity) in self._figures

    def figure(self, table: str, subject: str, quantity: str) -> Figure:
        """One figure with range, unit, source and note; raises TableError if there is none."""
        key = (table, subject, quantity)
        found = self._figures.get(key)
        if found is None:
            raise TableError(self._why_missing(*key))
        self.read_figures.add(key)
        return found

    def figures(self, table: str) -> tuple[Figure, ...]:
        """All figures in use of one table, in the order of the file. Does not count as reading them."""
        return tuple(figure for key, figure in self._figures.items() if key[0] == table)

    def draw(self, name: str, weed: str, parameter: str) -> float:
        """Value of a fitted weed parameter in one draw."""
        return self.number(DRAW_TABLE, f"{name}:{weed}", parameter)

    def with_change(self, table: str, subject: str, quantity: str, value: float) -> Tables:
        """Copy of the tables with one figure changed; its reads are counted afresh.

        Draws change with ``table="weed_draw"`` and ``subject="<draw>:<weed>"``.
        """
        key = (table, subject, quantity)
        if key not in self._figures:
            raise TableError(self._why_missing(*key))
        changed = replace(self._figures[key], value=value)
        return Tables(self._place, self._records, {**self._figures, key: changed})

    def _why_missing(self, table: str, subject: str, quantity: str) -> str:
        if table != DRAW_TABLE and table not in FIGURE_FILES:
            return f"there is no figure table {table!r}; there are {', '.join(FIGURE_FILES)}."
        file = f"{FIGURE_FILES.get(table, 'weed_draws')}.csv"
        there = [key for key in self._figures if key[0] == table]
        if not there:
            return f"{self._place}: {file} is missing or empty; {subject} {quantity} was asked for."
        of_subject = sorted({key[2] for key in there if key[1] == subject})
        if not of_subject:
            hint = nearest(subject, sorted({key[1] for key in there}))
            return f"{file}: there are no figures for {subject!r} ({quantity} was asked for). {hint}".rstrip()
        hint = nearest(quantity, of_subject)
        return f"{file}: {subject!r} has no {quantity!r}; it has {', '.join(of_subject)}. {hint}".rstrip()
