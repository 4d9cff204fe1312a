"""``rotation-opt interview``: puts the questions on a plain terminal or takes answers from a pipe."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import sys
import textwrap
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rotation_opt.errors import RotationOptError

if TYPE_CHECKING:
    from rotation_opt.farm_questions import Interview, Question, State

PART_VERSION = 1
ENDED_EARLY = 1
LONGEST_BESIDE = 30  # a longer default stands on a line of its own
ABOUT = "Written by rotation-opt interview on {day} from the answers of the grower."


@click.command(short_help="Ask about your farm and write the farm file.")
@click.argument("farm_file", metavar="FILE.toml", type=click.Path(dir_okay=False, path_type=Path))
def interview(farm_file: Path) -> None:
    """Ask about your farm, question by question, and write the farm file FILE.toml.

    Enter takes the answer shown in [ ]. "?" helps with a question, "back" goes back to the last one, "skip"
    leaves one out, "stop" ends for now: answers are kept in FILE.toml.part and taken up at the next start.
    Answers may also come from a file: rotation-opt interview FILE.toml < answers.txt
    """
    from rotation_opt import tables as crop_tables
    from rotation_opt.cli import output
    from rotation_opt.farm_questions import Interview, State

    _usable(farm_file)
    part = farm_file.with_name(f"{farm_file.name}.part")
    at_start = _bytes(farm_file)
    asked = Interview(crop_tables.read(), date.today())
    state = asked.usable(_kept(part)) if part.exists() else State()
    _tell(_greeting(farm_file, state, at_start is not None))
    try:
        if at_start is not None and not _agreed(f"Write over {farm_file} when all is asked? yes or no"):
            _tell(f"{farm_file} is left as it is. Start again with another name.")
            raise click.exceptions.Exit(ENDED_EARLY)
        state = _conversation(asked, state, part)
        if state.over:
            _tell(_farewell(farm_file, part, state))
            return
        now = _bytes(farm_file)
        if (
            now is not None
            and now != at_start
            and not _agreed(f"{farm_file} was written meanwhile by somebody else. Write over it? yes or no")
        ):
            _tell(_farewell(farm_file, part, state))
            raise click.exceptions.Exit(ENDED_EARLY)
    except (EOFError, KeyboardInterrupt) as ended:
        click.echo()
        _tell(_farewell(farm_file, part, _kept(part) if part.exists() else State()))
        raise click.exceptions.Exit(ENDED_EARLY if isinstance(ended, EOFError) else 130) from None
    text = _checked(asked, state, farm_file)
    output.write_whole(farm_file, text)
    with contextlib.suppress(OSError):  # then the next start offers the answers once more
        part.unlink(missing_ok=True)
    _tell(
        f"Written: {farm_file}. It is plain text with remarks: look through it and change what you like.\n"
        f"Next: rotation-opt check {farm_file}, then rotation-opt plan {farm_file}"
    )


def _usable(farm_file: Path) -> None:
    hint = "FILE.toml"
    if farm_file.suffix != ".toml":
        raise click.BadParameter(f"{farm_file} must end in .toml, like my_farm.toml.", param_hint=hint)
    folder = farm_file.absolute().parent
    if not folder.is_dir():
        raise click.BadParameter(f"there is no folder {farm_file.parent}.", param_hint=hint)
    if not os.access(folder, os.W_OK):
        raise click.BadParameter(f"nothing may be written in {folder}.", param_hint=hint)


def _conversation(asked: Interview, state: State, part: Path) -> State:
    """Questions and answers until all is asked or the grower stops; each answer is kept at once."""
    heading = ""
    shown_for = ""
    while not state.over and (question := asked.question(state)) is not None:
        if question.part != heading:
            heading = question.part
            _tell(f"\n{heading}\n{'-' * len(heading)}")
            shown_for = ""
        if question.shown and shown_for != question.key:
            _tell(f"\n{_columns(question.shown)}")
        shown_for = question.key
        before = state
        state, say = asked.step(state, _answer(question))
        if say:
            _tell(say, indent="  ")
        if state.given != before.given:
            _keep(part, state)
    return state


def _answer(question: Question) -> str:
    default = question.default or ""
    if len(default) <= LONGEST_BESIDE:
        _tell(f"\n{question.text}")
        return _line(f"[{default}] > " if default else "> ")
    _tell(f"\n{question.text}\nEnter: {default}")
    return _line("> ")


def _line(prompt: str) -> str:
    """One line from whoever answers; the keys of the terminal's own line editor work where there is one.

    Raises
    ------
    EOFError
        If there are no more answers.
    """
    try:
        if sys.stdin.isatty():
            with contextlib.suppress(ImportError):
                import readline  # noqa: F401  # arrow up brings back a long list to be put right
            return input(prompt)
        click.echo(prompt, nl=False)
        line = sys.stdin.readline()
    except UnicodeDecodeError:
        return "\0"  # bytes that are no text: asked once more
    if not line:
        raise EOFError
    click.echo(line.rstrip("\r\n"))
    return line


def _agreed(prompt: str) -> bool:
    _tell(prompt)
    return _line("[no] > ").strip().casefold() in {"y", "yes"}


def _tell(text: str, indent: str = "") -> None:
    for row in text.split("\n"):
        click.echo(
            textwrap.fill(
                row, _width(), initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False
            )
        )


def _columns(items: Sequence[str]) -> str:
    """Short items side by side, read downwards."""
    each = max(map(len, items)) + 2
    across = max(1, _width() // each)
    down = -(-len(items) // across)
    rows = ("".join(f"{item:<{each}}" for item in items[row::down]).rstrip() for row in range(down))
    return "\n".join(rows)


def _width() -> int:
    return max(40, min(shutil.get_terminal_size((80, 24)).columns - 1, 100))


def _greeting(farm_file: Path, state: State, exists: bool) -> str:
    from rotation_opt.farm_questions import COMMANDS

    lines = [f"Questions about your farm, for {farm_file}.", COMMANDS]
    if state.given:
        lines.append(
            f"Taken up again where it was left (answers so far: {len(state.given)}); back changes them."
        )
    if exists:
        lines.append(f"{farm_file} is there already.")
    return "\n".join(lines)


def _farewell(farm_file: Path, part: Path, state: State) -> str:
    if not state.given:
        return "Stopped. Nothing was written."
    return (
        f"Stopped. The answers so far ({len(state.given)}) are kept in {part}; {farm_file} was not written. "
        f"Go on with: rotation-opt interview {farm_file}"
    )


def _checked(asked: Interview, state: State, farm_file: Path) -> str:
    """The text of the farm file, once it has been read as the other commands will read it."""
    from rotation_opt import farm, farm_writer

    text = farm_writer.farm_text(asked.content(state), ABOUT.format(day=date.today().isoformat()))
    farm.read_text(text, farm_file, asked.tables)
    return text


# ---------------------------------------------------------------- answers kept for the next start


def _keep(part: Path, state: State) -> None:
    from rotation_opt.cli import output

    if not state.given:
        part.unlink(missing_ok=True)
        return
    kept = {"version": PART_VERSION, "answers": state.given}
    output.write_whole(part, json.dumps(kept, ensure_ascii=False, indent=1) + "\n")


def _kept(part: Path) -> State:
    from rotation_opt.farm_questions import State

    damaged = RotationOptError(
        f"{part}: found no answers that can be read; allowed is what an interview kept there. "
        "Rename or delete this file to begin anew."
    )
    try:
        kept = json.loads(part.read_text(encoding="utf-8"))
        if kept["version"] != PART_VERSION:
            raise damaged
        given = tuple((key, text) for key, text in kept["answers"])
    except OSError as fault:
        raise RotationOptError(f"{part}: cannot be read ({fault.strerror or fault}).") from fault
    except (ValueError, KeyError, TypeError, RecursionError):
        raise damaged from None
    if not all(isinstance(each, str) for pair in given for each in pair):
        raise damaged
    return State(given)


def _bytes(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as fault:
        raise RotationOptError(f"{path}: cannot be read ({fault.strerror or fault}).") from fault
