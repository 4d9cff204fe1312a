"""Which files a command has written so far, for the words of one that is broken off."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path

import click

from rotation_opt.errors import RotationOptError


@contextlib.contextmanager
def noted(path: Path) -> Iterator[None]:
    """Keeps in mind that a file is being written, and then that it was."""
    context = click.get_current_context(silent=True)
    files = {} if context is None else _files_of(context)
    files[path] = False
    try:
        yield
    except RotationOptError:  # then it is as it was, and the fault names it
        del files[path]
        raise
    files[path] = True


def told(context: click.Context) -> list[str]:
    """Sentences on what became of the files; none where the command has not begun to write any."""
    files = _files_of(context)
    written = [str(path) for path, whole in files.items() if whole and path.exists()]
    between = [str(path) for path, whole in files.items() if not whole]
    said = [f"Already written: {', '.join(written)}."] if written else []
    if between:
        said.append(f"{', '.join(between)} was just being written: it is as it was before, or new and whole.")
    return said


def _files_of(context: click.Context) -> dict[Path, bool]:
    """Files that the command has begun to write, and whether each one was written."""
    files: dict[Path, bool] = context.meta.setdefault(__name__, {})
    return files
