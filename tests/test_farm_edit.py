"""Values of a farm file changed from the command line: nothing else in it moves."""

import math
import tomllib
from itertools import pairwise
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rotation_opt import cli, farm, tables
from rotation_opt.errors import InputError, RotationOptError
from rotation_opt.farm_edit import changed, edit, values

EXAMPLES = Path(__file__).parent.parent / "examples"
TABLES = tables.read()
TAMARACK, LINDENHANG = (
    (EXAMPLES / f"{name}.toml").read_text(encoding="utf-8") for name in ("tamarack_hollow", "lindenhang")
)


def lines_that_differ(before, after):
    """(line, line) of two texts with equally many lines."""
    old, new = before.split("\n"), after.split("\n")
    assert len(old) == len(new)
    return [(a, b) for a, b in zip(old, new, strict=True) if a != b]


def every_key(content):
    """(path, value) of every key of a farm file."""
    for block, held in content.items():
        if isinstance(held, dict):
            yield from ((f"{block}.{key}", value) for key, value in held.items())
            continue
        for number, entry in enumerate(held, 1):
            several = [one.get("name") for one in held].count(entry["name"]) > 1
            name = number if several else f'"{entry["name"]}"'
            for key, value in entry.items():
                if key != "patch":
                    yield f"{block} {name}.{key}", value
            for place, patch in enumerate(entry.get("patch", ()), 1):
                yield from ((f"{block} {name} patch {place}.{key}", value) for key, value in patch.items())


@pytest.mark.parametrize("text", [TAMARACK, LINDENHANG], ids=["tamarack", "lindenhang"])
def test_every_key_set_to_its_own_value_leaves_the_file_as_it_is(text):
    keys = list(every_key(tomllib.loads(text)))
    assert len(keys) > 100
    for path, value in keys:
        after, (*_, told) = edit(text, [(path, values.typed(value))])
        assert after == text, path
        assert told.old == told.new, path


@pytest.mark.parametrize("text", [TAMARACK, LINDENHANG], ids=["tamarack", "lindenhang"])
def test_every_number_changed_changes_its_own_line_and_keeps_the_remark_beside_it(text):
    for path, value in every_key(tomllib.loads(text)):
        if isinstance(value, bool) or not isinstance(value, int | float):
            continue
        ((old, new),) = lines_that_differ(text, changed(text, [(path, values.typed(value + 1))]))
        assert old.partition("#")[2] == new.partition("#")[2]
        assert old.partition("=")[0] == new.partition("=")[0]


@pytest.mark.parametrize(
    ("path", "value", "line"),
    [
        (
            'field "Nichols rented".lease_end',
            "2028",
            "lease_end = 2028                    # last harvest that",
        ),
        ("field Nichols rented.lease_end", "2028", "lease_end = 2028                    # last harvest that"),
        ("field 9.lease_end", "2028", "lease_end = 2028                    # last harvest that"),
        ("machine baler.hire_rate_per_bale", "15,5", "hire_rate_per_bale = 15.5           # invented, near"),
        ('outlet "Lakeside Malt".price_per_bu', "8.75", "price_per_bu = 8.75                 # invented"),
        ("labor.workers", "2.5", "workers = 2.5                       # two of the family in the fields"),
        ("limits.largest_share_pct.maize", "40", "corn = 40"),
        ("field 'Creek Bottom'.as_now.2", "alfalfa", 'as_now = ["soybean", "alfalfa", "corn", "soybean"'),
        ("field Home 40 patch.stage", "stem", 'stage = "stem"'),
        ('field "Home 40" patch "Canada thistle".counts', "3 5 2", "counts = [3, 5, 2]            # shoots"),
        ("farm.decided_on", "July 20, 2026", "decided_on = 2026-07-20             # work that falls"),
        ("farm.invented", "no", "invented = false                    # printed on every page"),
        ("field 1.history", "corn, soybean", 'history = ["corn", "soybean"]'),
        (
            *("field 1.history", "[{ year = 2025, crop = 'corn' }]"),
            'history = [{ year = 2025, crop = "corn" }]',
        ),
        ("machine 18.hire_rate_per_acre", "30", "hire_rate_per_acre = 30             # invented, near the"),
    ],
)
def test_a_value_is_found_and_written_as_a_grower_means_it(path, value, line):
    ((_, new),) = lines_that_differ(TAMARACK, changed(TAMARACK, [(path, value)]))
    assert new.startswith(line)


@pytest.mark.parametrize(
    ("path", "value", "before", "line"),
    [
        # a key that is allowed and not there yet comes last in its own block
        ('field "Home 40".lease_end', "2030", "as_now = [", "lease_end = 2030"),
        ("labour.bad_year", "yes", "machine_hours_a_day = 10", "bad_year = true"),
        ('crop "alfalfa".sold_in_month', "9", "price_per_ton = 165", "sold_in_month = 9"),
        ("limits.largest_share_pct.dry bean", "25", "soybean = 50", '"dry bean" = 25'),
        ("limits.least_share_pct.legume", "10", "target_shoots_per_m2", "least_share_pct = {legume = 10}"),
        (
            *("limits.soil_cover", "{ from = '11-15', to = '01-15' }", "target_shoots_per_m2"),
            'soil_cover = [{ from = "11-15", to = "01-15" }]',
        ),
        ("new machine tedder.status", "hire", 'name = "tedder"', 'status = "hire"'),
        ('new field "Home 40" patch "quackgrass".stage', "stem", 'weed = "quackgrass"', 'stage = "stem"'),
    ],
)
def test_what_is_not_there_yet_is_added_where_it_belongs(path, value, before, line):
    after = changed(TAMARACK, [(path, value)])
    rows = after.splitlines()
    assert any(row.startswith(before) and below == line for row, below in pairwise(rows))
    left = iter(rows)
    assert all(row in left for row in TAMARACK.splitlines())  # the old lines, in their order


def test_a_block_that_is_not_there_yet_is_added_at_the_end():
    text = LINDENHANG + "\n"
    assert changed(text, [("storage.hay_t", "40")]) == f"{text}\n[storage]\nhay_t = 40\n"


def test_a_new_block_can_be_filled_by_the_changes_after_it():
    after = changed(TAMARACK, [("new machine tedder.status", "own"), ("machine tedder.width_ft", "17")])
    assert '\n[[machine]]\nname = "tedder"\nstatus = "own"\nwidth_ft = 17\n' in after
    assert tomllib.loads(after)["machine"][-1] == {"name": "tedder", "status": "own", "width_ft": 17}


def test_a_minus_takes_out_a_key_a_name_of_a_group_an_entry_or_a_block():
    assert "lease_end" not in changed(TAMARACK, [("field 9.lease_end", "-")])
    told = tomllib.loads(changed(TAMARACK, [("limits.largest_share_pct.corn", "-")]))
    assert told["limits"]["largest_share_pct"] == {"soybean": 50}
    told = tomllib.loads(changed(TAMARACK, [("field 1.history.1", "-")]))
    assert told["field"][0]["history"] == ["soybean", "spring barley", "corn", "soybean"]
    after = changed(TAMARACK, [('machine "manure spreader"', "-")])
    assert after == TAMARACK.replace('[[machine]]\nname = "manure spreader"\nstatus = "own"\n\n', "")
    told = tomllib.loads(changed(TAMARACK, [('field "Nichols rented"', "-"), ("field 1 patch 1", "-")]))
    assert len(told["field"]) == 9 and "patch" not in told["field"][0]


def test_a_key_takes_the_place_of_the_same_in_another_unit_and_says_so():
    after, told = edit(TAMARACK, [("field 1.area_ha", "16")])
    assert lines_that_differ(TAMARACK, after) == [("area_acres = 40", "area_ha = 16")]
    assert [(one.path, one.old, one.new) for one in told] == [
        ("field 1.area_acres", "40", ""),
        ("field 1.area_ha", "", "16"),
    ]


def test_a_whole_group_can_be_set_at_once():
    told = tomllib.loads(changed(LINDENHANG, [("limits.largest_share_pct", "maize 40, oats = 30")]))
    assert told["limits"]["largest_share_pct"] == {"maize": 40, "oats": 30}


def test_blocks_of_one_kind_may_stand_apart_and_line_ends_are_kept():
    text = "\ufeff" + (
        TAMARACK + '\n[[field]]\nname = "Late"\narea_acres = 3   # small\nhistory = ["oats"]\n'
    )
    for ends in ("\r\n", "\r"):
        old = text.replace("\n", ends)
        new = changed(old, [("field Late.area_acres", "4"), ('field "Home 40".soil', "heavy")])
        plain = text.replace("area_acres = 3   #", "area_acres = 4   #").replace(
            'soil = "medium"                     # light', 'soil = "heavy"                      # light'
        )
        assert new == plain.replace("\n", ends)


@pytest.mark.parametrize(
    ("before", "changes", "after"),
    [
        (
            "labour.workers = 2 # a\n",
            [("labour.workers", "3"), ("farm.name", "x")],
            "labour.workers = 3 # a\n\n[farm]\n",
        ),
        ('farm = { name = "x" }\n', [("farm.name", "y")], 'farm = { name = "y" }\n'),
        ('["farm"]\n"name"="x"#c\n', [("farm.name", "y")], '["farm"]\n"name"="y"#c\n'),
        ("[farm]", [("farm.years", "4")], "[farm]\nyears = 4\n"),
        (
            "[limits]\nlargest_share_pct.corn = 4\n",
            [("limits.largest_share_pct.corn", "5"), ("limits.largest_share_pct.oats", "6")],
            "[limits]\nlargest_share_pct.corn = 5\nlargest_share_pct.oats = 6\n",
        ),
    ],
)
def test_other_ways_to_write_the_same_are_kept(before, changes, after):
    assert changed(before, changes).startswith(after)


def test_heads_inside_long_texts_and_lists_are_no_heads():
    text = (
        '[farm]\nname = "x"\nclimate_note = """\n[labour]\n"""\nplace = "here"   # p\n[labour]\nworkers = 1\n'
    )
    after = changed(text, [("farm.place", "there"), ("labour.workers", "2")])
    assert after == text.replace('"here"   #', '"there"  #').replace("workers = 1", "workers = 2")


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        ('field "Hoome 40".lease_end', "2028", 'Did you mean "Home 40"?'),
        ("field Hoome 40.lease_end", "2028", 'Did you mean "Home 40"?'),
        ("field 11.lease_end", "2028", 'there is "Home 40", "Creek Bottom"'),
        ("machine balr.status", "hire", 'Did you mean "round baler"?'),
        ("labour.wage_per_h", "2028", "Did you mean wage_per_hour?"),
        ("labuor.workers", "2", "Did you mean labour?"),
        ("workers", "2", "the blocks are farm, climate, labour"),
        ("labour.workers", "two", "allowed is a number alone"),
        ("labour.workers", "2 people", "The unit is known already"),
        ("limits.cash_floor", "5,000", "Write 5000 or 5.000."),
        ("limits.cash_floor", "none", "To take a key out give - as its value"),
        ("labour.workers", "1e400", "Write it in full"),
        ("labour.workers", "9" * 301, "a number here has at most 300 digits"),
        ("labour.workers", "0." + "9" * 301, "a number here has at most 300 digits"),
        ("farm.organic", "maybe", "allowed is yes or no"),
        ("farm.decided_on", "7/6/2026", "allowed is a date as year, month, day"),
        ("labour.workers", "", "To take a key out give - as its value"),
        ("labour.bad_year", "-", "only what is there can be taken out"),
        ("field 1", "heavy", "needed is a key after a dot: name, area_acres"),
        ("field 1.as_now.9", "oats", "as_now has the entries 1 to 5"),
        ("field 1.soil.x", "oats", "soil holds no names below it"),
        ("field 1 patch 2.stage", "bud", 'there is "Canada thistle"'),
        ('field "Sugarbush" patch.stage', "bud", "the file has no patch"),
        ("new machine plow.status", "own", "leave out new"),
        ("new labour.workers", "1", "new is allowed for"),
    ],
)
def test_a_path_or_value_that_says_nothing_gets_one_sentence_and_what_there_is(path, value, said):
    with pytest.raises(InputError) as fault:
        changed(TAMARACK, [(path, value)])
    assert said in str(fault.value)
    assert "\n" not in str(fault.value)


def test_a_value_of_many_signs_is_not_told_whole():
    with pytest.raises(InputError) as fault:
        changed(TAMARACK, [("labour.workers", "9" * 5_000)])
    assert len(str(fault.value)) < 250


def test_all_faults_of_several_changes_are_told_at_once():
    with pytest.raises(InputError) as fault:
        changed(TAMARACK, [("labour.wage", "x"), ("labour.workers", "3"), ("field 1.area_acres", "big")])
    assert len(fault.value.faults) == 2


# ---------------------------------------------------------------- the command


@pytest.fixture
def copy(tmp_path):
    path = tmp_path / "home.toml"
    path.write_text(TAMARACK, encoding="utf-8")
    return path


@pytest.mark.parametrize("huge", ["9" * 16, "9" * 30, "9" * 300, "1,000,000,000,000,000,000", "-" + "9" * 20])
@pytest.mark.parametrize(
    ("path", "allowed"),
    [
        ("labour.workers", "allowed is a number above 0 and up to 1,000."),
        ("limits.cash_floor", "allowed is a number from -100,000,000 to 100,000,000."),
        ("farm.first_year", "allowed is a whole number from 1950 to 2100."),
    ],
)
def test_a_number_out_of_all_bounds_is_told_the_bounds(copy, path, allowed, huge):
    ran = CliRunner().invoke(cli.main, ["set", str(copy), path, huge])
    assert ran.exit_code == 1
    assert allowed in ran.stderr
    assert copy.read_text(encoding="utf-8") == TAMARACK


def test_taking_out_the_least_cash_leaves_no_limit(copy):
    ran = CliRunner().invoke(cli.main, ["set", str(copy), "limits.cash_floor", "-"])
    assert ran.stdout == "limits.cash_floor: 5000 -> taken out\n"
    assert farm.read(copy, TABLES).cash_floor == -math.inf
    assert "Least cash: no limit." in CliRunner().invoke(cli.main, ["check", str(copy)]).stdout


def test_set_writes_the_change_and_says_old_and_new(copy):
    ran = CliRunner().invoke(
        cli.main, ["set", str(copy), 'field "Nichols rented".lease_end', "2028", "limits.cash_floor", "-4000"]
    )
    assert ran.exit_code == 0, ran.output
    assert ran.stdout == 'field "Nichols rented".lease_end: 2029 -> 2028\nlimits.cash_floor: 5000 -> -4000\n'
    assert len(lines_that_differ(TAMARACK, copy.read_text(encoding="utf-8"))) == 2
    assert farm.read(copy, TABLES).cash_floor == -4000
    assert [path.name for path in copy.parent.iterdir()] == [copy.name]


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (
            ("machine baler.status", "hier"),
            1,
            'Did you mean "hire"?',
        ),  # a fault that only the whole file shows
        (("field 1.area_acres", "-"), 1, "no area_acres or area_ha"),
        (("field 1.aera_acres", "3"), 1, "Did you mean area_acres?"),
        (("field 1.area_acres",), 2, "no value after"),
        ((), 2, "Missing a path and a value"),
    ],
)
def test_what_would_leave_a_fault_leaves_the_file_alone(copy, words, code, said):
    ran = CliRunner().invoke(cli.main, ["set", str(copy), *words])
    assert ran.exit_code == code
    assert said in " ".join(ran.stderr.split())
    whole = code == 1 and words[0] != "field 1.aera_acres"  # a fault of the file, not of the path
    assert ("Nothing written" in ran.stderr) == whole
    assert copy.read_text(encoding="utf-8") == TAMARACK


@pytest.mark.parametrize(
    "words",
    [
        (
            "field",
            "Nichols rented.lease_end",
            "2028",
        ),  # what a shell makes of field "Nichols rented".lease_end
        ("field", "Nichols", "rented.lease_end", "2028"),
        ('field "Nichols rented".lease_end', "2028", "field", "Home 40", "patch", "1", "-"),
    ],
)
def test_a_path_that_the_shell_has_split_is_put_together_again(copy, words):
    ran = CliRunner().invoke(cli.main, ["set", str(copy), *words])
    assert ran.exit_code == 0, ran.output
    assert farm.read(copy, TABLES).fields[8].lease_end_year == 2028


def test_a_dry_run_writes_nothing(copy):
    ran = CliRunner().invoke(cli.main, ["set", "--dry-run", str(copy), "labour.workers", "3"])
    assert (ran.exit_code, ran.stdout) == (0, "labour.workers: 2 -> 3\n")
    assert copy.read_text(encoding="utf-8") == TAMARACK


def test_a_file_behind_a_link_is_changed_and_the_link_stays(copy):
    link = copy.with_name("link.toml")
    link.symlink_to(copy)
    assert CliRunner().invoke(cli.main, ["set", str(link), "labour.workers", "3"]).exit_code == 0
    assert link.is_symlink() and "workers = 3 " in copy.read_text(encoding="utf-8")


# ---------------------------------------------------------------- whatever is typed

WORDS = st.sampled_from(
    [
        *(
            "new",
            "field",
            "machine",
            "outlet",
            "crop",
            "labour",
            "limits",
            "farm",
            "patch",
            "market",
            "costs",
        ),
        *(
            ".",
            ".",
            " ",
            " ",
            '"',
            "'",
            "1",
            "2",
            "99",
            "-",
            "Home 40",
            '"Home 40"',
            "baler",
            "status",
            "history",
        ),
        *("as_now", "counts", "largest_share_pct", "corn", "soil_cover", "name", "area_acres", "area_ha"),
        *("no_market", "yield_ratio_by_crop", "stage", "\u201e", "#", "[", "]", "=", "\n", "é"),
    ]
)
PATHS = st.one_of(
    st.lists(WORDS, max_size=9).map("".join),
    st.text(max_size=30),
    st.sampled_from([path for path, _ in every_key(tomllib.loads(LINDENHANG))]),
)
VALUES = st.one_of(
    st.text(max_size=20),
    st.sampled_from(
        [
            *(
                "-",
                "yes",
                "2028",
                "12,5",
                "1,200",
                "[1, 2",
                '["corn"]',
                "corn, soybean",
                "{ a = 1 }",
                "maize 40",
            ),
            *(
                "inf",
                "nan",
                "1e400",
                "9" * 30,
                '"',
                "'''",
                '"""',
                "2026-07-31",
                "31.7.2026",
                "[" * 30,
                "own # x",
            ),
            *(
                "[{ from = 1 }]",
                "[{ from = '01-02', to = '03-04' }]",
                "\u0000",
                "a\nb = 1",
                "[]",
                "{}",
                "- -",
                "true",
            ),
        ]
    ),
    st.lists(st.text(max_size=6), max_size=4).map(", ".join),
)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.tuples(PATHS, VALUES), min_size=1, max_size=2))
def test_whatever_is_typed_gives_a_sound_file_or_a_sentence(changes):
    try:
        after = changed(LINDENHANG, changes)
    except RotationOptError as fault:
        assert 0 < len(str(fault)) < 4000
        return
    tomllib.loads(after)
    for row in LINDENHANG.splitlines():
        if row.startswith("#"):
            assert row in after.splitlines()
