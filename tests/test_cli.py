"""The commands as a grower or a script meets them: words, exit codes, streams, files."""

import json
import os
import re
import signal
import subprocess
import sys
import time
import types
from pathlib import Path

import click
import fake_result
import pytest
from click.testing import CliRunner

import rotation_opt
from rotation_opt import cli, errors, plan_followed, replanning, scouting_log, whole_file
from rotation_opt.cli import choices, output
from rotation_opt.promises import FollowUp

ROOT = Path(__file__).parent.parent
EXAMPLES = sorted((ROOT / "examples").glob("*.toml"))
TAMARACK = ROOT / "examples" / "tamarack_hollow.toml"
COMMANDS = ("check", "patches", "plan", "season", "sources", "trials")

# Runs a command in a child process on the invented result, so that the streams and signals are real ones.
CHILD = """
import sys, time, types
sys.path[:0] = [{tests!r}, {root!r}]
import fake_result, rotation_opt
planning = types.ModuleType("rotation_opt.planning")
def plan(*arguments, **options):
    {work}
    return fake_result.result()
planning.plan = plan
sys.modules["rotation_opt.planning"] = rotation_opt.planning = planning
from rotation_opt.cli import main
main(prog_name="rotation-opt")
"""


@pytest.fixture
def run(monkeypatch):
    """Runs a command with a planner that gives the invented result (or raises what it is told to)."""
    planning = types.ModuleType("rotation_opt.planning")
    asked = {}

    def plan(farm, tables, years=None, progress=None, pulled=None):
        asked.update(years=years)
        if "raises" in asked:
            raise asked["raises"]
        return fake_result.result()

    planning.plan = plan
    closer_look = types.ModuleType("rotation_opt.closer_look")
    closer_look.season_table = lambda farm, tables, **options: (
        asked.update(options) or fake_result.season_rows()
    )
    closer_look.season_course = lambda farm, practice, tables, **options: (
        asked.update(options, practice=practice) or fake_result.season_course()
    )
    monkeypatch.setitem(sys.modules, "rotation_opt.closer_look", closer_look)
    monkeypatch.setattr(rotation_opt, "closer_look", closer_look, raising=False)
    monkeypatch.setitem(sys.modules, "rotation_opt.planning", planning)
    monkeypatch.setattr(rotation_opt, "planning", planning, raising=False)

    def invoke(*arguments):
        return CliRunner().invoke(
            cli.main, [str(argument) for argument in arguments], prog_name="rotation-opt"
        )

    invoke.asked = asked
    return invoke


def child(*arguments, work="pass", **options):
    script = CHILD.format(tests=str(ROOT / "tests"), root=str(ROOT), work=work)
    return [sys.executable, "-c", script, *map(str, arguments)], {"cwd": ROOT, **options}


# ---------------------------------------------------------------- words and codes


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help_and_stands_in_the_readme(run, command):
    shown = run(command, "--help")
    assert shown.exit_code == 0
    assert "..." not in run("--help").stdout.split("Commands:")[1]  # no help line cut short
    assert f"rotation-opt {command}" in (ROOT / "README.md").read_text(encoding="utf-8")
    assert "INTEGER" not in shown.stdout


def test_version_is_that_of_the_package(run):
    assert run("--version").stdout == f"rotation-opt {rotation_opt.__version__}\n"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("pln",), "Did you mean one of: 'plan', 'replan'?"),
        (("plan", TAMARACK, "--year", "4"), "--years"),
        (("plan", TAMARACK, "--years", "9"), "9 is not a whole number between 3 and 8"),
        (("plan", TAMARACK, "--years", "four"), "four is not a whole number between 3 and 8"),
        (("plan", TAMARACK, "--width", "5"), "between 40 and 250"),
        (("plan", TAMARACK, "--show", "Ballanced"), "Did you mean Balanced?"),
        (("plan", TAMARACK, "--save", "nowhere/plan.json"), "there is no folder nowhere"),
        (("season", TAMARACK, "--field", "Home 4"), "Did you mean Home 40?"),
        (("season", TAMARACK, "--weed", "canada thisle"), 'Did you mean "Canada thistle"?'),
        (("season", TAMARACK, "--practice", "alfalfa_9"), 'Did you mean "alfalfa, year '),
        (("check", "no_such_farm.toml"), "does not exist"),
        (("check",), "Missing argument 'FARM'"),
    ],
)
def test_wrong_use_ends_with_two_and_says_what_would_be_right(run, arguments, said):
    shown = run(*arguments)
    assert shown.exit_code == 2
    assert said in shown.stderr
    assert shown.stdout == ""


def test_a_farm_file_with_faults_ends_with_one_and_lists_them_all(run, tmp_path):
    broken = tmp_path / "broken.toml"
    text = TAMARACK.read_text(encoding="utf-8")
    broken.write_text(text.replace("[farm]", "[frm]", 1) + "\n[labuor]\n", encoding="utf-8")
    shown = run("check", broken)
    assert shown.exit_code == 1
    assert shown.stdout == ""
    assert "things to put right" in shown.stderr
    assert "[frm]" in shown.stderr
    assert "[labuor]" in shown.stderr
    assert "Traceback" not in shown.stderr


def test_no_plan_ends_with_three_and_names_the_limits_that_clash(run):
    run.asked["raises"] = errors.NoPlanError(
        "No plan keeps all limits.", ["barley contract", "no barley on clay"]
    )
    shown = run("plan", TAMARACK)
    assert shown.exit_code == 3
    assert shown.stderr == "Error: No plan keeps all limits.\n  - barley contract\n  - no barley on clay\n"
    assert shown.stdout == ""


def test_a_defect_of_the_program_keeps_its_traceback(run):
    run.asked["raises"] = ZeroDivisionError("ours")
    shown = run("plan", TAMARACK)
    assert isinstance(shown.exception, ZeroDivisionError)


# ---------------------------------------------------------------- reports


@pytest.mark.parametrize("farm", EXAMPLES, ids=lambda path: path.stem)
def test_each_example_farm_is_understood(run, farm):
    shown = run("check", farm)
    assert shown.exit_code == 0, shown.stderr
    assert "nothing to put right" in " ".join(shown.stdout.split())  # a long path may wrap the line
    assert "invented demo farm" in shown.stdout


def test_plan_prints_all_alternatives_and_nothing_else_on_standard_output(run):
    shown = run("plan", TAMARACK, "--years", "3")
    assert shown.exit_code == 0
    assert run.asked["years"] == 3
    for title in ("A: As now", "B: Most money", "C: Balanced", "D: Fastest clean-up"):
        assert f"Fields and years, {title}" in shown.stdout
    assert shown.stderr == ""


@pytest.mark.parametrize("wanted", ["Balanced", "balanced", "C"])
def test_show_prints_only_what_was_asked_for_by_title_key_or_letter(run, wanted):
    shown = run("plan", TAMARACK, "--show", wanted)
    assert "Fields and years, C: Balanced" in shown.stdout
    assert "Fields and years, B" not in shown.stdout


@pytest.mark.parametrize("width", [72, 120])
def test_width_is_kept(run, width):
    lines = run("plan", TAMARACK, "--width", width).stdout.splitlines()
    assert max(map(len, lines)) == width


def test_season_understands_field_and_weed_by_any_usual_name(run):
    shown = run("season", TAMARACK, "--field", "home 40", "--weed", "Creeping thistle")
    assert shown.exit_code == 0
    assert run.asked["field"] == "Home 40"
    assert run.asked["weed"] == "creeping_thistle"
    assert "Head start" in shown.stdout


def test_season_draws_one_practice(run):
    shown = run("season", TAMARACK, "--practice", "alfalfa_2")
    assert run.asked["practice"] == "alfalfa_2"
    assert re.search(r"Jan +Feb +Mar", shown.stdout)
    assert "Below the line (65%) it grows less" in shown.stdout
    assert "█" in shown.stdout
    assert run("season", TAMARACK, "--practice", "alfalfa_2", "--ascii").stdout.isascii()


def test_season_ranks_all_practices_only_when_asked(run):
    assert "After" not in run("season", TAMARACK).stdout
    assert "After" in run("season", TAMARACK, "--all").stdout


def test_sources_lists_every_table_and_every_source(run):
    shown = run("sources", "--width", "120")
    assert shown.exit_code == 0, shown.output
    for heading in ("Crops", "Weeds", "Machines", "Money", "Sources"):
        assert f"\n{heading}\n=" in shown.stdout
    assert re.search(r"\d+ figures from \d+ sources", shown.stdout)


# ---------------------------------------------------------------- files


def test_json_is_written_whole_and_nothing_is_left_beside_it(run, tmp_path):
    target = tmp_path / "plan.json"
    target.write_text("old", encoding="utf-8")
    shown = run("plan", TAMARACK, "--save", target)
    assert shown.exit_code == 0
    assert f"Written: {target}" in shown.stderr
    assert json.loads(target.read_text(encoding="utf-8"))["schema_version"] == "1"
    assert [path.name for path in tmp_path.iterdir()] == ["plan.json"]


def test_where_a_file_cannot_be_written_the_report_is_printed_and_it_is_said_which_are_there(
    run, tmp_path, monkeypatch
):
    first, second = tmp_path / "plan.json", tmp_path / "plan.txt"
    write = whole_file.write

    def full(path, content):
        if path == second:
            raise errors.RotationOptError(f"{path}: cannot be written (No space left on device).")
        write(path, content)

    monkeypatch.setattr(whole_file, "write", full)
    shown = run("plan", TAMARACK, "--save", first, "--save", second)
    assert shown.exit_code == 1
    assert "Side by side" in shown.stdout
    assert shown.stderr == (
        f"Error: {second}: cannot be written (No space left on device).\nAlready written: {first}.\n"
    )


@pytest.mark.parametrize(
    ("pressed_at", "said"),
    [
        (1, "Stopped. {0} was just being written: it is as it was before, or new and whole."),
        (
            2,
            "Stopped. Already written: {0}. {1} was just being written: it is as it was before, or new and "
            "whole.",
        ),
    ],
)
def test_ctrl_c_while_files_are_written_says_which_are_there(run, tmp_path, monkeypatch, pressed_at, said):
    saved = [tmp_path / "plan.json", tmp_path / "plan.txt"]
    write, calls = whole_file.write, []

    def pressed(path, content):
        calls.append(path)
        if len(calls) == pressed_at:
            raise KeyboardInterrupt
        write(path, content)

    monkeypatch.setattr(whole_file, "write", pressed)
    shown = run("plan", TAMARACK, "--save", saved[0], "--save", saved[1])
    assert shown.exit_code == 130
    assert shown.stderr == f"{said.format(*saved)}\n"
    assert shown.stdout == ""


def test_ctrl_c_after_all_is_written_does_not_say_that_nothing_was(run, tmp_path, monkeypatch):
    def pressed(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(output, "show", pressed)
    target = tmp_path / "plan.json"
    assert run("plan", TAMARACK, "--save", target).stderr == f"Stopped. Already written: {target}.\n"
    assert run("plan", TAMARACK).stderr == "Stopped. No file was written.\n"


@pytest.mark.parametrize(
    ("kind", "said"), [("file", "may not be written over"), ("pipe", "is no ordinary file")]
)
def test_a_file_that_may_not_be_written_over_is_said_before_the_work_begins(
    run, tmp_path, monkeypatch, kind, said
):
    target = tmp_path / "plan.json"
    if kind == "pipe":
        os.mkfifo(target)
    else:
        target.write_text("old", encoding="utf-8")
        monkeypatch.setattr(os, "access", lambda path, mode: Path(path) != target or mode == os.R_OK)
    shown = run("plan", TAMARACK, "--save", target)
    assert (shown.exit_code, shown.stdout) == (2, "")
    assert f"{target} {said}." in shown.stderr


def test_a_folder_that_may_not_be_written_in_is_said_before_the_work_begins(run, tmp_path, monkeypatch):
    monkeypatch.setattr(os, "access", lambda path, mode: Path(path) != tmp_path)
    shown = run("plan", TAMARACK, "--save", tmp_path / "plan.json")
    assert shown.exit_code == 2
    assert "nothing may be written in" in shown.stderr
    assert shown.stdout == ""


def test_a_plan_that_there_never_is_is_turned_down_before_the_work_begins(run):
    shown = run("plan", "examples/lindenhang.toml", "--show", "balansed")
    assert shown.exit_code == 2
    assert "Did you mean Balanced?" in shown.stderr
    with pytest.raises(click.BadParameter):
        choices.any_title("zzz")
    choices.any_title("d")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no such device here")
def test_a_full_disk_gives_one_line_and_no_traceback():
    arguments, options = child("plan", TAMARACK)
    with Path("/dev/full").open("w", encoding="utf-8") as full:
        shown = subprocess.run(
            arguments, stdout=full, stderr=subprocess.PIPE, text=True, check=False, **options
        )
    assert shown.returncode == 1
    assert shown.stderr.count("\n") == 1
    assert "could not be written in full" in shown.stderr


def test_a_reader_that_leaves_early_gets_no_traceback():
    arguments, options = child("sources")
    with subprocess.Popen(arguments, stdout=subprocess.PIPE, stderr=subprocess.PIPE, **options) as process:
        process.stdout.readline()
        process.stdout.close()
        said = process.stderr.read()
    assert said == b""


def test_a_second_ctrl_c_ends_with_130_and_no_file(tmp_path):
    target = tmp_path / "plan.json"
    arguments, options = child(
        "plan", TAMARACK, "--save", target, work="print('begun', file=sys.stderr, flush=True); time.sleep(30)"
    )
    with subprocess.Popen(
        arguments, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **options
    ) as process:
        assert process.stderr.readline() == "begun\n"
        time.sleep(0.1)
        process.send_signal(signal.SIGINT)
        assert process.stderr.readline() == (
            "Stopping with the best plans so far. Press Ctrl-C again to leave at once.\n"
        )
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=20)
    assert process.returncode == 130
    assert err == "Stopped. No file was written.\n"
    assert out == ""
    assert list(tmp_path.iterdir()) == []


def test_a_first_ctrl_c_prints_the_plans_found_so_far():
    wait = "print('begun', file=sys.stderr, flush=True)\n    while not options['pulled'](): time.sleep(0.01)"
    arguments, options = child("plan", TAMARACK, work=wait)
    with subprocess.Popen(
        arguments, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **options
    ) as process:
        assert process.stderr.readline() == "begun\n"
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=20)
    assert process.returncode == 0
    assert err.startswith("Stopping with the best plans so far.")
    assert "rotation plans" in out


# ---------------------------------------------------------------- streams


@pytest.mark.parametrize(
    "setting", [{"PYTHONIOENCODING": "ascii"}, {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}]
)
def test_a_stream_without_accents_gets_plain_characters(setting):
    arguments, options = child("plan", TAMARACK, env={**os.environ, **setting})
    shown = subprocess.run(arguments, capture_output=True, check=False, **options)
    assert shown.returncode == 0, shown.stderr
    assert shown.stdout.isascii()
    assert b"Side by side" in shown.stdout


def test_no_colour_and_no_progress_bar_when_nobody_sits_before_a_terminal():
    arguments, options = child("plan", TAMARACK, env={**os.environ, "FORCE_COLOR": "1"})
    shown = subprocess.run(arguments, capture_output=True, check=False, **options)
    assert b"\x1b" not in shown.stdout
    assert shown.stderr == b""


@pytest.mark.parametrize(
    "arguments", [("--help",), ("--version",), ("plan", "--help"), ("check", str(TAMARACK))]
)
def test_help_version_and_check_import_no_heavy_rooms(arguments):
    script = (
        "import sys\n"
        "from rotation_opt.cli import main\n"
        "try:\n"
        "    main(sys.argv[1:], prog_name='rotation-opt')\n"
        "except SystemExit as end:\n"
        "    assert end.code in (0, None), end.code\n"
        "heavy = {'pandas', 'matplotlib', 'pulp', 'highspy'}\n"
        "heavy |= {'rotation_opt.season', 'rotation_opt.planning'}\n"
        "print(sorted(heavy & set(sys.modules)), file=sys.stderr)\n"
    )
    shown = subprocess.run(
        [sys.executable, "-c", script, *arguments], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert shown.stderr == "[]\n"


def test_the_package_runs_as_a_module():
    shown = subprocess.run(
        [sys.executable, "-m", "rotation_opt", "--help"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert shown.stdout.startswith("Usage: rotation-opt")


# ---------------------------------------------------------------- what replan shares with plan


@pytest.fixture
def replan(tmp_path, monkeypatch):
    """Plans anew with the invented result, which then tells what became of a plan followed."""
    told = FollowUp(
        title="Balanced", first_year=2026, last_year=2026, held=(), roots=(), otherwise=(),
        visits_used=0, effective=400.0, power=1.0, notes=("A note.",),
    )  # fmt: skip
    monkeypatch.setattr(replanning, "replan", lambda *_, **options: fake_result.result(followup=told))
    monkeypatch.setattr(plan_followed, "read_plan", lambda *_: None)
    monkeypatch.setattr(scouting_log, "read", lambda *_: ())
    last, done = tmp_path / "last.json", tmp_path / "done.csv"
    last.touch()
    done.write_text("field,year,practice_or_crop,note\nHome 40,2027,oats,\n", encoding="utf-8")
    words = ["replan", TAMARACK, "--done", done, "--last", last, "--plan", "Balanced", "--width", "100"]
    return lambda *more: CliRunner().invoke(cli.main, [str(each) for each in (*words, *more)])


def headings(shown):
    assert shown.exit_code == 0, shown.output
    return re.findall(r"^={100}\n(.+)\n={100}$", shown.stdout, flags=re.MULTILINE)


def test_followup_is_a_page_of_replan_like_any_other(replan):
    became = "What became of the plan, 2026"
    assert headings(replan())[1:3] == [became, "Side by side"]
    for name in ("followup", "Follow-up", "what became of the plan"):
        assert headings(replan("--page", name))[1:] == [became]
    assert headings(replan("--page", "limits"))[1:] == ["Limits"]
    assert headings(replan("--page", "all"))[1] == became
    wrong = replan("--page", "folowup")
    assert (wrong.exit_code, "Did you mean followup?" in wrong.stderr) == (2, True)


def test_plan_says_that_followup_is_a_page_of_replan(run):
    shown = run("plan", TAMARACK, "--page", "followup")
    assert (shown.exit_code, shown.stdout) == (2, "")
    assert "followup tells what became of a plan that was followed: only replan prints it." in shown.stderr


def test_replan_shows_and_saves_the_one_plan_asked_for(replan, tmp_path):
    target = tmp_path / "work.ics"
    refused = replan("--save", target)
    assert refused.exit_code == 2
    assert "say which with --show" in refused.stderr
    shown = replan("--save", target, "--show", "balanced", "--page", "all")
    assert target.read_bytes().startswith(b"BEGIN:VCALENDAR")
    assert [each for each in headings(shown) if "Calendar" in each] == ["Calendar of work, C: Balanced"]
    assert "Did you mean Balanced?" in replan("--show", "Balansed").stderr
