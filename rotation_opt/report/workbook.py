"""The printout as a workbook: a sheet a page, numbers as numbers, ready to be printed."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass
from textwrap import wrap
from typing import Any, Literal, cast

from openpyxl import Workbook
from openpyxl.cell.cell import Cell
from openpyxl.styles import Alignment, Border, Font, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.header_footer import HeaderFooterItem
from openpyxl.worksheet.header_footer import _HeaderFooterPart as HeaderFooterPart
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

from rotation_opt.report.blocks import (
    Block,
    Bullets,
    Chart,
    Drawing,
    Entries,
    Form,
    Grid,
    Page,
    Paragraph,
    Printout,
)
from rotation_opt.report.plain_text import clean

NUMBER = re.compile(r"-?([1-9]\d{0,2}(,\d{3})+|0|[1-9]\d*)(\.\d+)?")  # "007" is a name
MOST_DIGITS = 15  # that a number in a workbook keeps
NOT_IN_NAMES = re.compile(r"[\[\]:*?/\\\s]+")
LONGEST_NAME = 31  # characters of a sheet's name
LONGEST_FOOT = 200  # of the foot; the format takes 255 in all
PAPER_SIZES: dict[str, Literal["1", "9"]] = {"Letter": "1", "A4": "9"}  # ISO/IEC 29500, page setup
LETTERS = 110  # of running text in a line, over all columns of a sheet
WIDEST, NARROWEST = 34, 7  # a column, in letters
LINE, ROOM_TO_WRITE, TALLEST = 15.0, 28.0, 409.0  # height of a row, points; the format takes 409
BOLD, TITLE, HEAD, FIXED = (
    Font(bold=True),
    Font(bold=True, size=15),
    Font(bold=True, size=12),
    Font(name="Courier New"),
)
THIN, HAIR = Side(style="thin"), Side(style="hair")
TOP = Alignment(vertical="top", wrap_text=True)
UNBROKEN = Alignment(vertical="top")
RIGHT = Alignment(vertical="top", horizontal="right", indent=1)
BOX = Border(top=THIN, bottom=THIN, left=THIN, right=THIN)


@dataclass(frozen=True, slots=True)
class _Look:
    """How a cell looks; by its identity, since comparing what it is made of takes long."""

    font: Font | None = None
    border: Border | None = None
    alignment: Alignment = TOP
    number_format: str = "General"

    @property
    def key(self) -> tuple[object, ...]:
        return id(self.font), id(self.border), id(self.alignment), self.number_format


PLAIN, AS_DRAWN = _Look(), _Look(font=FIXED, alignment=UNBROKEN)
HEADS, TO_FILL = _Look(BOLD, Border(top=THIN, bottom=THIN)), _Look(border=BOX)
ROW_RULES = {
    (above, below): Border(top=above, bottom=below) for above in (None, THIN) for below in (HAIR, THIN)
}


def render(printout: Printout) -> bytes:
    """The workbook.

    Parameters
    ----------
    printout : Printout

    Returns
    -------
    bytes
        An Office Open XML workbook (ISO/IEC 29500). What looks like a number in a table is one, with as many
        decimals as on the printed page; names of fields and all other text are never read as formulas.
    """
    book = Workbook()
    book.remove(book.worksheets[0])
    book.properties.title = clean(printout.title)
    book.properties.creator = "rotation_opt"
    taken: set[str] = set()
    looks: dict[tuple[object, ...], Any] = {}
    for page in printout.pages:
        sheet = book.create_sheet(_name(page, taken))
        _Sheet(sheet, _columns(page), looks).page(printout, page)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _name(page: Page, taken: set[str]) -> str:
    """A name that the format allows and no other sheet has, whatever the case of its letters."""
    bare = NOT_IN_NAMES.sub(" ", clean(page.title)).strip("' ") or "Page"
    name, number = bare[:LONGEST_NAME].rstrip("' "), 1
    while name.lower() in taken:
        number += 1
        tail = f" {number}"
        name = bare[: LONGEST_NAME - len(tail)] + tail
    taken.add(name.lower())
    return name


def _grids(page: Page) -> list[Grid]:
    blocks = [block for section in page.sections for block in section.blocks]
    return [
        block.table if isinstance(block, Chart) else block
        for block in blocks
        if isinstance(block, Grid | Chart)
    ]


def _columns(page: Page) -> list[int]:
    """Width of each column, in letters: what its cells ask for, within limits."""
    least: list[int] = []
    most: list[int] = []
    for row in (row for grid in _grids(page) for row in (grid.header, *grid.rows)):
        more = len(row) - len(least)
        least += [NARROWEST] * more
        most += [NARROWEST] * more
        for place, text in enumerate(row):
            longest = max((len(word) for word in text.split()), default=0)
            wanted = max(longest, min(len(text), WIDEST if place == 0 else WIDEST // 2))
            least[place] = max(least[place], min(wanted + 2, WIDEST))
            most[place] = max(most[place], max(map(len, text.split("\n"))) + 2)
    widths = _eased(least, most)
    forms = [block for section in page.sections for block in section.blocks if isinstance(block, Form)]
    for form in forms:
        if len(form.header) == 1:  # goes over all columns
            continue
        widths += [NARROWEST] * (len(form.header) - len(widths))
        for place, share in enumerate(form.shares):
            widths[place] = max(widths[place], round(LETTERS * share / sum(form.shares)))
    # Empty columns beside a narrow table, for running text; a single wide one would not be fitted to a sheet.
    while sum(widths) < LETTERS - NARROWEST:
        widths.append(min(LETTERS - sum(widths), WIDEST))
    return widths


def _eased(least: Sequence[int], most: Sequence[int]) -> list[int]:
    """Columns that could do with more share what room there is."""
    lacking = [wide - width for width, wide in zip(least, most, strict=True)]
    room = max(LETTERS - sum(least), 0)
    share = min(room / max(sum(lacking), 1), 1.0)
    return [width + int(lack * share) for width, lack in zip(least, lacking, strict=True)]


class _Sheet:
    """One sheet, filled from top to bottom."""

    def __init__(self, sheet: Worksheet, widths: Sequence[int], looks: dict[tuple[object, ...], Any]) -> None:
        self.sheet, self.widths = sheet, list(widths)
        self.looks = looks  # as the workbook keeps them: it is slow to find one it has already
        self.row = 1
        for place, width in enumerate(widths, 1):
            sheet.column_dimensions[get_column_letter(place)].width = width
        self.across = max(len(widths), 1)

    def page(self, printout: Printout, page: Page) -> None:
        """Everything on the page, and how it is to be printed."""
        self.text(page.title, TITLE)
        self.text(printout.foot)
        lead = printout.lead if page is printout.pages[0] else ()
        for line in (*lead, *page.lead):
            self.text(line)
        for section in page.sections:
            self.row += 1
            if section.title != page.title:
                self.text(section.title, HEAD)
            for block in section.blocks:
                self.block(block)
                self.row += 1
        setup = self.sheet.page_setup
        setup.orientation = "landscape" if sum(self.widths) > LETTERS else "portrait"
        setup.paperSize = PAPER_SIZES[printout.paper]
        setup.fitToWidth, setup.fitToHeight = 1, 0
        self.sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
        foot = " ".join(clean(printout.foot).split()).replace("&", "&&")
        cut = foot[:LONGEST_FOOT]
        odd = (len(cut) - len(cut.rstrip("&"))) % 2  # of a doubled sign both halves stay
        left = HeaderFooterPart(text=cut[: len(cut) - odd])
        self.sheet.oddFooter = HeaderFooterItem(left=left, right=HeaderFooterPart(text="&P / &N"))

    def block(self, block: Block) -> None:
        match block:
            case Paragraph():
                self.text(block.text)
            case Bullets():
                for item in block.items:
                    self.text(f"•  {item}")
            case Entries():
                for entry in block.items:
                    self.text(entry.label, BOLD)
                    self.text(entry.text)
            case Drawing():
                for line in block.draw(LETTERS, False):
                    self.put(1, line, AS_DRAWN)
                    self.row += 1
            case Grid():
                self.grid(block)
            case Chart():
                self.text(block.title, BOLD)
                self.grid(block.table)
            case Form():
                self.form(block)

    def put(self, column: int, text: str, look: _Look = PLAIN) -> Cell:
        """Text as text, never as a formula."""
        cell = cast(Cell, self.sheet.cell(row=self.row, column=column))  # merged ones are never written to
        cell.value = clean(text)
        cell.data_type = "s"
        self.dress(cell, look)
        return cell

    def dress(self, cell: Any, look: _Look) -> None:  # the library's types leave out `_style`
        if look.key not in self.looks:
            cell.alignment, cell.number_format = look.alignment, look.number_format
            if look.font is not None:
                cell.font = look.font
            if look.border is not None:
                cell.border = look.border
            self.looks[look.key] = copy(cell._style)
        cell._style = copy(self.looks[look.key])

    def text(self, text: str, font: Font | None = None) -> None:
        """Running text over all columns, in a row high enough for it."""
        self.put(1, text, _Look(font))
        self.merge()
        size = 1.0 if font is None or font.size is None else float(font.size) / 11.0
        self.height(lines_of(text, int(sum(self.widths) / size)), size)
        self.row += 1

    def height(self, lines: float, size: float = 1.0) -> None:
        self.sheet.row_dimensions[self.row].height = min(LINE * lines * max(size, 1.0), TALLEST)

    def grid(self, grid: Grid) -> None:
        self.cells(grid.header, HEADS)
        for number, row in enumerate(grid.rows):
            above = THIN if number in grid.groups else None
            below = THIN if number == len(grid.rows) - 1 else HAIR
            self.cells(row, _Look(border=ROW_RULES[above, below]))

    def cells(self, texts: Sequence[str], look: _Look) -> None:
        """One row of a table; its first column names it and stays text, and so do heads."""
        lines = 1
        for column, text in enumerate(texts, 1):
            number = None if column == 1 or look is HEADS else as_number(text)
            if number is None:
                self.put(column, text, look)
            else:
                cell = self.sheet.cell(row=self.row, column=column, value=number)
                self.dress(cell, _Look(look.font, look.border, RIGHT, _format(text)))
            lines = max(lines, lines_of(text, self.widths[column - 1] - 1))
        self.height(lines)
        self.row += 1

    def form(self, form: Form) -> None:
        self.cells(form.header, HEADS)
        for _ in range(form.rows):
            across = self.across if len(form.header) == 1 else len(form.header)
            for column in range(1, across + 1):
                self.put(column, "", TO_FILL)
            if across > len(form.header):
                self.merge()
            self.sheet.row_dimensions[self.row].height = ROOM_TO_WRITE
            self.row += 1

    def merge(self) -> None:
        """One cell over all columns."""
        if self.across > 1:
            self.sheet.merge_cells(
                start_row=self.row, end_row=self.row, start_column=1, end_column=self.across
            )


def lines_of(text: str, width: int) -> int:
    """Lines that a text takes in a cell of so many letters, with words kept whole where they fit."""
    if len(text) <= width and "\n" not in text:
        return 1
    return sum(max(len(wrap(line, max(width, 1))), 1) for line in text.split("\n"))


def as_number(text: str) -> float | int | None:
    """The number a cell of a table shows, None where it is no plain number.

    Examples
    --------
    >>> as_number("1,234"), as_number("-12.50"), as_number("29 (24 to 36)"), as_number("-")
    (1234, -12.5, None, None)
    """
    bare = text.replace(",", "")
    if not NUMBER.fullmatch(text) or len(bare) > MOST_DIGITS:
        return None
    return float(bare) if "." in bare else int(bare)


def _format(text: str) -> str:
    """How the format writes a number as it stands on the page."""
    decimals = len(text.partition(".")[2])
    return ("#,##0" if "," in text else "0") + (f".{'0' * decimals}" if decimals else "")
