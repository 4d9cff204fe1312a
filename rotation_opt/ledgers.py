"""What a plan's money, tonnes, hours and field days add up to, as records to be shown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class CashCourse:
    """Money of one plan by quarter of the calendar year, whole farm, in the farm's currency.

    Attributes
    ----------
    quarters : tuple of (year, quarter)
        Quarter 1 to 4 of each calendar year, from the first money spent to the last that comes in.
    parts : mapping of str to tuple of float
        What the money is for -> amount in each quarter; what is paid out is negative.
    by_plan_year : tuple of float
        The same money added up over the harvest year it is counted in: the net return of each year.
    opening : float
        Cash in hand before the first quarter.
    left : tuple of float
        Cash in hand at the end of each quarter.
    last : int
        Place of the last quarter of the last plan year; later ones are money still to come.
    """

    quarters: tuple[tuple[int, int], ...]
    parts: Mapping[str, tuple[float, ...]]
    by_plan_year: tuple[float, ...]
    opening: float
    left: tuple[float, ...]
    last: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """What there is of one thing and where it goes, one value a plan year.

    Attributes
    ----------
    what : str
        "hay", "hours", "cash", or the key of a crop.
    unit : str
        "t", "h" or the farm's currency.
    there : mapping of str to tuple of float
        What there is, by where it comes from.
    gone : mapping of str to tuple of float
        Where it goes.
    """

    what: str
    unit: str
    there: Mapping[str, tuple[float, ...]]
    gone: Mapping[str, tuple[float, ...]]

    def left_over(self) -> float:
        """Largest difference between the two sides in any year."""
        years = range(max((len(values) for values in (*self.there.values(), *self.gone.values())), default=0))
        sides = [
            sum(values[year] for values in self.there.values())
            - sum(values[year] for values in self.gone.values())
            for year in years
        ]
        return max((abs(side) for side in sides), default=0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortDays:
    """An own machine in a half-month that would have too few field days in a bad year."""

    machine: str
    year: int
    half_month: int  # 0-23
    missing_h: float
    needed_h: float
    can_hire: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Competition:
    """The half-month in which first cutting and planting or hoeing get most in each other's way."""

    year: int
    half_month: int  # 0-23
    cutting_h: float  # hours of the farm's people at the first cut
    planting_h: float  # at sowing, planting, hoeing and weeding
    there_h: float  # own hours there are
    hay_days: tuple[float, float]  # days fit for hay in a median and in a bad year
    field_days: tuple[float, float]  # days fit for field work, likewise


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldDays:
    """What a year with few field days would do to one plan."""

    short: tuple[ShortDays, ...]  # the worst first
    competition: Competition | None
    borrowed_from: str  # region the figures of field days come from


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One pass of work over one field: a line of the calendar of work.

    Attributes
    ----------
    field : str
    harvest_year : int
        Year of the harvest it is for; the work may be in the autumn before.
    crop, operation : str
        Their keys.
    machine : str
        Key of the machine; empty where the work is done by hand.
    first, last : str
        Days between which it is to be done, as ISO dates.
    stage : str
        What to look for in the field; empty = by date.
    hired : bool
        Done by a contractor, with his own driver.
    hours : float
        Of the machine, or by hand. [h]
    labour_h : float
        Of the farm's own people. [h]
    """

    field: str
    harvest_year: int
    crop: str
    operation: str
    machine: str
    first: str
    last: str
    stage: str
    hired: bool
    hours: float
    labour_h: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CropAccount:
    """Money of one crop in one plan year over all its fields; or, without a crop, of the farm as a whole.

    Attributes
    ----------
    year : int
        Harvest year.
    crop : str
        Its key; empty for what belongs to no crop: help beyond the farm's own means, hay bought, fixed cost.
    area_ha, made_t : float
    sown_kg : mapping of str to float
        What is sown for it, by crop key. [kg]
    nitrogen_kg : float
        Nitrogen bought. [kg]
    money : mapping of str to float
        What the money is for -> amount; what is paid is negative. All accounts of a year add up to the net
        return of the year.
    """

    year: int
    crop: str
    area_ha: float
    made_t: float
    sown_kg: Mapping[str, float]
    nitrogen_kg: float
    money: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class HiredWork:
    """What one hired machine is paid for in one plan year.

    Attributes
    ----------
    year : int
        Harvest year.
    machine, unit : str
        Key of the machine; "ha", "bale", "t" or "h".
    amount : float
        How many units.
    cost : float
        In currency.
    """

    year: int
    machine: str
    unit: str
    amount: float
    cost: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RunnerUp:
    """What would come second on one field in one year of a plan, all other fields left as they are.

    Attributes
    ----------
    field : str
    year : int
        Harvest year.
    practices : tuple of str
        Practices of the field in the plan with the second, one a plan year ("" = not farmed); empty if there
        is no second.
    net_a_year : float
        Net return of the whole farm with it less that of the plan, mean of the years, in currency.
    roots : float
        Weed roots left at the end with it less those of the plan, as a share of today's.
    decided_by : str
        "money" or "roots": by these the chosen crop is before the second. "crops": the second brings more,
        but the plan was to have other crops. "limit": another crop would be better but for a limit; without a
        second, the limit that other crops break most often. "rules": no other crop may stand there.
        "unknown": none was met.
    limits : tuple of str
        Names of these limits, in words.
    rules : tuple of str
        Why no other crop may stand there, the commonest reasons as sentences.
    """

    field: str
    year: int
    practices: tuple[str, ...] = ()
    net_a_year: float = 0.0
    roots: float = 0.0
    decided_by: Literal["money", "roots", "crops", "limit", "rules", "unknown"]
    limits: tuple[str, ...] = ()
    rules: tuple[str, ...] = ()
