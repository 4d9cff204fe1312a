"""The farm file: good files become farms, bad ones become sentences."""

from __future__ import annotations

import copy
import datetime
import math
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rotation_opt import errors, farm, records, tables, units

ROOT = Path(__file__).parent.parent
EXAMPLES = sorted((ROOT / "examples").glob("*.toml"))
BAD = sorted((Path(__file__).parent / "bad_farms").glob("*.toml"))
EXPECTED = "#= "

SMALL = """
[farm]
name = "Small Place"
units = "us"
climate = "Rochester NY, airport"
first_year = 2027
decided_on = 2026-08-01
organic = true

[[field]]
name = "Home 40"
area_acres = 40
history = ["corn", "soybean", "oats"]

[labour]
hours_per_week = 40
machine_hours_a_day = 10

[limits]
cash_floor = 0
"""
PATCH = """
[[field.patch]]
weed = "Canada thistle"
area_acres = 5
shoots_per_m2 = 12
counted_on = 2026-06-20
stage = "bud"
"""


def read(path: Path) -> records.Farm:
    return farm.read(path, tables.read())


def read_text(text: str, folder: Path) -> records.Farm:
    path = folder / "my_farm.toml"
    path.write_text(text, encoding="utf-8")
    return read(path)


def sentences(path: Path) -> list[str]:
    with pytest.raises(errors.InputError) as caught:
        read(path)
    return [str(fault) for fault in caught.value.faults]


# ---------------------------------------------------------------- good files


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_every_example_is_read_and_says_that_it_is_invented(path: Path) -> None:
    read_farm = read(path)
    shipped = tables.read()
    assert read_farm.invented
    assert "invented" in path.read_text(encoding="utf-8")
    assert read_farm.station in shipped.stations
    for field in read_farm.fields:
        assert set(field.history) | set(field.as_now) <= set(shipped.practices)
        assert len(field.as_now) == read_farm.years
        assert sum(patch.area_ha for patch in field.patches) <= field.area_ha
    assert set(read_farm.machines) == set(shipped.machines)


def test_the_main_example_holds_what_its_story_tells() -> None:
    read_farm = read(ROOT / "examples" / "tamarack_hollow.toml")
    assert len(read_farm.fields) == 10
    assert sum(field.area_ha for field in read_farm.fields) / units.ACRE_HA == pytest.approx(507.0)
    weeds = {patch.weed for field in read_farm.fields for patch in field.patches}
    assert weeds == {"creeping_thistle", "field_bindweed", "couch_grass"}
    assert [field.lease_end_year for field in read_farm.fields if field.lease_end_year] == [2029]
    assert read_farm.machines["round_baler"].status == "hire"
    assert read_farm.machines["round_baler"].hire_cap_ha == pytest.approx(330 * units.ACRE_HA)
    assert read_farm.feed_need_t == pytest.approx(150 * units.SHORT_TON_T)
    assert any(field.soil == "wet" for field in read_farm.fields)
    assert any(outlet.least_t > 0.0 for outlet in read_farm.outlets)


def test_the_second_example_can_neither_make_nor_sell_hay() -> None:
    read_farm = read(ROOT / "examples" / "lindenhang.toml")
    shipped = tables.read()
    hay = {key for key, crop in shipped.crops.items() if crop.product == "hay"}
    assert hay <= read_farm.no_market
    assert read_farm.feed_need_t == 0.0
    for key, machine in shipped.machines.items():
        if machine.season == "haymaking":
            assert read_farm.machines[key].status == "none"
    assert read_farm.machines["rotary_mower"].status == "own"


@pytest.mark.parametrize("written", ["", "[limits]\n", "[limits]\nfixed_cost_per_year = 100\n"])
def test_without_a_least_cash_there_is_no_limit(tmp_path: Path, written: str) -> None:
    text = SMALL.replace("[limits]\ncash_floor = 0\n", written)
    assert "cash_floor" not in text
    assert read_text(text, tmp_path).cash_floor == -math.inf


def test_customary_units_become_si_at_the_edge(tmp_path: Path) -> None:
    text = SMALL + (
        '[[machine]]\nname = "combine"\nstatus = "hire"\nwidth_ft = 20\nhire_rate_per_acre = 36\n'
        '[[crop]]\nname = "corn"\nyield_bu_per_acre = 120\nprice_per_bu = 8\n'
        '[[outlet]]\nname = "Mill"\ncrop = "oats"\nprice_per_bu = 5\nleast_bu = 500\nhaul_per_bu = 0.1\n'
        "[costs]\nfuel_per_gallon = 3.785411784\nnitrogen_per_lb = 1\n"
        "[livestock]\nhay_need_ton = 100\nhay_price_per_ton = 200\n"
    )
    read_farm = read_text(text.replace("cash_floor", "target_shoots_per_sq_ft = 0.1\ncash_floor"), tmp_path)
    assert read_farm.fields[0].area_ha == pytest.approx(16.1874, abs=0.0001)  # 40 acres
    assert read_farm.machines["combine"].width_m == pytest.approx(6.096)
    assert read_farm.machines["combine"].hire_rate == pytest.approx(36 * 2.47105, rel=1e-5)
    # 120 bu/acre of corn at 56 lb: 7.532 t/ha; $8/bu: $314.9/t
    assert read_farm.yields_t_ha["corn_grain"] == pytest.approx(7.532, abs=0.001)
    assert read_farm.prices_per_t["corn_grain"] == pytest.approx(8 * 39.368, abs=0.01)
    # 500 bu of oats at 32 lb are 16,000 lb; the crop tables keep the bushel to four digits
    assert read_farm.outlets[0].least_t == pytest.approx(16_000 * 0.45359237 / 1000, rel=1e-4)
    assert read_farm.costs["fuel_per_l"] == pytest.approx(1.0)
    assert read_farm.costs["nitrogen_per_kg"] == pytest.approx(2.20462, abs=1e-5)
    assert read_farm.feed_need_t == pytest.approx(90.718474)
    assert read_farm.feed_price_per_t == pytest.approx(220.462, abs=0.001)
    assert read_farm.target_shoots_per_m2 == pytest.approx(1.0764, abs=0.0001)


def test_the_hay_need_is_worked_out_from_the_herd_where_only_that_is_known(tmp_path: Path) -> None:
    # 60 cows of 1,200 lb, 180 days, at the shares of the crop tables: 2.5 % of live weight a day, 85 % dry
    # matter, 13 % wasted: 60 x 1200 x 0.025 x 180 / 0.85 / 0.87 = 438,134 lb
    herd = "[livestock]\nhead = 60\nlive_weight_lb = 1200\ndays = 180\n"
    assert read_text(SMALL + herd, tmp_path).feed_need_t == pytest.approx(
        438_134 * 0.45359237 / 1000, rel=1e-5
    )
    metric = herd.replace("live_weight_lb = 1200", "live_weight_kg = 544.310844")
    assert read_text(SMALL + metric, tmp_path).feed_need_t == pytest.approx(198.734, abs=0.01)
    assert read_text(SMALL + herd.replace("60", "0"), tmp_path).feed_need_t == 0.0


@pytest.mark.parametrize(
    ("herd", "said"),
    [
        ("head = 60\ndays = 180", "head: found head alone; needed with it is what one animal weighs"),
        (
            "head = 60\nlive_weight_lb = 1200",
            "head: found head alone; needed with it is the days of the year",
        ),
        ("hay_need_ton = 150\ndays = 180", "days: found days alone; it goes with head"),
        (
            "hay_need_ton = 150\nhead = 60\nlive_weight_lb = 1200\ndays = 180",
            "together; allowed is one of them",
        ),
        ("hay_price_per_ton = 200", "no hay_need_ton, hay_need_t or head; needed is the hay the herd eats"),
    ],
)
def test_a_herd_half_told_is_refused_in_one_sentence(herd: str, said: str, tmp_path: Path) -> None:
    with pytest.raises(errors.RotationOptError) as fault:
        read_text(f"{SMALL}[livestock]\n{herd}\n", tmp_path)
    assert said in " ".join(str(fault.value).split())


@pytest.mark.parametrize(
    ("us", "metric"),
    [
        ("area_acres = 40", "area_ha = 16.18742569"),
        ("area_acres = 40", "area_ha = 16.18742569\nrent_per_ha = 247.1053815"),
    ],
)
def test_the_same_field_in_acres_and_hectares_is_the_same_field(us: str, metric: str, tmp_path: Path) -> None:
    first = us + ("\nrent_per_acre = 100" if "rent" in metric else "")
    one = read_text(SMALL.replace(us, first), tmp_path).fields[0]
    other = read_text(SMALL.replace(us, metric), tmp_path).fields[0]
    assert one.area_ha == pytest.approx(other.area_ha)
    assert one.rent_per_ha == pytest.approx(other.rent_per_ha)


@pytest.mark.parametrize(
    ("counted", "shoots_per_m2"),
    [
        # a quarter-metre frame: count x 4; a square yard: count x 1.196; a square foot: x 10.764
        # (1 square yard = 0.836127 square metres, NIST Handbook 44, Appendix C)
        ("counts = [3, 5]\nframe_m2 = 0.25", 16.0),
        ("counts = [10, 10, 10]\nframe_sq_yd = 1", 11.96),
        ("counts = [2, 0]\nframe_sq_ft = 1", 10.764),
        ("shoots_per_sq_ft = 1", 10.764),
        ("shoots_per_m2 = 7", 7.0),
    ],
)
def test_counts_in_a_frame_become_shoots_per_square_metre(
    counted: str, shoots_per_m2: float, tmp_path: Path
) -> None:
    patch = PATCH.replace("shoots_per_m2 = 12", counted)
    read_farm = read_text(SMALL.replace("[labour]", f"{patch}\n[labour]"), tmp_path)
    assert read_farm.fields[0].patches[0].shoots_per_m2 == pytest.approx(shoots_per_m2, abs=0.001)


def test_history_is_repeated_where_no_present_rotation_is_given(tmp_path: Path) -> None:
    field = read_text(SMALL, tmp_path).fields[0]
    assert field.history == ("corn_grain", "soybean", "oat")
    assert field.as_now == ("corn_grain", "soybean", "oat", "corn_grain", "soybean")


def test_history_with_years_may_stand_in_any_order(tmp_path: Path) -> None:
    dated = '[{ year = 2026, crop = "oats" }, { year = 2025, crop = "maize" }]'
    text = SMALL.replace('["corn", "soybean", "oats"]', dated)
    assert read_text(text, tmp_path).fields[0].history == ("corn_grain", "oat")


def test_a_hay_stand_grows_older_each_year_it_follows_itself(tmp_path: Path) -> None:
    text = SMALL.replace('["corn", "soybean", "oats"]', '["corn", "alfalfa", "alfalfa", "lucerne"]')
    text = text.replace("[labour]", "[labour]").replace("organic = true", "organic = true\nyears = 3")
    text = text.replace('"lucerne"]', '"lucerne"]\nas_now = ["alfalfa", "corn", "alfalfa"]')
    field = read_text(text, tmp_path).fields[0]
    practices = tables.read().practices
    stands = [practices[key].leaves_stand for key in field.history]
    assert stands == ["", "alfalfa:1", "alfalfa:2", "alfalfa:3"]
    assert practices[field.as_now[0]].leaves_stand == "alfalfa:4"
    assert practices[field.as_now[2]].needs_stand == ""


def test_a_span_over_new_year_ends_on_an_earlier_day_than_it_starts(tmp_path: Path) -> None:
    spans = (
        'cash_floor = 0\nsoil_cover = [{ from = "11-01", to = "02-15" }, { from = "07-10", to = "07-20" }]'
    )
    read_farm = read_text(SMALL.replace("cash_floor = 0", spans), tmp_path)
    day = {
        n: (datetime.date(2027, *n) - datetime.date(2027, 1, 1)).days
        for n in [(11, 1), (2, 15), (7, 10), (7, 20)]
    }
    assert read_farm.soil_cover == ((day[11, 1], day[2, 15]), (day[7, 10], day[7, 20]))


def test_hours_a_week_fill_the_half_months(tmp_path: Path) -> None:
    text = SMALL.replace("hours_per_week = 40", "workers = 2\nhours_per_week = 35")
    hours = read_text(text, tmp_path).labour.hours_by_half_month
    assert len(hours) == 24
    assert hours[0] == pytest.approx(15 * 2 * 35 / 7)
    assert hours[3] == pytest.approx(13 * 2 * 35 / 7)  # second half of February
    assert sum(hours) == pytest.approx(365 / 7 * 2 * 35)


def test_machines_that_are_not_listed_have_the_status_the_farm_says(tmp_path: Path) -> None:
    text = SMALL.replace("organic = true", 'organic = true\nother_machines = "hire"')
    text += '[[machine]]\nname = "baler"\nstatus = "none"\n'
    machines = read_text(text, tmp_path).machines
    assert machines["round_baler"].status == "none"
    assert {own.status for key, own in machines.items() if key != "round_baler"} == {"hire"}


def test_wide_names_in_bans_become_the_crops_they_stand_for(tmp_path: Path) -> None:
    text = SMALL.replace('"oats"]', '"oats"]\nbans = ["small grain", "maize", "row crop"]')
    bans = read_text(text, tmp_path).fields[0].bans
    assert {"corn_grain", "row crop", "winter_wheat", "oat"} <= bans
    assert "small_grain" not in bans


@pytest.mark.parametrize("ends", ["\r\n", "\r"])
def test_a_file_from_another_editor_is_the_same_farm(ends: str, tmp_path: Path) -> None:
    plain = read_text(SMALL, tmp_path)
    path = tmp_path / "my_farm.toml"
    path.write_bytes(b"\xef\xbb\xbf" + SMALL.replace("\n", ends).encode())
    assert read(path) == plain


def test_the_us_spelling_of_labor_is_a_block_as_well(tmp_path: Path) -> None:
    assert read_text(SMALL.replace("[labour]", "[labor]"), tmp_path) == read_text(SMALL, tmp_path)


def test_what_is_not_given_comes_from_the_crop_tables(tmp_path: Path) -> None:
    read_farm = read_text(SMALL + '[[outlet]]\nname = "Mill"\ncrop = "oats"\n', tmp_path)
    shipped = tables.read()
    assert read_farm.labour.wage_per_h == shipped.number("money", "any", "wage_per_h")
    assert read_farm.hay_storage_loss == shipped.number("money", "any", "hay_storage_loss")
    assert read_farm.outlets[0].price_per_t == shipped.number("crop", "oat", "price_organic_per_t")


# ---------------------------------------------------------------- bad files


def test_there_are_many_bad_farms() -> None:
    assert len(BAD) >= 70


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_a_bad_farm_is_told_in_just_these_sentences(path: Path) -> None:
    """Each file ends with the sentences that must be told about it, and no other."""
    lines = path.read_text(encoding="utf-8").splitlines()
    expected = [line.removeprefix(EXPECTED) for line in lines if line.startswith(EXPECTED)]
    assert expected
    assert sentences(path) == expected


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_no_sentence_speaks_to_programmers(path: Path) -> None:
    for sentence in sentences(path):
        for word in (
            "pydantic",
            "validation",
            "Traceback",
            "NoneType",
            "dict",
            " str,",
            "float",
            "Input should",
            "https",
        ):
            assert word not in sentence


def told(content: bytes | None, folder: Path) -> str:
    path = folder / "my_farm.toml"
    if content is not None:
        path.write_bytes(content)
    (sentence,) = sentences(path)
    return sentence


@pytest.mark.parametrize(
    ("content", "said"),
    [
        pytest.param(b"", "nothing but blank lines", id="empty"),
        pytest.param(b"# just a remark\n\n", "nothing but blank lines", id="only-remarks"),
        pytest.param(
            "[farm]\nname = 'Mühle'\n".encode("latin-1"),
            "line 2: found a letter that is not saved",
            id="latin-1",
        ),
        pytest.param("[farm]".encode("utf-16"), "text saved as UTF-16", id="utf-16"),
        pytest.param(b"PK\x03\x04\x00\x00", "bytes that are not text", id="binary"),
        pytest.param(b"x = " + b"[" * 100_000, "brackets nested", id="deep-brackets"),
        pytest.param(b"x = " + b"9" * 5_000, "far too long", id="endless-number"),
    ],
)
def test_a_file_that_is_no_farm_file_gets_one_sentence(content: bytes, said: str, tmp_path: Path) -> None:
    assert said in told(content, tmp_path)


def test_a_file_that_is_not_there_is_told_with_those_that_are(tmp_path: Path) -> None:
    (tmp_path / "other.toml").write_text(SMALL)
    sentence = told(None, tmp_path)
    assert "no file of that name" in sentence
    assert "other.toml" in sentence


def test_a_folder_is_no_farm_file(tmp_path: Path) -> None:
    (sentence,) = sentences(tmp_path)
    assert "a folder" in sentence


@pytest.mark.parametrize("name", ["no\0way.toml", "x" * 5_000])
def test_an_impossible_file_name_gets_one_sentence(name: str, tmp_path: Path) -> None:
    assert len(sentences(tmp_path / name)) == 1


def test_a_file_of_many_megabytes_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "my_farm.toml"
    with path.open("wb") as handle:
        handle.truncate(12_000_000)
    (sentence,) = sentences(path)
    assert "12 MB" in sentence


def test_an_unreadable_file_gets_one_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "my_farm.toml"
    path.write_text(SMALL)

    def refuse(_: Path) -> bytes:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", refuse)
    (sentence,) = sentences(path)
    assert "cannot be opened" in sentence


def test_faults_come_in_the_order_of_the_file(tmp_path: Path) -> None:
    path = ROOT / "tests" / "bad_farms" / "many_faults_at_once.toml"
    said = [int(sentence.split(" line ")[1].split(",")[0]) for sentence in sentences(path)]
    assert said == sorted(said)


# ---------------------------------------------------------------- any file at all


def emitted(value: Any) -> str:
    """A TOML value."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return {math.inf: "inf", -math.inf: "-inf"}.get(value, "nan" if math.isnan(value) else repr(value))
    if isinstance(value, str):
        return '"' + "".join(f"\\u{ord(s):04x}" if ord(s) < 32 or s in '"\\\x7f' else s for s in value) + '"'
    if isinstance(value, list):
        return "[" + ", ".join(map(emitted, value)) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{emitted(key)} = {emitted(inner)}" for key, inner in value.items()) + "}"
    return value.isoformat() if isinstance(value, datetime.date | datetime.time) else str(value)


def spots(value: Any) -> Iterator[tuple[Any, Any]]:
    """Every place in nested tables and lists as (container, key)."""
    entries = (
        value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    )
    for key, inner in list(entries):
        yield value, key
        yield from spots(inner)


JUNK = st.one_of(
    st.sampled_from(
        [
            math.nan,
            math.inf,
            -math.inf,
            -1,
            0,
            1e300,
            10**30,
            True,
            "",
            "x",
            [],
            {},
            [[]],
            ["corn"],
            [{}],
            "12,5",
            2027,
            datetime.date(1999, 1, 1),
            datetime.time(1, 2),
            datetime.datetime(2026, 1, 1, 1, 1),
            "fa\x0crm",
            "ü" * 500,
        ]
    ),
    st.text(st.characters(codec="utf-8"), max_size=12),
    st.integers(-(10**6), 10**6),
    st.floats(),
)
GOOD = tomllib.loads((ROOT / "examples" / "tamarack_hollow.toml").read_text(encoding="utf-8"))


@st.composite
def mutated(draw: st.DrawFn) -> str:
    """The main example with one to three things dropped, renamed, retyped, negated, doubled or swapped."""
    content = copy.deepcopy(GOOD)
    for _ in range(draw(st.integers(1, 3))):
        places = list(spots(content))
        if not places:
            break
        holder, key = places[draw(st.integers(0, len(places) - 1))]
        kind = draw(st.sampled_from(["drop", "rename", "retype", "negate", "swap", "double"]))
        if kind == "drop":
            del holder[key]
        elif kind == "rename" and isinstance(holder, dict):
            holder[draw(st.sampled_from([f"{key}x", str(key)[1:], "name", "area_ha", str(key).upper()]))] = (
                holder.pop(key)
            )
        elif kind == "negate" and isinstance(holder[key], int | float):
            holder[key] = -holder[key]
        elif kind == "swap":
            other, place = places[draw(st.integers(0, len(places) - 1))]
            if place in (other if isinstance(other, dict) else range(len(other))):
                holder[key], other[place] = copy.deepcopy(other[place]), copy.deepcopy(holder[key])
        elif kind == "double" and isinstance(holder[key], list):
            holder[key] = holder[key] * 2
        else:
            holder[key] = draw(JUNK)
    return "\n".join(f"{emitted(key)} = {emitted(value)}" for key, value in content.items())


def farm_or_faults(path: Path) -> None:
    """Nothing but a farm or an InputError whose faults can be read by a grower."""
    try:
        assert isinstance(read(path), records.Farm)
    except errors.InputError as caught:
        assert caught.faults
        for fault in caught.faults:
            assert fault.place.startswith(path.name)
            assert fault.found
            assert fault.allowed
            for word in ("pydantic", "Input should", "NoneType", "<class", "~name", "[key]"):
                assert word not in str(fault)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(text=mutated())
def test_a_mutated_farm_is_a_farm_or_a_list_of_faults(text: str, tmp_path: Path) -> None:
    path = tmp_path / "mutated.toml"
    path.write_text(text, encoding="utf-8", newline="")
    farm_or_faults(path)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(text=mutated())
def test_each_fault_of_a_mutated_farm_names_its_block(text: str, tmp_path: Path) -> None:
    path = tmp_path / "mutated.toml"
    path.write_text(text, encoding="utf-8", newline="")
    try:
        read(path)
    except errors.InputError as caught:
        for fault in caught.faults:
            assert re.match(
                r"mutated\.toml( line \d+)?, (\[\[?\w*|field|machine|outlet|crop|\w+)", fault.place
            )


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_a_file_with_slips_of_the_keyboard_is_a_farm_or_a_list_of_faults(
    data: st.DataObject, tmp_path: Path
) -> None:
    text = (ROOT / "examples" / "lindenhang.toml").read_text(encoding="utf-8")
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text) - 1))
        slip = data.draw(st.one_of(st.sampled_from(list('"[]{}=,#.\n\t\\\0')), st.characters(codec="utf-8")))
        text = text[:at] + slip + text[at + data.draw(st.integers(0, 2)) :]
    path = tmp_path / "slips.toml"
    path.write_text(text, encoding="utf-8", newline="")
    farm_or_faults(path)


def test_checking_a_farm_needs_neither_pandas_nor_numpy() -> None:
    import subprocess
    import sys

    heavy = "('numpy', 'pandas', 'pulp', 'rich')"
    code = f"import sys, rotation_opt.farm; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stdout.strip() == "[]"
