"""Small invented farms for tests of whole plans: three fields, three years, a handful of practices.

Every number is made up. A plan of one of these takes a second or two, and the search proves it the best.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import HealthCheck, assume, settings

from rotation_opt import farm, tables
from rotation_opt.alternatives import Proposal, describe, propose
from rotation_opt.arrays import SelectionData
from rotation_opt.errors import NoPlanError
from rotation_opt.farm_arrays import selection_data
from rotation_opt.formulate import Goal
from rotation_opt.groundwork import Groundwork, lay
from rotation_opt.records import Alternative, Farm, Field, OwnMachine, Patch
from rotation_opt.select import Selected, select

TABLES = tables.read()
MONEY = Goal(kind="most_money")

FEW_FARMS = settings(
    max_examples=20,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow],
)
"""For tests that choose plans of several random farms."""


def chosen(data: SelectionData) -> Selected:
    """The plan with most money; another random farm is drawn where there is none."""
    try:
        return select(data, MONEY)
    except NoPlanError:
        assume(False)
        raise


KEPT = (
    "spring_barley",
    "soybean",
    "corn_grain",
    "winter_wheat",
    "winter_wheat_stubble",
    "oat_alfalfa",
    "alfalfa_1",
    "alfalfa_1_leave",
    "alfalfa_2",
    "alfalfa_2_leave",
    "fallow",
)
"""Ways to grow something that the small farm has to choose from, and plain oats beside."""

HAY_TOOLS = ("mower_conditioner", "rake", "round_baler", "forage_harvester")

TEXT = """
[farm]
name = "Small farm (invented)"
invented = true
region = "us"
units = "metric"
currency = "USD"
climate = "Rochester NY, airport"
organic = true
first_year = 2027
years = 3
decided_on = 2026-07-15
other_machines = "own"

[[field]]
name = "East"
area_ha = 10
soil = "medium"
history = ["corn", "soybean", "spring barley"]
as_now = ["soybean", "spring barley", "corn"]

[[field.patch]]
weed = "Canada thistle"
share_of_field_pct = 50
shoots_per_m2 = 20
counted_on = 2026-06-24
stage = "bud"

[[field]]
name = "West"
area_ha = 8
soil = "medium"
history = ["soybean", "spring barley", "corn"]
as_now = ["soybean", "spring barley", "corn"]

[[field]]
name = "North"
area_ha = 6
soil = "medium"
history = ["spring barley", "corn", "soybean"]
as_now = ["spring barley", "corn", "soybean"]

[[field.patch]]
weed = "Canada thistle"
share_of_field_pct = 30
shoots_per_m2 = 10
counted_on = 2026-06-24
stage = "bud"

[labour]
workers = 1
hours_per_week_by_month = [10, 10, 40, 50, 50, 50, 50, 50, 50, 50, 40, 10]
wage_per_hour = 20
machine_hours_a_day = 10

[market]
no_market = []

[limits]
cash_floor = -50000
fixed_cost_per_year = 0
target_shoots_per_m2 = 1
"""


@cache
def _read(text: str) -> Farm:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "small.toml"
        path.write_text(text, encoding="utf-8")
        return farm.read(path, TABLES)


def small(keep: Iterable[str] = KEPT, **changes: object) -> Farm:
    """The small farm with these practices to choose from and with records changed."""
    crops = {TABLES.practices[key].crop for key in keep}  # some practices are called as their crop is
    refused = frozenset(TABLES.practices) - frozenset(keep) - crops
    return replace(_read(TEXT), **{"refuses": refused, **changes})  # type: ignore[arg-type]


def without_machines(base: Farm, *names: str) -> Farm:
    """The farm with these machines neither owned nor for hire."""
    gone = {name: replace(base.machines[name], status="none") for name in names}
    return replace(base, machines={**base.machines, **gone})


def with_machine(base: Farm, name: str, **changes: object) -> Farm:
    mine: OwnMachine = replace(base.machines[name], **changes)  # type: ignore[arg-type]
    return replace(base, machines={**base.machines, name: mine})


def with_field(base: Farm, name: str, **changes: object) -> Farm:
    """The farm with one field changed."""
    fields: tuple[Field, ...] = tuple(
        replace(field, **changes) if field.name == name else field  # type: ignore[arg-type]
        for field in base.fields
    )
    return replace(base, fields=fields)


def with_shoots(base: Farm, factor: float) -> Farm:
    """The farm with more or fewer weeds counted in every patch."""
    return replace(
        base,
        fields=tuple(
            replace(
                field,
                patches=tuple(
                    replace(patch, shoots_per_m2=patch.shoots_per_m2 * factor) for patch in field.patches
                ),
            )
            for field in base.fields
        ),
    )


def patch(
    area_ha: float, shoots: float, *, on: str = "2026-06-24", stage: str = "bud", weed: str = ""
) -> Patch:
    return Patch(
        weed=weed or "creeping_thistle",
        area_ha=area_ha,
        shoots_per_m2=shoots,
        counted_on=on,
        stage=stage,  # type: ignore[arg-type]
    )


class Plans:
    """One farm worked out and its plans, with what they were made of."""

    def __init__(self, base: Farm, from_tables: tables.Tables = TABLES) -> None:
        self.farm = base
        self.ground: Groundwork = lay(base, from_tables)
        self.data: SelectionData = selection_data(self.ground)
        self.proposal: Proposal = propose(self.data, base)
        self.all: tuple[Alternative, ...] = describe(self.ground, self.data, self.proposal)
        self.plan = {each.key: each for each in self.all}
        self.draft = {each.key: each for each in self.proposal.drafts}

    def burden(self, key: str) -> float:
        """What "fastest" makes least: the likely burden weighted over the years. [ha of full stand]"""
        return float(self.data.burden_when @ self.draft[key].figures.burden[:, self.data.likely])

    def worth(self, key: str) -> float:
        return self.draft[key].figures.present_value

    def grown(self, key: str) -> list[str]:
        """Practices of one plan, all fields and years."""
        return [each for path in self.plan[key].practices.values() for each in path if each]

    def chosen(self) -> list[Alternative]:
        return [each for each in self.all if each.key != "as_now"]


@cache
def plain() -> Plans:
    """The small farm as it is, planned once for all tests."""
    return Plans(small())
