"""The part of a plan's printout that README.md shows, as the command prints it today.

``python tests/paste_plan.py`` pastes it anew. A search that its time cuts short may end elsewhere at every
run, so only the rows are held against the program (``tests/test_report.py``), not the figures.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import rotation_opt
from rotation_opt import tables
from rotation_opt.planning import plan
from rotation_opt.report.blocks import Page, Paragraph, Printout
from rotation_opt.report.printout import printout
from rotation_opt.report.terminal import render

FILE = Path(__file__).parent.parent / "README.md"
MARKS = re.compile(r"(?s)(```text\n)(.*?)(```\n)")
CUT = Paragraph(text="[...]")
COLUMNS = 80


def shortened(whole: Printout) -> str:
    """Its head, the plans side by side, and the balanced plan field by field."""
    there = {section.key: section for page in whole.pages for section in page.sections}
    wanted = [there[key] for key in ("summary", "fields:balanced")]
    parts = tuple(replace(section, blocks=(section.blocks[0], CUT)) for section in wanted)
    return render(Page(title=whole.title, lead=(*whole.lead, "", CUT.text), sections=parts), COLUMNS)


def pasted() -> str:
    """What stands in the file."""
    found = MARKS.search(FILE.read_text(encoding="utf-8"))
    if not found:
        raise ValueError(f"{FILE.name} has no place for the printout")
    return found[2]


def paste() -> None:
    """Put today's printout into the file."""
    crop_tables = tables.read()
    farm = rotation_opt.read_farm(rotation_opt.example_farm("tamarack_hollow"), crop_tables)
    text = shortened(printout(plan(farm, crop_tables), crop_tables))
    whole = FILE.read_text(encoding="utf-8")
    FILE.write_text(MARKS.sub(lambda found: found[1] + text + found[3], whole, count=1), encoding="utf-8")


if __name__ == "__main__":
    paste()
