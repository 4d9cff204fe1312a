"""An invented farm, invented tables and an invented result: plausible to look at, worth nothing as advice.

The printout is developed and tested against these, so that a change in the models cannot hide a fault of the
page, and hostile names can be put in anywhere.
"""

from __future__ import annotations

import dataclasses
from typing import Any

from rotation_opt.ledgers import (
    Balance,
    CashCourse,
    Competition,
    CropAccount,
    FieldDays,
    HiredWork,
    Job,
    RunnerUp,
    ShortDays,
)
from rotation_opt.records import (
    Alternative,
    AnnualWeed,
    CarryOver,
    Check,
    Crop,
    DatedOperation,
    Farm,
    Field,
    Figure,
    Labour,
    LeftOver,
    Machine,
    Operation,
    Outlet,
    OwnMachine,
    Patch,
    PlanFigures,
    Practice,
    Result,
    SeasonCourse,
    SeasonRow,
    Shading,
    Source,
    Stand,
    Weed,
    YearOnField,
)
from rotation_opt.tables import Tables

FIRST_YEAR = 2027
YEARS = 4


def tables() -> Tables:
    crops = {
        "oats": _crop("oats", "Oats", "spring cereal", "cash", "grain", small_grain=True),
        "winter_rye": _crop("winter_rye", "Rye", "fall cereal", "cash", "grain", small_grain=True),
        "maize": _crop("maize", "Corn", "row crop", "cash", "grain", name_uk="Maize"),
        "alfalfa": _crop("alfalfa", "Alfalfa", "hay", "hay", "hay", name_uk="Lucerne"),
    }
    weeds = {
        "creeping_thistle": Weed(
            key="creeping_thistle",
            latin="Cirsium arvense",
            name_us="Canada thistle",
            name_uk="Creeping thistle",
            short_us="thistle",
            short_uk="thistle",
        ),
        "field_bindweed": Weed(
            key="field_bindweed",
            latin="Convolvulus arvensis",
            name_us="Field bindweed",
            name_uk="Field bindweed",
            short_us="bindweed",
            short_uk="bindweed",
        ),
    }
    machines = {
        key: Machine(key=key, name_us=name, name_uk=name, hire_unit="ha", season="haymaking")
        for key, name in (("baler", "Round baler"), ("mower", "Mower"), ("combine", "Combine harvester"))
    }
    practices = {
        practice.key: practice
        for practice in (
            _practice("oats_plain", "oats", "Oats, sown early in usual rows"),
            _practice("oats_late", "oats", "Oats, sown late after two passes", usual=False),
            _practice("oats_nurse", "oats", "Oats underseeded with alfalfa", undersown="alfalfa"),
            _practice("rye_stubble", "winter_rye", "Fall rye after stubble tillage", between="stubble"),
            _practice("corn_cover", "maize", "Corn after a rye cover crop", cover="winter_rye"),
            _practice("alfalfa_3", "alfalfa", "Alfalfa hay, three cuts sold or fed", cuts=3, cut_use="sell"),
            _practice("alfalfa_3_leave", "alfalfa", "Alfalfa, three cuts left", cuts=3, cut_use="leave"),
        )
    }
    sources = {
        "demo": Source(
            key="demo",
            kind="invented",
            authors="none",
            year="none",
            title="Invented for this test",
            publisher="none",
            address="none",
        ),
        "invented_1999": Source(
            key="invented_1999",
            kind="published",
            authors="Invented, A.; Invented, B.",
            year="1999",
            title="An invented paper on oats",
            publisher="Journal of Invented Results 1:1-2",
            address="none",
        ),
    }
    figures = {
        (figure.table, figure.subject, figure.quantity): figure
        for figure in (
            _figure("crop", "oats", "yield_t_ha", 2.9, unit="t/ha", source="invented_1999", mark="seen"),
            _figure("money", "any", "fuel_per_l", 1.05, unit="USD/l", source="demo", mark="invented"),
        )
    }
    made = Tables(
        "invented tables",
        {
            "crops": crops,
            "weeds": weeds,
            "annual_weeds": {
                "brome": AnnualWeed(
                    key="brome",
                    latin="Bromus",
                    name_us="downy brome",
                    name_uk="barren brome",
                    short_us="brome",
                    short_uk="brome",
                    life="winter annual",
                    group_us="winter annual grasses",
                    group_uk="overwintering annual grasses",
                ),
                "lambsquarters": AnnualWeed(
                    key="lambsquarters",
                    latin="Chenopodium album",
                    name_us="lambsquarters",
                    name_uk="fat hen",
                    short_us="lambsqtrs",
                    short_uk="fat hen",
                    life="summer annual",
                    group_us="summer annual broadleaf weeds",
                    group_uk="spring-germinating broadleaf weeds",
                ),
            },
            "machines": machines,
            "operations": {},
            "programmes": {},
            "practices": practices,
            "succession": (),
            "climates": {},
            "sources": sources,
            "cautions": (),
        },
        figures,
    )
    for table, subject, quantity in figures:
        made.number(table, subject, quantity)
    return made


def farm(**changes: Any) -> Farm:
    fields = (
        Field(
            name="Home 40",
            area_ha=16.2,
            history=("oats_plain", "corn_cover", "oats_plain"),
            as_now=("corn_cover", "oats_plain", "corn_cover", "oats_plain"),
            patches=(_patch("creeping_thistle", 4.0, 14.0), _patch("field_bindweed", 1.2, 31.0)),
            lease_end_year=None,
            landlord_share=0.0,
            rent_per_ha=0.0,
            soil="medium",
            yield_ratio=1.0,
            bans=frozenset(),
        ),
        Field(
            name="North quarter",
            area_ha=30.0,
            history=("corn_cover",),
            as_now=("oats_plain", "corn_cover", "oats_plain", "corn_cover"),
            patches=(_patch("creeping_thistle", 9.0, 6.3),),
            lease_end_year=2028,
            landlord_share=0.33,
            rent_per_ha=0.0,
            soil="wet",
            yield_ratio=0.9,
            bans=frozenset({"fallow"}),
        ),
    )
    values: dict[str, Any] = {
        "name": "Invented Ridge Farm",
        "place": "Nowhere County",
        "adviser": "",
        "invented": True,
        "region": "us",
        "units": "us",
        "currency": "USD",
        "station": "invented",
        "climate_note": "",
        "first_year": FIRST_YEAR,
        "years": YEARS,
        "decided_on": "2026-12-01",
        "organic": True,
        "fields": fields,
        "machines": {
            "baler": _own("baler", "hire"),
            "mower": _own("mower", "own"),
            "combine": _own("combine", "none"),
        },
        "labour": Labour(
            hours_by_half_month=(60.0,) * 24,
            wage_per_h=20.0,
            extra_hours_by_half_month=(10.0,) * 24,
            extra_wage_per_h=28.0,
        ),
        "outlets": (
            Outlet(
                name="Valley mill",
                crop="oats",
                price_per_t=310.0,
                least_t=20.0,
                most_t=80.0,
                years=(2027, 2028),
                haul_per_t=12.0,
            ),
        ),
        "no_market": frozenset({"winter_rye"}),
        "yields_t_ha": {},
        "prices_per_t": {},
        "costs": {},
        "feed_need_t": 60.0,
        "feed_price_per_t": 190.0,
        "hay_storage_t": 80.0,
        "hay_stored_now_t": 10.0,
        "hay_storage_loss": 0.05,
        "cash_floor": 15000.0,
        "fixed_cost": 9000.0,
        "refuses": frozenset({"grazing"}),
        "largest_share": {"alfalfa": 0.6},
        "least_share": {"legume": 0.2},
        "soil_cover": ((305, 364),),
        "target_shoots_per_m2": 1.0,
        "file": "invented.toml",
    }
    return Farm(**{**values, **changes})


def result(**changes: Any) -> Result:
    """Four alternatives over four years on two fields."""
    holding = changes.pop("farm", farm())
    first, second = (field.name for field in holding.fields[:2])
    nurse = ("oats_nurse", "alfalfa_3", "alfalfa_3", "rye_stubble")
    left = ("oats_nurse", "alfalfa_3_leave", "alfalfa_3_leave", "oats_late")
    now = {first: holding.fields[0].as_now, second: holding.fields[1].as_now}
    alternatives = (
        _alternative(
            holding,
            "as_now",
            "As now",
            now,
            apart="Corn and oats by turns, as you do it today.",
            choose_if="you can live with more thistle every year",
            money=310.0,
            roots=(0.9, 1.34, 1.8),
            gap=None,
            breaks=("Nothing covers the soil on Home 40 in November 2028",),
        ),
        _alternative(
            holding,
            "most_money",
            "Most money",
            {first: nurse, second: holding.fields[1].as_now},
            apart="One field in hay, the other stays in grain.",
            choose_if="the bank comes first",
            money=402.0,
            roots=(0.5, 0.78, 1.1),
            gap=0.0,
        ),
        _alternative(
            holding,
            "balanced",
            "Balanced",
            {first: nurse, second: nurse},
            apart="Both fields go through hay, sold to the neighbors.",
            choose_if="you want to be rid of most of it and still pay the bills",
            money=371.0,
            roots=(0.1, 0.31, 0.52),
            gap=0.0041,
        ),
        _alternative(
            holding,
            "fastest",
            "Fastest clean-up",
            {first: left, second: left},
            apart="Hay cut and left where it falls, late-sown oats after it.",
            choose_if="the weed comes first",
            money=265.0,
            roots=(0.03, 0.12, 0.33),
            gap=None,
        ),
    )
    agreed = (
        Check(what="net return", agrees=True, largest_difference=0.0, unit="USD"),
        Check(what="weed roots", agrees=True, largest_difference=1e-9, unit="ha"),
    )
    values: dict[str, Any] = {
        "farm": holding,
        "alternatives": alternatives,
        "start_burden_ha": 3.4,
        "checks": {plan.key: agreed for plan in alternatives},
        "left_out": (("Soybeans", "do not ripen before frost in this climate"),),
        "assumptions": ("Every year has the mean weather of 1991-2020.",),
        "cautions": ("Balers and PTO shafts kill: stop the engine before you clear a blockage.",),
        "distances": {
            ("as_now", "most_money"): 0.3,
            ("as_now", "balanced"): 0.75,
            ("as_now", "fastest"): 0.7,
        },
        "years_to_target": {
            "as_now": (None, None, None),
            "most_money": (4, None, None),
            "balanced": (2, 3, None),
            "fastest": (2, 2, 3),
        },
        "seconds": {"season": 3.1, "plans": 12.7},
        "carry_over": CarryOver(
            years=3,
            interest_rate=0.04,
            nitrogen_per_kg=4.0,
            plans={
                "as_now": _left(4200.0, 120.0, 0.0),
                "most_money": _left(2400.0, 0.0, 0.0),
                "balanced": _left(310.0, 850.0, 12.0),
                "fastest": _left(0.0, 0.0, 24.0),
            },
        ),
        "cash": {plan.key: _cash(place) for place, plan in enumerate(alternatives)},
        "balances": {plan.key: _balances(place) for place, plan in enumerate(alternatives)},
        "field_days": {plan.key: _field_days(place) for place, plan in enumerate(alternatives)},
        "jobs": {plan.key: _jobs(holding, plan) for plan in alternatives},
        "accounts": {plan.key: _accounts(holding, plan) for plan in alternatives},
        "hired": {
            plan.key: tuple(
                HiredWork(year=year, machine="baler", unit="bale", amount=412.0, cost=5768.0)
                for year in range(holding.first_year, holding.first_year + YEARS)
            )
            for plan in alternatives
        },
        "shading": tuple(_shading(key, cover) for key, cover in (("alfalfa_3", 0.93), ("oats_plain", 0.61))),
        "weed_days": {"creeping_thistle": {"first_shoots": 104, "bud": 161}, "field_bindweed": {"bud": 170}},
        "runners_up": {plan.key: _seconds(holding, plan) for plan in alternatives if plan.key != "as_now"},
        "reserve_today": {field.name: {"creeping_thistle": 0.71} for field in holding.fields},
        "annual_seed": {
            plan.key: {
                "brome": ((1.0, 1.0, 1.0),) + ((0.02, 0.3, 1.4),) * (YEARS - 1) + (brome,),
                "lambsquarters": ((1.0, 1.0, 1.0),) * YEARS + ((0.4, 0.8, 4.0),),
            }
            for plan, brome in zip(
                alternatives,
                ((0.01, 0.04, 0.2), (1.5, 6.2, 80.0), (0.5, 2.9, 9.0), (0.0, 0.0, 0.0)),
                strict=True,
            )
        },
    }
    return Result(**{**values, **changes})


def _jobs(holding: Farm, plan: Alternative) -> tuple[Job, ...]:
    """A mowing when the weed is at bud and a harvest, on each field in each year; the second one hired."""
    found = []
    for field in holding.fields:
        for place, key in enumerate(plan.practices[field.name]):
            year = holding.first_year + place
            same = {"field": field.name, "harvest_year": year, "crop": key.partition("_")[0]}
            mown = {"operation": "mow", "machine": "mower", "stage": "when half the thistles are at bud"}
            cut = {"operation": "cut", "machine": "baler", "stage": ""}
            found += [
                Job(
                    **same,
                    **mown,
                    first=f"{year}-06-12",
                    last=f"{year}-06-14",
                    hired=False,
                    hours=6.2,
                    labour_h=6.8,
                ),  # type: ignore[arg-type]
                Job(
                    **same,
                    **cut,
                    first=f"{year}-07-30",
                    last=f"{year}-08-02",
                    hired=True,
                    hours=11.4,
                    labour_h=0.0,
                ),  # type: ignore[arg-type]
            ]
    return tuple(sorted(found, key=lambda job: (job.first, job.field)))


def _accounts(holding: Farm, plan: Alternative) -> tuple[CropAccount, ...]:
    """All that a year brings goes to one crop, whatever stands; the farm as a whole has a fixed cost."""
    area = sum(field.area_ha for field in holding.fields)
    found = []
    for place, net in enumerate(plan.figures.net_return):
        year = holding.first_year + place
        costs = {"sown material": -900.0, "own machines": -2100.0, "hired work": -5768.0, "rent": -1200.0}
        money = {"sales": net + 13968.0, **costs}
        crop = CropAccount(
            year=year,
            crop="oats",
            area_ha=area,
            made_t=120.0,
            sown_kg={"oats": 4700.0},
            nitrogen_kg=310.0,
            money=money,
        )
        whole = CropAccount(
            year=year,
            crop="",
            area_ha=0.0,
            made_t=0.0,
            sown_kg={},
            nitrogen_kg=0.0,
            money={"fixed cost": -4000.0},
        )
        found += [crop, whole]
    return tuple(found)


def _shading(practice: str, cover: float) -> Shading:
    return Shading(
        practice=practice,
        previous="oats_plain",
        weed="creeping_thistle",
        days=(60, 120, 180, 240),
        cover=(0.1, 0.6, cover, 0.4),
        emerged=(0.0, 0.4, 1.0, 1.0),
        light=1.0 - cover,
        cover_at_half_up=cover - 0.2,
        harvest_day=228,
    )


def _seconds(holding: Farm, plan: Alternative) -> tuple[RunnerUp, ...]:
    """Every kind of second, one after another."""
    kinds: tuple[dict[str, Any], ...] = (
        {"net_a_year": -430.0, "roots": 0.06, "decided_by": "money"},
        {"net_a_year": 121.0, "roots": 0.23, "decided_by": "roots"},
        {"net_a_year": -55.0, "decided_by": "limit", "limits": ("the hours of work",)},
        {"net_a_year": 0.2, "roots": -0.01, "decided_by": "crops"},
        {"decided_by": "limit", "limits": ("the contract with Valley mill",)},
        {"decided_by": "rules", "rules": ("A stand of alfalfa stays for three years",)},
        {"decided_by": "unknown"},
    )
    found = []
    for field in holding.fields:
        for place in range(YEARS):
            kind = kinds[len(found) % len(kinds)]
            path = ("oats_plain",) * YEARS if "net_a_year" in kind else ()
            year = holding.first_year + place
            found.append(RunnerUp(field=field.name, year=year, practices=path, **kind))
    return tuple(found)


def _cash(place: int) -> CashCourse:
    """Money that is spent in spring and comes back in autumn, the last of it after the plan."""
    quarters = [(FIRST_YEAR - 1, 4)]
    quarters += [
        (year, quarter) for year in range(FIRST_YEAR, FIRST_YEAR + YEARS) for quarter in (1, 2, 3, 4)
    ]
    quarters.append((FIRST_YEAR + YEARS, 1))
    paid = {4: -1_000.0, 1: -500.0, 2: -20_000.0 - 4_000.0 * place, 3: -6_000.0}
    sold = {4: 30_000.0, 1: 9_000.0}
    parts = {
        "labour": tuple(paid[quarter] for _, quarter in quarters),
        "sales": tuple(0.0 if year < FIRST_YEAR else sold.get(quarter, 0.0) for year, quarter in quarters),
    }
    left, now = [], 40_000.0
    for at in range(len(quarters)):
        now += sum(values[at] for values in parts.values())
        left.append(now)
    return CashCourse(
        quarters=tuple(quarters),
        parts=parts,
        by_plan_year=(0.0,) * YEARS,
        opening=40_000.0,
        left=tuple(left),
        last=len(quarters) - 2,
    )


def _balances(place: int) -> tuple[Balance, ...]:
    hay = 40.0 * (place + 1)
    return (
        Balance(
            what="hay",
            unit="t",
            there={"cut": (hay,) * YEARS, "from store": (10.0,) * YEARS, "bought": (30.0,) * YEARS},
            gone={
                "sold": (hay - 30.0,) * YEARS,
                "fed": (60.0,) * YEARS,
                "into store": (8.0,) * YEARS,
                "lost in store": (2.0,) * YEARS,
                "cut and left": (0.0,) * YEARS,
            },
        ),
        Balance(
            what="hours",
            unit="h",
            there={"needed": (402.0 + place,) * YEARS},
            gone={"own": (390.0 + place,) * YEARS, "extra paid": (12.0,) * YEARS},
        ),
        Balance(
            what="oats",
            unit="t",
            there={"made": (80.0,) * YEARS},
            gone={"landlord": (10.0,) * YEARS, "Valley mill": (50.0,) * YEARS, "any buyer": (20.0,) * YEARS},
        ),
    )


def _field_days(place: int) -> FieldDays:
    short = ShortDays(
        machine="mower", year=FIRST_YEAR + 1, half_month=11, missing_h=14.0, needed_h=51.0, can_hire=True
    )
    meeting = Competition(
        year=FIRST_YEAR,
        half_month=10,
        cutting_h=25.0,
        planting_h=56.0,
        there_h=86.0,
        hay_days=(5.1, 2.8),
        field_days=(8.7, 6.5),
    )
    return FieldDays(
        short=(short,) if place else (),
        competition=meeting if place else None,
        borrowed_from="Invented Plain",
    )


def season_rows() -> tuple[SeasonRow, ...]:
    return (
        SeasonRow(
            previous="oats_plain",
            practice="alfalfa_3",
            weed="creeping_thistle",
            enough_light=0.65,
            head_start_days=24.0,
            light=0.18,
            reserve_end=(0.2, 0.34, 0.5),
            passes=0,
            cuts=3,
            now=False,
        ),
        SeasonRow(
            previous="oats_plain",
            practice="corn_cover",
            weed="creeping_thistle",
            enough_light=0.65,
            head_start_days=None,
            light=0.83,
            reserve_end=(0.9, 1.12, 1.2),
            passes=7,
            cuts=0,
            now=True,
        ),
    )


def season_course(**changes: Any) -> SeasonCourse:
    """A stand of hay: cover and shoots are straight lines, so that a reader can work out every mark."""
    days = range(-100, 305)
    likely = [1.0 - (day + 100) / 600 for day in days]
    values: dict[str, Any] = {
        "previous": "oats_plain",
        "practice": "alfalfa_3",
        "weed": "creeping_thistle",
        "shift_days": 0,
        "first_day": -100,
        "harvest_day": 205,
        "bud_day": 165,
        "frost_day": 300,
        "cover": tuple(min(0.9, max(0.05, (day - 90) / 60)) if day < 280 else 0.1 for day in days),
        "stands": (Stand(crop="alfalfa", first_day=-100, last_day=304),),
        "light": tuple(1.0 - min(0.9, max(0.05, (day - 90) / 60)) if day < 280 else 0.9 for day in days),
        "enough_light": 0.65,
        "fitted_light": (0.63, 0.66, 0.7),
        "mean_light": 0.31,
        "head_start_days": 18.0,
        "emerged": tuple(min(1.0, max(0.0, (day - 110) / 40)) for day in days),
        "shoots": tuple(min(0.5, max(0.0, (day - 110) / 40)) for day in days),
        "reserve": tuple((0.9 * share, share, min(1.0, 1.1 * share)) for share in likely),
        "left_alone": (0.9, 0.95, 1.0),
        "work_alone": (0.5, 0.55, 0.6),
        "shade_alone": (0.8, 0.83, 0.85),
        "operations": (
            DatedOperation(day=-90, operation="cut", programme="hay", part="harvest", stage=""),
            DatedOperation(day=160, operation="cut", programme="hay", part="harvest", stage="thistle in bud"),
            DatedOperation(day=205, operation="cut", programme="hay", part="harvest", stage=""),
        ),
        "weed_figures": 21,
        "weathers": (),
    }
    return SeasonCourse(**{**values, **changes})


def operation(day: int, name: str) -> DatedOperation:
    return DatedOperation(day=day, operation=name, programme="p", part="in_crop", stage="")


def with_operations() -> Tables:
    """The tables with a few kinds of work."""
    kinds = {"plough": "tillage", "drill": "sowing", "cut": "cut", "rake": "rake"}
    made = tables()
    for key, kind in kinds.items():
        record = Operation(key=key, name_us=f"{key}ing", name_uk=key, machine="none", kind=kind)  # type: ignore[arg-type]
        made.operations[key] = record  # type: ignore[index]
    return made


def _alternative(
    holding: Farm,
    key: str,
    title: str,
    practices: dict[str, tuple[str, ...]],
    *,
    apart: str,
    choose_if: str,
    money: float,
    roots: tuple[float, float, float],
    gap: float | None,
    breaks: tuple[str, ...] = (),
) -> Alternative:
    area = sum(field.area_ha for field in holding.fields)
    hay_fields = sum("alfalfa_3" in years for years in practices.values())
    start = 3.4
    course = tuple(
        tuple(start * (1 + (share - 1) * year / YEARS) for share in roots) for year in range(YEARS + 1)
    )
    busy = tuple(72.0 if span == 11 else 30.0 for span in range(24))
    figures = PlanFigures(
        net_return=tuple(money * area + 900.0 * year for year in range(YEARS)),
        net_return_per_ha_year=money + 1350.0 / area,
        cash=tuple(money * area - 4000.0 + 700.0 * year for year in range(YEARS)),
        burden=course,  # type: ignore[arg-type]
        labour_hours=(busy,) * YEARS,
        extra_labour_hours=(tuple(12.0 if span == 11 else 0.0 for span in range(24)),) * YEARS,
        machine_hours={"mower": (busy,) * YEARS},
        hired_hours={"baler": (14.0 * hay_fields,) * YEARS},
        hire_cost=(900.0 * hay_fields,) * YEARS,
        extra_labour_cost=(70.2,) * YEARS,
        extra_hire_cost=(0.0,) * YEARS,
        made_t={"alfalfa": (0.0, 90.0 * hay_fields, 95.0 * hay_fields, 0.0), "oats": (80.0,) * YEARS},
        sold_t={"alfalfa @ any buyer": (0.0, 20.0 * hay_fields, 25.0 * hay_fields, 0.0)},
        fed_t=(0.0, 60.0, 60.0, 0.0) if hay_fields else (0.0,) * YEARS,
        feed_bought_t=(60.0, 0.0, 0.0, 60.0) if hay_fields else (60.0,) * YEARS,
        hay_stored_t=(0.0,) * YEARS,
        unsold_t={},
        cut_and_left_ha=(0.0, 46.2, 46.2, 0.0) if key == "fastest" else (0.0,) * YEARS,
        bare_weeks_per_field_year=9.4 if key == "as_now" else 4.1,
    )
    years = tuple(
        YearOnField(
            field=field,
            year=holding.first_year + place,
            practice=practice,
            yield_t_ha=3.1,
            weed_loss=0.04,
            net_return_per_ha=money,
            reserve={"creeping_thistle": roots},
            shoots_per_m2={"creeping_thistle": (roots[0] * 9, roots[1] * 9, roots[2] * 9)},
            bare_weeks=4.0,
        )
        for field, keys in practices.items()
        for place, practice in enumerate(keys)
    )
    return Alternative(
        key=key,
        title=title,
        apart=apart,
        choose_if=choose_if,
        practices=practices,
        figures=figures,
        fields=years,
        breaks=breaks,
        proven_gap=gap,
        same_as="",
    )


def _left(weeds_cost: float, nitrogen_kg: float, stand_ha: float) -> LeftOver:
    return LeftOver(
        weeds_cost=(0.4 * weeds_cost, weeds_cost, 3.0 * weeds_cost),
        nitrogen_kg=nitrogen_kg,
        nitrogen_worth=4.0 * nitrogen_kg,
        stand_ha=stand_ha,
        stand_worth=171.0 * stand_ha,
    )


def renamed(record: Any, **changes: Any) -> Any:
    """A copy of a frozen record with some fields changed."""
    return dataclasses.replace(record, **changes)


def _crop(key: str, name: str, group: str, kind: Any, product: Any, **more: Any) -> Crop:
    return Crop(
        key=key,
        name_us=name,
        name_uk=more.get("name_uk", name),
        short_us=name[:10],
        short_uk=more.get("name_uk", name)[:10],
        kind=kind,
        group=group,
        family="grass",
        life="annual",
        small_grain=more.get("small_grain", False),
        legume=kind == "hay",
        product=product,
        bushel_kg=14.5 if key == "oats" else None,
    )


def _practice(key: str, crop: str, name: str, **changes: Any) -> Practice:
    values: dict[str, Any] = {
        "key": key,
        "crop": crop,
        "name_us": name,
        "name_uk": name,
        "usual": True,
        "needs_stand": "",
        "leaves_stand": "",
        "sowing": "spring",
        "sowing_shift_days": 0,
        "row_spacing_m": 0.18,
        "sowing_rate_ratio": 1.0,
        "between": "",
        "cover": "",
        "sow": "drill",
        "in_crop": "",
        "harvest": "combine",
        "undersown": "",
        "cuts": 0,
        "cut_use": "",
        "yield_ratio": 1.0,
        "tags": frozenset(),
    }
    return Practice(**{**values, **changes})


def _patch(weed: str, area_ha: float, shoots: float) -> Patch:
    return Patch(weed=weed, area_ha=area_ha, shoots_per_m2=shoots, counted_on="2026-06-20", stage="bud")


def _own(machine: str, status: Any) -> OwnMachine:
    return OwnMachine(
        machine=machine,
        status=status,
        width_m=3.0,
        hours_a_day=8.0,
        units=1,
        hire_rate=None,
        hire_cap_ha=None,
        also_hire=False,
    )


def _figure(table: str, subject: str, quantity: str, value: float, **more: Any) -> Figure:
    return Figure(
        table=table,
        subject=subject,
        quantity=quantity,
        value=value,
        low=None,
        high=None,
        unit=more["unit"],
        source=more["source"],
        mark=more["mark"],
        where="none",
        note="none",
    )
