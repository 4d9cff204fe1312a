"""All pages of a printout laid end to end, so that a test can look for a section wherever it stands."""

from __future__ import annotations

from collections.abc import Sequence

from rotation_opt.records import Result
from rotation_opt.report.blocks import Page
from rotation_opt.report.printout import printout
from rotation_opt.tables import Tables


def plan_page(result: Result, tables: Tables, shown: Sequence[str] | None = None) -> Page:
    whole = printout(result, tables, shown)
    lead = (*whole.lead, *(line for page in whole.pages for line in page.lead))
    return Page(
        title=whole.title, lead=lead, sections=tuple(part for page in whole.pages for part in page.sections)
    )
