"""Commands of the scouting log: what was counted is written down, listed and summed up."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rotation_opt.cli.commands import FARM_FILE, WIDTH, Between

if TYPE_CHECKING:
    from rotation_opt.records import Farm
    from rotation_opt.scouting_log import Log
    from rotation_opt.tables import Tables

LOG = click.option(
    "--log",
    "log_file",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="The log. Default: beside FARM, its name ending in .scouting.csv.",
)
AREA_ROUNDING = 0.001  # a patch as large as its field, in acres turned to hectares
_MEASURE = re.compile(r"([0-9]+(?:[.,][0-9]+)?) ?([a-z0-9. ]*)")


@click.group(short_help="Write down, list and sum up counts of weeds.")
def scout() -> None:
    """Keep the scouting log of FARM: a CSV file beside it, one row a stop."""


@scout.command(short_help="Write down one visit to a patch.")
@click.argument("farm_file", metavar="FARM", type=FARM_FILE)
@click.option("--field", "field_name", required=True, metavar="NAME", help="The field.")
@click.option("--weed", "weed_name", required=True, metavar="NAME", help="The weed.")
@click.option("--date", "day", required=True, metavar="DAY", help="When it was counted, as 2027-06-24.")
@click.option(
    "--frame",
    "frame_words",
    required=True,
    metavar="SIZE",
    help="The frame: '1/4 m2', 'square foot', 'square yard', '50 x 50 cm', 'hoop 56 cm'.",
)
@click.option("--counts", required=True, metavar="N,N,...", help="Shoots in the frame at each stop, 0 too.")
@click.option(
    "--stage",
    default="bud",
    show_default=True,
    metavar="STAGE",
    help="emerging, rosette, stem, bud, flower, mature or stubble.",
)
@click.option("--patch", default="", metavar="NAME", help="Which patch, if the field has several.")
@click.option("--area", metavar="SIZE", help="Size of the patch, in acres or ha as in FARM, or '400 m2'.")
@click.option(
    "--height", metavar="SIZE", help="Height of the shoots, in inches or cm as in FARM, or '60 cm'."
)
@click.option("--observer", default="", metavar="WHO", help="Who counted.")
@click.option("--note", default="", metavar="TEXT", help="Anything else, on one line.")
@LOG
def add(
    farm_file: Path,
    *,
    field_name: str,
    weed_name: str,
    day: str,
    frame_words: str,
    counts: str,
    stage: str,
    patch: str,
    area: str | None,
    height: str | None,
    observer: str,
    note: str,
    log_file: Path | None,
) -> None:
    """Write down one visit: all stops of one walk through one patch."""
    from rotation_opt import frames, scouting_log
    from rotation_opt.cli import choices
    from rotation_opt.cli.written import noted

    farm, tables = _farm(farm_file)
    where = choices.field(farm, field_name)
    visit = scouting_log.Visit(
        field=where,
        weed=choices.weed(farm, tables, weed_name),
        date=day.strip(),
        stage=choices.pick("--stage", stage, dict.fromkeys(scouting_log.STAGES, ())),
        frame_m2=frames.area_m2(frame_words, "--frame"),
        counts=_counts(counts),
        patch=patch.strip(),
        area_ha=None if area is None else _patch_ha(area, farm, where),
        observer=observer.strip(),
        height_cm=None if height is None else _height_cm(height, farm),
        note=note.strip(),
    )
    path = log_file or scouting_log.default_path(farm_file)
    with noted(path):
        scouting_log.append(path, [visit], farm, tables)
    stops = "1 stop" if len(visit.counts) == 1 else f"{len(visit.counts)} stops"
    click.echo(f"Written: {stops} of {visit.field} on {visit.date}, to {path}", err=True)
    if visit.date > date.today().isoformat():
        click.echo("That day is still to come. If it is a slip, put it right in the log.", err=True)


@scout.command("list", short_help="List the visits of the log.")
@click.argument("farm_file", metavar="FARM", type=FARM_FILE)
@click.option("--field", "field_name", metavar="NAME", help="Only this field.")
@click.option("--year", type=Between(1970, 2099), metavar="YEAR", help="Only this year.")
@LOG
@WIDTH
def list_visits(
    farm_file: Path, *, field_name: str | None, year: int | None, log_file: Path | None, width: int | None
) -> None:
    """List the visits of the log as they were counted."""
    from rotation_opt.cli import choices, output
    from rotation_opt.report.scouting_summary import list_page
    from rotation_opt.report.wording import Wording

    farm, tables = _farm(farm_file)
    field = None if field_name is None else choices.field(farm, field_name)
    path, log = _log(farm_file, log_file, farm, tables)
    visits = [
        visit
        for visit in log.visits
        if (field is None or visit.field == field) and (year is None or visit.year == year)
    ]
    output.show(list_page(visits, Wording(farm, tables), path.name), width)


@scout.command(short_help="Sum up the counts by weed, field and year.")
@click.argument("farm_file", metavar="FARM", type=FARM_FILE)
@LOG
@WIDTH
def summary(farm_file: Path, *, log_file: Path | None, width: int | None) -> None:
    """Sum up the log: shoots per m2 by weed, field and year, likely and from low to high."""
    from rotation_opt import scouting_log
    from rotation_opt.cli import output
    from rotation_opt.report.scouting_summary import summary_page
    from rotation_opt.report.wording import Wording

    farm, tables = _farm(farm_file)
    path, log = _log(farm_file, log_file, farm, tables)
    sums = scouting_log.summarise(log.visits, farm, tables)
    output.show(summary_page(sums, Wording(farm, tables), path.name), width)


def _farm(farm_file: Path) -> tuple[Farm, Tables]:
    from rotation_opt import farm, tables

    crop_tables = tables.read()
    return farm.read(farm_file, crop_tables), crop_tables


def _log(farm_file: Path, log_file: Path | None, farm: Farm, tables: Tables) -> tuple[Path, Log]:
    from rotation_opt import scouting_log

    path = log_file or scouting_log.default_path(farm_file)
    log = scouting_log.read_log(path, farm, tables)
    for remark in log.remarks:
        click.echo(remark, err=True)
    return path, log


def _counts(text: str) -> tuple[int, ...]:
    parts = [part for part in re.split(r"[,;\s]+", text.strip()) if part]
    for part in parts:
        if not re.fullmatch(r"[0-9]{1,6}", part):
            raise click.BadParameter(
                f"{part[:40]!r} is not a count; write whole numbers with commas between, like 3,5,0,7.",
                param_hint="--counts",
            )
    if not parts:
        raise click.BadParameter("no count; write one for each stop, like 3,5,0,7.", param_hint="--counts")
    return tuple(int(part) for part in parts)


def _patch_ha(text: str, farm: Farm, field: str) -> float:
    """Area of a patch, no larger than its field; a fault is told in the units of the farm."""
    from rotation_opt import units

    area_ha = _area_ha(text, farm)
    whole_ha = next(each.area_ha for each in farm.fields if each.name == field)
    if area_ha > whole_ha * (1.0 + AREA_ROUNDING):
        found, allowed = (units.area_text(each, farm.units) for each in (area_ha, whole_ha))
        raise click.BadParameter(
            f"that is {found}; a patch is no larger than its field, and {field} has {allowed}.",
            param_hint="--area",
        )
    return area_ha


def _area_ha(text: str, farm: Farm) -> float:
    from rotation_opt import units

    own = units.ACRE_HA if farm.units == "us" else 1.0
    square_feet = units.SQUARE_FOOT_M2 / units.M2_PER_HA
    known = {
        "": own,
        "ha": 1.0,
        "acre": units.ACRE_HA,
        "acres": units.ACRE_HA,
        "m2": 1.0 / units.M2_PER_HA,
        "sq ft": square_feet,
        "square feet": square_feet,
    }
    return _measure(text, known, "--area", "like '1.5 acres', '0.4 ha' or '400 m2'")


def _height_cm(text: str, farm: Farm) -> float:
    from rotation_opt import units

    inch, foot = units.INCH_M * 100.0, units.FOOT_M * 100.0
    known = {
        "": inch if farm.units == "us" else 1.0,
        "cm": 1.0,
        "m": 100.0,
        "in": inch,
        "inches": inch,
        "ft": foot,
        "feet": foot,
    }
    return _measure(text, known, "--height", "like '24 in' or '60 cm'")


def _measure(text: str, known: dict[str, float], option: str, allowed: str) -> float:
    found = _MEASURE.fullmatch(" ".join(text.casefold().split()))
    unit = found[2].strip(" .") if found else None
    if found is None or unit not in known:
        raise click.BadParameter(f"{text[:40]!r} is no size; write it {allowed}.", param_hint=option)
    return float(found[1].replace(",", ".")) * known[unit]
