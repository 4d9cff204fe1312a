"""What ``plan`` and ``replan`` share: pages, plans and files asked for, and the result handed out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rotation_opt.errors import RotationOptError

if TYPE_CHECKING:
    from rotation_opt.records import Result
    from rotation_opt.tables import Tables

SAVE = click.option(
    "--save",
    "saved",
    multiple=True,
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Also write all pages to FILE: .html, .pdf, .xlsx, .txt, .json for other programs, or .ics, the "
    "calendar of one plan; may be given again.",
)
SHOW = click.option(
    "--show",
    "shown",
    multiple=True,
    metavar="TITLE",
    help="Show only the alternative with this title or letter; may be given again.",
)


@dataclass(frozen=True, slots=True)
class Wish:
    """What is to be made of a result, looked through before the long work begins.

    Attributes
    ----------
    saved : tuple of Path
    pages : tuple of str
        Keys; empty for the first few.
    shown : tuple of str
        Plans as they were asked for; empty for all.
    width : int or None
        Characters in a line.
    """

    saved: tuple[Path, ...]
    pages: tuple[str, ...]
    shown: tuple[str, ...]
    width: int | None


def wish(
    saved: Sequence[Path], pages: Sequence[str], shown: Sequence[str], width: int | None, *, followed: bool
) -> Wish:
    """What was asked for, with ``followed`` of a plan that is planned anew.

    Raises
    ------
    click.BadParameter
        If there is no such page, plan or kind of file, or a file cannot be written.
    """
    from rotation_opt.cli import choices, output

    for title in shown:
        choices.any_title(title)
    keys = choices.pages(pages, followed=followed)
    choices.kinds_of_file(saved, shown)
    for path in saved:
        output.may_write(path, "--save")
    return Wish(tuple(saved), keys, tuple(shown), width)


def hand_out(result: Result, tables: Tables, wished: Wish) -> None:
    """Print a result and write it to its files; the report is printed also where a file cannot be written."""
    from rotation_opt.cli import choices, output
    from rotation_opt.report import files
    from rotation_opt.report.printout import first_pages, only, printout

    titles = [choices.title(result, wanted) for wanted in wished.shown]
    whole = printout(result, tables, titles or None)
    shown = only(whole, wished.pages) if wished.pages else first_pages(whole)
    try:
        title = titles[0] if titles else ""
        made = {
            path: files.contents(path.suffix.lower(), result, tables, whole, title) for path in wished.saved
        }
        for path, content in made.items():
            output.write_whole(path, content)
    except RotationOptError:
        output.show(shown, wished.width)
        raise
    output.show(shown, wished.width)
    for path in wished.saved:
        click.echo(f"Written: {path}", err=True)
