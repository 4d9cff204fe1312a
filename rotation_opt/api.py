"""The same work from Python: farm file in, plans and tables out.

Examples
--------
>>> import rotation_opt
>>> farm = rotation_opt.read_farm(rotation_opt.example_farm("tamarack_hollow"))
>>> farm.invented
True
"""

from __future__ import annotations

import copy
import html
from collections.abc import Callable, Iterator
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rotation_opt import farm as farm_room
from rotation_opt import tables as crop_tables
from rotation_opt import words
from rotation_opt.errors import Fault, InputError
from rotation_opt.records import Alternative, Farm, Result
from rotation_opt.tables import Tables

if TYPE_CHECKING:
    import pandas as pd

FarmLike = Farm | Path | str


def example_farm(name: str) -> Path:
    """Path of a demo farm file that comes with the program. The farms are invented.

    Parameters
    ----------
    name : str
        File name without ``.toml``.

    Returns
    -------
    Path

    Raises
    ------
    InputError
        If there is no example of that name; says which there are.

    Examples
    --------
    >>> example_farm("tamarack_hollow").name
    'tamarack_hollow.toml'
    """
    shipped = Path(str(resources.files("rotation_opt"))) / "examples"
    folder = shipped if shipped.is_dir() else Path(__file__).parent.parent / "examples"
    path = folder / f"{name}.toml"
    if not path.is_file():
        known = sorted(file.stem for file in folder.glob("*.toml"))
        near = words.nearest(name, known)
        raise InputError(
            [
                Fault(
                    place="examples",
                    found=repr(name),
                    allowed=f"there is {words.listed(known, 'and')}",
                    hint=f"Did you mean {near}?" if near else "",
                )
            ]
        )
    return path


def read_farm(path: Path | str, tables: Tables | None = None) -> Farm:
    """Read and check a farm file.

    Parameters
    ----------
    path : path-like
        TOML file.
    tables : Tables, optional
        Crop tables of your own; the shipped ones by default.

    Returns
    -------
    Farm
        In SI units and hectares, whatever the file uses.

    Raises
    ------
    InputError
        With every fault found in the file.
    """
    return farm_room.read(Path(path), tables or crop_tables.read())


def list_practices(farm: FarmLike, tables: Tables | None = None) -> pd.DataFrame:
    """Practices that this farm and climate allow.

    Parameters
    ----------
    farm : Farm or path-like
        A farm, or the file of one.
    tables : Tables, optional
        Crop tables of your own.

    Returns
    -------
    DataFrame
        One row a practice: ``practice``, ``name``, ``crop``, ``sowing_day``, ``harvest_day`` (day of the
        harvest year, 0 = 1 January, negative in the year before), ``cuts``.

    Examples
    --------
    >>> practices = list_practices(example_farm("tamarack_hollow"))
    >>> {"practice", "name", "crop"} <= set(practices.columns)
    True
    """
    import pandas as pd

    from rotation_opt import climate, practices, varieties
    from rotation_opt.report.wording import Wording

    tables = tables or crop_tables.read()
    farm = _farm(farm, tables)
    wording = Wording(farm, tables)
    place = climate.for_farm(farm, tables)
    offered = practices.dated_practices(farm, varieties.fitted(tables, place), place)
    return pd.DataFrame(
        [
            {
                "practice": dated.practice.key,
                "name": wording.practice(dated.practice.key),
                "crop": dated.practice.crop,
                "sowing_day": dated.sowing_day,
                "harvest_day": dated.harvest_day,
                "cuts": dated.practice.cuts,
            }
            for dated in offered.practices
        ]
    )


def season_response(
    farm: FarmLike, field: str | None = None, weed: str | None = None, tables: Tables | None = None
) -> pd.DataFrame:
    """What one season of each practice does to each weed.

    Parameters
    ----------
    farm : Farm or path-like
        A farm, or the file of one.
    field : str, optional
        Name of a field: its last crop comes before the season.
    weed : str, optional
        Key of one weed; all by default.
    tables : Tables, optional
        Crop tables of your own.

    Returns
    -------
    DataFrame
        One row a practice and weed: ``previous``, ``practice``, ``weed``, ``enough_light`` (share of full
        light below which the weed grows less), ``head_start_days`` (missing where it always has that much),
        ``light`` (mean share of full light),
        ``reserve_low``, ``reserve_likely``, ``reserve_high`` (share of a full store, from 1 at the start).
    """
    import pandas as pd

    from rotation_opt import closer_look

    tables = tables or crop_tables.read()
    rows = closer_look.season_table(_farm(farm, tables), tables, field=field, weed=weed)
    return pd.DataFrame(
        [
            {
                "previous": row.previous,
                "practice": row.practice,
                "weed": row.weed,
                "enough_light": row.enough_light,
                "head_start_days": row.head_start_days,
                "light": row.light,
                "reserve_low": row.reserve_end[0],
                "reserve_likely": row.reserve_end[1],
                "reserve_high": row.reserve_end[2],
            }
            for row in rows
        ]
    )


def plan(
    farm: FarmLike,
    years: int | None = None,
    tables: Tables | None = None,
    progress: Callable[[str], None] = lambda what: None,
) -> PlanSet:
    """Alternative rotations for a farm.

    Parameters
    ----------
    farm : Farm or path-like
        A farm, or the file of one.
    years : int, optional
        Length of the plans, 3 to 8; as in the farm file by default.
    tables : Tables, optional
        Crop tables of your own.
    progress : callable, optional
        Told, in words, what is being worked on.

    Returns
    -------
    PlanSet

    Raises
    ------
    InputError
        With every fault found in the file.
    NoPlanError
        If no plan keeps all limits; names those that clash.
    """
    from rotation_opt import planning

    tables = _uncounted(tables or crop_tables.read())
    return PlanSet(planning.plan(_farm(farm, tables), tables, years=years, progress=progress), tables)


class PlanSet:
    """Alternatives for one farm, to print, compare and hand on.

    Parameters
    ----------
    result : Result
        What the run found.
    tables : Tables
        The tables it was found with.

    Attributes
    ----------
    result : Result
        All figures, in SI units and hectares.
    alternatives : tuple of Alternative
        As shown, "as now" first.
    """

    def __init__(self, result: Result, tables: Tables) -> None:
        self.result = result
        self._tables = tables

    @property
    def alternatives(self) -> tuple[Alternative, ...]:
        return self.result.alternatives

    @property
    def titles(self) -> tuple[str, ...]:
        return tuple(plan.title for plan in self.alternatives)

    def __len__(self) -> int:
        return len(self.alternatives)

    def __iter__(self) -> Iterator[Alternative]:
        return iter(self.alternatives)

    def __getitem__(self, title: str) -> Alternative:
        """The alternative with this title or key.

        Raises
        ------
        KeyError
            If there is none; names those there are.
        """
        for plan in self.alternatives:
            if title in (plan.title, plan.key):
                return plan
        raise KeyError(f"no alternative {title!r}; there is {words.listed(self.titles, 'and')}")

    def __str__(self) -> str:
        return self.to_text()

    def __repr__(self) -> str:
        return f"<PlanSet of {self.result.farm.name}: {', '.join(self.titles)}>"

    def to_text(self, width: int = 80) -> str:
        """The printout of the command line, all its pages."""
        from rotation_opt.report.printout import printout
        from rotation_opt.report.terminal import render

        return render(printout(self.result, self._tables), width)

    def to_json(self) -> str:
        """JSON text as described by ``result.schema.json``."""
        from rotation_opt.report import result_json

        return result_json.dumps(self.result, self._tables)

    def to_frame(self) -> pd.DataFrame:
        """Figures side by side.

        Returns
        -------
        DataFrame
            One row an alternative, by title: ``net_return_per_ha_year``, ``net_return_a_year`` and
            ``leanest_cash`` (currency of the farm), ``roots_low``, ``roots_likely``, ``roots_high`` (share
            of today's roots left at the end), ``hire_cost_a_year``, ``bare_weeks_per_field_year``.
        """
        import pandas as pd

        from rotation_opt.report.summary import Reading
        from rotation_opt.report.wording import Wording, mean

        reading = Reading(self.result, Wording(self.result.farm, self._tables))
        rows: list[dict[str, Any]] = []
        for plan in self.alternatives:
            low, likely, high = reading.roots_left(plan)
            rows.append(
                {
                    "alternative": plan.title,
                    "net_return_per_ha_year": plan.figures.net_return_per_ha_year,
                    "net_return_a_year": reading.money_a_year(plan),
                    "leanest_cash": min(plan.figures.cash),
                    "roots_low": low,
                    "roots_likely": likely,
                    "roots_high": high,
                    "hire_cost_a_year": mean(plan.figures.hire_cost),
                    "bare_weeks_per_field_year": plan.figures.bare_weeks_per_field_year,
                }
            )
        return pd.DataFrame(rows).set_index("alternative")

    def fields(self, title: str) -> pd.DataFrame:
        """One alternative, fields down and years across.

        Parameters
        ----------
        title : str
            Title or key of the alternative.

        Returns
        -------
        DataFrame
            Names of practices; empty where the field is no longer farmed.
        """
        import pandas as pd

        from rotation_opt.report.wording import Wording

        farm = self.result.farm
        wording = Wording(farm, self._tables)
        years = range(farm.first_year, farm.first_year + farm.years)
        grown = {
            field: [wording.practice(key) if key else "" for key in keys]
            for field, keys in self[title].practices.items()
        }
        frame = pd.DataFrame.from_dict(grown, orient="index", columns=[str(year) for year in years])
        frame.index.name = "field"
        return frame

    def _repr_html_(self) -> str:
        """The side-by-side table for notebooks."""
        from rotation_opt.report.summary import Reading, side_by_side
        from rotation_opt.report.wording import Wording

        grid = side_by_side(Reading(self.result, Wording(self.result.farm, self._tables)), self.alternatives)
        head = "".join(f'<th scope="col">{html.escape(cell)}</th>' for cell in grid.header)
        body = "".join(
            f'<tr><th scope="row">{html.escape(row[0])}</th>'
            + "".join(f"<td>{html.escape(cell).replace(chr(10), '<br>')}</td>" for cell in row[1:])
            + "</tr>"
            for row in grid.rows
        )
        caption = html.escape(f"{self.result.farm.name}: estimates, not advice")
        return (
            f"<table><caption>{caption}</caption><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
        )


def _uncounted(tables: Tables) -> Tables:
    """The same tables with nothing looked up yet: what one plan reads is not listed under another."""
    own = copy.copy(tables)
    own.read_figures = set()
    return own


def _farm(farm: FarmLike, tables: Tables) -> Farm:
    return farm if isinstance(farm, Farm) else read_farm(farm, tables)
