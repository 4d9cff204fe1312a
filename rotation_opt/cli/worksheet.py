"""``worksheet`` and ``worksheet-read``: a workbook to fill at home, and a farm file from it."""

from __future__ import annotations

import tomllib
from pathlib import Path

import click

from rotation_opt.cli.commands import FARM_FILE

WORKBOOK = click.Path(dir_okay=False, path_type=Path)


@click.command(short_help="Write a workbook in which a grower fills in the farm.")
@click.argument("workbook", metavar="FILE.xlsx", type=WORKBOOK)
@click.option("--farm", "farm_file", metavar="FARM", type=FARM_FILE, help="Fill in what this farm file says.")
@click.option(
    "--units",
    type=click.Choice(["us", "metric"]),
    help="Acres and bushels, or hectares and tonnes. Default: those of --farm, else us.",
)
@click.option("--force", is_flag=True, help="Write over FILE.xlsx if it is there.")
def worksheet(workbook: Path, *, farm_file: Path | None, units: str | None, force: bool) -> None:
    """Write FILE.xlsx, a workbook with lists and limits in which a grower fills in the farm at home.

    worksheet-read makes a farm file of it.
    """
    from rotation_opt import farm as farm_room
    from rotation_opt import tables as crop_tables
    from rotation_opt import worksheet as worksheet_room
    from rotation_opt.cli import output
    from rotation_opt.farm import text

    if workbook.suffix.lower() != ".xlsx":
        raise click.BadParameter(f"{workbook.name}: the name ends in .xlsx.", param_hint="FILE.xlsx")
    _only_if_new(workbook, force)
    tables = crop_tables.read()
    content = None
    if farm_file is not None:
        said = text.contents(farm_file)
        farm = farm_room.read_text(said, farm_file, tables)
        content = tomllib.loads(said.replace("\r\n", "\n").replace("\r", "\n"))
        units = units or farm.units
    made, left_out = worksheet_room.write("metric" if units == "metric" else "us", tables, content)
    output.write_whole(workbook, made)
    click.echo(f"Written: {workbook}", err=True)
    if left_out:
        click.echo(f"The worksheet has no cell for: {', '.join(left_out)}", err=True)


@click.command("worksheet-read", short_help="Make a farm file of a filled worksheet.")
@click.argument("workbook", metavar="FILE.xlsx", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.argument("farm_file", metavar="FARM", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--force", is_flag=True, help="Write over FARM if it is there; its remarks are lost.")
def worksheet_read(workbook: Path, farm_file: Path, force: bool) -> None:
    """Make the farm file FARM of the filled worksheet FILE.xlsx, or name every cell to put right."""
    from rotation_opt import farm as farm_room
    from rotation_opt import farm_writer
    from rotation_opt import tables as crop_tables
    from rotation_opt import worksheet as worksheet_room
    from rotation_opt.cli import output

    if farm_file.suffix.lower() != ".toml":
        raise click.UsageError(f"{farm_file}: the name of a farm file is to end in .toml.")
    _only_if_new(farm_file, force)
    tables = crop_tables.read()
    content = worksheet_room.read(workbook, tables)
    said = farm_writer.farm_text(content, worksheet_room.about(workbook))
    farm_room.read_text(said, farm_file, tables)
    output.write_whole(farm_file, said)
    click.echo(f"Written: {farm_file}", err=True)


def _only_if_new(path: Path, force: bool) -> None:
    if path.exists() and not force:
        raise click.UsageError(f"{path} is there already. Give another name, or --force to write over it.")
