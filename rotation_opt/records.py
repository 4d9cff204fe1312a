"""The nouns of the trade, as frozen records that every other room passes around.

Units are in the names. Money is in the currency of the farm file, per hectare unless the name says
otherwise. Days are whole numbers counted from 0 = 1 January of the harvest year; the autumn before it is
negative (-1 is 31 December). Every year has 365 days.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from rotation_opt.ledgers import Balance, CashCourse, CropAccount, FieldDays, HiredWork, Job, RunnerUp
from rotation_opt.promises import FollowUp

# ---------------------------------------------------------------- crop tables


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where a figure comes from."""

    key: str
    kind: Literal["published", "standard", "data", "derived", "practice", "memory", "judgement", "invented"]
    authors: str
    year: str
    title: str
    publisher: str
    address: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One cited number; ``low`` and ``high`` are None where the source gives no range."""

    table: str
    subject: str
    quantity: str
    value: float
    low: float | None
    high: float | None
    unit: str
    source: str
    mark: Literal["seen", "memory", "derived", "practice", "judgement", "invented", "fitted"]
    where: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Crop:
    """A crop, by key; its numbers are figures (table ``crop``)."""

    key: str
    name_us: str
    name_uk: str
    short_us: str  # at most 10 characters, for narrow tables
    short_uk: str
    kind: Literal["cash", "hay", "cover", "fallow", "product"]
    group: str  # crop type used for "is this a different plan?": "fall cereal", "hay", "row crop", ...
    family: str  # botanical family, lower case
    life: Literal["annual", "winter annual", "perennial", "none"]
    small_grain: bool
    legume: bool
    product: Literal["grain", "hay", "standing", "silage", "roots", "none"]
    bushel_kg: float | None  # weight of one bushel in the trade; None where it is not sold by the bushel


@dataclass(frozen=True, slots=True, kw_only=True)
class Weed:
    """A creeping perennial; its numbers are figures (table ``weed``)."""

    key: str
    latin: str
    name_us: str
    name_uk: str
    short_us: str
    short_uk: str
    many_us: str = "shoots"  # several of its shoots: "half the thistles are at bud"
    many_uk: str = "shoots"
    bud_words: str = "are at bud"


@dataclass(frozen=True, slots=True, kw_only=True)
class AnnualWeed:
    """An annual weed that lives on as seed in the soil; its numbers are figures (table ``annual_weed``)."""

    key: str
    latin: str
    name_us: str
    name_uk: str
    short_us: str
    short_uk: str
    life: Literal["summer annual", "winter annual"]
    group_us: str  # the weeds it stands for, plural
    group_uk: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """A machine; its numbers are figures (table ``machine``)."""

    key: str
    name_us: str
    name_uk: str
    hire_unit: Literal["ha", "bale", "t", "h"]
    season: Literal["tillage", "sowing", "weeding", "mowing", "haymaking", "harvest"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Operation:
    """One kind of pass over a field; its numbers are figures (table ``operation``)."""

    key: str
    name_us: str
    name_uk: str
    machine: str  # machine key, or "none" (hand work, frost, nothing)
    kind: Literal[
        "tillage",
        "sowing",
        "weeding",
        "mowing",
        "cut",
        "bale",
        "rake",
        "harvest",
        "end_cover",
        "grazing",
        "spreading",
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One line of a programme of work, not yet dated.

    ``anchor`` is the event that dates it; ``offset_days`` counts from that event. With ``interval_days``
    greater than 0 the pass is repeated ``times`` times at that interval, as long as the day lies before
    ``until`` (an anchor, less ``until_gap_days``). With ``again`` = "regrowth" it is repeated each time the
    weed has come up again and has its leaves, and the interval is only the least time between two passes.
    """

    programme: str
    order: int
    operation: str
    anchor: str
    offset_days: int
    interval_days: int
    times: int
    until: str
    until_gap_days: int
    again: Literal["", "regrowth"] = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Practice:
    """What one field does from the previous harvest to its own harvest."""

    key: str
    crop: str
    name_us: str
    name_uk: str
    usual: bool  # the plain way to grow this crop: used for "as now" and for the field history
    needs_stand: str  # "alfalfa:2" = only after a practice that leaves that stand; "" = none needed
    leaves_stand: str  # "" = nothing stands after harvest
    sowing: Literal["fall", "late_summer", "frost", "spring", "late_spring", "summer", "none"]
    sowing_shift_days: int  # against the usual date of the crop
    row_spacing_m: float
    sowing_rate_ratio: float  # against the usual rate
    between: str  # programme between crops, "" = none
    cover: str  # cover crop grown between crops, "" = none
    sow: str  # programme of seedbed and sowing
    in_crop: str  # programme of weed work in the crop
    harvest: str  # programme of harvest (or of cuts)
    undersown: str  # crop sown under this one, "" = none
    cuts: int  # cuts of hay or green manure in the harvest year
    cut_use: Literal["", "sell", "standing", "leave", "graze"]
    yield_ratio: float  # against the crop's base yield (stand year, row width)
    tags: frozenset[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchPractice:
    """Work on a small patch by hand or under a cover; its numbers are figures (table ``patch``).

    ``anchor`` to ``again`` date its passes as in `Step`; a cover is laid on the first of them.
    """

    key: str
    name_us: str
    name_uk: str
    kind: Literal["cover", "dig", "pull", "mow"]
    crop: Literal["gone", "cut", "stands"]  # what becomes of the crop on the patch
    operation: str  # what each pass does to the shoots; "" for a cover
    anchor: str
    offset_days: int
    interval_days: int
    times: int
    until: str
    until_gap_days: int
    again: Literal["", "regrowth"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A succession rule and the sentence printed when it says no."""

    key: str
    kind: Literal["break", "run", "not_after", "phase_least", "phase_most"]
    subject: str  # crop key, "family:<x>", "group:<x>" or "small_grain"
    other: str  # not_after: what may not come before; else ""
    years: int
    sentence: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """Monthly normals of one station."""

    key: str
    country: str
    latitude: float
    longitude: float
    elevation_m: float
    tmax_c: tuple[float, ...]
    tmin_c: tuple[float, ...]
    precip_mm: tuple[float, ...] | None
    tmax_daily_sd_c: tuple[float, ...] | None
    tmin_daily_sd_c: tuple[float, ...] | None
    month_sd_c: tuple[float, ...] | None = None  # of monthly means, from year to year
    period: str
    source: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """A sentence printed where work can hurt someone or money is projected."""

    key: str
    topic: str
    applies: str  # what a plan must contain for it to be printed; "always"
    rank: int  # order on the page
    text_us: str
    text_uk: str
    source: str


# ---------------------------------------------------------------- the farm


@dataclass(frozen=True, slots=True, kw_only=True)
class Roots:
    """Living root of a weed before the plan, as share of an undisturbed stand."""

    at_harvest: float  # of the last crop
    in_autumn: float  # on 1 November after it


@dataclass(frozen=True, slots=True, kw_only=True)
class Patch:
    """A counted infestation: shoots per square metre on part of a field."""

    weed: str
    area_ha: float
    shoots_per_m2: float
    counted_on: str  # ISO date
    stage: Literal["emerging", "rosette", "stem", "bud", "flower", "mature", "stubble"]
    estimated: bool = False  # worked out from the counts of other years, not counted
    stops: int = 0  # that the count rests on; 0 = not known
    frame_m2: float = 0.0  # looked at on each of them
    roots: Roots | None = None  # where several years are known; None: what this count alone speaks for


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One field of the farm."""

    name: str
    area_ha: float
    history: tuple[str, ...]  # practice keys, oldest first; the last is the year before the plan
    as_now: tuple[str, ...]  # practice keys the grower would follow if nothing changed, one a plan year
    patches: tuple[Patch, ...]
    lease_end_year: int | None  # last harvest year that is sure; None = owned
    landlord_share: float  # share of sales that goes to the landlord, 0-1
    rent_per_ha: float
    soil: str  # "light", "medium", "heavy", "wet"
    yield_ratio: float  # this field against the farm's usual yields
    bans: frozenset[str]  # practice tags, crop keys or groups not allowed here
    yield_ratios: Mapping[str, float] = field(default_factory=dict)  # crop -> in place of yield_ratio
    begun: str = ""  # practice key of the first year if its work up to `Farm.decided_on` has been done

    def ratio_of(self, crop: str) -> float:
        """Yield of a crop here against the farm's usual yield of it."""
        return self.yield_ratios.get(crop, self.yield_ratio)


@dataclass(frozen=True, slots=True, kw_only=True)
class Purchase:
    """Terms of owning a machine, the grower's own; None = what the tables say."""

    price: float | None
    years_kept: float | None
    interest: float | None  # share a year


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnMachine:
    """How the grower gets at one machine."""

    machine: str
    status: Literal["own", "hire", "none"]
    width_m: float | None
    hours_a_day: float
    units: int
    hire_rate: float | None  # per ``hire_unit``; None = table figure
    hire_cap_ha: float | None  # most area a year that can be hired; None = no limit given
    also_hire: bool  # own it, and can hire more in a pinch
    hire_unit: Literal["ha", "bale", "t", "h"] | None = None  # of the own rate; None = as in table machines
    comes_late_days: int = 0  # a hired machine is there so many days after it is called
    buy: bool = False  # not owned; might be bought
    terms: Purchase | None = None  # of owning it; None = as the tables say
    share: float = 1.0  # owned with neighbors: this farm's part of its cost and of its hours


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlet:
    """A place to sell one product."""

    name: str
    crop: str
    price_per_t: float
    least_t: float  # a contract: at least this much every year in ``years``
    most_t: float | None
    years: tuple[int, ...]  # harvest years it holds for; empty = all
    haul_per_t: float
    sold_month: int | None = None  # calendar month 1-12 in which it pays; None = as the crop


@dataclass(frozen=True, slots=True, kw_only=True)
class Labour:
    """Hours the family and paid help can give."""

    hours_by_half_month: tuple[float, ...]  # 24 values: hours in each half-month
    wage_per_h: float
    extra_hours_by_half_month: tuple[float, ...]  # 24 values: extra paid help that can be found
    extra_wage_per_h: float
    bad_year: bool = False  # plan with the field days of a bad year


@dataclass(frozen=True, slots=True, kw_only=True)
class Farm:
    """All that the farm file says, in SI units and hectares."""

    name: str
    place: str
    adviser: str
    invented: bool  # a demo farm: said on every page
    region: Literal["us", "uk"]  # words: Canada thistle or creeping thistle
    units: Literal["us", "metric"]
    currency: str
    station: str
    climate_note: str
    daily_file: str = ""  # record of daily temperatures to use in place of the station's normals; "" = none
    first_year: int
    years: int
    decided_on: str  # ISO date: work dated before it cannot be done any more in the first year
    organic: bool
    fields: tuple[Field, ...]
    machines: Mapping[str, OwnMachine]
    labour: Labour
    outlets: tuple[Outlet, ...]
    no_market: frozenset[str]  # crops that nobody near buys
    yields_t_ha: Mapping[str, float]  # the grower's own usual yields, by crop
    prices_per_t: Mapping[str, float]  # the grower's own prices, by crop
    costs: Mapping[str, float]  # the grower's own money figures, by quantity (e.g. "fuel_per_l")
    feed_need_t: float  # hay the herd eats a year
    feed_price_per_t: float  # price of hay bought in
    hay_storage_t: float
    hay_stored_now_t: float
    hay_storage_loss: float  # share lost a year
    cash_floor: float  # least net cash in any one year; -inf = no limit
    fixed_cost: float  # a year, for the whole farm, beside rent; payments on debt are in it
    debt_per_year: float = 0.0  # part of fixed_cost: payments on debt
    debt_month: int = 12  # calendar month in which they are paid
    cash_now: float = 0.0  # in hand before the first money of the plan is spent
    cash_floor_quarter: float | None = None  # least cash in hand at the end of a quarter; None = not asked
    count_weeds_left: bool = False  # what the weeds left after the plan cost counts when plans are chosen
    bad_years_weight: float = 0.0  # 0 = chosen by expected money alone, 1 = by the mean of the worst fifth
    sold_month: Mapping[str, int] = field(default_factory=dict)  # crop -> month, the grower's own
    refuses: frozenset[str]  # crops, groups or practice tags the grower will not have
    largest_share: Mapping[str, float]  # crop or group -> largest share of the land, any year
    least_share: Mapping[str, float]  # group or "legume" -> least share of the land, averaged over the years
    soil_cover: tuple[tuple[int, int], ...]  # spans of days of the year (0-364) with no bare soil
    target_shoots_per_m2: float
    grazing_need_t: float | None = (
        None  # hay-like forage a year that would have to be rented; None = not known
    )
    weedy_price_off: Mapping[str, float] = field(
        default_factory=dict
    )  # crop -> share weedy grain brings less
    weedy_from_loss: Mapping[str, float] = field(default_factory=dict)  # crop -> loss from which it is weedy
    file: str


# ---------------------------------------------------------------- dated work


@dataclass(frozen=True, slots=True, kw_only=True)
class DatedOperation:
    """An operation on its day."""

    day: int
    operation: str
    programme: str
    part: Literal["between", "sow", "in_crop", "harvest", "break"]
    stage: str  # what to look for in the field, in words; "" = by date


@dataclass(frozen=True, slots=True, kw_only=True)
class CanopyPiece:
    """One stand of one crop within a season, from ``start_day`` (sowing or regrowth) to ``end_day``.

    ``cut_days`` reset it to stubble. ``start`` tells how it begins: from sowing, as a stand that
    regrows, or already grown (a hay stand carried over from the season before).
    """

    crop: str
    start: Literal["sown", "regrowth"]
    start_day: int
    end_day: int
    cut_days: tuple[int, ...]
    sowing_rate_ratio: float
    row_spacing_m: float
    stand_year: int  # 0 for annuals and for the sowing year
    under: bool  # grows below the main crop until that is harvested


@dataclass(frozen=True, slots=True, kw_only=True)
class Programme:
    """The season of one (previous, practice) pair: dated work and canopies, from previous harvest to own."""

    previous: str
    practice: str
    start_day: int  # previous harvest
    sowing_day: int | None
    harvest_day: int
    operations: tuple[DatedOperation, ...]
    canopies: tuple[CanopyPiece, ...]
    bare_days: int  # days with less than 30 % ground covered by crop, cover crop, stand or stubble residue
    bare_spans: tuple[tuple[int, int], ...]


# ---------------------------------------------------------------- results


@dataclass(frozen=True, slots=True, kw_only=True)
class YearOnField:
    """One field in one year of a plan."""

    field: str
    year: int
    practice: str
    yield_t_ha: float
    weed_loss: float  # share of yield lost on the whole field, 0-1
    net_return_per_ha: float
    reserve: Mapping[str, tuple[float, float, float]]  # weed -> low, likely, high, where infested
    shoots_per_m2: Mapping[str, tuple[float, float, float]]  # weed -> low, likely, high at bud stage
    bare_weeks: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanFigures:
    """Whole-farm figures of one plan, by year where a tuple (one value a plan year)."""

    net_return: tuple[float, ...]  # currency a year, whole farm
    net_return_per_ha_year: float
    cash: tuple[float, ...]
    burden: tuple[tuple[float, float, float], ...]  # low, likely, high; ha at full strength; first: today
    labour_hours: tuple[tuple[float, ...], ...]  # years x 24 half-months
    extra_labour_hours: tuple[tuple[float, ...], ...]
    machine_hours: Mapping[str, tuple[tuple[float, ...], ...]]  # machine -> years x 24
    hired_hours: Mapping[str, tuple[float, ...]]  # machine -> hours hired a year
    hire_cost: tuple[float, ...]  # all hired work, paid for in the harvest year
    extra_labour_cost: tuple[float, ...]  # extra help beyond the wage counted for all hours
    extra_hire_cost: tuple[float, ...]  # part of hire_cost: help for own machines in a pinch
    made_t: Mapping[str, tuple[float, ...]]  # crop -> t a year
    sold_t: Mapping[str, tuple[float, ...]]  # "crop @ outlet" -> t a year
    fed_t: tuple[float, ...]
    feed_bought_t: tuple[float, ...]
    hay_stored_t: tuple[float, ...]
    unsold_t: Mapping[str, tuple[float, ...]]
    cut_and_left_ha: tuple[float, ...]
    bare_weeks_per_field_year: float
    # weed -> low, likely, high ground its patches take if they spread: first today, then after each year; of
    # the fields that are farmed to the end, and so is the next
    patches_ha: Mapping[str, tuple[tuple[float, float, float], ...]] = field(default_factory=dict)
    # weed -> low, likely, high sound seeds shed on each m2 of today's patches, by year
    seed_shed_per_m2: Mapping[str, tuple[tuple[float, float, float], ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternative:
    """One plan shown to the grower."""

    key: str  # "as_now", "most_money", "other_way", "balanced", "fastest"
    title: str
    apart: str  # what sets it apart, one sentence
    choose_if: str
    practices: Mapping[str, tuple[str, ...]]  # field name -> practice key a year ("": not farmed)
    figures: PlanFigures
    fields: tuple[YearOnField, ...]
    breaks: tuple[str, ...]  # limits it does not keep, in words (only "as now" may have any)
    proven_gap: float | None  # share by which a better plan could still exist; None = not known
    same_as: str  # title of an alternative that came out the same, "" if none
    notes: tuple[str, ...] = field(default=())


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One line of the independent re-computation."""

    what: str
    agrees: bool
    largest_difference: float
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Risk:
    """What yields and prices that swing do to one plan; money in currency, whole farm.

    ``bad_years`` holds, for a ``dry`` and a ``wet`` year, the net return of each plan year if it were that
    year, less what it costs the years after it.
    """

    courses: int  # equally likely courses of the plan years
    expected_net: float  # a year
    worst_fifth_net: float  # a year, mean of the worst fifth of courses
    expected_present_value: float  # of all years
    worst_fifth_present_value: float
    year_below_floor: float  # chance that a year leaves less than the farm's least cash
    any_year_below_floor: float  # chance that at least one year of the plan does
    leanest_year: float  # net return of the leanest year in a course of the middle
    net_by_year: tuple[tuple[float, float, float], ...]  # lowest tenth below, expected, highest tenth above
    contract_short: (
        float | None
    )  # chance that a year's harvest is short of what is promised; None = nothing is
    bad_years: Mapping[str, tuple[float, ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineCase:
    """Own against hire for one machine, for the work that one plan has for it; money is an estimate."""

    machine: str
    now: Literal["own", "hire", "buy"]
    area_ha: float  # a year, each pass counted
    hours: float  # a year
    price: float  # paid, of this farm's part
    remaining: float  # when it is sold
    years_kept: float
    interest: float  # share a year
    owning: float  # a year, whether it works or not
    running: float  # a year, if all the work is done with an own one: fuel, repairs, driver
    hired: float  # a year, if all the work is hired
    break_even_ha: float  # area a year from which owning costs less; infinite = never


@dataclass(frozen=True, slots=True, kw_only=True)
class BuyingChoice:
    """The best plan with some machines bought, none of them (first), or all."""

    machines: tuple[str, ...]  # bought
    net: float  # mean net return a year of the plan, before what owning costs
    owning: float  # a year
    gain: float  # a year against buying nothing, what owning costs taken off; money of today, evened out
    gap: float | None  # share of the money by which a better plan could exist; None = not known
    why_not: str = ""  # no plan keeps all limits with it
    searched: bool = True  # if not, ``gain`` is the most there could be, below 0, and ``net`` is not known


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceStep:
    """One line of the table of what being cleaner costs: a plan between most money and fewest weeds."""

    burden_share: float  # likely roots, the years weighted as for choosing, as a share of today's
    net_return: float  # currency a year, whole farm, mean of the years
    labour_h: float  # hours a year
    proven_gap: float | None  # share of the money by which a better plan as clean could exist
    mark: Literal["", "knee", "bend"]
    alternative: str  # key of the alternative that stands there, "" if none


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOver:
    """What one plan leaves to the years after it, in money of its last year's end; in no other figure."""

    weeds_cost: tuple[float, float, float]  # low, likely, high; currency, whole farm
    nitrogen_kg: float  # that the first crop after the plan need not be given
    nitrogen_worth: float  # currency, whole farm
    stand_ha: float  # hay that stands on with years before it
    stand_worth: float  # currency, whole farm


@dataclass(frozen=True, slots=True, kw_only=True)
class CarryOver:
    """What all plans leave, and the figures that it is reckoned with."""

    years: int  # years after the plan in which the weeds left are charged to it
    interest_rate: float  # share a year
    nitrogen_per_kg: float  # currency
    plans: Mapping[str, LeftOver]  # by key of the alternative


LimitKind = Literal[
    "labour",
    "extra_labour",
    "machine",
    "hire",
    "hired_area",
    "cash",
    "cash_quarter",
    "largest",
    "least",
    "promise",
    "outlet",
    "storage",
    "feed",
    "debt",
    "lease",
    "landlord",
    "late",
    "bad_years",
    "ban",
    "refused",
    "no_market",
    "no_machine",
    "bare_soil",
]
"""Limits that can hold a plan back; the last five are there or not."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TightLimit:
    """A limit that holds back the plan with most money, and what a step more of it brings."""

    kind: LimitKind
    what: str  # machine or crop by key, or what a share is of, in words; "" where the kind says all
    outlet: str  # name of the outlet, "" if it is none
    half_month: int | None  # 0 = early January
    step: float  # how much looser, in ``unit``
    unit: Literal["h", "ha", "t", "share", "currency", "year", "day", "whole"]  # whole = the limit is gone
    gain: float  # a plan that brings so much more was found; currency a year, whole farm, evened out
    most: float | None  # no plan brings more than this more; None = not known
    field: str = ""  # name of the field, "" = the whole farm


@dataclass(frozen=True, slots=True, kw_only=True)
class Shading:
    """Ground covered in the year of one practice against the coming up of one weed, some days apart.

    Days count from 1 January of the harvest year, on the calendar.
    """

    practice: str
    previous: str  # practice key of the crop before
    weed: str
    days: tuple[int, ...]
    cover: tuple[float, ...]  # share of the ground under crop, cover crop or stand
    emerged: tuple[float, ...]  # share of the spring shoots that are up if left alone
    light: float  # mean share of full light left to the weed from its first shoots to bud stage
    cover_at_half_up: float  # cover on the day half the shoots are up
    harvest_day: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """Everything one run found out, ready to be shown."""

    farm: Farm
    alternatives: tuple[Alternative, ...]
    start_burden_ha: float
    checks: Mapping[str, tuple[Check, ...]]  # alternative key -> lines
    left_out: tuple[tuple[str, str], ...]  # practice or crop, reason in words
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]
    distances: Mapping[tuple[str, str], float]  # share of area-years under another crop type
    years_to_target: Mapping[str, tuple[int | None, int | None, int | None]]  # low, likely, high
    seconds: Mapping[str, float]  # wall time of each phase
    # alternative key -> annual weed -> low, likely, high seed in the soil as a multiple of today's: first
    # today (1), then after each harvest; area-weighted mean of the fields that are farmed to the end
    annual_seed: Mapping[str, Mapping[str, tuple[tuple[float, float, float], ...]]] = field(
        default_factory=dict
    )
    # creeping weed -> low, likely, high years that its seed lives in the soil
    seed_years: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)
    price_steps: tuple[PriceStep, ...] = ()  # from most roots to fewest
    price_doubts: tuple[str, ...] = ()  # what is not proven about them
    risks: Mapping[str, Risk] = field(default_factory=dict)  # alternative key -> good and bad years
    tight_limits: tuple[TightLimit, ...] = ()  # of the plan with most money; what brings most first
    cash: Mapping[str, CashCourse] = field(default_factory=dict)  # alternative key -> money by quarter
    balances: Mapping[str, tuple[Balance, ...]] = field(default_factory=dict)  # alternative key -> balances
    field_days: Mapping[str, FieldDays] = field(default_factory=dict)  # alternative key -> a bad year
    carry_over: CarryOver | None = None  # what each plan leaves to the years after it
    machine_cases: tuple[MachineCase, ...] = ()  # own against hire, for the plan with most money
    buying: tuple[BuyingChoice, ...] = ()  # buying nothing first; empty where nothing is to be bought
    jobs: Mapping[str, tuple[Job, ...]] = field(default_factory=dict)  # alternative key -> work by date
    accounts: Mapping[str, tuple[CropAccount, ...]] = field(default_factory=dict)  # by alternative
    hired: Mapping[str, tuple[HiredWork, ...]] = field(default_factory=dict)  # by alternative
    shading: tuple[Shading, ...] = ()  # of the practices in the plans, against the weed there is most of
    # creeping weed -> stage -> usual day of the calendar year (0 = 1 January), if it is reached
    weed_days: Mapping[str, Mapping[str, int]] = field(default_factory=dict)
    # alternative key -> what would come second on each field in each year; not of the present rotation
    runners_up: Mapping[str, tuple[RunnerUp, ...]] = field(default_factory=dict)
    # field -> creeping weed -> likely living root on 1 November before the plan, share of a full stand
    reserve_today: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    followup: FollowUp | None = None  # where the rest of an earlier plan was planned anew


# ---------------------------------------------------------------- one season, for a closer look


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonRow:
    """How one practice treats one weed over one season: a line of the ranking."""

    previous: str  # practice key
    practice: str  # practice key
    weed: str
    enough_light: float  # share of full light below which the weed grows less
    head_start_days: float | None  # days from that little light to half the shoots up; None = never
    light: float  # mean share of full light left to the weed from first shoots to bud stage
    reserve_end: tuple[float, float, float]  # low, likely, high in late autumn, from 1 (full) at the start
    passes: int  # of tillage, hoe, weeder or mower, from the harvest before to own harvest
    cuts: int  # of hay or green manure, and grazings
    now: bool  # the farm grows it: in the history of a field, or in what it would do if nothing changed


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """What covers the ground from one day to another within a season."""

    crop: str  # crop key
    first_day: int
    last_day: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CountedStand:
    """The stand counted on one field, before and after a season; low, likely, high."""

    field: str
    start: tuple[float, float, float]  # reserve at the harvest before, as a share of a full stand
    end: tuple[float, float, float]  # the same in late autumn
    shoots_per_m2: tuple[float, float, float]  # at about bud stage, where infested


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonCourse:
    """One practice against one weed, day by day from ``first_day`` on.

    The tuples marked "daily" have one value a day, up to late autumn after own harvest. Days count from
    1 January of the harvest year, south of the equator from 1 July before it: ``shift_days`` is what to add
    to get to the calendar.
    """

    previous: str  # practice key
    practice: str  # practice key
    weed: str
    shift_days: int
    first_day: int  # the harvest before
    harvest_day: int
    bud_day: int  # first day on which the weed is in bud
    frost_day: int  # autumn frost ends the shoots
    cover: tuple[float, ...]  # daily: share of ground covered by the crop
    stands: tuple[Stand, ...]  # what makes that cover
    light: tuple[float, ...]  # daily: share of full light left to the weed
    enough_light: float  # share of full light below which the weed grows less, as published
    fitted_light: tuple[
        float, float, float
    ]  # the same for what reaches the roots, in the sets of weed figures
    mean_light: float  # mean share of full light from first shoots to bud stage
    head_start_days: float | None  # as in SeasonRow
    emerged: tuple[float, ...]  # daily: share of the weed's spring shoots that are up if left alone
    shoots: tuple[float, ...]  # daily: shoots standing, as a share of what the roots can raise
    reserve: tuple[tuple[float, float, float], ...]  # daily: low, likely, high, from 1 at the start
    left_alone: tuple[float, float, float]  # reserve at the end with neither work nor crop
    work_alone: tuple[float, float, float]  # reserve at the end with the same work, but no shade
    shade_alone: tuple[float, float, float]  # reserve at the end with the same shade, but no work
    operations: tuple[DatedOperation, ...]
    weed_figures: int  # sets of weed figures that low to high covers
    weathers: tuple[str, ...]  # kinds of weather that low to high covers
    counted: CountedStand | None = None  # where the season follows the last crop of a field with a count
