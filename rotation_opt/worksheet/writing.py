"""The worksheet as a workbook to fill at home: framed cells to fill, lists to choose from, for paper."""

from __future__ import annotations

import io
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any, Literal, cast

from openpyxl import Workbook
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE, Cell
from openpyxl.styles import Alignment, Border, Font, PatternFill, Protection, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.header_footer import HeaderFooterItem
from openpyxl.worksheet.header_footer import _HeaderFooterPart as HeaderFooterPart
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

from rotation_opt.farm_edit.values import kind_of
from rotation_opt.tables import Tables
from rotation_opt.units import Units
from rotation_opt.words import Region
from rotation_opt.worksheet.filling import Filled, fill
from rotation_opt.worksheet.layout import MODELS, UNIT, Ask, Sheet, choices, sheets

TITLE, LEAD, HEAD, FIRST = 1, 2, 4, 6  # rows; below the heads stands a row of help
ANSWER = 2  # column, on a sheet of questions
LISTS = "Lists"
_PAPER: Mapping[Units, Literal["1", "9"]] = {
    "us": "1",
    "metric": "9",
}  # Letter, A4: ISO/IEC 29500, page setup
_LETTERS = 110  # of running text in a line
_WIDEST = 200  # letters of a table on one sheet of paper; a wider one is printed on two
_THIN = Side(style="thin")
_BOX = Border(top=_THIN, bottom=_THIN, left=_THIN, right=_THIN)
_PALE = PatternFill("solid", fgColor="FFFFF2CC")
_TOP = Alignment(vertical="top", wrap_text=True)
_LEFT = Alignment(vertical="top", horizontal="left", wrap_text=True)
_ROOM, _LINE = 20.0, 14.0  # height of a row to write in by hand, and of each further line; points
_ANSWER_WIDE, _HELP_WIDE = 34, 50  # letters
_SMALL = Font(italic=True, size=9)
_MANY_PICKS = frozenset({"grown", "crop", "weed", "machine"})  # other usual names are understood as well
_LOWEST, _HIGHEST = "-100000000", "100000000"  # stops slips of the hand; reading checks what is allowed


def write(
    units: Units, tables: Tables, content: Mapping[str, Any] | None = None
) -> tuple[bytes, tuple[str, ...]]:
    """The worksheet.

    Parameters
    ----------
    units : {"us", "metric"}
        Of the cells to fill, and the paper: Letter or A4.
    tables : Tables
        What there is to choose from.
    content : mapping, optional
        A sound farm file as nested tables, to fill in beforehand.

    Returns
    -------
    bytes
        An Office Open XML workbook (ISO/IEC 29500).
    tuple of str
        Keys of the farm file that the worksheet has no cell for, as paths.
    """
    book = Workbook()
    book.remove(book.worksheets[0])
    book.properties.title = "Farm worksheet"
    book.properties.creator = "rotation_opt"
    region: Region = "us" if units == "us" else "uk"
    if content is not None and content["farm"].get("region") in ("us", "uk"):
        region = content["farm"]["region"]
    layout = sheets(units, content)
    filled = fill(layout, content or {})
    lists = _lists(tables, region)
    if content is None:
        names = lists["machine"]
        filled.cells["Machines"] = [{"Machine *": name} for name in names]
        filled.cells["Farm"] = [{"Units *": units, "Words": region}]
    places = {name: place for place, name in enumerate(lists, 1)}
    for sheet in layout:
        _Page(book.create_sheet(sheet.name), sheet, filled, lists, places).write(_PAPER[units])
    _write_lists(book.create_sheet(LISTS), lists)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue(), filled.left_out


def _lists(tables: Tables, region: Region) -> dict[str, tuple[str, ...]]:
    """Everything that is chosen from, by name of the list."""

    def named(things: Iterable[Any]) -> tuple[str, ...]:
        names = (thing.name_us if region == "us" else thing.name_uk for thing in things)
        return tuple(sorted(dict.fromkeys(names), key=str.casefold))

    crops = named(tables.crops.values())
    bare = tuple(
        sorted(
            {practice.crop for practice in tables.practices.values()} - set(tables.crops), key=str.casefold
        )
    )
    return {
        **choices(),
        "crop": crops,
        "grown": crops + tuple(name for name in bare if name and name != "none"),
        "weed": named(tables.weeds.values()),
        "machine": named(tables.machines.values()),
        "station": tuple(sorted(tables.stations)),
    }


def _write_lists(page: Worksheet, lists: Mapping[str, tuple[str, ...]]) -> None:
    for column, (name, entries) in enumerate(lists.items(), 1):
        for row, entry in enumerate((name, *entries), 1):
            _put(page, row, column, entry)
    page.sheet_state = "hidden"
    page.protection.sheet = True


def _put(page: Worksheet, row: int, column: int, value: object) -> Cell:
    """A value as it is: text is never read as a formula."""
    cell = cast(Cell, page.cell(row=row, column=column))
    if isinstance(value, str):
        cell.value = ILLEGAL_CHARACTERS_RE.sub(" ", value)
        cell.data_type = "s"
    else:
        cell.value = value  # type: ignore[assignment]
    return cell


class _Page:
    """One sheet, from top to bottom."""

    def __init__(
        self,
        page: Worksheet,
        sheet: Sheet,
        filled: Filled,
        lists: Mapping[str, tuple[str, ...]],
        places: Mapping[str, int],
    ) -> None:
        self.page, self.sheet, self.lists, self.places = page, sheet, lists, places
        self.rows = filled.cells.get(sheet.name, [])
        self.rules: dict[tuple[str, str], DataValidation] = {}

    def write(self, paper: Literal["1", "9"]) -> None:
        self.text(TITLE, self.sheet.name, Font(bold=True, size=15))
        self.text(LEAD, self.sheet.lead, Font())
        if self.sheet.block:
            self.grid()
        else:
            self.questions()
        for rule in self.rules.values():
            self.page.add_data_validation(rule)
        self.page.protection.sheet = True  # without a password: it keeps from slips, not from changes
        self.page.protection.formatColumns = False
        setup = self.page.page_setup
        setup.orientation = "landscape" if self.sheet.block else "portrait"
        setup.paperSize = paper
        wide = sum(ask.wide for ask in self.sheet.asks) > _WIDEST and bool(self.sheet.block)
        setup.fitToWidth, setup.fitToHeight = 2 if wide else 1, 0
        if wide:
            self.page.print_title_cols = "A:A"
        self.page.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
        self.page.oddFooter = HeaderFooterItem(
            left=HeaderFooterPart(text=self.sheet.name), right=HeaderFooterPart(text="&P / &N")
        )

    def text(self, row: int, said: str, font: Font) -> None:
        cell = _put(self.page, row, 1, said)
        cell.font, cell.alignment = font, _TOP
        across = min(len(self.sheet.asks), 8) if self.sheet.block else 3
        self.page.merge_cells(start_row=row, end_row=row, start_column=1, end_column=across)
        self.page.row_dimensions[row].height = 15.0 * (1 + len(said) // (_LETTERS - 25)) + 5.0

    def grid(self) -> None:
        for column, ask in enumerate(self.sheet.asks, 1):
            head = _put(self.page, HEAD, column, ask.label)
            head.font, head.alignment, head.border = Font(bold=True), _TOP, _BOX
            told = _put(self.page, HEAD + 1, column, ask.help)
            told.font, told.alignment = _SMALL, _TOP
            self.page.column_dimensions[get_column_letter(column)].width = ask.wide
        self.page.row_dimensions[HEAD].height = 48.0
        self.page.row_dimensions[HEAD + 1].height = 36.0
        count = max(self.sheet.rows, len(self.rows) + 5)
        for number in range(count):
            values = self.rows[number] if number < len(self.rows) else {}
            for column, ask in enumerate(self.sheet.asks, 1):
                self.input(FIRST + number, column, ask, values.get(ask.label))
            lines = [_lines(values.get(ask.label), ask.wide) for ask in self.sheet.asks]
            self.page.row_dimensions[FIRST + number].height = _ROOM + _LINE * (max(lines) - 1)
        for column, ask in enumerate(self.sheet.asks, 1):
            letter = get_column_letter(column)
            self.rule(ask, f"{letter}{FIRST}:{letter}{FIRST + count - 1}")
        self.page.freeze_panes = self.page.cell(row=FIRST, column=2).coordinate
        self.page.print_title_rows = f"{HEAD}:{HEAD}"

    def questions(self) -> None:
        values = self.rows[0] if self.rows else {}
        for row, ask in enumerate(self.sheet.asks, HEAD):
            head = _put(self.page, row, 1, ask.label)
            head.alignment = _TOP
            head.font = Font(bold=ask.label.endswith("*"))
            self.input(row, ANSWER, ask, values.get(ask.label))
            told = _put(self.page, row, 3, ask.help)
            told.font, told.alignment = _SMALL, _TOP
            self.rule(ask, f"B{row}")
            lines = max(_lines(values.get(ask.label), _ANSWER_WIDE), _lines(ask.help, _HELP_WIDE))
            self.page.row_dimensions[row].height = _ROOM + _LINE * (lines - 1)
        for letter, width in zip("ABC", (36, _ANSWER_WIDE, _HELP_WIDE), strict=True):
            self.page.column_dimensions[letter].width = width
        self.page.freeze_panes = f"A{HEAD}"

    def input(self, row: int, column: int, ask: Ask, value: object) -> None:
        cell = _put(self.page, row, column, value)
        cell.border, cell.fill, cell.protection = _BOX, _PALE, Protection(locked=False)
        cell.alignment = _TOP if self.sheet.block else _LEFT
        kind = self.kind(ask)
        if kind == "day":
            cell.number_format = "yyyy-mm-dd"
        elif kind in ("text", "texts", "numbers", "group", "groups"):
            cell.number_format = "@"  # so that "3,5" and "11-15" stay as typed

    def kind(self, ask: Ask) -> str:
        if not ask.key or ask.key == "field":
            return "text"
        kind = kind_of(MODELS[ask.block or self.sheet.block], _any_unit(ask, self.sheet))
        if ask.entry is not None:
            return "number" if kind == "numbers" else "text"
        return kind

    def rule(self, ask: Ask, cells: str) -> None:
        """What may be typed; pasting gets past it, so reading checks it all again."""
        kind = self.kind(ask)
        key = (ask.pick, kind)
        if key not in self.rules:
            made = self.made_rule(ask.pick, kind, ask)
            if made is None:
                return
            self.rules[key] = made
        self.rules[key].add(cells)

    def made_rule(self, pick: str, kind: str, ask: Ask) -> DataValidation | None:
        if pick:
            letter = get_column_letter(self.places[pick])
            end = len(self.lists[pick]) + 1
            return DataValidation(
                type="list",
                formula1=f"{LISTS}!${letter}$2:${letter}${end}",
                allow_blank=True,
                errorStyle="warning" if pick in _MANY_PICKS else "stop",
                errorTitle="Not in the list",
                error="Other usual names are understood too."
                if pick in _MANY_PICKS
                else "Choose from the list.",
                showErrorMessage=True,
            )
        if kind == "number":
            return DataValidation(
                type="decimal",
                operator="between",
                formula1=_LOWEST,
                formula2=_HIGHEST,
                allow_blank=True,
                errorTitle="A number",
                error="Type a number alone, without a unit.",
                showErrorMessage=True,
            )
        if kind == "day":
            return DataValidation(
                type="date",
                operator="greaterThan",
                formula1=str((date(1950, 1, 1) - date(1899, 12, 30)).days),  # days as the format counts them
                allow_blank=True,
                errorTitle="A date",
                error="Type a date, like 2026-07-31.",
                showErrorMessage=True,
            )
        return None


def _any_unit(ask: Ask, sheet: Sheet) -> str:
    """The key itself, or one of those that its unit would make."""
    if UNIT not in ask.key:
        return ask.key
    pick = next(other.pick for other in sheet.asks if other.label == ask.unit)
    return ask.key.replace(UNIT, choices()[pick][0].replace(" ", "_"))


def _lines(value: object, wide: int) -> int:
    """Lines of a cell so many letters wide; long words are broken."""
    return max(-(-len(str("" if value is None else value)) // max(wide - 2, 1)), 1)
