"""A printout as a file: the ending of its name says which kind."""

from __future__ import annotations

from rotation_opt.records import Result
from rotation_opt.report.blocks import Printout
from rotation_opt.report.summary import Reading
from rotation_opt.report.wording import Wording
from rotation_opt.tables import Tables

KINDS = {
    ".html": "for a browser, on screen and on paper",
    ".pdf": "for paper",
    ".xlsx": "a workbook",
    ".ics": "the work of one plan, for a calendar",
    ".json": "for other programs",
    ".txt": "as in the terminal, all pages",
}
"""Kinds of file by the ending of the name."""

OF_ONE_PLAN = ".ics"


def contents(kind: str, result: Result, tables: Tables, pages: Printout, title: str = "") -> bytes:
    """What a file of one kind holds.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    result : Result
    tables : Tables
    pages : Printout
        What is shown of the result.
    title : str, optional
        Of the plan that a calendar is about.

    Raises
    ------
    RotationOptError
        If what makes a PDF is not installed.
    ValueError
        If there is no such kind.
    """
    if kind == ".html":
        from rotation_opt.report import html

        return html.render(pages).encode()
    if kind == ".pdf":
        from rotation_opt.report import html, pdf

        return pdf.render(html.render(pages))
    if kind == ".xlsx":
        from rotation_opt.report import workbook

        return workbook.render(pages)
    if kind == ".ics":
        from rotation_opt.report import calendar_file

        plan = next(each for each in result.alternatives if each.title == title)
        return calendar_file.render(Reading(result, Wording(result.farm, tables)), plan)
    if kind == ".json":
        from rotation_opt.report import result_json

        return result_json.dumps(result, tables).encode()
    if kind == ".txt":
        from rotation_opt.report.terminal import render

        return render(pages).encode()
    raise ValueError(f"no kind of file {kind!r}")
