"""``replan``: the years left of a plan, planned anew from what was done and what was counted."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import click

from rotation_opt.cli.commands import FARM_FILE, WIDTH
from rotation_opt.cli.results import SAVE, SHOW, hand_out, wish


@click.command(short_help="Plan the years left anew, from what was done and counted.")
@click.argument("farm_file", metavar="FARM", type=FARM_FILE)
@click.option(
    "--log",
    "log_file",
    type=FARM_FILE,
    metavar="FILE",
    help="The scouting log. Default: FARM's name with .scouting.csv, beside it.",
)
@click.option(
    "--done",
    "done_file",
    type=FARM_FILE,
    required=True,
    metavar="FILE",
    help="CSV of what was done: field, year, practice_or_crop, note; sown_on, cut_on and harvested_on tell "
    "days that were not the usual ones (2027-10-20; all cuts of a season, a blank between). What was done as "
    "planned may be left out, but for one row of the last year done.",
)
@click.option(
    "--last",
    "last_file",
    type=FARM_FILE,
    required=True,
    metavar="FILE",
    help="The plan followed, as plan or replan wrote it with --save FILE.json.",
)
@click.option("--plan", "title", required=True, metavar="TITLE", help="Title or letter of the plan followed.")
@click.option(
    "--decided-on",
    "decided_on",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="DAY",
    help="Day of the new plan, as 2027-11-20: only work that the plan followed had before it is done. "
    "Default: today, or the day of the newest count if today is not of the last year done or the next.",
)
@SAVE
@click.option(
    "--page",
    "pages",
    multiple=True,
    metavar="NAME",
    help="Print this page, or 'all', in place of the first few; followup is what became of the plan.",
)
@SHOW
@WIDTH
def replan(
    farm_file: Path,
    *,
    log_file: Path | None,
    done_file: Path,
    last_file: Path,
    title: str,
    decided_on: datetime | None,
    saved: tuple[Path, ...],
    pages: tuple[str, ...],
    shown: tuple[str, ...],
    width: int | None,
) -> None:
    """Plan the years left of a plan anew, from what was really done and what was counted.

    FARM stays as it was when the first plan was made; years done and counts come on top of it. The first
    page tells how the promise was kept and what changes; the plan "as now" is the rest of the plan followed.
    """
    from rotation_opt import farm as farm_room
    from rotation_opt import plan_followed, replanning, scouting_log, years_done
    from rotation_opt import tables as crop_tables
    from rotation_opt.cli import output
    from rotation_opt.cli.interrupt import asked_to_stop

    wished = wish(saved, pages, shown, width, followed=True)
    tables = crop_tables.read()
    farm = farm_room.read(farm_file, tables)
    plan = plan_followed.read_plan(last_file, title, farm, tables)
    rows = years_done.read_done(done_file, farm, tables)
    log = log_file or scouting_log.default_path(farm_file)
    visits: tuple[scouting_log.Visit, ...] = ()
    if log_file or log.exists():
        visits = scouting_log.read(log, farm, tables)
    else:
        click.echo(f"There is no {log.name} beside the farm file: the plan goes on without counts.", err=True)
    day = (
        replanning.day_of_planning(date.today().isoformat(), max(row.year for row in rows))
        if decided_on is None
        else decided_on.date().isoformat()
    )
    with output.progress() as tell, asked_to_stop() as pulled:
        result = replanning.replan(
            farm, tables, plan, visits=visits, rows=rows, decided_on=day, progress=tell, pulled=pulled
        )
    hand_out(result, tables, wished)
