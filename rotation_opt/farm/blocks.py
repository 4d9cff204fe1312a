"""The blocks of a farm file: which keys each one has and what each key may hold.

A key carries its unit (``area_acres``, ``price_per_bu``), so nothing is ever guessed from the size of a
number; where several units are customary there is one key for each and one of them is given. Every field
has a description that completes the sentence "needed is ...".
"""

from __future__ import annotations

import math
from datetime import date, datetime
from typing import Annotated, Any, ClassVar, cast

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    Tag,
    ValidationInfo,
)
from pydantic_core import PydanticCustomError

from rotation_opt.farm.names import Kind, Names
from rotation_opt.words import listed, nearest, plain

Family = tuple[str, ...]

AREA: Family = ("area_acres", "area_ha")
WIDTH: Family = ("width_ft", "width_m")
RENT: Family = ("rent_per_acre", "rent_per_ha")
YIELD: Family = (
    "yield_bu_per_acre",
    "yield_cwt_per_acre",
    "yield_lb_per_acre",
    "yield_ton_per_acre",
    "yield_t_per_ha",
    "yield_dt_per_ha",
)
PRICE: Family = ("price_per_bu", "price_per_cwt", "price_per_ton", "price_per_t", "price_per_dt")
LEAST: Family = ("least_bu", "least_cwt", "least_ton", "least_t", "least_dt")
MOST: Family = ("most_bu", "most_cwt", "most_ton", "most_t", "most_dt")
HAUL: Family = ("haul_per_bu", "haul_per_cwt", "haul_per_ton", "haul_per_t", "haul_per_dt")
HIRE_RATE: Family = (
    "hire_rate_per_acre",
    "hire_rate_per_ha",
    "hire_rate_per_bale",
    "hire_rate_per_ton",
    "hire_rate_per_t",
    "hire_rate_per_hour",
)
HIRE_CAP: Family = ("hire_cap_acres", "hire_cap_ha")
COUNTED: Family = ("shoots_per_m2", "shoots_per_sq_ft", "counts")
FRAME: Family = ("frame_m2", "frame_sq_ft", "frame_sq_yd")
PATCH_AREA: Family = ("area_acres", "area_ha", "share_of_field_pct")
HOURS: Family = ("hours_by_half_month", "hours_per_week_by_month", "hours_per_week")
EXTRA_HOURS: Family = ("extra_hours_by_half_month", "extra_hours_per_week_by_month", "extra_hours_per_week")
FUEL: Family = ("fuel_per_gallon", "fuel_per_litre")
NITROGEN: Family = ("nitrogen_per_lb", "nitrogen_per_kg")
HAY_NEED: Family = ("hay_need_ton", "hay_need_t", "head")
LIVE_WEIGHT: Family = ("live_weight_lb", "live_weight_kg")
GRAZING_NEED: Family = ("grazing_need_ton", "grazing_need_t")
HAY_PRICE: Family = ("hay_price_per_ton", "hay_price_per_t")
HAY_STORE: Family = ("hay_ton", "hay_t")
HAY_NOW: Family = ("hay_now_ton", "hay_now_t")
DEBT_MONTH: Family = ("debt_payment_month",)
TARGET: Family = ("target_shoots_per_m2", "target_shoots_per_sq_ft")


# ---------------------------------------------------------------- what a value may be


def _refuse(allowed: str, hint: str = "") -> PydanticCustomError:
    return PydanticCustomError("farm_file", "{allowed}", {"allowed": allowed, "hint": hint})


def _number(low: float, high: float, *, above: bool = False, whole: bool = False) -> BeforeValidator:
    """A finite number between limits; the limits stop slips of the hand, they are not agronomy."""
    kind = "a whole number" if whole else "a number"
    bounds = f"above {low:g} and up to {high:,.10g}" if above else f"from {low:,.10g} to {high:,.10g}"
    if whole:
        bounds = f"from {low:.0f} to {high:.0f}"
    allowed = f"allowed is {kind} {bounds}"

    def check(value: object) -> float | int:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise _refuse(allowed, _hint_for_number(value))
        if whole and not isinstance(value, int):
            raise _refuse(allowed, "Leave out the decimal point.")
        if isinstance(value, float) and not math.isfinite(value):
            raise _refuse(allowed, "Write a number, or take the line out if it is not known.")
        if not low <= value <= high or (above and value <= low):
            raise _refuse(allowed)
        return value if whole else float(value)

    return BeforeValidator(check)


def _hint_for_number(value: object) -> str:
    if not isinstance(value, str):
        return "Write one number." if isinstance(value, list) else ""
    text = value.strip().replace(",", ".")
    try:
        float(text)
    except ValueError:
        return "Write a number without quotation marks and without a unit."
    return f"Leave out the quotation marks: {text}."


def _text(longest: int = 80, *, empty: bool = False) -> BeforeValidator:
    allowed = f"allowed is a text in quotation marks of {0 if empty else 1} to {longest} letters"

    def check(value: object) -> str:
        if not isinstance(value, str):
            raise _refuse(
                allowed, "Put it between quotation marks." if isinstance(value, int | float) else ""
            )
        text = " ".join(value.split())
        if len(text) > longest or (not text and not empty):
            raise _refuse(allowed)
        return text

    return BeforeValidator(check)


def _choice(*choices: str) -> BeforeValidator:
    quoted = [f'"{choice}"' for choice in choices]
    allowed = f"allowed is {listed(quoted)}"

    def check(value: object) -> str:
        if isinstance(value, str):
            for choice in choices:
                if plain(value) == plain(choice):
                    return choice
        near = nearest(value, choices) if isinstance(value, str) else ""
        raise _refuse(allowed, f'Did you mean "{near}"?' if near else "")

    return BeforeValidator(check)


def _flag(value: object) -> bool:
    if not isinstance(value, bool):
        hint = "Leave out the quotation marks." if isinstance(value, str) else ""
        raise _refuse("allowed is true or false", hint)
    return value


def _day(value: object) -> date:
    allowed = "allowed is a date as year, month, day, like 2026-07-31"
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    if isinstance(value, str):
        try:
            return date.fromisoformat(value.strip())
        except ValueError:
            pass
    raise _refuse(allowed)


def _month_day(value: object) -> int:
    """Day of the year, 0 = 1 January, of a day written "11-01" (month, day)."""
    allowed = 'allowed is a day of the year as "month-day", like "11-01" for 1 November'
    if isinstance(value, str):
        try:
            parsed = date.fromisoformat(f"2001-{value.strip()}")
        except ValueError:
            raise _refuse(allowed) from None
        return parsed.timetuple().tm_yday - 1
    raise _refuse(allowed)


def _name(kind: Kind) -> BeforeValidator:
    def check(value: object, info: ValidationInfo) -> str:
        names = cast("Names", info.context)
        if not isinstance(value, str):
            raise _refuse(names.allowed(kind), "Put the name between quotation marks.")
        key = names.key(kind, value)
        if key is None:
            raise _refuse(names.allowed(kind, value), names.hint(kind, value))
        return key

    return BeforeValidator(check)


def _length(count: int, what: str) -> AfterValidator:
    def check(value: list[Any]) -> list[Any]:
        if len(value) != count:
            raise _refuse(f"allowed is a list of {count} numbers, {what}")
        return value

    return AfterValidator(check)


def _filled(value: list[Any]) -> list[Any]:
    if not value:
        raise _refuse("allowed is a list with at least one value")
    return value


def _item_kind(value: object) -> str:
    return "~year" if isinstance(value, dict) else "~name"


Text = Annotated[str, _text()]
Note = Annotated[str, _text(400, empty=True)]
Flag = Annotated[bool, BeforeValidator(_flag)]
Day = Annotated[date, BeforeValidator(_day)]
MonthDay = Annotated[int, BeforeValidator(_month_day)]
Year = Annotated[int, _number(1950, 2100, whole=True)]
Month = Annotated[int, _number(1, 12, whole=True)]
Area = Annotated[float, _number(0, 1_000_000, above=True)]
Amount = Annotated[float, _number(0, 10_000_000)]
Money = Annotated[float, _number(0, 1_000_000)]
Positive = Annotated[float, _number(0, 1_000_000, above=True)]
Percent = Annotated[float, _number(0, 100)]
Hours = Annotated[float, _number(0, 20_000)]
Density = Annotated[float, _number(0, 1_000)]
Count = Annotated[float, _number(0, 10_000)]
YieldRatio = Annotated[float, _number(0.1, 3)]
CropName = Annotated[str, _name("crop")]
GrownName = Annotated[str, _name("grown")]
HalfMonths = Annotated[list[Hours], _length(24, "one for each half-month from 1 January")]
Months = Annotated[list[Hours], _length(12, "one for each month from January")]


def _share(value: float) -> float:
    if 0.0 < value < 1.0:
        raise _refuse(
            "allowed is per cent of the land, from 0 to 100", f"Write {value * 100:g} for {value * 100:g} %."
        )
    return value


LandShare = Annotated[Percent, AfterValidator(_share)]


# ---------------------------------------------------------------- the blocks


class Block(BaseModel):
    """One block of the file.

    ``needed``: of each family exactly one key is given; ``perhaps``: at most one; ``together``: the key and
    one of the family only go together.
    """

    model_config = ConfigDict(
        strict=True, extra="forbid", frozen=True, allow_inf_nan=False, arbitrary_types_allowed=False
    )
    needed: ClassVar[tuple[Family, ...]] = ()
    perhaps: ClassVar[tuple[Family, ...]] = ()
    together: ClassVar[tuple[tuple[str, Family], ...]] = ()

    def given(self, family: Family) -> str | None:
        """The key of a family that the file gives, None if it gives none."""
        return next((key for key in family if getattr(self, key) is not None), None)


class FarmBlock(Block):
    """``[farm]``: who and where, which words and units, which years."""

    needed = (("name",), ("units",), ("climate",), ("first_year",), ("decided_on",), ("organic",))
    name: Text | None = Field(default=None, description="the name of the farm in quotation marks")
    place: Annotated[str, _text(120, empty=True)] = ""
    adviser: Annotated[str, _text(120, empty=True)] = ""
    invented: Flag = False
    region: Annotated[str, _choice("us", "uk")] | None = None
    units: Annotated[str, _choice("us", "metric")] | None = Field(
        default=None, description='"us" or "metric"'
    )
    currency: Annotated[str, _text(12)] | None = None
    climate: Annotated[str, _name("station")] | None = Field(
        default=None, description="the nearest weather station"
    )
    climate_note: Note = ""
    first_year: Year | None = Field(default=None, description="the first harvest year of the plan")
    years: Annotated[int, _number(3, 8, whole=True)] = 5
    decided_on: Day | None = Field(default=None, description="the day the plan is decided, like 2026-07-31")
    organic: Flag | None = Field(default=None, description="whether the farm is organic, true or false")
    other_machines: Annotated[str, _choice("own", "hire", "none")] = "none"


class ClimateBlock(Block):
    """``[climate]``: the farm's own weather, in place of the normals of its station.

    ``daily_file`` is a CSV file beside the farm file (or a path from there) with the columns ``date``,
    ``tmin_c`` and ``tmax_c``: every day of one or more whole years. Latitude and rain stay the station's.
    """

    needed = (("daily_file",),)
    daily_file: Annotated[str, _text(400)] | None = Field(
        default=None, description='the name of a file of daily temperatures, like "weather.csv"'
    )


class HistoryYear(Block):
    """One year of a field's history, written with its year."""

    year: Year
    crop: GrownName


HistoryItem = Annotated[
    Annotated[GrownName, Tag("~name")] | Annotated[HistoryYear, Tag("~year")], Discriminator(_item_kind)
]


class FieldBlock(Block):
    """``[[field]]``: one field, without its patches.

    ``yield_ratio`` is what grows here against the usual yields of the farm, ``yield_ratio_by_crop`` the same
    of some crops, in its place.
    """

    needed = (("name",), AREA, ("history",))
    perhaps = (RENT,)
    name: Text | None = Field(default=None, description="the name of the field in quotation marks")
    area_acres: Area | None = Field(default=None, description="the area of the field")
    area_ha: Area | None = None
    history: Annotated[list[HistoryItem], AfterValidator(_filled)] | None = Field(
        default=None, description="the crops of the last years, oldest first"
    )
    as_now: Annotated[list[GrownName], AfterValidator(_filled)] | None = None
    lease_end: Year | None = None
    landlord_share_pct: Percent = 0.0
    rent_per_acre: Money | None = None
    rent_per_ha: Money | None = None
    soil: Annotated[str, _choice("light", "medium", "heavy", "wet")] = "medium"
    yield_ratio: YieldRatio = 1.0
    yield_ratio_by_crop: dict[CropName, YieldRatio] = Field(default_factory=dict)
    bans: list[Annotated[str, _name("ban")]] = Field(default_factory=list)


class PatchBlock(Block):
    """``[[field.patch]]``: shoots of one weed counted on part of the field above it."""

    needed = (("weed",), PATCH_AREA, COUNTED, ("counted_on",), ("stage",))
    perhaps = (FRAME,)
    together = (("counts", FRAME),)
    weed: Annotated[str, _name("weed")] | None = Field(
        default=None, description="the weed in quotation marks"
    )
    area_acres: Area | None = Field(default=None, description="the size of the patch")
    area_ha: Area | None = None
    share_of_field_pct: Annotated[float, _number(0, 100, above=True)] | None = None
    shoots_per_m2: Density | None = Field(default=None, description="how many shoots were counted")
    shoots_per_sq_ft: Annotated[float, _number(0, 100)] | None = None
    counts: Annotated[list[Count], AfterValidator(_filled)] | None = None
    frame_m2: Annotated[float, _number(0.01, 100)] | None = Field(
        default=None, description="the size of the counting frame"
    )
    frame_sq_ft: Annotated[float, _number(0.1, 1000)] | None = None
    frame_sq_yd: Annotated[float, _number(0.01, 100)] | None = None
    counted_on: Day | None = Field(default=None, description="the day it was counted, like 2026-06-20")
    stage: (
        Annotated[str, _choice("emerging", "rosette", "stem", "bud", "flower", "mature", "stubble")] | None
    ) = Field(default=None, description="the stage of the weed when counted")


class MachineBlock(Block):
    """``[[machine]]``: own, hire, buy or none. With "buy" it is not owned yet: is it worth it?"""

    needed = (("name",), ("status",))
    perhaps = (WIDTH, HIRE_RATE, HIRE_CAP)
    name: Annotated[str, _name("machine")] | None = Field(
        default=None, description="the machine in quotation marks"
    )
    status: Annotated[str, _choice("own", "hire", "buy", "none")] | None = Field(
        default=None, description='"own", "hire", "buy" or "none"'
    )
    width_ft: Annotated[float, _number(0, 200, above=True)] | None = None
    width_m: Annotated[float, _number(0, 60, above=True)] | None = None
    hours_a_day: Annotated[float, _number(0, 24, above=True)] | None = None
    number: Annotated[int, _number(1, 50, whole=True)] = 1
    hire_rate_per_acre: Money | None = None
    hire_rate_per_ha: Money | None = None
    hire_rate_per_bale: Money | None = None
    hire_rate_per_ton: Money | None = None
    hire_rate_per_t: Money | None = None
    hire_rate_per_hour: Money | None = None
    hire_cap_acres: Amount | None = None
    hire_cap_ha: Amount | None = None
    also_hire: Flag = False
    comes_late_days: Annotated[int, _number(0, 60, whole=True)] | None = None
    price: Annotated[float, _number(0, 10_000_000, above=True)] | None = None
    years_kept: Annotated[float, _number(1, 40)] | None = None
    interest_pct: Annotated[float, _number(0, 50)] | None = None
    share_pct: Annotated[float, _number(0, 100, above=True)] | None = None


class LabourBlock(Block):
    """``[labour]``: hours of the family, hours of help that can be found, wages."""

    needed = (HOURS, ("machine_hours_a_day",))
    perhaps = (EXTRA_HOURS,)
    hours_by_half_month: HalfMonths | None = Field(
        default=None, description="the hours there are for field work"
    )
    hours_per_week_by_month: Months | None = None
    hours_per_week: Annotated[float, _number(0, 168)] | None = None
    workers: Annotated[float, _number(0, 1000, above=True)] = 1.0
    wage_per_hour: Money | None = None
    extra_hours_by_half_month: HalfMonths | None = None
    extra_hours_per_week_by_month: Months | None = None
    extra_hours_per_week: Hours | None = None
    extra_wage_per_hour: Money | None = None
    machine_hours_a_day: Annotated[float, _number(0, 24, above=True)] | None = Field(
        default=None, description="the hours a machine works on a good day"
    )
    bad_year: Flag = False


class OutletBlock(Block):
    """``[[outlet]]``: somebody who buys one product."""

    needed = (("name",), ("crop",))
    perhaps = (PRICE, LEAST, MOST, HAUL)
    name: Text | None = Field(default=None, description="who buys, in quotation marks")
    crop: CropName | None = Field(default=None, description="the crop in quotation marks")
    price_per_bu: Money | None = None
    price_per_cwt: Money | None = None
    price_per_ton: Money | None = None
    price_per_t: Money | None = None
    price_per_dt: Money | None = None
    least_bu: Amount | None = None
    least_cwt: Amount | None = None
    least_ton: Amount | None = None
    least_t: Amount | None = None
    least_dt: Amount | None = None
    most_bu: Amount | None = None
    most_cwt: Amount | None = None
    most_ton: Amount | None = None
    most_t: Amount | None = None
    most_dt: Amount | None = None
    haul_per_bu: Money | None = None
    haul_per_cwt: Money | None = None
    haul_per_ton: Money | None = None
    haul_per_t: Money | None = None
    haul_per_dt: Money | None = None
    sold_in_month: Month | None = None
    standing: Flag = False
    years: list[Year] = Field(default_factory=list)


class CropBlock(Block):
    """``[[crop]]``: the grower's own yield and price of one crop.

    ``weedy_price_off_pct`` is what grain with weeds in it brings less, ``weedy_from_loss_pct`` the loss of a
    field's yield to weeds from which its grain is sold as such.
    """

    needed = (("name",),)
    perhaps = (YIELD, PRICE)
    name: CropName | None = Field(default=None, description="the crop in quotation marks")
    yield_bu_per_acre: Positive | None = None
    yield_cwt_per_acre: Positive | None = None
    yield_lb_per_acre: Positive | None = None
    yield_ton_per_acre: Positive | None = None
    yield_t_per_ha: Positive | None = None
    yield_dt_per_ha: Positive | None = None
    price_per_bu: Money | None = None
    price_per_cwt: Money | None = None
    price_per_ton: Money | None = None
    price_per_t: Money | None = None
    price_per_dt: Money | None = None
    sold_in_month: Month | None = None
    weedy_price_off_pct: Annotated[float, _number(0, 90)] | None = None
    weedy_from_loss_pct: Annotated[float, _number(1, 100)] | None = None


class MarketBlock(Block):
    """``[market]``: what nobody near buys."""

    no_market: list[CropName] = Field(default_factory=list)


class CostsBlock(Block):
    """``[costs]``: the grower's own figures in place of those of the crop tables."""

    perhaps = (FUEL, NITROGEN)
    together = (("debt_payment_per_year", DEBT_MONTH),)
    fuel_per_gallon: Money | None = None
    fuel_per_litre: Money | None = None
    nitrogen_per_lb: Money | None = None
    nitrogen_per_kg: Money | None = None
    interest_pct: Annotated[float, _number(0, 50)] | None = None
    surplus_price_pct: Percent | None = None
    debt_payment_per_year: Annotated[float, _number(0, 100_000_000)] | None = None
    debt_payment_month: Month | None = Field(
        default=None, description="the month in which the debt is paid, 1 to 12"
    )


class LivestockBlock(Block):
    """``[livestock]``: hay the herd eats, or the herd it is worked out from.

    ``grazing_need_ton`` is what the herd has to graze in a year beside what it has for nothing, counted as
    hay: what is grazed here need not be rented, and no more is grazed than that.
    """

    needed = (HAY_NEED,)
    perhaps = (HAY_PRICE, LIVE_WEIGHT, GRAZING_NEED)
    together = (("head", LIVE_WEIGHT), ("head", ("days",)))
    hay_need_ton: Amount | None = Field(
        default=None, description="the hay the herd eats in a year, or how many head there are"
    )
    hay_need_t: Amount | None = None
    head: Annotated[float, _number(0, 1_000_000)] | None = None
    live_weight_lb: Annotated[float, _number(0, 5_000, above=True)] | None = Field(
        default=None, description="what one animal weighs"
    )
    live_weight_kg: Annotated[float, _number(0, 2_500, above=True)] | None = None
    days: Annotated[float, _number(0, 366)] | None = Field(
        default=None, description="the days of the year on which hay is fed"
    )
    grazing_need_ton: Amount | None = None
    grazing_need_t: Amount | None = None
    hay_price_per_ton: Money | None = None
    hay_price_per_t: Money | None = None


class StorageBlock(Block):
    """``[storage]``: dry room for hay."""

    needed = (HAY_STORE,)
    perhaps = (HAY_NOW,)
    hay_ton: Amount | None = Field(default=None, description="the hay that can be kept dry")
    hay_t: Amount | None = None
    hay_now_ton: Amount | None = None
    hay_now_t: Amount | None = None
    loss_pct: Annotated[float, _number(0, 90)] | None = None


class Span(Block):
    """A span of the year, both days counted."""

    first: MonthDay = Field(alias="from")
    last: MonthDay = Field(alias="to")


class LimitsBlock(Block):
    """``[limits]``: what the grower will not go below or above; without a key there is no such limit."""

    perhaps = (TARGET,)
    cash_floor: Annotated[float, _number(-100_000_000, 100_000_000)] | None = None
    fixed_cost_per_year: Annotated[float, _number(0, 100_000_000)] = 0.0
    cash_now: Annotated[float, _number(-100_000_000, 100_000_000)] = 0.0
    cash_floor_quarter: Annotated[float, _number(-100_000_000, 100_000_000)] | None = None
    bad_years_weight_pct: Annotated[float, _number(0, 100)] = 0.0
    count_weeds_left: Flag = False
    refuses: list[Annotated[str, _name("ban")]] = Field(default_factory=list)
    largest_share_pct: dict[Annotated[str, _name("share")], LandShare] = Field(default_factory=dict)
    least_share_pct: dict[Annotated[str, _name("share")], LandShare] = Field(default_factory=dict)
    soil_cover: list[Span] = Field(default_factory=list)
    target_shoots_per_m2: Density | None = None
    target_shoots_per_sq_ft: Annotated[float, _number(0, 100)] | None = None


SINGLE: dict[str, type[Block]] = {
    "farm": FarmBlock,
    "climate": ClimateBlock,
    "labour": LabourBlock,
    "market": MarketBlock,
    "costs": CostsBlock,
    "livestock": LivestockBlock,
    "storage": StorageBlock,
    "limits": LimitsBlock,
}
MANY: dict[str, type[Block]] = {
    "field": FieldBlock,
    "machine": MachineBlock,
    "outlet": OutletBlock,
    "crop": CropBlock,
}
#: Other spellings of a block's name.
SPELT = {"labor": "labour"}
NEEDED_BLOCKS = {
    "farm": "who and where the farm is",
    "field": "at least one field",
    "labour": "the hours there are for field work",
}
