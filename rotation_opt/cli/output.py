"""Where words go: the report to standard output, the rest to standard error, files only when whole."""

from __future__ import annotations

import contextlib
import os
import shutil
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import click

from rotation_opt import whole_file
from rotation_opt.cli.written import noted
from rotation_opt.report.blocks import Page, Printout

WIDEST = 120
WITHOUT_TERMINAL = 80
SIMPLE_TERMINALS = frozenset({"dumb", "linux", "vt100"})  # their letters have no shades
PATIENCE_S = 1.0  # a shorter wait needs no word of what is going on

Tell = Callable[[str], None]


def show(page: Page | Printout, width: int | None, plain: bool = False) -> None:
    """Print a page, as wide as asked for or as the terminal is; in ASCII if told or nothing else goes."""
    from rotation_opt.report.terminal import render

    simple = sys.stdout.isatty() and os.environ.get("TERM") in SIMPLE_TERMINALS
    encoding = "ascii" if plain or simple else sys.stdout.encoding or "ascii"
    click.echo(render(page, width or _usual_width(), encoding), nl=False)


def _usual_width() -> int:
    return min(shutil.get_terminal_size((WITHOUT_TERMINAL, 24)).columns, WIDEST)


def may_write(path: Path, option: str) -> None:
    """Turn down a file that cannot be written before the long work begins.

    Raises
    ------
    click.BadParameter
    """
    folder = path.absolute().parent
    if not folder.is_dir():
        raise click.BadParameter(f"there is no folder {path.parent}.", param_hint=option)
    if not os.access(folder, os.W_OK):
        raise click.BadParameter(f"nothing may be written in {folder}.", param_hint=option)
    if path.exists() and not (path.is_file() and os.access(path, os.W_OK)):
        said = "may not be written over" if path.is_file() else "is no ordinary file"
        raise click.BadParameter(f"{path} {said}.", param_hint=option)


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file so that it is at any moment the old one or the new one, and note that it was written.

    Raises
    ------
    RotationOptError
        If the file cannot be written.
    """
    with noted(path):
        whole_file.write(path, content.encode() if isinstance(content, str) else content)


@contextlib.contextmanager
def progress() -> Iterator[Tell]:
    """Tells on standard error what is being worked on; keeps quiet where nobody sits before a terminal."""
    if not sys.stderr.isatty():
        yield lambda what: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bar

    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        TimeElapsedColumn(),
    )
    console = Console(stderr=True, color_system=None, highlight=False)
    bar = Bar(*columns, console=console, transient=True)
    begun = time.monotonic()
    task = bar.add_task("Reading", total=None)  # how long a search takes is not known: the bar swings

    def tell(what: str) -> None:
        bar.update(task, description=what)
        if not bar.live.is_started and time.monotonic() - begun > PATIENCE_S:
            bar.start()

    try:
        yield tell
    finally:
        bar.stop()
