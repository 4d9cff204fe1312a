"""``set``: change values of a farm file, its remarks kept; read again before it is written."""

from __future__ import annotations

import codecs
from collections.abc import Sequence
from pathlib import Path

import click

from rotation_opt.cli.commands import FARM_FILE
from rotation_opt.errors import InputError

TAKE_OUT = "-"
EXAMPLE = "rotation-opt set my_farm.toml 'field \"Home 40\".lease_end' 2028"


@click.command(
    "set",
    short_help="Change values of FARM, its remarks kept.",
    context_settings={"ignore_unknown_options": True},  # a value may be negative
)
@click.argument("farm_file", metavar="FARM", type=FARM_FILE)
@click.argument("words", metavar="PATH VALUE [PATH VALUE]...", nargs=-1, type=click.UNPROCESSED)
@click.option("--dry-run", is_flag=True, help="Only say what would change; write nothing.")
def set_values(farm_file: Path, words: tuple[str, ...], dry_run: bool) -> None:
    """Change values of FARM and keep its remarks, order and blank lines. Nothing is written if FARM would
    then have a fault.

    PATH is a block, a dot and a key: labour.workers, 'field "Home 40".lease_end', 'machine baler.status',
    'field 3 patch 1.stage', limits.largest_share_pct.corn, 'field 3.as_now.2' (the second one). Before a
    block that is not there yet put the word new: 'new machine rake.status'. VALUE is written as usual:
    12.5, yes, 2026-07-31, "corn, soybean"; a - takes the key out.
    """
    from rotation_opt import farm as farm_room
    from rotation_opt import farm_edit, tables
    from rotation_opt.cli import output
    from rotation_opt.farm import text

    changes = _pairs(words)
    path = farm_file.resolve()  # a link stays one
    before = _as_it_is(path, text.contents(path))
    after, done = farm_edit.edit(before, changes, farm_file.name)
    try:
        farm_room.read_text(after.removeprefix("\ufeff"), farm_file, tables.read())
    except InputError:
        click.echo("Nothing written. With these changes the file would have a fault:", err=True)
        raise
    if not dry_run and after != before:
        output.write_whole(path, after)
    for change in done:
        click.echo(f"{change.path}: {_told(change.old, change.new)}")
    if dry_run:
        click.echo("Nothing written (--dry-run).", err=True)
    elif after != before:
        click.echo(f"Written: {farm_file}", err=True)


def _pairs(words: Sequence[str]) -> list[tuple[str, str]]:
    """Path and value, also where the shell has split a path at its blanks: it goes on up to its dot."""
    pairs: list[tuple[str, str]] = []
    path = ""
    for word in words:
        if "." in path or (path and word == TAKE_OUT):
            pairs.append((path, word))
            path = ""
        else:
            path = f"{path} {word}".strip()
    if path or not pairs:
        said = f"There is no value after {path!r}." if path else "Missing a path and a value for each change."
        raise click.UsageError(f"{said} For example: {EXAMPLE}")
    return pairs


def _as_it_is(path: Path, text: str) -> str:
    """The text with its byte-order mark, if it has one."""
    return f"\ufeff{text}" if path.read_bytes().startswith(codecs.BOM_UTF8) else text


def _told(old: str, new: str) -> str:
    if old == new:
        return f"{old} as before"
    return f"{old or 'not given'} -> {new or 'taken out'}"
