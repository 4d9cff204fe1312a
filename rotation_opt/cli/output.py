"""Where words go: the report to standard output, the rest to standard error, files only when whole."""

from __future__ import annotations

import contextlib
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import click

from rotation_opt.errors import RotationOptError
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


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file so that it is either whole or not there.

    Raises
    ------
    RotationOptError
        If the file cannot be written.
    """
    beside: Path | None = None
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        beside = Path(name)
        with os.fdopen(handle, "wb") as stream:
            stream.write(content.encode() if isinstance(content, str) else content)
        beside.chmod(path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~_umask())
        beside.replace(path)
        beside = None
    except OSError as fault:
        raise RotationOptError(f"{path}: cannot be written ({fault.strerror or fault}).") from fault
    finally:
        if beside is not None:
            beside.unlink(missing_ok=True)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


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
