"""Every command that writes, broken off at every step: ``python tests/broken_commands.py FOLDER``.

Prints one line of JSON for each command. Plans are the invented result of `fake_result`, and nothing is
printed to a terminal: only the writing is tried.
"""

from __future__ import annotations

import io
import json
import shutil
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import fake_result
from broken_off import FAIL, KILL, Files, Report, Work, broken_off
from test_interview import US

import rotation_opt
from rotation_opt import plan_followed, planning, replanning
from rotation_opt.cli import main, output

FARM_FILE = rotation_opt.example_farm("tamarack_hollow")
OLD = b"old\n"


def ran(arguments: Sequence[object], typed: str = "") -> tuple[int, str]:
    """Exit code of a command and what it said beside the report."""
    sys.stdin, sys.stdout, sys.stderr = io.StringIO(typed), io.StringIO(), io.StringIO()
    try:
        main([str(each) for each in arguments], prog_name="rotation-opt")
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 0
        return code, f"{sys.stdout.getvalue()}{sys.stderr.getvalue()}"
    finally:
        sys.stdin, sys.stdout, sys.stderr = sys.__stdin__, sys.__stdout__, sys.__stderr__
    raise AssertionError("commands end by SystemExit")


def command(*arguments: object, typed: str = "") -> Work:
    return lambda: ran(arguments, typed)


def without_planning() -> None:
    planning.plan = replanning.replan = lambda *arguments, **options: fake_result.result()
    plan_followed.read_plan = lambda *arguments: None
    output.show = lambda *arguments: None


# ---------------------------------------------------------------- the commands, each in a folder of its own


def farm_in(folder: Path) -> Path:
    return Path(shutil.copy(FARM_FILE, folder / "home.toml"))


def plan(folder: Path) -> Report:
    """One file is there, behind a link, and one is not."""
    farm, new, there, link = (
        farm_in(folder),
        *(folder / name for name in ("new.json", "plan.html", "link.html")),
    )
    there.write_bytes(OLD)
    there.chmod(0o640)
    link.symlink_to(there.name)
    return broken_off(command("plan", farm, "--save", link, "--save", new), folder)


def replan(folder: Path) -> Report:
    """Over the file of the plan followed."""
    farm, saved, done = farm_in(folder), folder / "plan.json", folder / "done.csv"
    saved.write_bytes(OLD)
    done.write_text("field,year,practice_or_crop,note\nHome 40,2027,oats,\n", encoding="utf-8")
    ran(["scout", "add", farm, *COUNT])
    words = ["--done", done, "--last", saved, "--plan", "Balanced", "--save", saved]
    return broken_off(command("replan", farm, *words), folder)


COUNT = (
    *("--field", "Home 40", "--weed", "Canada thistle", "--date", "2027-06-24"),
    *("--frame", "1/4 m2", "--counts", "3,0"),
)


def scout(folder: Path) -> Report:
    farm = farm_in(folder)
    ran(["scout", "add", farm, *COUNT])
    return broken_off(command("scout", "add", farm, *COUNT, "--patch", "north"), folder)


def worksheet(folder: Path) -> Report:
    book = folder / "farm.xlsx"
    book.write_bytes(OLD)
    return broken_off(command("worksheet", book, "--farm", farm_in(folder), "--force"), folder)


def worksheet_read(folder: Path) -> Report:
    farm, book = farm_in(folder), folder / "farm.xlsx"
    assert ran(["worksheet", book, "--farm", farm])[0] == 0
    return broken_off(command("worksheet-read", book, farm, "--force"), folder)


def set_value(folder: Path) -> Report:
    return broken_off(command("set", farm_in(folder), "labour.workers", "3"), folder)


def interview(folder: Path) -> Report:
    """The last answer, over a farm file that is there. No answer is ever lost."""
    farm, part = folder / "home.toml", folder / "home.toml.part"
    lines = US.rstrip("\n").split("\n") + [""] * 4  # Enter at the last questions
    ran(["interview", farm], "\n".join([*lines[:-1], "stop", ""]))
    given = json.loads(part.read_bytes())["answers"]
    farm.write_bytes(OLD)

    def kept(old: Files, now: Files) -> str:
        if part.name not in now:
            return "answers are lost" if now[farm.name] == old[farm.name] else ""
        answers = json.loads(now[part.name][0])["answers"]
        return "" if answers[: len(given)] == given else f"answers are other ones: {answers}"

    return broken_off(command("interview", farm, typed=f"yes\n{lines[-1]}\n"), folder, (KILL, FAIL), kept)


COMMANDS: dict[str, Callable[[Path], Report]] = {
    "plan": plan,
    "replan": replan,
    "worksheet": worksheet,
    "worksheet-read": worksheet_read,
    "set": set_value,
    "interview": interview,
    "scout add": scout,
}


def tried(folder: Path) -> Iterator[tuple[str, dict[str, Any]]]:
    without_planning()
    for name, of in COMMANDS.items():
        own = folder / name
        own.mkdir()
        yield name, asdict(of(own))


if __name__ == "__main__":
    for name, report in tried(Path(sys.argv[1])):
        print(json.dumps([name, report]), flush=True)
