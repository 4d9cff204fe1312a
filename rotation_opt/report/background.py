"""What stands behind the plans: what was left out, taken for granted and looked up."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from rotation_opt.records import Result
from rotation_opt.report.blocks import Bullets, Paragraph, Section
from rotation_opt.report.sources_page import MARKS, used_figures
from rotation_opt.report.wording import capital
from rotation_opt.tables import Tables

ESTIMATE = (
    "All figures are estimates from tables and a model, not advice and not a promise. "
    "Seasons, prices and people differ; count the shoots every year and plan again."
)


def caution_sections(result: Result) -> list[Section]:
    """What to take care of, and how far the figures go."""
    blocks = (Bullets(items=tuple(result.cautions)),) if result.cautions else ()
    return [Section(key="cautions", title="Take care", blocks=(*blocks, Paragraph(text=ESTIMATE)))]


def background_sections(result: Result, tables: Tables) -> list[Section]:
    """What was left out and why, what is taken for granted, and where the figures come from."""
    sections = []
    if result.left_out:
        left_out = Bullets(items=_by_reason(result.left_out))
        sections.append(Section(key="left_out", title="Left out, and why", blocks=(left_out,)))
    if result.assumptions:
        granted = Bullets(items=tuple(result.assumptions))
        sections.append(Section(key="assumptions", title="Taken for granted", blocks=(granted,)))
    if figures := _figures_used(tables, result.farm.currency):
        found = Paragraph(text=figures)
        sections.append(Section(key="sources", title="Where the figures come from", blocks=(found,)))
    return sections


def _by_reason(left_out: Sequence[tuple[str, str]]) -> tuple[str, ...]:
    """Each reason once, with all that it keeps out."""
    names: dict[str, list[str]] = {}
    for name, reason in left_out:
        names.setdefault(reason, []).append(name)
    return tuple(
        f"{capital(reason.rstrip('. '))}: {'; '.join(kept_out)}." for reason, kept_out in names.items()
    )


def _figures_used(tables: Tables, currency: str) -> str:
    figures = used_figures(tables)
    if not figures:
        return ""
    sources = {figure.source for figure in figures}
    marks: Counter[str] = Counter(figure.mark for figure in figures)
    parts = ", ".join(f"{marks[mark]} {meaning}" for mark, meaning in MARKS.items() if marks[mark])
    dollars = sum(figure.unit.startswith("USD") for figure in figures)
    taken = (
        f"{dollars:,} of them are US prices and costs in dollars, taken here one for one as {currency}: put "
        "your own into the farm file. "
        if dollars and currency != "USD"
        else ""
    )
    return (
        f"{len(figures):,} figures from {len(sources)} sources were looked up for this page: {parts}. {taken}"
        "`rotation-opt sources --used-by` and the farm file lists them all."
    )
