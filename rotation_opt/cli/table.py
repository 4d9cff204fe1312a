"""``what-if`` and ``why``: questions asked at the kitchen table, answered from one search and a short one."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rotation_opt.cli.commands import FARM_FILE, WIDTH, Between

if TYPE_CHECKING:
    from rotation_opt.records import Farm
    from rotation_opt.tables import Tables

PLAN = click.option(
    "--plan",
    "title",
    default="Most money",
    show_default=True,
    metavar="TITLE",
    help="Ask about this plan: Most money, or Balanced, which takes as long as all plans.",
)
YEAR = Between(1900, 2200)


@click.command("what-if", short_help="Change a limit and print only what differs.")
@click.argument("farm_file", metavar="FARM", type=FARM_FILE)
@click.option(
    "--set",
    "values",
    multiple=True,
    nargs=2,
    metavar="PATH VALUE",
    help="Another value in FARM, as with the command set; may be given again.",
)
@click.option("--hire", "hired", multiple=True, metavar="MACHINE", help="A machine can be hired.")
@click.option(
    "--lose-lease",
    "lost",
    multiple=True,
    nargs=2,
    type=(str, YEAR),
    metavar="FIELD YEAR",
    help="A field is lost after the harvest of YEAR.",
)
@click.option(
    "--no-buyer",
    "unsold",
    multiple=True,
    metavar="CROP",
    help="Nobody buys a crop; or the name of one buyer in FARM, who is gone.",
)
@click.option(
    "--late",
    "late",
    multiple=True,
    nargs=2,
    type=(str, Between(0, 60)),
    metavar="MACHINE DAYS",
    help="A hired machine comes so many days after it is called.",
)
@click.option(
    "--skip-cut",
    type=Between(1, 6),
    metavar="N",
    help="Cut N of the year is left out: missed in the plan as it is, and with the plan chosen anew.",
)
@click.option("--dry-year", "dry", multiple=True, type=YEAR, metavar="YEAR", help="YEAR is dry.")
@click.option("--wet-year", "wet", multiple=True, type=YEAR, metavar="YEAR", help="YEAR is wet.")
@PLAN
@WIDTH
def what_if(
    farm_file: Path,
    *,
    values: tuple[tuple[str, str], ...],
    hired: tuple[str, ...],
    lost: tuple[tuple[str, int], ...],
    unsold: tuple[str, ...],
    late: tuple[tuple[str, int], ...],
    skip_cut: int | None,
    dry: tuple[int, ...],
    wet: tuple[int, ...],
    title: str,
    width: int | None,
) -> None:
    """Change one or several limits of FARM and print only what differs in a plan.

    FARM itself is not changed. The plan is chosen for FARM as it is, and once more with the change; where the
    old plan still fits, it is told what it would bring then. Options may be given together.
    """
    from rotation_opt import changed_farm, table_questions
    from rotation_opt.cli import choices, output
    from rotation_opt.report.differences import differences_page
    from rotation_opt.tables import read

    if not (values or hired or lost or unsold or late or skip_cut or dry or wet):
        raise click.UsageError("Say what is to change, with --hire, --set or another option; see --help.")
    tables = read()
    plan = _plan(title)
    farm = _farm(farm_file, (), tables)
    changed, said = farm, []
    if values:
        changed = _farm(farm_file, values, tables)
        said += [f"With {path} = {value}" for path, value in values]
    for name in hired:
        with _refused("--hire"):
            key = choices.machine("--hire", farm, tables, name)
            changed, sentence = changed_farm.hired(changed, tables, key)
        said.append(sentence)
    for name, days in late:
        with _refused("--late"):
            key = choices.machine("--late", farm, tables, name)
            changed, sentence = changed_farm.late(changed, tables, key, days)
        said.append(sentence)
    for name, year in lost:
        with _refused("--lose-lease"):
            field = choices.field(farm, name, "--lose-lease")
            changed, sentence = changed_farm.lease_lost(changed, field, year)
        said.append(sentence)
    for name in unsold:
        changed, sentence = changed_farm.no_buyer(changed, tables, **choices.buyer(farm, tables, name))
        said.append(sentence)
    for option, years in (("--dry-year", dry), ("--wet-year", wet)):
        for year in years:
            _in_plan(farm, option, year)
    if skip_cut is not None:
        said.append(f"Cut {skip_cut} of the year is skipped")
    with output.progress() as tell:
        base = table_questions.base_of(farm, tables, plan, tell=tell)
        found = table_questions.difference(
            base, changed, skipped_cut=skip_cut, dry_years=dry, wet_years=wet, tell=tell
        )
    output.show(differences_page(found, said, tables, table_questions.PLANS[plan], skip_cut), width)


@click.command("why", short_help="Say why a crop stands on a field in a year, or why not another.")
@click.argument("farm_file", metavar="FARM", type=FARM_FILE)
@click.option("--field", "field_name", required=True, metavar="NAME", help="The field.")
@click.option("--year", required=True, type=YEAR, metavar="YEAR", help="The harvest year.")
@click.option("--crop", "crop_name", metavar="CROP", help="Why not this crop? Else: what comes second.")
@PLAN
@WIDTH
def why(
    farm_file: Path, *, field_name: str, year: int, crop_name: str | None, title: str, width: int | None
) -> None:
    """Say what the crop on a field in a year does to the weed, and what another one there would cost."""
    from rotation_opt import table_questions
    from rotation_opt.cli import choices, output
    from rotation_opt.crop_reasons import crop_reason
    from rotation_opt.report.why_page import why_page
    from rotation_opt.tables import read

    tables = read()
    plan = _plan(title)
    farm = _farm(farm_file, (), tables)
    field = choices.field(farm, field_name)
    crop = "" if crop_name is None else choices.crop("--crop", farm, tables, crop_name)
    _in_plan(farm, "--year", year)
    with output.progress() as tell:
        base = table_questions.base_of(farm, tables, plan, tell=tell)
        tell("What comes second" if not crop else "With another crop there")
        found = crop_reason(base, field, year, crop)
    output.show(why_page(found, tables, table_questions.PLANS[plan]), width)


def _plan(title: str) -> str:
    from rotation_opt import table_questions
    from rotation_opt.cli import choices

    keys = {said: key for key, said in table_questions.PLANS.items()}
    return keys[choices.pick("--plan", title, {said: (key,) for said, key in keys.items()})]


def _in_plan(farm: Farm, option: str, year: int) -> None:
    last = farm.first_year + farm.years - 1
    if not farm.first_year <= year <= last:
        raise click.BadParameter(f"{year} is not from {farm.first_year} to {last}.", param_hint=option)


def _farm(farm_file: Path, values: tuple[tuple[str, str], ...], tables: Tables) -> Farm:
    """The farm in a file, with some values changed."""
    from rotation_opt import farm as farm_room

    if not values:
        return farm_room.read(farm_file, tables)
    from rotation_opt import farm_edit
    from rotation_opt.farm.text import contents

    return farm_room.read_text(farm_edit.changed(contents(farm_file), values), farm_file, tables)


@contextmanager
def _refused(option: str) -> Iterator[None]:
    """A change that cannot be is the fault of the option."""
    try:
        yield
    except ValueError as fault:
        raise click.BadParameter(str(fault), param_hint=option) from fault
