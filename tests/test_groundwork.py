"""What is worked out before anything is chosen, and that every figure of the tables is really used in it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import fields, is_dataclass, replace
from functools import cache
from hashlib import sha256
from itertools import pairwise

import numpy as np
import pytest
from small_farm import TABLES, patch, small

import rotation_opt
from rotation_opt import tables as crop_tables
from rotation_opt.annuals import annual_course, annual_loss
from rotation_opt.bad_years import bad_years
from rotation_opt.carry_over import Following, stand_years_left
from rotation_opt.cash_dates import PaymentDates
from rotation_opt.farm_arrays import selection_data
from rotation_opt.groundwork import Groundwork, lay, weeds_of
from rotation_opt.ownership import owning
from rotation_opt.patch_growth import seed_years
from rotation_opt.patch_work import patch_outlooks
from rotation_opt.records import Farm, Outlet
from rotation_opt.scenarios import crops_of_products, swings_of
from rotation_opt.tables import Tables
from rotation_opt.tables.build import DRAW_TABLE, FIGURE_FILES

Key = tuple[str, str, str]

# ---------------------------------------------------------------- what is laid out


@cache
def plain() -> Groundwork:
    return lay(small(), TABLES)


def test_only_pairs_that_a_plan_may_use_or_that_are_grown_now_are_worked_out() -> None:
    g = plain()
    index = g.practice_list.index
    grown = {g.practice_list.of(key).crop for f in g.farm.fields for key in (*f.history, *f.as_now)}
    assert len(g.programmes) == int((g.pair_index >= 0).sum())
    for programme in g.programmes:
        before, this = index[programme.previous], index[programme.practice]
        assert g.pair_index[before, this] >= 0
        crops = {g.practice_list.of(key).crop for key in (programme.previous, programme.practice)}
        assert g.succession.may_follow[before, this] or crops <= grown


def test_arrays_speak_of_the_same_pairs_in_the_same_order() -> None:
    g = plain()
    assert g.response.pairs == tuple((each.previous, each.practice) for each in g.programmes)
    assert len(g.hours.labour) == len(g.budgets.cost_per_ha) == len(g.programmes)
    assert set(g.starts) == {field.name for field in g.farm.fields}


def test_each_step_is_told_and_timed() -> None:
    told: list[str] = []
    g = lay(small(keep=("spring_barley", "soybean")), TABLES, told.append)
    assert told == [
        "Dates and work of each practice",
        "What each season does to the weeds",
        "Hours and money",
    ]
    assert set(g.seconds) == {"practices", "season", "hours and money"}


def test_weeds_are_those_counted_in_the_order_they_are_met() -> None:
    first, *others = small().fields
    patches = (patch(1.0, 5.0, weed="couch_grass"), patch(1.0, 5.0), patch(2.0, 5.0, weed="couch_grass"))
    farm = replace(small(), fields=(replace(first, patches=patches), *others))
    assert weeds_of(farm) == ("couch_grass", "creeping_thistle")


# ---------------------------------------------------------------- every figure is read


def open_farm() -> Farm:
    """A farm of one field that refuses nothing, has every machine, stock and outlet, and all weeds."""
    every = small(keep=TABLES.practices)
    field = replace(every.fields[0], patches=tuple(patch(1.0, 10.0, weed=weed) for weed in TABLES.weeds))
    standing = tuple(
        Outlet(name=key, crop=key, price_per_t=80.0, least_t=0.0, most_t=None, years=(), haul_per_t=0.0)
        for key, crop in TABLES.crops.items()
        if crop.product == "standing"
    )
    stock = {"feed_need_t": 10.0, "grazing_need_t": 5.0}
    return replace(every, fields=(field,), refuses=frozenset(), outlets=standing, **stock)


@cache
def own_tables() -> Tables:
    """The shipped tables, read once more, so that what others look up is not counted."""
    return crop_tables.read(crop_tables.folder())  # type: ignore[arg-type]


@cache
def open_ground() -> Groundwork:
    return lay(open_farm(), own_tables())


def annuals_of(g: Groundwork) -> tuple[object, ...]:
    """What the seasons of a farm do to annual weeds; worked out for chosen plans only, so not in `lay`."""
    some = g.programmes[:: max(len(g.programmes) // 150, 1)]
    chains = list(pairwise(some))  # not such as could be grown, but every pass and canopy is in them
    return annual_course(chains, g.climate, g.tables), annual_loss(
        chains, g.climate, g.tables, "wild_oat", 50.0
    )


def paid_when(g: Groundwork) -> tuple[int, ...]:
    """Months in which money comes and goes: asked for when the money of a plan is booked."""
    flow = PaymentDates(g)
    sold = [key for key in g.tables.crops if g.tables.has("crop", key, "sold_month")]
    months = [flow.month_of_sale(key, None, 1)[0] for key in sold]
    return (*months, flow.hay_bought(), flow.nitrogen_day(-60))


def told_beside_plans(g: Groundwork) -> tuple[object, ...]:
    """What is asked for once plans are chosen, so not in `lay`: bands, what plans leave, seed of patches."""
    data = selection_data(g)
    practices = [g.tables.practices[key] for key in data.practice_keys]
    swings = swings_of(crops_of_products(data), g.tables), bad_years(data, practices, g.tables)
    owned = [owning(key, g.farm, g.tables, 100.0) for key in g.tables.machines]
    stands = [stand_years_left(practice, g.tables) for practice in practices]
    return paid_when(g), owned, Following(g, data, []), seed_years(weeds_of(g.farm), g.tables), swings, stands


@cache
def read_in_earnest() -> frozenset[Key]:
    """Figures looked up for the demo farms and for a farm that has everything, on tables of their own."""
    own = own_tables()
    farms = [
        rotation_opt.read_farm(rotation_opt.example_farm(name), own)
        for name in ("tamarack_hollow", "lindenhang")
    ]
    seen: set[Key] = set()
    for g in (open_ground(), *(lay(farm, own) for farm in farms)):
        annuals_of(g)
        told_beside_plans(g)
        seen |= g.tables.read_figures
    spots = tuple(patch(0.001, 10.0, weed=weed) for weed in own.weeds)
    worked = open_farm()
    patch_outlooks(replace(worked, fields=(replace(worked.fields[0], patches=spots),)), own)
    return frozenset(seen | own.read_figures)


def every_figure() -> Iterator[Key]:
    for table in (*FIGURE_FILES, DRAW_TABLE):
        for figure in TABLES.figures(table):
            yield table, figure.subject, figure.quantity


def not_in_the_crop(operation: str) -> bool:
    """Passes that no practice makes while a crop stands that is sold."""
    in_crop = {
        step.operation
        for practice in TABLES.practices.values()
        if practice.in_crop
        and practice.cut_use not in ("leave", "graze")
        and TABLES.crops[practice.crop].product != "none"
        for step in TABLES.programmes[practice.in_crop]
    }
    return operation not in in_crop


def follows_somewhere(crop: str, before: str) -> bool:
    """Whether the farm that has everything may grow a crop after another one, or after a type of crop."""
    pairs = {
        (TABLES.practices[each.previous].crop, TABLES.practices[each.practice].crop)
        for each in open_ground().programmes
    }
    return any(this == crop and before in (last, TABLES.crops[last].group) for last, this in pairs)


def excuse(key: Key) -> str:
    """Why a figure may lie unread; empty if it must be read."""
    table, subject, quantity = key
    kept = {
        "small_job_extra": "hire rates are not raised for small jobs yet",
        "hay_field_loss": "yields are hay in the bale; this tells only what was cut",
    }
    if quantity in kept:
        return kept[quantity]
    if table == "weed_parameter":
        return "the record of the fit; what is simulated are the draws made from it (tested below)"
    if table == "money" and quantity in ("wage_per_h", "extra_wage_per_h"):
        return "for farm files that give no wage; all farms here give theirs"
    if table == "money" and quantity in ("feed_intake_share", "feed_dry_matter_share", "feed_waste_share"):
        return "for farm files that tell the herd and not its hay need; read in test_farm.py"
    if table == "money" and quantity == "standing_hay_share":
        return "for outlets of standing hay without a price; read in test_standing_hay.py"
    if table == "weed" and quantity == "clump_k":
        return "for counts in a scouting log; read in test_scouting_log.py"
    if subject == "manure_spreader":
        return "no practice spreads manure; farm files may list the machine"
    if table == "operation" and quantity == "crop_loss" and not_in_the_crop(subject):
        return "a pass that is not made while a crop stands takes nothing from its yield"
    if quantity in ("loss_index", "loss_most") and subject.rpartition("@")[2] in ("any", "cover"):
        return "for types of crop without a figure of their own"
    if table == "preceding" and not follows_somewhere(subject, quantity.removeprefix("after:")):
        return "a crop before that the rules or the dates do not allow here"
    if (
        table == "crop"
        and quantity in SOWN_ALONE
        and subject in ("grass_clover", "red_clover", "sweetclover")
    ):
        return "no practice sows it in spring by itself"
    return ""


SOWN_ALONE = ("sow_spring_temperature", "earliest_day", "latest_day", "heat_next_cut")
MAY_LIE_UNREAD = 140
"""More excuses than this would mean that the tables have grown away from the program."""


def test_every_figure_in_use_is_read_or_has_a_reason_not_to_be() -> None:
    unread = [key for key in every_figure() if key not in read_in_earnest()]
    assert [key for key in unread if not excuse(key)] == []
    assert len(unread) <= MAY_LIE_UNREAD


def test_a_figure_that_is_read_in_vain_would_be_seen() -> None:
    # the test above can fail: a figure that nothing asks for is not in the set
    assert ("crop", "oat", "yield_t_ha") in read_in_earnest()
    assert TABLES.has("weed_parameter", "couch_grass", "upkeep")
    assert ("weed_parameter", "couch_grass", "upkeep") not in read_in_earnest()
    assert len(read_in_earnest()) > 1300


@pytest.mark.parametrize("weed", TABLES.weeds)
def test_every_draw_lies_in_the_range_that_trials_may_move_a_figure_in(weed: str) -> None:
    for figure in TABLES.figures("weed_parameter"):
        if figure.subject == weed:
            low, high = figure.low, figure.high
            assert low is not None
            assert high is not None
            for draw in TABLES.draws:
                assert low * (1 - 1e-3) <= TABLES.draw(draw, weed, figure.quantity) <= high * (1 + 1e-3)


# ---------------------------------------------------------------- and what is read matters


MUTANTS = (
    "spring_barley",
    "corn_grain",
    "corn_grain_rye",
    "soybean",
    "soybean_narrow",
    "winter_wheat",
    "winter_rye_stubble",
    "oat_alfalfa",
    "alfalfa_1",
    "alfalfa_2",
    "field_pea",
    "fallow",
    "buckwheat",
)


def changing_farm() -> Farm:
    """One field, two weeds, many kinds of crop, a buyer, a hired combine and no figures of the farm's own."""
    farm = small(keep=MUTANTS, feed_need_t=10.0)
    weeds = (patch(1.0, 10.0), patch(1.0, 30.0, weed="couch_grass", stage="emerging", on="2026-05-01"))
    machines = {**farm.machines, "combine": replace(farm.machines["combine"], status="hire")}
    machines["plough"] = replace(machines["plough"], also_hire=True)
    buyer = Outlet(
        name="mill", crop="soybean", price_per_t=700.0, least_t=0.0, most_t=5.0, years=(), haul_per_t=0.0
    )
    return replace(
        farm, fields=(replace(farm.fields[0], patches=weeds),), machines=machines, outlets=(buyer,)
    )


def numbers_of(thing: object) -> Iterator[object]:
    """All numbers and words of a record, however deep."""
    if is_dataclass(thing) and not isinstance(thing, type):
        for each in fields(thing):
            yield from numbers_of(getattr(thing, each.name))
    elif isinstance(thing, np.ndarray):
        yield thing.tobytes()
    elif isinstance(thing, dict):
        for key, value in sorted(thing.items(), key=lambda item: str(item[0])):
            yield key
            yield from numbers_of(value)
    elif isinstance(thing, tuple | list):
        for value in thing:
            yield from numbers_of(value)
    else:
        yield str(thing)


def fingerprint(g: Groundwork) -> int:
    """One number for everything that choosing a plan looks at."""
    chosen_from = (g.programmes, g.response, g.hours, g.capacity, g.budgets, g.starts, selection_data(g))
    parts = (*chosen_from, annuals_of(g))
    days = (g.climate.first_killing_frost_day, g.climate.spring_start_day)
    return hash(tuple(numbers_of((*parts, days))))


def changed(tables: Tables, key: Key) -> Iterator[Tables]:
    """The figure 30 % larger, and 30 % smaller; a day stays within the year, nothing becomes something."""
    value = tables.figure(*key).value
    for factor in (0.7, 1.3):
        yield tables.with_change(*key, value * factor if value else 0.3 * (factor - 0.7))


@cache
def read_for_the_changing_farm() -> tuple[tuple[Key, ...], int]:
    own = TABLES.with_change("money", "any", "interest_rate", TABLES.number("money", "any", "interest_rate"))
    g = lay(changing_farm(), own)
    mark = fingerprint(g)
    return tuple(sorted(own.read_figures | g.tables.read_figures)), mark


def crops_there() -> set[str]:
    """Crops that the changing farm grows, sows under another or grows between two."""
    grown = [TABLES.practices[key] for key in (*MUTANTS, "oat")]
    return {crop for each in grown for crop in (each.crop, each.undersown, each.cover) if crop}


@cache
def passes_there() -> frozenset[str]:
    """Kinds of pass that the changing farm makes."""
    return frozenset(each.operation for g in lay(changing_farm(), TABLES).programmes for each in g.operations)


RIPENING = ("heat_senescence", "heat_maturity", "canopy_decline", "dry_down_days")


def no_matter(key: Key) -> str:
    """Why a figure cannot show on the changing farm; empty if it must."""
    table, subject, quantity = key
    machines = changing_farm().machines
    if key in CANNOT_MATTER:
        return CANNOT_MATTER[key]
    if quantity in ("cover_left", "residue_cover"):
        return "works through whole days below a limit; followed by hand in test_timetable"
    if quantity.endswith(("earliest_day", "latest_day")):
        return "a bound, which binds in some climates only"
    if table == "crop" and subject not in crops_there():
        return "not grown there"
    if table == "climate" and quantity.startswith("sd_"):
        return "its weather station has measured its own daily spread"
    if table == "crop" and TABLES.crops[subject].kind == "cover" and quantity in RIPENING:
        return "ended while it is green"
    if table == "crop" and quantity == "price_per_t" and TABLES.has(table, subject, "price_organic_per_t"):
        return "the farm is organic"
    if table == "machine" and subject not in {TABLES.operations[each].machine for each in passes_there()}:
        return "not used there"
    if table == "machine" and quantity in ("hire_per_ha", "hire_per_t", "hire_per_bale", "bale_kg"):
        hired = machines[subject].status == "hire" or machines[subject].also_hire
        return "" if hired else "owned there"
    if table == "operation" and subject not in passes_there():
        return "not done there"
    if table == "operation" and quantity == "area_share":
        harm = [TABLES.number(table, subject, other) for other in ("shoot_removed", "store_kill")]
        return "" if any(harm) else "does the weeds no harm anywhere"
    if table == "weed" and quantity.startswith("autumn_rest_") and not TABLES.number(*key):
        return "a weed without autumn rest"
    if table == "operation" and quantity in ("depth_m", "store_kill"):
        other = "store_kill" if quantity == "depth_m" else "depth_m"
        return "" if TABLES.number(table, subject, other) else "works no soil or kills nothing in it"
    return ""


CANNOT_MATTER = {
    ("money", "any", "late_cut_days"): "no hired machine comes late there; tested in test_budgets",
    ("climate", "any", "month_spread_share"): "makes the cool and the warm year, which no plan is chosen by",
    ("climate", "any", "year_shift_months"): "makes the cool and the warm year, which no plan is chosen by",
    ("operation", "roll", "area_share"): "as its share of shoots removed",
    ("operation", "roll", "shoot_removed"): "rolls a seedbed from which the harrow has just taken all shoots",
}


NOT_FOR_CHOOSING = {"patch", "variability"}
"""Tables that no plan is chosen by: work on patches and good and bad years are shown for their own sake."""


def sample(keys: Iterable[Key], seed: str = "") -> list[Key]:
    """About 60 figures spread over the tables, the larger tables giving more.

    By the spelling of their names, so that a new row changes little of the choice.
    """
    by_table: dict[str, list[Key]] = {}
    for key in keys:
        if not no_matter(key):
            by_table.setdefault(key[0], []).append(key)
    chosen = []
    for _, some in sorted(by_table.items()):
        some.sort(key=lambda key: sha256("|".join((seed, *key)).encode()).digest())
        chosen += some[: 3 + len(some) // 16]
    return chosen


def test_tables_and_figures_chosen_for_change_are_spread_over_all_tables() -> None:
    chosen = sample(read_for_the_changing_farm()[0])
    assert len(chosen) >= 60
    assert {key[0] for key in chosen} == {*FIGURE_FILES, DRAW_TABLE} - NOT_FOR_CHOOSING


def test_the_same_tables_give_the_same_fingerprint() -> None:
    assert fingerprint(lay(changing_farm(), TABLES)) == read_for_the_changing_farm()[1]


@pytest.mark.parametrize("table", sorted({*FIGURE_FILES, DRAW_TABLE} - NOT_FOR_CHOOSING))
def test_a_figure_changed_by_three_tenths_changes_what_is_chosen_from(table: str) -> None:
    keys, mark = read_for_the_changing_farm()
    idle = [
        key
        for key in sample(keys)
        if key[0] == table
        and all(fingerprint(lay(changing_farm(), other)) == mark for other in changed(TABLES, key))
    ]
    assert idle == []
