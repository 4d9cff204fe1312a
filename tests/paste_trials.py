"""The table of trials that DEVELOPERS.md shows, as the command prints it today.

``python tests/paste_trials.py`` pastes it anew; ``tests/test_trials.py`` looks whether that was done.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

from rotation_opt import tables
from rotation_opt.report.terminal import render
from rotation_opt.report.trials_page import trials_page
from rotation_opt.tables import Tables
from rotation_opt.trials import TrialResult, run_trials

FILE = Path(__file__).parent.parent / "DEVELOPERS.md"
MARKS = re.compile(r"(?s)(<!-- trials, pasted -->\n```text\n)(.*?)(```\n<!-- end of trials -->)")
ELSEWHERE = ("sources", "reading")  # sections that `rotation-opt trials` prints and the paste leaves out
COLUMNS = 100


def printed(results: tuple[TrialResult, ...], crop_tables: Tables) -> str:
    """All trials, without the lists of sources and how to read it."""
    page = trials_page(results, crop_tables, everything=True)
    sections = tuple(section for section in page.sections if section.key not in ELSEWHERE)
    return render(replace(page, sections=sections), COLUMNS)


def pasted() -> str:
    """What stands in the file."""
    found = MARKS.search(FILE.read_text(encoding="utf-8"))
    if not found:
        raise ValueError(f"{FILE.name} has no place for the table of trials")
    return found[2]


def paste() -> None:
    """Put today's table into the file."""
    crop_tables = tables.read()
    text = printed(run_trials(crop_tables), crop_tables)
    whole = FILE.read_text(encoding="utf-8")
    FILE.write_text(MARKS.sub(lambda found: found[1] + text + found[3], whole), encoding="utf-8")


if __name__ == "__main__":
    paste()
