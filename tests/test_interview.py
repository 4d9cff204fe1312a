"""The interview: what is typed is what the farm file holds, and no answer is ever lost or breaks it."""

from __future__ import annotations

import functools
import importlib
import json
import math
import os
import signal
import subprocess
import sys
import time
import tomllib
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rotation_opt import farm, farm_writer, records, tables, units
from rotation_opt.cli import main
from rotation_opt.farm_questions import Interview, State
from rotation_opt.farm_questions.answers import UnclearError, day, listed, number

TODAY = date(2026, 11, 28)
TABLES = tables.read()
ASKED = Interview(TABLES, TODAY)
EXAMPLES = sorted((Path(__file__).parent.parent / "examples").glob("*.toml"))

# Invented farms, as somebody would type them; an empty line is Enter.
US = """us
Maple Bend
2, 9-11, 18
yes
60 head
1200
150
100
new york
rochester ny, airport
near Geneva, New York
dry beans
yes

corn 110 9.50
alfalfa 3.5 160

40,000
-5000
1-4, 5, 8, 9, 11, combine
combine, round baler, rake, mower-conditioner
2
30
10

2026-08-01


Home 40
40


corn, soybean, spring barley, corn, soybean
spring barley, corn, soybean, spring barley, corn
Canada thistle
35%
3 5 2 6 4

June 24
bud

Creek
55 acres
wet
2029
85
alfalfa x3, corn, soybeans

quackgrass
6 acres
60
2026-06-26
stem
bindweed
100%
12 per sq ft



North
22.5
light

oats, winter wheat, corn




"""
METRIC = """metric
Steinacker
all
standing
0
Wuerzburg

none
no
CHF
winter wheat 4,2 410

0
0
plough, 3, tine weeder
none
1.5
5 8 25 35 35 30 40 45 35 30 22 5
0
9
2026-07-20
2027
4
Am Hang
12,5 ha
heavy

maize, spring barley, field peas
field peas, maize, oats, winter wheat
Acker-Kratzdistel
3 ha
24
18 June 2026
flower


yes
"""


@functools.cache
def answered(text: str) -> State:
    """The state after a script, every line of which is an answer that can be used."""
    state = State()
    for line in text.split("\n")[:-1]:
        question = ASKED.question(state)
        assert question is not None, f"{line!r} comes after the last question"
        before = state
        state, say = ASKED.step(state, line)
        # a search for a station may have to be made narrower; nothing else in the scripts is turned down
        assert state != before or question.key == "climate", f"{question.text} {line!r}: {say}"
    return state


def text_of(state: State) -> str:
    return farm_writer.farm_text(ASKED.content(state), "test")


def farm_of(state: State) -> records.Farm:
    return farm.read_text(text_of(state), Path("farm.toml"), TABLES)


def run(folder: Path, typed: str | bytes, name: str = "my.toml"):
    return CliRunner().invoke(main, ["interview", str(folder / name)], input=typed)


def test_a_farm_typed_in_us_units_is_the_farm_in_the_file():
    state = answered(US)
    assert ASKED.question(state) is None
    read = farm_of(state)
    assert (read.name, read.place, read.station) == (
        "Maple Bend", "near Geneva, New York", "Rochester NY, airport",
    )  # fmt: skip
    assert (read.units, read.region, read.currency, read.organic) == ("us", "us", "USD", True)
    assert (read.first_year, read.years, read.decided_on) == (2027, 5, "2026-08-01")
    home, creek, north = read.fields
    assert [field.name for field in read.fields] == ["Home 40", "Creek", "North"]
    assert home.area_ha == pytest.approx(40 * units.ACRE_HA)
    assert home.patches[0].shoots_per_m2 == pytest.approx(4.0 / 0.25)  # mean of 3 5 2 6 4 in the frame
    assert home.patches[0].area_ha == pytest.approx(0.35 * 40 * units.ACRE_HA)
    assert (home.patches[0].counted_on, home.patches[0].stage) == ("2026-06-24", "bud")
    assert (creek.soil, creek.lease_end_year) == ("wet", 2029)
    assert creek.rent_per_ha == pytest.approx(85 / units.ACRE_HA)
    assert [TABLES.practices[key].crop for key in creek.history] == [
        "alfalfa", "alfalfa", "alfalfa", "corn_grain", "soybean",
    ]  # fmt: skip
    assert [patch.weed for patch in creek.patches] == ["couch_grass", "field_bindweed"]
    assert creek.patches[1].shoots_per_m2 == pytest.approx(12 / units.SQUARE_FOOT_M2)
    assert [TABLES.practices[key].crop for key in north.as_now] == [
        "oat", "winter_wheat", "corn_grain", "oat", "winter_wheat",
    ]  # fmt: skip
    assert read.machines["combine"].status == "own" and read.machines["combine"].also_hire
    assert read.machines["round_baler"].status == "hire"
    assert read.machines["wide_blade"].status == "none"
    assert read.prices_per_t["corn_grain"] == pytest.approx(
        9.5 / units.tonnes_per("bu", TABLES.crops["corn_grain"])
    )
    assert read.hay_storage_t == pytest.approx(100 * units.SHORT_TON_T)
    assert (read.cash_floor, read.fixed_cost) == (-5000, 40000)
    assert "dry_bean" in read.refuses and "lentil" in read.no_market and "alfalfa" not in read.no_market
    assert sum(read.labour.extra_hours_by_half_month) == pytest.approx(10 * 365 / 7)


def test_a_farm_typed_in_metric_units_is_the_farm_in_the_file():
    read = farm_of(answered(METRIC))
    assert (read.units, read.region, read.currency, read.organic) == ("metric", "uk", "CHF", False)
    (field,) = read.fields
    assert field.area_ha == pytest.approx(12.5)
    assert (field.patches[0].weed, field.patches[0].area_ha) == ("creeping_thistle", 3.0)
    assert (field.patches[0].counted_on, field.patches[0].stage) == ("2026-06-18", "flower")
    assert read.years == 4 and len(field.as_now) == 4
    assert read.yields_t_ha == {"winter_wheat": 4.2} and read.prices_per_t == {"winter_wheat": 410.0}
    assert {outlet.crop for outlet in read.outlets} == {"alfalfa_standing", "grass_clover_standing"}
    assert read.no_market == {"alfalfa", "grass_clover", "red_clover"}
    assert read.place == "near Wuerzburg"
    assert sum(read.labour.hours_by_half_month[:2]) == pytest.approx(5 * 1.5 * 31 / 7)


def test_back_offers_the_answer_taken_back_and_goes_as_far_as_wanted():
    state, _ = ASKED.step(answered("us\nMaple Bend\n2, 9\n"), "back")
    question = ASKED.question(state)
    assert question is not None and question.key == "sold" and question.default == "2, 9"
    state, _ = ASKED.step(state, "back")
    again = ASKED.question(state)
    assert again is not None and again.key == "farm name" and again.default == "Maple Bend"
    state, _ = ASKED.step(state, "Oak Bend")
    state, _ = ASKED.step(state, "")
    assert state.given == (("units", "us"), ("farm name", "Oak Bend"), ("sold", "2, 9"))
    at_start, say = ASKED.step(State(), "back")
    assert at_start == State() and say == "This is the first question."


def test_skip_leaves_out_what_can_be_left_out_and_nothing_else():
    state, say = ASKED.step(answered("us\n"), "skip")
    assert state == answered("us\n") and "needed" in say
    state = answered(US[: US.index("corn 110")])
    question = ASKED.question(state)
    assert question is not None and question.optional
    state, _ = ASKED.step(state, "skip")
    assert state.given[-1] == ("own figures 1", "")
    assert "crop" not in ASKED.content(state)
    given_before = answered("us\nMaple Bend\n")
    state, _ = ASKED.step(given_before, "skip")  # where there is a default, that is taken
    assert state.given[-1] == ("sold", "all")


@pytest.mark.parametrize("said", ["none", "None", "no", "nothing"])
def test_none_is_an_answer_where_nothing_can_be_meant(said: str):
    state, say = ASKED.step(answered(US[: US.index("corn 110 9.50")]), said)
    assert (state.given[-1], say) == (("own figures 1", ""), "")
    assert ASKED.question(state).key == "limits fixed_cost_per_year"
    state, _ = ASKED.step(state, said)
    assert ASKED.content(state)["limits"] == {"refuses": ["dry beans"], "fixed_cost_per_year": 0.0}
    state, _ = ASKED.step(state, "none")
    assert ASKED.content(state)["limits"] == {"refuses": ["dry beans"], "fixed_cost_per_year": 0.0}
    lease = answered(US[: US.index("2029\n")])
    state, _ = ASKED.step(lease, said)
    assert "lease_end" not in ASKED.content(state)["field"][-1]
    state, _ = ASKED.step(answered(US[: US.index("85\n")]), said)
    assert ASKED.content(state)["field"][-1]["rent_per_acre"] == 0.0
    state, _ = ASKED.step(answered(US[: US.index("Canada thistle\n")]), said)
    assert "patch" not in ASKED.content(state)["field"][-1]


def test_none_leaves_out_an_answer_taken_back_too():
    state, _ = ASKED.step(answered(US[: US.index("alfalfa 3.5 160")]), "back")
    assert ASKED.question(state).default == "corn 110 9.50"
    state, _ = ASKED.step(state, "none")
    assert "crop" not in ASKED.content(state)


def test_no_least_cash_is_no_line_in_the_file_and_no_limit():
    state = answered(US.replace("40,000\n-5000\n", "none\nnone\n"))
    text = text_of(state)
    assert "\ncash_floor" not in text
    assert "without it there is no limit" in text
    read = farm_of(state)
    assert (read.cash_floor, read.fixed_cost) == (-math.inf, 0.0)


def test_a_question_mark_helps_and_words_in_quotes_are_answers():
    state = answered("us\n")
    same, help_text = ASKED.step(state, "?")
    assert same == state and len(help_text) > 10
    state, _ = ASKED.step(state, '"Stop"')
    assert ASKED.content(state)["farm"]["name"] == "Stop"


@pytest.mark.parametrize(
    ("before", "typed", "said"),
    [
        ("us\nA\n", "corm", 'Did you mean "Corn for grain"?'),
        ("us\nA\n", "99", "not among the numbers 1 to"),
        ("us\nA\n", "corn, rye cover crop", "is rye cover crop, which is not in the list above"),
        ("us\nA\n", "qqqqq", "names of the list above"),
        (US[: US.index("1-4, 5")], "qqqqq", "names of the list above"),
        (METRIC[: METRIC.index("winter wheat 4,2")], "qqqqq 4", "Soya beans, Spring barley"),
        (US[: US.index("corn, soybean, spring")], "qqqqq", "Soybeans, Spring barley"),
        ("us\nA\n\n\n\n", "wisconsin", "Madison WI, airport"),
        ("us\nA\n\n\n\n", "43.1 -77.6", "Rochester NY, airport"),
        ("us\nA\n\n\n\n", "rochestr", 'Did you mean "Rochester NY, airport"?'),
        (US[: US.index("40\n\n\ncorn")], "16 ha", "not an area in acres"),
        (US[: US.index("40\n\n\ncorn")], "0", "above 0"),
        (US[: US.index("corn, soybean, spring")], "corn soybean", "Commas go between"),
        (US[: US.index("spring barley, corn, soybean, spring")], "corn, oats", "one for each of the 5 years"),
        (US[: US.index("35%")], "50 acres", "the field has 40.0 acres"),
        (US[: US.index("Canada thistle")], "bull thistle", "does not creep"),
        (US[: US.index("June 24")], "6/24", "not a clear date"),
        (US[: US.index("Creek")], "home 40", "each field may stand once"),
        (US[: US.index("2029")], "2020", "held at least until"),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_told_and_asked_again(before: str, typed: str, said: str):
    state = answered(before)
    same, say = ASKED.step(state, typed)
    assert same == state
    assert said in say


def test_soils_go_by_what_they_are_called():
    before = answered(US[: US.index("40\n\n\ncorn")] + "40\n")
    for typed, soil in (("sandy loam", "light"), ("Loam", "medium"), ("clay", "heavy"), ("l", "light")):
        state, say = ASKED.step(before, typed)
        assert (say, ASKED.content(state)["field"][-1]["soil"]) == ("", soil)
    assert "not among light, medium, heavy or wet" in ASKED.step(before, "gravel")[1]


def test_a_yield_may_have_its_unit_but_not_another_one():
    before = answered(US[: US.index("corn 110")])
    for typed in (
        "soybeans 38 bu 21",
        "soybeans 38 bu/acre $21",
        "soybeans, 38 bushels per acre, 21",
        "soybeans 38 21",
    ):
        state, say = ASKED.step(before, typed)
        (given,) = ASKED.content(state)["crop"]
        assert (say, given["yield_bu_per_acre"], given["price_per_bu"]) == ("", 38.0, 21.0)
    for typed, said in (
        ("soybeans 2 t 21", "yield of soybeans in bushels per acre"),
        ("alfalfa 3 bu 160", "tons of 2,000 lb"),
    ):
        same, say = ASKED.step(before, typed)
        assert (same, said in say) == (before, True)
    before = answered(METRIC[: METRIC.index("winter wheat 4,2")])
    state, say = ASKED.step(before, "winter wheat 4,2 t/ha 420")
    assert (say, ASKED.content(state)["crop"][0]["yield_t_per_ha"]) == ("", 4.2)


def test_names_with_commas_in_them_are_taken_whole():
    before = answered(US[: US.index("corn, soybean, spring")])
    grown = "corn after a rye cover crop, hoed twice; oats, alfalfa x2, alfalfa, year 2, 3 cuts"
    state, say = ASKED.step(before, grown)
    assert say == ""
    assert ASKED.content(state)["field"][-1]["history"] == [
        "corn after a rye cover crop, hoed twice", "oats", "alfalfa", "alfalfa", "alfalfa, year 2, 3 cuts",
    ]  # fmt: skip
    _, say = ASKED.step(before, "corn_grain_ry")
    meant = say.partition('"corn_grain_ry" is not known here. Did you mean "')[2].removesuffix('"?')
    state, say = ASKED.step(before, f"oats, {meant}, corn")  # what is proposed is understood when typed
    assert (say, len(ASKED.content(state)["field"][-1]["history"])) == ("", 3)


def test_what_an_answer_comes_to_is_said():
    state = answered(US[: US.index("35%")])
    state, say = ASKED.step(state, "35")
    assert say == "That is 88% of the field."  # somebody who forgot the % sees it: 35 of 40 acres
    state, say = ASKED.step(state, "3 5 2 6 4")
    state, say = ASKED.step(state, "50 x 50 cm")
    assert say == "That is 16 shoots per m2."
    state = answered(US[: US.index("combine, round")])
    _, say = ASKED.step(state, "round baler")
    assert say.startswith("Without mower-conditioner and hay rake no hay can be made here. ")
    assert say.endswith(" Say back to add them.")


def test_crops_that_no_plan_can_hold_for_want_of_a_machine_are_told_at_once():
    before = answered(US[: US.index("1-4, 5, 8")])
    owns, _ = ASKED.step(before, "disk, plow, drill, planter, field cultivator, row-crop cultivator")
    some = "combine, mower-conditioner, rake, baler, spring-tooth harrow, flex-tine weeder"
    _, say = ASKED.step(owns, some)
    assert say == "Without rotary hoe no plan can hold corn for grain or soybeans. Say back to add them."
    assert not ASKED.step(owns, f"{some}, rotary hoe")[1]
    _, say = ASKED.step(owns, "combine, mower-conditioner, rake, baler")
    assert "no plan can hold corn for grain, oats, soybeans, spring barley or winter wheat." in say
    offered, _ = ASKED.step(before, "")
    assert not ASKED.step(offered, "")[1]  # Enter, Enter leaves out none of them


def test_numbers_dates_and_lists_are_read_as_people_write_them():
    assert number("a number")("1,200") == 1200.0
    assert number("a number", comma=True)("3,8") == 3.8
    assert number("a number", units=("acres",))("$40 acres") == 40.0
    for unclear in ("1,2", "nan", "inf", "1e400", "--3", "1.2.3", ""):
        with pytest.raises(UnclearError):
            number("a number")(unclear)
    with pytest.raises(UnclearError):
        number("a number", comma=True)("1,200")  # 1.2 or 1200
    assert day("Dec 24", TODAY, "us") == date(2025, 12, 24)  # the last one that is over
    assert day("24. Juni 2026".replace("Juni", "June"), TODAY, "uk") == date(2026, 6, 24)
    keys = list(TABLES.machines)
    assert list(listed(ASKED.names("us"), "machine", keys, "1-2, plow")) == [*keys[:2], "plough"]


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_the_writer_loses_nothing(path: Path):
    content = tomllib.loads(path.read_text(encoding="utf-8"))
    assert tomllib.loads(farm_writer.farm_text(content, "test")) == content


words = st.sampled_from(
    ["", "", "", "yes", "no", "us", "metric", "corn", "corn, oats, alfalfa x2", "40", "35%", "3 5 2", "bud",
     "all", "none", "back", "skip", "?", "34", "june 24", "2026-06-24", "2029", "thistle", "1-4", "60 head",
     "standing", "corn 100 9", "-", "0", "nan", "1e309", "9" * 30, "Home 40", "4 sq ft", "x" * 500, '"', "\\",
     'a "b" \\ c', "\x00", "\ud800", "43 -77", "12 per sq ft", "Acker-Gänsedistel", "alfalfa_standing"]
)  # fmt: skip
PLAIN = {
    "farm name": "A", "climate": "34", "name": "last field", "history": "oats", "area_acres": "1",
    "area_ha": "1", "size": "0.001", "counts": "5", "counted_on": "2026-06-01",
}  # fmt: skip
anything = st.one_of(words, words, st.text(max_size=12))


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(begun=st.sampled_from(["", *(US[: US.index(mark)] for mark in ("40,000", "Home 40", "60\n2026"))]),
       typed=st.lists(anything, max_size=8))  # fmt: skip
def test_any_answers_give_a_valid_file_or_a_clear_question(begun: str, typed: list[str]):
    state = answered(begun)
    for line in typed:
        before = state
        state, say = ASKED.step(state, line)
        assert state != before or say, f"{line!r} did nothing and nothing was said"
        assert "Traceback" not in say
    # from wherever that led, somebody who answers plainly comes to the end
    for _ in range(80):
        question = ASKED.question(state)
        if question is None:
            break
        about = question.key if question.key in PLAIN else question.key.rpartition(" ")[2]
        line = "" if question.optional else question.default or PLAIN[about]
        state, say = ASKED.step(state, f'"{line}"')
        assert not say or say.startswith(("Taken", "That is", "Without")), (question.key, line, say)
    assert ASKED.question(state) is None
    assert farm_of(state).fields


# ---------------------------------------------------------------- the command


def test_the_command_writes_a_file_with_remarks_that_check_takes(tmp_path):
    done = run(tmp_path, US)
    assert done.exit_code == 0, done.output
    assert "\n# history: crops of the last years, oldest first" in (tmp_path / "my.toml").read_text()
    assert not (tmp_path / "my.toml.part").exists()
    checked = CliRunner().invoke(main, ["check", str(tmp_path / "my.toml")])
    assert checked.exit_code == 0 and "nothing to put right" in " ".join(checked.output.split())


@pytest.mark.parametrize("ending", ["stop\n", ""])
def test_stopped_or_at_the_end_of_the_input_the_answers_are_kept_and_taken_up(tmp_path, ending):
    cut = US.index("Creek\n")
    stopped = run(tmp_path, US[:cut] + ending)
    assert stopped.exit_code == (0 if ending else 1)
    assert "are kept in" in stopped.output
    assert [path.name for path in tmp_path.iterdir()] == ["my.toml.part"]
    done = run(tmp_path, US[cut:])
    assert done.exit_code == 0, done.output
    assert "Taken up again" in done.output
    whole = run(tmp_path, US, "other.toml")
    assert whole.exit_code == 0
    assert (tmp_path / "my.toml").read_text() == (tmp_path / "other.toml").read_text()


def test_a_file_that_is_there_is_only_written_over_when_told_to(tmp_path):
    path = tmp_path / "my.toml"
    path.write_text("# mine\n")
    for refusal in ("\n", "no\n", "perhaps\n", ""):
        refused = run(tmp_path, refusal + US)
        assert refused.exit_code == 1
        assert path.read_text() == "# mine\n"
    done = run(tmp_path, "yes\n" + US)
    assert done.exit_code == 0 and "Maple Bend" in path.read_text()


def test_a_file_written_meanwhile_by_somebody_else_is_not_lost(tmp_path, monkeypatch):
    path = tmp_path / "my.toml"
    module = importlib.import_module("rotation_opt.cli.interview")
    asked = module._conversation

    def with_another_at_work(*given):
        state = asked(*given)
        path.write_text("# theirs\n")
        return state

    monkeypatch.setattr(module, "_conversation", with_another_at_work)
    refused = run(tmp_path, US + "no\n")
    assert refused.exit_code == 1 and path.read_text() == "# theirs\n"
    monkeypatch.undo()
    done = run(tmp_path, "yes\n")  # nothing was lost: all answers are there
    assert done.exit_code == 0 and "Maple Bend" in path.read_text()


def test_bytes_that_are_no_text_are_asked_again(tmp_path):
    done = run(tmp_path, b"us\n\xff\xfe\nstop\n")
    assert done.exit_code in {0, 1} and "Traceback" not in done.output
    assert not isinstance(done.exception, UnicodeError)


def test_answers_that_were_damaged_or_no_longer_fit_are_told_or_asked_anew(tmp_path):
    part = tmp_path / "my.toml.part"
    for damage in ("", "{", "[]", '{"version": 1}', '{"version": 1, "answers": [["units", 3]]}', "\x00"):
        part.write_text(damage)
        told = run(tmp_path, "")
        assert told.exit_code == 1 and "my.toml.part: found no answers" in told.output
        assert part.read_text() == damage
    answers = [["units", "us"], ["farm name", "A"], ["sold", "unicorns"], ["hay buyer", "no"]]
    part.write_text(json.dumps({"version": 1, "answers": answers}))
    told = run(tmp_path, "stop\n")
    assert "(answers so far: 2)" in " ".join(told.output.split())


def test_names_that_cannot_be_written_are_refused_before_anything_is_asked(tmp_path):
    for name in ("farm.txt", "no_folder/farm.toml"):
        refused = run(tmp_path, US, name)
        assert refused.exit_code == 2 and "Name of the farm" not in refused.output
    assert not list(tmp_path.iterdir())


def test_killed_at_any_moment_it_leaves_whole_files_only(tmp_path):
    path, part = tmp_path / "my.toml", tmp_path / "my.toml.part"
    path.write_text("# mine\n")
    child = subprocess.Popen(
        [sys.executable, "-m", "rotation_opt", "interview", str(path)],
        stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True, env={**os.environ, "COLUMNS": "80"},
    )  # fmt: skip
    assert child.stdin is not None
    child.stdin.write("yes\n" + US[: US.index("North")])
    child.stdin.flush()
    until = time.monotonic() + 30
    while time.monotonic() < until:  # in the middle of keeping answers
        if part.exists() and len(json.loads(part.read_text())["answers"]) > 10:
            break
    child.send_signal(signal.SIGKILL)
    child.wait(timeout=30)
    child.stdin.close()
    kept = json.loads(part.read_text())["answers"]
    assert len(kept) > 10
    assert path.read_text() == "# mine\n"
    told = run(tmp_path, "yes\nstop\n")
    assert f"(answers so far: {len(kept)})" in " ".join(told.output.split())
