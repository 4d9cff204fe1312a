"""``replan``: the years left of a plan, planned anew from what was done and what was counted."""

from __future__ import annotations

from pathlib import Path

import click

from rotation_opt.cli.commands import FARM_FILE, WIDTH, may_write


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
    help="CSV of what was done: field, year, practice_or_crop, note. What was done as planned may be left "
    "out, but for one row of the last year done.",
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
    "--save",
    "saved",
    multiple=True,
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Also write all pages to FILE, as of plan; may be given again.",
)
@click.option(
    "--page",
    "pages",
    multiple=True,
    metavar="NAME",
    help="Print this page, or 'all', in place of the first few; followup is what became of the plan.",
)
@WIDTH
def replan(
    farm_file: Path,
    *,
    log_file: Path | None,
    done_file: Path,
    last_file: Path,
    title: str,
    saved: tuple[Path, ...],
    pages: tuple[str, ...],
    width: int | None,
) -> None:
    """Plan the years left of a plan anew, from what was really done and what was counted.

    FARM stays as it was when the first plan was made; years done and counts come on top of it. The first
    page tells how the promise was kept and what changes; the plan "as now" is the rest of the plan followed.
    """
    from rotation_opt import farm as farm_room
    from rotation_opt import replanning, scouting_log, years_done
    from rotation_opt import tables as crop_tables
    from rotation_opt.cli import choices, output
    from rotation_opt.cli.interrupt import asked_to_stop
    from rotation_opt.report import files
    from rotation_opt.report.followup import KEY
    from rotation_opt.report.printout import first_pages, only, printout

    wanted = choices.pages([name for name in pages if name != KEY])
    choices.kinds_of_file(saved, ())
    for path in saved:
        may_write(path, "--save")
    tables = crop_tables.read()
    farm = farm_room.read(farm_file, tables)
    plan = years_done.read_plan(last_file, title, farm, tables)
    rows = years_done.read_done(done_file, farm, tables)
    visits = scouting_log.read(log_file or scouting_log.default_path(farm_file), farm, tables)
    with output.progress() as tell, asked_to_stop() as pulled:
        result = replanning.replan(farm, tables, plan, visits=visits, rows=rows, progress=tell, pulled=pulled)
    whole = printout(result, tables)
    for path in saved:
        output.write_whole(path, files.contents(path.suffix.lower(), result, tables, whole))
    output.show(only(whole, (KEY, *wanted)) if pages else first_pages(whole), width)
    for path in saved:
        click.echo(f"Written: {path}", err=True)
