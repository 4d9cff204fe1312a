"""Every figure and where it comes from."""

from __future__ import annotations

from collections.abc import Sequence

from rotation_opt.errors import TableError
from rotation_opt.records import Figure, Source
from rotation_opt.report.blocks import Entries, Entry, Grid, Page, Section
from rotation_opt.tables import DRAW_TABLE, Tables

FIGURE_TABLES = {
    "crop": "Crops",
    "weed": "Weeds",
    "weed_parameter": "How weeds live from light and reserves",
    "annual_weed": "Annual weeds",
    "machine": "Machines",
    "operation": "Passes over a field",
    "money": "Money",
    "field_days": "Days fit for field work",
    "preceding": "Effect of the crop before",
    "climate": "Climate",
    "canopy": "Canopies",
    DRAW_TABLE: "Courses of the weeds: low, likely and high",
}
RATIO = {"1", "none"}  # units of figures that have none
MARKS = {
    "seen": "read in the source",
    "fitted": "fitted to published trials",
    "derived": "worked out from such figures",
    "practice": "common practice without a source",
    "memory": "from memory, not checked",
    "judgement": "our own judgement",
    "invented": "made up for the demo farm",
}
BASIS = {
    "seen": "read",
    "fitted": "fitted",
    "derived": "worked out",
    "practice": "common practice",
    "memory": "from memory",
    "judgement": "judgement",
    "invented": "invented",
}
NOT_PUBLISHED = {
    "practice": "common practice, no source",
    "memory": "from memory, not checked",
    "judgement": "our own judgement; the reasoning is in the note of each figure",
    "invented": "made up for a demo farm",
}


def used_figures(tables: Tables) -> tuple[Figure, ...]:
    """Figures that have been looked up so far, in a fixed order."""
    found = []
    for table, subject, quantity in sorted(tables.read_figures):
        try:
            found.append(tables.figure(table, subject, quantity))
        except TableError:  # asked for, not there: a default was taken
            continue
    return tuple(found)


def all_figures(tables: Tables) -> tuple[Figure, ...]:
    """Figures of all tables that are in use."""
    return tuple(figure for table in FIGURE_TABLES for figure in tables.figures(table))


def sources_page(tables: Tables, figures: Sequence[Figure], whose: str = "") -> Page:
    """Figures by table, each with its source, and the list of sources.

    Parameters
    ----------
    tables : Tables
        Holds the sources.
    figures : sequence of Figure
        What to list.
    whose : str
        Name of the farm they were used for; empty for all figures.

    Returns
    -------
    Page
        One section for each table of figures, then the sources.
    """
    sections = []
    for table, title in FIGURE_TABLES.items():
        rows = tuple(_row(figure) for figure in figures if figure.table == table)
        if rows:
            grid = Grid(header=("Of what", "Figure", "Value (range)", "Basis", "Source"), rows=rows)
            sections.append(Section(key=table, title=title, blocks=(grid,)))
    cited = [
        tables.sources[key] for key in sorted({figure.source for figure in figures}) if key in tables.sources
    ]
    entries = tuple(Entry(label=source.key, text=citation(source)) for source in cited)
    sections.append(Section(key="sources", title="Sources", blocks=(Entries(items=entries),)))
    lead = f"{len(figures)} figures from {len(cited)} sources."
    basis = "Basis: " + ", ".join(
        f"{word} = {MARKS[mark]}" for mark, word in BASIS.items() if word != MARKS[mark]
    )
    return Page(
        title=f"Figures behind the plans for {whose}" if whose else "Figures in the tables",
        lead=(lead, f"{basis}."),
        sections=tuple(sections),
    )


def citation(source: Source) -> str:
    """One source in full; what is not published says so."""
    if source.kind in NOT_PUBLISHED:
        return f"{NOT_PUBLISHED[source.kind]}. {_known(source.title)}".strip()
    parts = (source.authors, source.year, source.title, source.publisher)
    return " ".join((*(f"{part}." for part in map(_known, parts) if part), _known(source.address))).strip()


def _row(figure: Figure) -> tuple[str, ...]:
    value = f"{figure.value:.10g}" if figure.unit in RATIO else f"{figure.value:.10g} {figure.unit}"
    if figure.low is not None and figure.high is not None:
        value += f" ({figure.low:.10g} to {figure.high:.10g})"
    return (
        figure.subject.replace("_", " "),
        figure.quantity.replace("_", " "),
        value,
        BASIS[figure.mark],
        figure.source,
    )


def _known(text: str) -> str:
    return "" if text == "none" else text.rstrip(".")
