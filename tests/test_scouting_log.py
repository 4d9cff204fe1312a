"""The scouting log: how clumped counts are read, and a file that is never lost or half-written.

All counts but those of Bliss and Fisher are invented.
"""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

import rotation_opt
from rotation_opt import cli, frames, scouting_log, tables, whole_file
from rotation_opt.errors import InputError, RotationOptError
from rotation_opt.scouting_log import Visit, densities

ROOT = Path(__file__).parent.parent
TABLES = tables.read()
FARM_FILE = rotation_opt.example_farm("tamarack_hollow")
FARM = rotation_opt.read_farm(FARM_FILE, TABLES)
HEADER = "date,observer,field,patch,weed,stage,frame_m2,count,patch_area_ha,height_cm,note"
ROW = "2027-06-24,R. L.,Home 40,north,Canada thistle,bud,0.25,{},1.5,60,"

# Bliss and Fisher (1953), Fitting the negative binomial distribution to biological data, Biometrics
# 9:176-200, table 1 (from memory): European red mites on 150 apple leaves; leaves with 0, 1, ... 7 mites.
MITES = np.repeat(np.arange(8), (70, 38, 17, 10, 9, 3, 2, 1)).tolist()
ADD = (
    *("add", "--field", "Home 40", "--weed", "Canada thistle", "--date", "2027-06-24"),
    *("--frame", "1/4 m2", "--counts", "3,0"),
)


def visit(counts, **others):
    return Visit(
        **{
            "field": "Home 40",
            "weed": "creeping_thistle",
            "date": "2027-06-24",
            "stage": "bud",
            "frame_m2": 0.25,
            **others,
        },
        counts=tuple(counts),
    )


def written(folder, *lines, name="log.csv", encoding="utf-8", end="\n"):
    path = folder / name
    path.write_bytes((end.join(lines) + end).encode(encoding))
    return path


def read(path):
    return scouting_log.read(path, FARM, TABLES)


def faults(path):
    with pytest.raises(InputError) as caught:
        read(path)
    return [str(fault) for fault in caught.value.faults]


# ---------------------------------------------------------------- statistics


@pytest.mark.parametrize("counts", [(3, 5, 0, 7), (0, 0, 0), (12,), tuple(MITES)])
@pytest.mark.parametrize("k", [0.2, 1.0246, 7.0])
def test_log_likelihood_is_that_of_scipy(counts, k):
    expected = np.array([[0.01, 1.0, 4.0], [16.0, 80.0, 900.0]])
    mean = expected * 0.25
    there = sum(stats.nbinom.logpmf(count, k, k / (k + mean)) for count in counts)
    assert scouting_log.log_likelihood(counts, 0.25, expected, k) == pytest.approx(there, rel=1e-9)


def test_nothing_expected_and_something_counted_cannot_be():
    assert scouting_log.log_likelihood([0, 0], 0.25, [0.0], 1.0) == pytest.approx([0.0])
    assert scouting_log.log_likelihood([0, 1], 0.25, [0.0], 1.0) == [-np.inf]


@pytest.mark.parametrize(
    ("counts", "frame_m2", "expected", "k"),
    [([-1], 1.0, 1.0, 1.0), ([1], 0.0, 1.0, 1.0), ([1], 1.0, -1.0, 1.0), ([1], 1.0, 1.0, 0.0)],
)
def test_log_likelihood_turns_down_what_has_no_meaning(counts, frame_m2, expected, k):
    with pytest.raises(ValueError, match="0"):
        scouting_log.log_likelihood(counts, frame_m2, expected, k)


def test_moments_and_likelihood_give_the_published_clumping():
    # Same source and table: mean 1.1467, variance 2.2736, k by moments 1.1667, by maximum likelihood 1.0246.
    # Their moment estimate is Anscombe's, without the term s2/n of Bliss and Owen, which is added back here.
    mean, variance = np.mean(MITES), np.var(MITES, ddof=1)
    assert (mean, variance) == (pytest.approx(1.1467, abs=5e-5), pytest.approx(2.2736, abs=1e-4))
    k = scouting_log.common_k([MITES])
    assert k * mean**2 / (mean**2 - variance / len(MITES)) == pytest.approx(1.1667, abs=5e-4)
    best = optimize.minimize_scalar(
        lambda k: -float(scouting_log.log_likelihood(MITES, 1.0, mean, k)), bounds=(0.1, 10), method="bounded"
    )
    assert best.x == pytest.approx(1.0246, abs=5e-4)


def test_one_clumping_is_found_again_in_many_walks_of_other_densities():
    rng = np.random.default_rng(3)
    k = 1.5
    walks = [
        stats.nbinom.rvs(k, k / (k + mean), size=6, random_state=rng).tolist()
        for mean in rng.uniform(1.0, 12.0, 800)
    ]
    assert scouting_log.common_k(walks) == pytest.approx(k, rel=0.1)


def test_counts_that_vary_less_than_by_chance_are_not_clumped():
    assert scouting_log.common_k([[4, 4, 5, 4]]) == np.inf
    assert np.isnan(scouting_log.common_k([[4], [9]]))
    assert np.isnan(scouting_log.common_k([[0, 0, 0]]))


def test_clumping_is_judged_below_eight_stops_and_fitted_from_eight_on():
    judged = TABLES.figure("weed", "creeping_thistle", "clump_k")
    assert judged.mark == "judgement"
    assert judged.note != "none"
    few = [visit([0, 4, 9, 1, 2, 7, 3])]
    assert scouting_log.clumping(few, TABLES, "creeping_thistle") == scouting_log.Clumping(
        k=judged.value, fitted=False, stops=7
    )
    more = [*few, visit([8], date="2028-06-24")]
    fitted = scouting_log.clumping(more, TABLES, "creeping_thistle")
    assert fitted.fitted
    assert fitted.k == pytest.approx(scouting_log.common_k([few[0].counts]))
    even = scouting_log.clumping([visit([4] * 9)], TABLES, "creeping_thistle")
    assert (even.fitted, even.k) == (True, judged.high)


@pytest.mark.parametrize("counts", [(3, 5, 0, 7), (1, 0, 0), (40, 55, 12, 80, 31), (6,)])
@pytest.mark.parametrize("k", [1.0, 4.0])
def test_low_and_high_are_those_of_the_beta_distribution(counts, k):
    # With the prior of Jeffreys m / (m + k) has a beta distribution: see the notes of shoots_per_m2.
    whole = stats.beta(sum(counts) + 0.5, len(counts) * k)
    most = densities.MOST_PER_M2 * 0.25
    edges = whole.ppf(np.array([0.1, 0.9]) * whole.cdf(most / (most + k)))
    low, likely, high = scouting_log.shoots_per_m2(visit(counts), k)
    assert (low, high) == pytest.approx(tuple(k * edges / (1 - edges) / 0.25), rel=2e-3)
    assert likely == pytest.approx(np.mean(counts) * 4)


def test_low_to_high_holds_the_truth_in_about_eight_of_ten():
    rng = np.random.default_rng(11)
    k, inside, tries = 2.0, 0, 600
    for _ in range(tries):
        density = rng.uniform(4.0, 60.0)
        mean = density * 0.25
        counts = stats.nbinom.rvs(k, k / (k + mean), size=5, random_state=rng).tolist()
        low, _, high = scouting_log.shoots_per_m2(visit(counts), k)
        inside += low <= density <= high
    # 0.8 within three standard errors of 600 tries, and 0.02 for a prior that is not the truth
    assert inside / tries == pytest.approx(0.8, abs=0.02 + 3 * (0.16 / tries) ** 0.5)


def test_no_shoot_seen_still_leaves_room_for_some():
    low, likely, high = scouting_log.shoots_per_m2(visit([0] * 5), 2.0)
    assert likely == 0.0 <= low < 0.1 < high < 2.0
    assert scouting_log.shoots_per_m2(visit([0] * 20), 2.0)[2] < high


# ---------------------------------------------------------------- reading


def test_rows_that_stand_together_are_one_visit(tmp_path):
    path = written(
        tmp_path,
        HEADER,
        *(ROW.format(n) for n in (3, 5, 0)),
        "",
        "2028-06-20,,Home 40,,thistle,Bud,1,2,,,",
    )
    first, second = read(path)
    assert first == visit((3, 5, 0), patch="north", area_ha=1.5, observer="R. L.", height_cm=60.0)
    assert (second.counts, second.area_ha, second.stage, second.year) == ((2,), None, "bud", 2028)


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("start", ["", "\ufeff", "sep=;\n", "\n\n"])
def test_semicolons_marks_and_line_ends_of_spreadsheets_are_read(tmp_path, start, end):
    rows = [HEADER, *(ROW.format(n) for n in (3, 5, 0))]
    text = end.join(row.replace(",", ";").replace("0.25", "0,25") for row in rows)
    path = tmp_path / "log.csv"
    path.write_bytes((start + text).encode())
    log = scouting_log.read_log(path, FARM, TABLES)
    assert [each.counts for each in log.visits] == [(3, 5, 0)]
    assert log.visits[0].frame_m2 == 0.25
    assert "0,25 is read as 0.25" in log.remarks[0]


def test_columns_may_stand_in_any_order_and_the_optional_ones_may_lack(tmp_path):
    path = written(
        tmp_path, "count,weed,photo,field,date,frame_m2,stage", "4,thistle,yes,home 40,2027-06-24,1,bud"
    )
    assert [(each.counts, each.patch, each.area_ha) for each in read(path)] == [((4,), "", None)]


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("24.6.2027,,Home 40,,thistle,bud,1,2,,,", "Write 2027-06-24"),
        ("6/24/2027,,Home 40,,thistle,bud,1,2,,,", "Write 2027-06-24"),
        ("2027-02-30,,Home 40,,thistle,bud,1,2,,,", 'column date: found "2027-02-30"'),
        (",,Home 40,,thistle,bud,1,2,,,", "column date: found nothing"),
        ("1927-06-24,,Home 40,,thistle,bud,1,2,,,", "1970 to 2099"),
        ("2027-06-24,,Hone 40,,thistle,bud,1,2,,,", 'Did you mean "Home 40"?'),
        ("2027-06-24,,Home 40,,canada thisle,bud,1,2,,,", 'Did you mean "Canada thistle"?'),
        ("2027-06-24,,Home 40,,bull thistle,bud,1,2,,,", "does not creep"),
        ("2027-06-24,,Home 40,,thistle,budd,1,2,,,", 'Did you mean "bud"?'),
        ("2027-06-24,,Home 40,,thistle,bud,0,2,,,", "column frame_m2"),
        ("2027-06-24,,Home 40,,thistle,bud,1,-2,,,", 'column count: found "-2"'),
        ("2027-06-24,,Home 40,,thistle,bud,1,2.5,,,", "whole number of shoots"),
        ("2027-06-24,,Home 40,,thistle,bud,1,many,,,", 'column count: found "many"'),
        ("2027-06-24,,Home 40,,thistle,bud,0.25,5000,,,", "20,000"),
        ("2027-06-24,,Home 40,,thistle,bud,1,2,40,,", "no larger than its field"),
        ("2027-06-24,,Home 40,,thistle,bud,1,2,,900,", "column height_cm"),
        ("2027-06-24,,Home 40,,thistle,bud,0,25,2,,,", "decimal comma"),
        ('2027-06-24,,Home 40,,thistle,bud,1,2,"1,500",,', "may mean two things"),
        ('2027-06-24,,Home 40,,thistle,bud,1,2,,,"wet', "quotation marks that do not match"),
        ('2027-06-24,,Home 40,,thistle,bud,1,2,,,"wet\nlate"', "on one line"),
    ],
)
def test_one_slip_is_one_sentence_with_its_line(tmp_path, row, said):
    told = faults(written(tmp_path, HEADER, ROW.format(3), row))
    assert len(told) == 1
    assert told[0].startswith("log.csv line 3")
    assert said in told[0]


def test_all_faults_are_told_at_once_in_the_order_of_the_file(tmp_path):
    told = faults(
        written(
            tmp_path,
            HEADER,
            "2027-6-24,,Home 40,,thistle,bud,1,2,,,",
            "2027-06-24,,Nowhere,,dandelion,bloom,-1,x,,,",
        )
    )
    assert [text.split(":")[0] for text in told] == [
        "log.csv line 2, column date",
        *(f"log.csv line 3, column {name}" for name in ("field", "weed", "stage", "frame_m2", "count")),
    ]


@pytest.mark.parametrize(
    ("header", "said"),
    [
        ("date,field,weed,stage,frame_m2", "no column count"),
        ("date,field,weed,stage,frame,count", "no column frame_m2"),
        (HEADER + ",count", "two columns count"),
        (HEADER.replace("height_cm", "height"), "Did you mean height_cm?"),
        (HEADER.replace(",", "\t"), "tabs"),
        ("field,year,practice_or_crop,note", "no column date, weed, stage, frame_m2 and count; the first"),
        ("[farm]", 'found "[farm]", which names no columns; a scouting log is a CSV file'),
        ("# My fields, and what I counted, by note", "which names no columns"),
        ("{", 'found "{", which names no columns'),
        ("<!DOCTYPE html>", "which names no columns"),
    ],
)
def test_a_wrong_line_of_column_names_is_told_in_one_sentence(tmp_path, header, said):
    (told,) = faults(written(tmp_path, header, ROW.format(1)))
    assert said in told


@pytest.mark.parametrize("command", [("summary",), ("list",), ADD])
def test_a_farm_file_given_as_the_log_is_told_in_one_line_and_stays_as_it_is(tmp_path, command):
    path = tmp_path / "other.toml"
    path.write_text(FARM_FILE.read_text(encoding="utf-8"), encoding="utf-8")
    name, *options = command
    told = CliRunner().invoke(cli.main, ["scout", name, str(FARM_FILE), *options, "--log", str(path)])
    assert told.exit_code == 1
    assert told.stderr.startswith("Error: other.toml line 1: found ")
    assert told.stderr.endswith("Is this the farm file?\n")
    assert told.stderr.count("\n") == 1
    assert path.read_text(encoding="utf-8") == FARM_FILE.read_text(encoding="utf-8")


def test_a_doubled_visit_is_told(tmp_path):
    other = ROW.replace("north", "south")
    apart = written(tmp_path, HEADER, ROW.format(3), other.format(1), ROW.format(3))
    assert [text for text in faults(apart) if "stands there already (line 2)" in text]
    stops = [ROW.format(n) for n in (3, 5, 0)]
    once_more = faults(written(tmp_path, HEADER, *stops, *stops))
    assert "log.csv line 5: found the 3 stops above once more" in once_more[0]
    really = [stops[0] + "counted so", *stops[1:]]
    assert len(read(written(tmp_path, HEADER, *stops, *really))) == 1
    assert read(written(tmp_path, HEADER, *[ROW.format(0)] * 6))[0].counts == (0,) * 6


def test_one_visit_has_one_frame_and_one_stage(tmp_path):
    told = faults(written(tmp_path, HEADER, ROW.format(3), ROW.format(4).replace("0.25", "1")))
    assert "line 3, column frame_m2: found 1 m2; one visit has one frame_m2" in told[0]
    told = faults(written(tmp_path, HEADER, ROW.format(3), ROW.format(4).replace("bud", "stem")))
    assert "line 3, column stage" in told[0]


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"", "no column names"),
        (HEADER.encode("utf-16"), "UTF-16"),
        (b"PK\x03\x04\0\0", "workbook"),
        (HEADER.encode() + "\n2027-06-24,,Lange Äcker".encode("cp1252"), "line 2: found a letter"),
    ],
)
def test_a_file_of_another_kind_is_told(tmp_path, raw, said):
    path = tmp_path / "log.csv"
    path.write_bytes(raw)
    assert said in faults(path)[0]


def test_no_file_and_a_folder_are_told(tmp_path):
    assert "no file of that name" in faults(tmp_path / "none.csv")[0]
    assert "a folder" in faults(tmp_path)[0]


GOOD = "\n".join(
    [HEADER, *(ROW.format(n) for n in (3, 5, 0)), "2028-06-20,,South 80,2,bindweed,flower,1,2,,,dry"]
)
SLIPS = [
    *'",;\n\r\t-.=0x',
    "\0",
    "\x0b",
    "\x1c",
    "\u2028",
    "\ufeff",
    "1e999",
    "nan",
    '""',
    "9" * 400,
    "²",
    "٣",
]


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_a_mutated_log_is_a_log_or_a_list_of_faults(data, tmp_path):
    text = GOOD
    for _ in range(data.draw(st.integers(1, 5))):
        at = data.draw(st.integers(0, len(text)))
        slip = data.draw(st.one_of(st.sampled_from(SLIPS), st.characters(codec="utf-8"), st.just("")))
        text = text[:at] + slip + text[at + data.draw(st.integers(0, 12)) :]
    path = tmp_path / "log.csv"
    path.write_bytes(text.encode())
    before = path.read_bytes()
    try:
        assert all(isinstance(each, Visit) and each.counts for each in read(path))
    except InputError as caught:
        assert all(fault.place.startswith("log.csv") and fault.allowed for fault in caught.faults)
        with pytest.raises(InputError):
            scouting_log.append(path, [visit([1, 2])], FARM, TABLES)
        assert path.read_bytes() == before


# ---------------------------------------------------------------- adding


def test_what_is_added_is_read_back_and_what_was_there_stays_byte_for_byte(tmp_path):
    path = tmp_path / "log.csv"
    first = visit((3, 5, 0), observer="R. L.", note='wet, "late"; far', area_ha=1.25, height_cm=60.0)
    second = visit((1, 0), patch="2", date="2028-06-20")
    scouting_log.append(path, [first], FARM, TABLES)
    old = path.read_bytes()
    assert old.startswith(b"\xef\xbb\xbf" + HEADER.encode())
    scouting_log.append(path, [second], FARM, TABLES)
    assert path.read_bytes().startswith(old)
    assert read(path) == (first, second)
    assert [each.name for each in tmp_path.iterdir()] == ["log.csv"]


def test_added_rows_look_like_those_of_the_file(tmp_path):
    path = tmp_path / "log.csv"
    old = "\ufeffcount;weed;field;date;frame_m2;stage\r\n4;thistle;home 40;2027-06-24;0,25;bud".encode()
    path.write_bytes(old)
    scouting_log.append(path, [visit((7,), date="2028-06-20")], FARM, TABLES)
    assert path.read_bytes() == old + b"\r\n7;creeping_thistle;Home 40;2028-06-20;0.25;bud\r\n"
    with pytest.raises(InputError, match="no column note"):
        scouting_log.append(path, [visit((7,), date="2029-06-20", note="dry")], FARM, TABLES)


def test_a_link_and_the_rights_of_the_file_stay(tmp_path):
    path = tmp_path / "log.csv"
    scouting_log.append(path, [visit((1,))], FARM, TABLES)
    path.chmod(0o640)
    link = tmp_path / "link.csv"
    link.symlink_to(path)
    scouting_log.append(link, [visit((2,), date="2028-06-20")], FARM, TABLES)
    assert link.is_symlink()
    assert len(read(path)) == 2
    assert path.stat().st_mode & 0o777 == 0o640


@pytest.mark.parametrize(
    ("new", "said"),
    [
        (visit((3,)), "stands there already"),
        (visit((3,), field="Nowhere", date="2028-01-01"), "the new visit, column field"),
        (visit((-3, -4), date="2028-01-01"), "column count"),
        (visit((), date="2028-01-01"), "no count"),
        (visit((3,), note="a\nb", date="2028-01-01"), "on one line"),
    ],
)
def test_what_cannot_be_added_leaves_the_file_as_it_was(tmp_path, new, said):
    path = tmp_path / "log.csv"
    scouting_log.append(path, [visit((1, 2))], FARM, TABLES)
    old = path.read_bytes()
    with pytest.raises(InputError, match=said):
        scouting_log.append(path, [new], FARM, TABLES)
    assert path.read_bytes() == old


def test_a_folder_that_is_not_there_is_told(tmp_path):
    with pytest.raises(RotationOptError, match="cannot be written"):
        scouting_log.append(tmp_path / "none" / "log.csv", [visit((1,))], FARM, TABLES)


def test_writers_at_the_same_time_lose_nothing(tmp_path):
    path = tmp_path / "log.csv"

    def write(number):
        for day in range(1, 6):
            new = visit((number,), patch=str(number), date=f"2027-06-{day:02d}")
            scouting_log.append(path, [new], FARM, TABLES)

    writers = [threading.Thread(target=write, args=(number,)) for number in range(4)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    assert len({each.key for each in read(path)}) == 20


def test_a_writer_that_does_not_end_is_told_and_nothing_is_added(tmp_path):
    path = tmp_path / "log.csv"
    scouting_log.append(path, [visit((1,))], FARM, TABLES)
    old = path.read_bytes()
    with (
        whole_file.alone(path),
        pytest.raises(RotationOptError, match="another program is writing to it"),
    ):
        scouting_log.append(path, [visit((2,), date="2028-06-20")], FARM, TABLES, patience_s=0.1)
    assert path.read_bytes() == old


KILLED = """
import os, sys
from pathlib import Path
import rotation_opt
from broken_off import killed_at_random
from rotation_opt import scouting_log, tables
TABLES = tables.read()
path = Path(sys.argv[2])
farm = rotation_opt.read_farm(Path(sys.argv[1]), TABLES)

def there():
    return [visit.counts for visit in scouting_log.read(path, farm, TABLES)] if path.exists() else []

def many(into):
    for number in range(len(there()), 10_000):
        visit = scouting_log.Visit(field="Home 40", weed="creeping_thistle", date="2027-06-24", stage="bud",
                                   frame_m2=0.25, counts=(number, 0, number), patch=f"p{number}")
        scouting_log.append(path, [visit], farm, TABLES)
        os.write(into, f"{number}\\n".encode())

before = 0
for told in killed_at_random(many, 40, 0.06):
    after = there()
    # whole visits in order: all that were told as written, and at most one whose word did not get out
    assert after == [(n, 0, n) for n in range(len(after))]
    assert max([before, *(number + 1 for number in told)]) <= len(after) <= before + len(told) + 1
    before = len(after)
print(before)
"""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="processes are forked and killed")
def test_a_writer_killed_at_any_moment_loses_no_visit_that_was_told_as_written(tmp_path):
    """At every step of the writing: `test_whole_files`."""
    done = subprocess.run(
        [sys.executable, "-c", KILLED, str(FARM_FILE), str(tmp_path / "log.csv")],
        capture_output=True, text=True, check=False, env={**os.environ, "PYTHONPATH": str(ROOT / "tests")},
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    assert int(done.stdout) > 20


# ---------------------------------------------------------------- summing up


def test_patches_count_by_their_areas():
    visits = [
        visit((4, 4, 4, 4), patch="a", area_ha=3.0),
        visit((0, 0, 0, 0), patch="b", area_ha=1.0),
    ]
    (one,) = scouting_log.summarise(visits, FARM, TABLES)
    low, likely, high = one.shoots_per_m2
    assert (one.stops, one.patches, one.area_ha, likely) == (8, 2, 4.0, pytest.approx(12.0))
    k = one.clumping.k
    alone = [scouting_log.shoots_per_m2(each, k) for each in visits]
    assert 0.75 * alone[0][0] < low < likely < high < 0.75 * alone[0][2] + 0.25 * alone[1][2]


def test_a_patch_without_a_size_takes_that_of_the_farm_file_or_counts_alike():
    (field,) = (each for each in FARM.fields if each.name == "Home 40")
    sizes = {
        patch: scouting_log.summarise([visit((4,), patch=patch)], FARM, TABLES)[0].area_ha
        for patch in ("", "1", "2", "north")
    }
    assert sizes == {"": field.patches[0].area_ha, "1": field.patches[0].area_ha, "2": None, "north": None}
    both = [visit((4,), patch="north", area_ha=2.0), visit((8,), patch="south")]
    (one,) = scouting_log.summarise(both, FARM, TABLES)
    assert (one.area_ha, one.shoots_per_m2[1]) == (None, pytest.approx(24.0))


def test_years_stages_and_fields_stand_apart_in_order():
    visits = [
        visit((1,), date="2028-09-01", stage="stubble"),
        visit((2,), date="2028-06-20"),
        visit((3,), date="2027-06-20"),
        visit((5,), date="2027-06-27"),
        visit((4,), field=FARM.fields[1].name),
    ]
    sums = scouting_log.summarise(visits, FARM, TABLES)
    assert [(one.field, one.year, one.stage, one.stops) for one in sums] == [
        ("Home 40", 2027, "bud", 2),
        ("Home 40", 2028, "bud", 1),
        ("Home 40", 2028, "stubble", 1),
        (FARM.fields[1].name, 2027, "bud", 1),
    ]
    assert sums[0].shoots_per_m2[1] == pytest.approx(16.0)


# ---------------------------------------------------------------- frames and commands


@pytest.mark.parametrize(
    ("words", "area_m2"),
    [
        ("1/4 m2", 0.25),
        ("¼ m²", 0.25),
        ("0,25", 0.25),
        ("50 x 50 cm", 0.25),
        ("50 cm x 50 cm", 0.25),
        ("square foot", 0.09290304),  # NIST Handbook 44, Appendix C: exact
        ("2 sq ft", 0.18580608),
        ("Square Yard", 0.83612736),  # the same
        ("2 x 4.5 ft", 0.83612736),
        ("hoop 56 cm", np.pi * 0.28**2),
        ("hoop of 22 in. across", np.pi * 0.2794**2),
        ("hoop 1 m across", np.pi / 4),
        *((each.name, each.area_m2) for each in frames.FRAMES),
    ],
)
def test_a_frame_in_words_has_its_area(words, area_m2):
    assert frames.area_m2(words) == pytest.approx(area_m2, rel=1e-9)


@pytest.mark.parametrize(
    "words", ["", "hoop", "1/0 m2", "sqare foot", "0 m2", "3 acres", "-1 m2", "5 x 5 furlong"]
)
def test_no_frame_is_told(words):
    with pytest.raises(InputError, match="allowed is a frame such as 1/4 m2"):
        frames.area_m2(words)


@pytest.fixture
def scout(tmp_path):
    log = tmp_path / "log.csv"

    def run(command, *arguments):
        return CliRunner().invoke(cli.main, ["scout", command, str(FARM_FILE), *arguments, "--log", str(log)])

    return run


@pytest.mark.parametrize("arguments", [(), ("add",), ("list",), ("summary",)])
def test_every_command_of_the_log_has_help(arguments):
    shown = CliRunner().invoke(cli.main, ["scout", *arguments, "--help"])
    assert shown.exit_code == 0
    assert "INTEGER" not in shown.stdout
    assert "rotation-opt scout" in (ROOT / "README.md").read_text(encoding="utf-8")


ADDED = ("--field", "home 40", "--weed", "Canada thistle", "--frame", "square foot")


def test_a_visit_is_added_listed_and_summed_up(scout):
    done = scout(
        "add", *ADDED, "--date", "2027-06-24", "--counts", "3,5,0,7", "--area", "2", "--height", "24"
    )
    assert (done.exit_code, done.stdout) == (0, "")
    assert "Written: 4 stops of Home 40 on 2027-06-24" in done.stderr
    listed = scout("list").stdout
    assert "3 5 0 7" in listed
    assert "2.0 acres" in listed
    assert "24 in. high" in listed
    assert "invented demo farm" in listed
    summed = scout("summary").stdout
    assert "40 (" in summed  # 15 / 4 shoots on 0.0929 m2
    assert "4 stops, 2.0 acres" in summed
    assert "our judgement" in summed
    assert "3 5 0 7" not in scout("list", "--year", "2028").stdout


def test_a_day_still_to_come_is_written_down_and_told(scout):
    later = scout("add", *ADDED, "--date", "2098-06-24", "--counts", "1")
    assert later.exit_code == 0
    assert "still to come" in later.stderr
    assert "still to come" not in scout("add", *ADDED, "--date", "2024-06-24", "--counts", "1").stderr


def test_no_figure_of_shoots_has_more_than_two_figures(scout):
    for year, counts in ((2027, "13,5,10,7"), (2028, "123,104,99"), (2029, "0,0,1")):
        scout("add", *ADDED, "--date", f"{year}-06-24", "--counts", counts)
    table = scout("summary", "--width", "110").stdout.split("How to read")[0]
    (row,) = (line for line in table.splitlines() if line.startswith("Home 40, bud"))
    for figure in row.replace("(", " ").replace(")", " ").replace(",", "").split():
        digits = figure.replace(".", "").strip("0")
        assert not digits.isdigit() or len(digits) <= 2 or figure == "40"


@pytest.mark.parametrize(
    ("arguments", "said", "code"),
    [
        (("--date", "24.6.2027", "--counts", "1"), "Write 2027-06-24", 1),
        (("--date", "2027-06-24", "--counts", "1,-2"), "is not a count", 2),
        (("--date", "2027-06-24", "--counts", ","), "no count", 2),
        (("--date", "2027-06-24", "--counts", "1", "--area", "big"), "is no size", 2),
        (
            ("--date", "2027-06-24", "--counts", "1", "--area", "90"),
            "that is 90 acres; a patch is no larger than its field, and Home 40 has 40 acres.",
            2,
        ),
        (("--date", "2027-06-24", "--counts", "1", "--stage", "budd"), "Did you mean bud?", 2),
        (("--date", "2027-06-24", "--counts", "1", "--frame", "hop"), "allowed is a frame", 1),
    ],
)
def test_a_slip_on_the_command_line_is_one_sentence(scout, arguments, said, code):
    done = scout("add", *ADDED, *arguments)
    assert (done.exit_code, done.stdout) == (code, "")
    assert said in done.stderr
    assert "Traceback" not in done.stderr
