"""Every command in the README's table of questions is one, and its names are those of the demo farm."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from rotation_opt import cli, closer_look, patch_work, planning, table_questions, trials
from rotation_opt.errors import RotationOptError

ROOT = Path(__file__).parent.parent
DEMO = ROOT / "examples" / "tamarack_hollow.toml"
SECTION = "## Questions at the kitchen table"
FOLLOWING = ("scout", "replan")  # need the grower's own years, so they are only taken apart
REACHED = "everything asked for was understood"
HEAVY = (
    (closer_look, "season_table"),
    (closer_look, "season_course"),
    (patch_work, "patch_outlooks"),
    (planning, "plan"),
    (table_questions, "base_of"),
    (trials, "run_trials"),
)


def table() -> list[tuple[str, list[str]]]:
    """Each question with its commands."""
    text = (ROOT / "README.md").read_text(encoding="utf-8").split(SECTION)[1].split("\n## ")[0]
    rows = [line.strip("| ").split(" | ") for line in text.splitlines() if line.startswith("| ")]
    return [(row[0], re.findall(r"`(rotation-opt [^`]+)`", row[1])) for row in rows if row[0] != "question"]


COMMANDS = sorted({command for _, commands in table() for command in commands})


def parsed(words: list[str]) -> None:
    """Takes a command line apart; a fault is raised where there is no such command or option."""
    command: click.Command = cli.main
    while isinstance(command, click.Group):
        command, words = command.commands[words[0]], words[1:]
    command.make_context(command.name, words)


def test_every_question_has_a_command() -> None:
    assert len(table()) >= 25
    assert all(commands for _, commands in table())


@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_of_the_table_gets_as_far_as_the_work(
    command: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def reached(*_: object, **__: object) -> None:
        raise RotationOptError(REACHED)

    for room, name in HEAVY:
        monkeypatch.setattr(room, name, reached)
    farm = tmp_path / DEMO.name
    farm.write_bytes(DEMO.read_bytes())
    beside = ROOT / "examples"
    for other in beside.iterdir():
        if other.is_file() and other.name != DEMO.name:
            (tmp_path / other.name).write_bytes(other.read_bytes())
    mine = {"FARM": str(farm)}
    for name in ("DONE.csv", "PLAN.json"):  # the grower's own: there, but nobody reads them here
        (tmp_path / name).touch()
        mine[name] = str(tmp_path / name)
    words = [mine.get(word, word) for word in shlex.split(command)[1:]]
    if words[0] in FOLLOWING:
        parsed(words)
        return
    done = CliRunner().invoke(cli.main, words, prog_name="rotation-opt")
    assert REACHED in done.output, done.output
    assert done.exit_code == 1
