"""The commands. Each one reads its options, calls the rooms below and prints; nothing is worked out here.

Heavy rooms are imported inside the commands, so that ``--help``, ``--version`` and ``check`` start at once.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from rotation_opt.cli.faults import Commands
from rotation_opt.cli.results import SAVE, SHOW, hand_out, wish

if TYPE_CHECKING:
    from rotation_opt.records import Farm
    from rotation_opt.tables import Tables

FARM_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)


class Between(click.ParamType[int]):
    """A whole number within limits, explained in words."""

    def __init__(self, least: int, most: int) -> None:
        self.name = "number"
        self.least, self.most = least, most

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> int:
        try:
            number = int(str(value))
        except ValueError:
            number = self.least - 1
        if not self.least <= number <= self.most:
            self.fail(f"{value!s} is not a whole number between {self.least} and {self.most}.", param, ctx)
        return number


WIDTH = click.option(
    "--width",
    type=Between(40, 250),
    metavar="N",
    help="Characters in a line. Default: as wide as the terminal, at most 120; 80 if there is none.",
)


JSON = click.option(
    "--json",
    "json_file",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Also write everything to FILE, for other programs.",
)


def _print_version(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted and not ctx.resilient_parsing:
        import rotation_opt

        click.echo(f"rotation-opt {rotation_opt.__version__}")
        ctx.exit()


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_print_version,
    help="Show the version and exit.",
)
def main() -> None:
    """Plan crop rotations of 3 to 5 years that wear down creeping perennial weeds without herbicides.

    FARM is your farm file; examples/ has one to copy and change. The report goes to standard output.
    Exit codes: 0 printed, 1 something in a file to put right, 2 wrong use, 3 no plan keeps all limits.
    """


@main.command(short_help="Read FARM and say what is to be put right.")
@click.argument("farm_file", metavar="FARM", type=FARM_FILE)
@WIDTH
def check(farm_file: Path, width: int | None) -> None:
    """Read FARM and say what was understood, or all that is to be put right."""
    from rotation_opt.cli import output
    from rotation_opt.report.check_page import check_page

    farm, tables = _read(farm_file)
    output.show(check_page(farm, tables), width)


@main.command(short_help="Print alternative rotations side by side.")
@click.argument("farm_file", metavar="FARM", type=FARM_FILE)
@click.option("--years", type=Between(3, 8), metavar="N", help="Years to plan, 3 to 8. Default: as in FARM.")
@SAVE
@click.option(
    "--page",
    "pages",
    multiple=True,
    metavar="NAME",
    help="Print this page, or 'all', in place of the first few; may be given again.",
)
@SHOW
@WIDTH
def plan(
    farm_file: Path,
    *,
    years: int | None,
    saved: tuple[Path, ...],
    pages: tuple[str, ...],
    shown: tuple[str, ...],
    width: int | None,
) -> None:
    """Print alternative rotations for FARM side by side.

    Ctrl-C while plans are looked for prints the best ones found so far.
    """
    from rotation_opt import planning
    from rotation_opt.cli import output
    from rotation_opt.cli.interrupt import asked_to_stop

    wished = wish(saved, pages, shown, width, followed=False)
    farm, tables = _read(farm_file)
    with output.progress() as tell, asked_to_stop() as pulled:
        result = planning.plan(farm, tables, years=years, progress=tell, pulled=pulled)
    hand_out(result, tables, wished)


@main.command(short_help="Rank what practices do to the weeds, or draw one.")
@click.argument("farm_file", metavar="FARM", type=FARM_FILE)
@click.option("--field", "field_name", metavar="NAME", help="Look at this field, after its last crop.")
@click.option("--practice", "practice_key", metavar="KEY", help="Draw the year of this practice.")
@click.option("--weed", "weed_name", metavar="NAME", help="Look at this weed only.")
@click.option("--all", "every", is_flag=True, help="Rank all practices, not only the best for each crop.")
@click.option("--ascii", "plain", is_flag=True, help="Draw with plain ASCII characters only.")
@WIDTH
def season(
    farm_file: Path,
    *,
    field_name: str | None,
    practice_key: str | None,
    weed_name: str | None,
    every: bool,
    plain: bool,
    width: int | None,
) -> None:
    """Rank practices by what one season of them does to the weeds; with --practice, draw it."""
    from rotation_opt import closer_look
    from rotation_opt.cli import choices, output
    from rotation_opt.report.season_page import course_page, season_page
    from rotation_opt.report.wording import Wording

    farm, tables = _read(farm_file)
    field = None if field_name is None else choices.field(farm, field_name)
    weed = None if weed_name is None else choices.weed(farm, tables, weed_name)
    words = Wording(farm, tables)
    if practice_key is None:
        rows = closer_look.season_table(farm, tables, field=field, weed=weed)
        page = season_page(rows, words, field or "", every)
    else:
        practice = choices.practice(farm, tables, practice_key)
        page = course_page(
            closer_look.season_course(farm, practice, tables, field=field, weed=weed), words, field or ""
        )
    output.show(page, width, plain)


@main.command(short_help="Show what work on small patches would leave and take.")
@click.argument("farm_file", metavar="FARM", type=FARM_FILE)
@click.option("--field", "field_name", metavar="NAME", help="Only the patches of this field.")
@WIDTH
def patches(farm_file: Path, field_name: str | None, width: int | None) -> None:
    """Show what a cover, digging, pulling or mowing would leave of each small patch, and what it takes."""
    from rotation_opt import patch_work
    from rotation_opt.cli import choices, output
    from rotation_opt.report.patches_page import patches_page
    from rotation_opt.report.wording import Wording

    farm, tables = _read(farm_file)
    field = None if field_name is None else choices.field(farm, field_name)
    outlooks = patch_work.patch_outlooks(farm, tables, field=field)
    output.show(patches_page(outlooks, Wording(farm, tables), field or ""), width)


@main.command(short_help="List every figure and where it comes from.")
@click.option(
    "--used-by", "farm_file", metavar="FARM", type=FARM_FILE, help="Only what a plan for FARM looks up."
)
@WIDTH
def sources(farm_file: Path | None, width: int | None) -> None:
    """List every figure and where it comes from."""
    from rotation_opt import tables as crop_tables
    from rotation_opt.cli import output
    from rotation_opt.report.sources_page import all_figures, sources_page, used_figures

    if farm_file is None:
        tables = crop_tables.read()
        page = sources_page(tables, all_figures(tables))
    else:
        from rotation_opt import planning

        farm, tables = _read(farm_file)
        with output.progress() as tell:
            planning.plan(farm, tables, progress=tell)
        page = sources_page(tables, used_figures(tables), farm.name)
    output.show(page, width)


@main.command(short_help="Hold the model against published weed trials.")
@click.option("--weed", "weed_name", metavar="NAME", help="Show this weed only.")
@click.option("--all", "everything", is_flag=True, help="Also checks of order, and what is left out and why.")
@JSON
@click.option(
    "--refit",
    "fit_folder",
    type=click.Path(exists=True, file_okay=False, writable=True, path_type=Path),
    metavar="FOLDER",
    help="Repeat the fit (about a minute) and write its two tables to FOLDER.",
)
@WIDTH
def trials(
    weed_name: str | None,
    everything: bool,
    json_file: Path | None,
    fit_folder: Path | None,
    width: int | None,
) -> None:
    """Print what the model makes of published weed trials beside what was seen in them."""
    from rotation_opt import tables as crop_tables
    from rotation_opt.cli import choices, output
    from rotation_opt.report.trials_page import trials_json, trials_page
    from rotation_opt.trials import run_trials

    tables = crop_tables.read()
    weeds = None if weed_name is None else [choices.any_weed(tables, weed_name)]
    if json_file is not None:
        output.may_write(json_file, "--json")
    if fit_folder is not None:
        _refit(tables, fit_folder)
        return
    with output.progress() as tell:
        tell("Running the trials")
        results = run_trials(tables, weeds)
    if json_file is not None:
        output.write_whole(json_file, trials_json(results))
    output.show(trials_page(results, tables, everything=everything), width)
    if json_file is not None:
        click.echo(f"Written: {json_file}", err=True)


def _refit(tables: Tables, folder: Path) -> None:
    """Fit all weeds again; the tables written are those to put into the crop tables."""
    from rotation_opt import fitting
    from rotation_opt.cli import output

    weeds = tuple(dict.fromkeys(trial.weed for trial in tables.trials.values() if trial.use == "fit"))
    fits = []
    with output.progress() as tell:
        for weed in weeds:
            name = tables.weeds[weed].name_us

            def say(done: float, name: str = name) -> None:
                tell(f"Fitting {name}: {done:.0%}")

            fits.append(fitting.fit(weed, tables, report=say))
    for name, text in (
        ("weed_draws.csv", fitting.draws_csv(fits)),
        ("trial_left_out.csv", fitting.left_out_csv(fits)),
    ):
        output.write_whole(folder / name, text)
        click.echo(f"Written: {folder / name}")


def _read(farm_file: Path) -> tuple[Farm, Tables]:
    from rotation_opt import farm as farm_room
    from rotation_opt import tables as crop_tables

    tables = crop_tables.read()
    return farm_room.read(farm_file, tables), tables
