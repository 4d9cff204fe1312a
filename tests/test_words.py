"""The grower's words: other names, nearest spelling, glossary."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rotation_opt import tables, words

WEEDS = {
    "couch_grass": ("quackgrass", "couch grass"),
    "creeping_thistle": ("Canada thistle", "creeping thistle"),
    "field_bindweed": ("field bindweed",),
    "perennial_sow_thistle": ("perennial sowthistle", "perennial sow-thistle"),
}
CROPS = {key: (crop.name_us, crop.name_uk) for key, crop in tables.read().crops.items()}


@pytest.mark.parametrize(
    ("said", "key"),
    [
        ("Canada thistle", "creeping_thistle"),
        ("CANADA THISTLE", "creeping_thistle"),
        ("creeping thistles", "creeping_thistle"),
        ("Californian thistle", "creeping_thistle"),
        ("Cirsium arvense", "creeping_thistle"),
        ("Acker-Kratzdistel", "creeping_thistle"),
        ("chardon des champs", "creeping_thistle"),
        ("thistle", "creeping_thistle"),
        ("bindweed", "field_bindweed"),
        ("creeping jenny", "field_bindweed"),
        ("Ackerwinde", "field_bindweed"),
        ("couch", "couch_grass"),
        ("twitch", "couch_grass"),
        ("quack grass", "couch_grass"),
        ("Quecke", "couch_grass"),
        ("corn sow-thistle", "perennial_sow_thistle"),
        ("sow thistle", "perennial_sow_thistle"),
        ("sowthistle", "perennial_sow_thistle"),
        ("Acker-Gänsedistel", "perennial_sow_thistle"),
    ],
)
def test_a_weed_is_known_by_all_its_names(said: str, key: str) -> None:
    assert words.find(said, WEEDS) == key


@pytest.mark.parametrize(
    ("said", "key"),
    [
        ("lucerne", "alfalfa"),
        ("alfalfa", "alfalfa"),
        ("maize", "corn_grain"),
        ("corn", "corn_grain"),
        ("silage maize", "corn_silage"),
        ("soya bean", "soybean"),
        ("soybeans", "soybean"),
        ("linseed", "flax"),
        ("oats", "oat"),
        ("barley", "spring_barley"),
        ("summer fallow", "fallow"),
        ("bare fallow", "fallow"),
        ("field bean", "faba_bean"),
        ("rye", "winter_rye"),
        ("peas", "field_pea"),
        ("grass-clover ley", "grass_clover"),
        ("Winterweizen", "winter_wheat"),
    ],
)
def test_a_crop_is_known_by_its_names_on_both_sides_of_the_ocean(said: str, key: str) -> None:
    assert words.find(said, CROPS) == key


@pytest.mark.parametrize(
    ("said", "key"),
    [
        ("baler", "round_baler"),
        ("haybine", "mower_conditioner"),
        ("plow", "plough"),
        ("plough", "plough"),
        ("brush mower", "rotary_mower"),
        ("topper", "rotary_mower"),
        ("striegel", "tine_weeder"),
        ("grain drill", "drill"),
        ("corn planter", "row_planter"),
        ("inter-row hoe", "row_cultivator"),
        ("muck spreader", "manure_spreader"),
        ("disc harrow", "disk"),
        ("undercutter", "wide_blade"),
    ],
)
def test_a_machine_is_known_by_its_names(said: str, key: str) -> None:
    machines = {key: (each.name_us, each.name_uk) for key, each in tables.read().machines.items()}
    assert words.find(said, machines) == key


def test_every_crop_weed_and_machine_of_the_tables_is_found_by_each_of_its_own_names() -> None:
    shipped = tables.read()
    for table in (shipped.crops, shipped.weeds, shipped.machines):
        names = {key: (thing.name_us, thing.name_uk) for key, thing in table.items()}
        for key, own in names.items():
            for name in (key, *own):
                assert words.find(name, names) == key, name


def test_no_name_stands_for_two_things() -> None:
    groups = [{words.plain(name) for name in group} for group in words.SAME]
    for one, group in enumerate(groups):
        for other in groups[one + 1 :]:
            assert not group & other


@pytest.mark.parametrize(
    ("misspelt", "key"),
    [
        ("canada thisle", "creeping_thistle"),
        ("canadian thistle", "creeping_thistle"),
        ("Akerkratzdistel", "creeping_thistle"),
        ("bindwed", "field_bindweed"),
        ("quakgrass", "couch_grass"),
    ],
)
def test_a_misspelt_weed_leads_to_the_nearest_one(misspelt: str, key: str) -> None:
    assert words.find(misspelt, WEEDS) is None
    assert words.nearest(misspelt, WEEDS) == key


def test_a_name_like_nothing_known_gets_no_suggestion() -> None:
    assert words.nearest("zzzz", WEEDS) == ""
    assert words.nearest("", WEEDS) == ""
    assert words.nearest("!!", ["area_acres"]) == ""


@given(st.text(max_size=40))
def test_a_suggestion_is_always_something_that_exists(text: str) -> None:
    assert words.nearest(text, WEEDS) in {"", *WEEDS}
    assert words.find(text, WEEDS) in {None, *WEEDS}


def test_the_glossary_speaks_both_ways() -> None:
    assert words.word("reserve", "us") == "root reserves"
    assert (words.word("autumn", "us"), words.word("autumn", "uk")) == ("fall", "autumn")
    assert (words.word("contractor", "us"), words.word("contractor", "uk")) == (
        "custom operator",
        "contractor",
    )
    with pytest.raises(KeyError):
        words.word("no such term", "us")


def test_the_glossary_holds_none_of_the_words_to_avoid() -> None:
    said = " ".join(part for pair in words.WORDS.values() for part in pair).casefold()
    for avoided in words.AVOID:
        assert f" {avoided} " not in f" {said} "
    assert all(avoided == avoided.casefold() for avoided in words.AVOID)
