"""Names told to growers are those of their region, and whatever is told is understood when it is typed."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import click
import pytest
from small_farm import TABLES, small

from rotation_opt import farm
from rotation_opt.cli import choices
from rotation_opt.closer_look import season_course
from rotation_opt.errors import InputError, RotationOptError
from rotation_opt.farm.names import Kind, Names
from rotation_opt.records import Farm, Outlet
from rotation_opt.words import Region
from rotation_opt.years_done import read_done

KINDS: tuple[Kind, ...] = ("crop", "grown", "practice", "weed", "machine", "station", "ban", "share")
KEYS = {*TABLES.crops, *TABLES.weeds, *TABLES.machines, *TABLES.practices}
NOTHING_NEAR = "qqqqq"


MILL = Outlet(
    name="Old mill (invented)",
    crop="oat",
    price_per_t=300.0,
    least_t=0.0,
    most_t=None,
    years=(),
    haul_per_t=0.0,
)


def in_region(region: Region) -> Farm:
    return dataclasses.replace(small(), region=region, outlets=(MILL,))


@pytest.mark.parametrize("region", ["us", "uk"])
@pytest.mark.parametrize("kind", KINDS)
def test_every_name_shown_is_understood_as_what_it_stands_for(kind: Kind, region: Region) -> None:
    names = Names(TABLES, region)
    keys = {
        "crop": TABLES.crops,
        "grown": {**TABLES.crops, **TABLES.practices},
        "practice": TABLES.practices,
        "weed": TABLES.weeds,
        "machine": TABLES.machines,
        "station": TABLES.stations,
        "ban": {**TABLES.crops, **TABLES.practices},
        "share": TABLES.crops,
    }[kind]
    assert keys
    for key in keys:
        shown = names.shown(kind, key)
        assert names.key(kind, shown) == names.key(kind, shown.lower()) == key


@pytest.mark.parametrize("region", ["us", "uk"])
@pytest.mark.parametrize("kind", KINDS)
def test_a_list_of_what_is_allowed_holds_words_and_neither_keys_nor_files(kind: Kind, region: Region) -> None:
    told = Names(TABLES, region).allowed(kind, NOTHING_NEAR)
    assert "_" not in told
    assert ".csv" not in told
    assert "named in the crop tables" in told or kind == "weed"


@pytest.mark.parametrize(
    ("kind", "wanted", "us", "uk"),
    [
        ("weed", "canada thisle", '"Canada thistle"', '"creeping thistle"'),
        ("weed", "couch gras", '"quackgrass"', '"couch grass"'),
        ("crop", "maze", '"Corn for grain"', '"Grain maize"'),
        ("machine", "moldbord", '"moldboard plow"', '"mouldboard plough"'),
        ("grown", "soy been", '"Soybeans"', '"Soya beans"'),
        ("ban", "fall cereals x", '"fall cereal"', '"autumn cereal"'),
        ("practice", "corn_grain_ry", '"corn after a rye cover crop, hoed twice"', None),
    ],
)
def test_the_nearest_name_is_told_in_the_words_of_the_region(
    kind: Kind, wanted: str, us: str, uk: str | None
) -> None:
    assert us in Names(TABLES, "us").hint(kind, wanted)
    assert uk is None or uk in Names(TABLES, "uk").hint(kind, wanted)


def test_a_short_list_is_told_only_where_nothing_comes_near() -> None:
    names = Names(TABLES, "us")
    assert "combine" in names.allowed("machine", NOTHING_NEAR)
    assert (
        names.allowed("machine", "combin")
        == names.allowed("machine")
        == ("allowed is a machine named in the crop tables")
    )


# ---------------------------------------------------------------- options of the command line


def said(kind: str, wanted: str, region: Region) -> str:
    mine = in_region(region)
    with pytest.raises(click.BadParameter) as caught:
        match kind:
            case "weed":
                choices.weed(mine, TABLES, wanted)
            case "machine":
                choices.machine("--hire", mine, TABLES, wanted)
            case "crop":
                choices.crop("--crop", mine, TABLES, wanted)
            case "practice":
                choices.practice(mine, TABLES, wanted)
            case "buyer":
                choices.buyer(mine, TABLES, wanted)
            case _:
                choices.any_weed(TABLES, wanted)
    return caught.value.message


OPTIONS = ("weed", "machine", "crop", "practice", "buyer", "any weed")


@pytest.mark.parametrize("region", ["us", "uk"])
@pytest.mark.parametrize("kind", OPTIONS)
@pytest.mark.parametrize("wanted", [NOTHING_NEAR, "couch gras", "maze", "moldbord", "oat_pee", "thistel"])
def test_an_option_never_answers_with_a_key_or_a_file(kind: str, wanted: str, region: Region) -> None:
    told = said(kind, wanted, region).replace(wanted, "")
    assert "_" not in told
    assert ".csv" not in told


@pytest.mark.parametrize(
    ("kind", "wanted", "us", "uk"),
    [
        ("weed", "thistel", '"Canada thistle"', '"creeping thistle"'),
        ("machine", "seed dril", '"grain drill"', '"seed drill"'),
        ("crop", "lucern", '"Alfalfa hay"', '"Lucerne hay"'),
        ("practice", "faba_been", '"faba bean', '"field bean'),
        ("buyer", "maze", '"Corn for grain"', '"Grain maize"'),
    ],
)
def test_an_option_answers_in_the_words_of_the_region(kind: str, wanted: str, us: str, uk: str) -> None:
    assert us in said(kind, wanted, "us")
    assert uk in said(kind, wanted, "uk")


def test_an_option_says_why_a_plant_that_does_not_creep_is_not_there() -> None:
    assert "tap roots" in said("weed", "docks", "us")


def test_an_option_for_a_buyer_lists_the_buyers_of_the_farm_before_crops() -> None:
    told = said("buyer", NOTHING_NEAR, "us")
    assert told.index(MILL.name) < told.index("Corn silage")
    assert "cover crop" not in told
    assert choices.buyer(in_region("us"), TABLES, "old mill (invented)") == {"outlet": MILL.name}
    assert "Did you mean" in said("buyer", "oldd mill", "us")


def test_without_a_farm_both_names_of_a_weed_are_told() -> None:
    assert "Canada thistle / creeping thistle" in said("any weed", NOTHING_NEAR, "us")
    assert {choices.any_weed(TABLES, word) for word in ("quackgrass", "couch", "Elymus repens")} == {
        "couch_grass"
    }


# ---------------------------------------------------------------- files

FARM = """
[farm]
name = "Small Place"
units = "metric"
region = "REGION"
climate = "Rochester NY, airport"
first_year = 2027
decided_on = 2026-08-01
organic = true

[[field]]
name = "Home"
area_ha = 16
history = ["qqqqq", "oats", "qqqqq"]
bans = ["qqqqq"]

[[field.patch]]
weed = "qqqqq"
area_ha = 2
shoots_per_m2 = 12
counted_on = 2026-06-20
stage = "bud"

[[machine]]
name = "qqqqq"
status = "own"

[market]
no_market = ["qqqqq"]

[labour]
hours_per_week = 40
machine_hours_a_day = 10
"""


@pytest.mark.parametrize(
    ("region", "expected"),
    [
        ("us", ("Corn for grain", "Canada thistle", "moldboard plow", "no plow", "fall cereal")),
        ("uk", ("Grain maize", "creeping thistle", "mouldboard plough", "no plough", "autumn cereal")),
    ],
)
def test_names_in_a_farm_file_that_come_near_nothing_are_answered_with_all_there_are(
    region: Region, expected: tuple[str, ...]
) -> None:
    with pytest.raises(InputError) as caught:
        farm.read_text(FARM.replace("REGION", region), Path("my_farm.toml"), TABLES)
    told = str(caught.value)
    for name in expected:
        assert name in told
    assert ".csv" not in told
    assert not [key for key in KEYS if "_" in key and key in told]


def test_a_long_list_is_told_once_for_a_file() -> None:
    with pytest.raises(InputError) as caught:
        farm.read_text(FARM.replace("REGION", "us"), Path("my_farm.toml"), TABLES)
    first, second = (fault for fault in caught.value.faults if "history" in fault.place)
    assert "Soybeans" in first.allowed
    assert second.allowed == "allowed is a crop or practice named in the crop tables, as listed above"
    assert str(caught.value).count("named in the crop tables: Alfalfa hay, Buckwheat, ") == 1


@pytest.mark.parametrize(
    ("wanted", "us", "uk"),
    [
        ("maze", 'Did you mean "Corn for grain"?', 'Did you mean "Grain maize"?'),
        ("qqqqq", "Tilled summerfallow, Field peas", "Bare fallow, Peas"),
    ],
)
def test_a_file_of_years_done_is_answered_in_the_words_of_the_region(
    tmp_path: Path, wanted: str, us: str, uk: str
) -> None:
    path = tmp_path / "done.csv"
    path.write_text(f"field,year,practice_or_crop,note\nEast,2027,{wanted},\n", encoding="utf-8")
    for region, said in (("us", us), ("uk", uk)):
        with pytest.raises(InputError) as caught:
            read_done(path, in_region(region), TABLES)
        assert said in str(caught.value)
        assert "corn_grain" not in str(caught.value)


def test_a_name_with_commas_is_told_in_short_where_a_comma_would_end_it(tmp_path: Path) -> None:
    path = tmp_path / "done.csv"
    path.write_text("field,year,practice_or_crop\nEast,2027,corn_grain_ry\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_done(path, in_region("us"), TABLES)
    told = 'Did you mean "corn after a rye cover crop, hoed twice"? Without a comma: corn_grain_rye.'
    assert told in str(caught.value)
    assert "Without a comma" not in Names(TABLES, "us").hint("practice", "corn_grain_ry")


def test_a_practice_that_cannot_be_grown_is_told_by_its_name() -> None:
    with pytest.raises(RotationOptError, match='"alfalfa, year 1, sold standing'):
        season_course(in_region("us"), "alfalfa_1_standing", TABLES)
