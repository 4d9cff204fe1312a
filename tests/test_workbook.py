"""The printout as a workbook: whole, numbers as numbers, never a formula, and another program reads it."""

import dataclasses
import io
import re
import tempfile
from collections import Counter
from pathlib import Path

import fake_result
import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from outside_tools import run
from sample_printout import HOSTILE, printout, texts

from rotation_opt.report import printout as pages
from rotation_opt.report.blocks import Chart, Drawing, Grid, Page, Paragraph, Printout, Section
from rotation_opt.report.plain_text import clean
from rotation_opt.report.workbook import (
    LETTERS,
    LONGEST_NAME,
    NARROWEST,
    TALLEST,
    WIDEST,
    as_number,
    lines_of,
    render,
)

TABLES = fake_result.tables()
FORBIDDEN = set("[]:*?/\\")  # in names of sheets: ISO/IEC 29500-1, 18.2.19, and the programs that read them
NASTY = (
    *HOSTILE,
    "@SUM(A1)",
    "+1+1",
    "-2+3",
    "\x1b[31mred\x07",
    "_x0041_",
    "'quoted'",
    "\ufffe",
    "007",
    "#REF!",
)


def fake(**changes) -> Printout:
    return pages.printout(fake_result.result(farm=fake_result.farm(**changes)), TABLES)


def opened(made: Printout) -> openpyxl.Workbook:
    return openpyxl.load_workbook(io.BytesIO(render(made)))


def cells(book: openpyxl.Workbook):
    for sheet in book.worksheets:
        yield from (cell for row in sheet.iter_rows() for cell in row if cell.value not in (None, ""))


def shown(cell) -> str:
    """What a reader sees in the cell: a number as its format has it."""
    if cell.data_type != "n":
        return str(cell.value)
    decimals = len(cell.number_format.partition(".")[2])
    return f"{cell.value:{',' if ',' in cell.number_format else ''}.{decimals}f}"


def words(*parts: str) -> Counter:
    return Counter(word for text in parts for word in clean(text).split())


def wanted(made: Printout) -> Counter:
    """Words of all texts, but for the title, which is in the file's properties, and titles said twice."""
    again = [section.title for page in made.pages for section in page.sections if section.title == page.title]
    return words(*texts(made)) - words(made.title, *again)


@pytest.mark.parametrize(
    "made", [printout(), fake(), fake(region="uk", units="metric")], ids=["sample", "us", "uk"]
)
def test_every_word_of_every_cell_is_there(made):
    book = opened(made)
    assert not wanted(made) - words(*(shown(cell) for cell in cells(book)))
    assert book.properties.title == clean(made.title)


def test_each_page_has_a_sheet_that_says_what_it_is_and_whose():
    made = fake()
    for sheet, page in zip(opened(made).worksheets, made.pages, strict=True):
        assert sheet["A1"].value == page.title
        assert sheet["A2"].value == made.foot


def one_grid(*rows: tuple[str, ...], header=("Crop", "Sold, t", "Note")) -> Printout:
    grid = Grid(header=header, rows=rows)
    page = Page(key="a", title="Sales", lead=(), sections=(Section(key="a", title="Sales", blocks=(grid,)),))
    return dataclasses.replace(printout(), lead=(), pages=(page,))


@pytest.mark.parametrize(
    ("text", "value", "number_format"),
    [
        ("0", 0, "0"),
        ("0.0", 0.0, "0.0"),
        ("112.5", 112.5, "0.0"),
        ("32,060", 32060, "#,##0"),
        ("-1,204.20", -1204.2, "#,##0.00"),
        ("-12", -12, "0"),
        ("999999999999999", 999999999999999, "0"),
    ],
)
def test_a_number_is_a_number_and_looks_as_printed(text, value, number_format):
    (cell,) = (
        each for each in cells(opened(one_grid(("Oats", text, "-")))) if each.column == 2 and each.row > 4
    )
    assert (cell.value, cell.data_type, cell.number_format) == (value, "n", number_format)
    assert shown(cell) == text
    assert cell.alignment.horizontal == "right"


@pytest.mark.parametrize(
    "text",
    [
        "-",
        "29 (24 to 36)",
        "007",
        "00",
        "1,23",
        "12,34,567",
        "1e5",
        "5%",
        "<1",
        "٣",
        "9" * 16,
        "1.",
        ".5",
        "--1",
    ],
)
def test_what_is_no_plain_number_stays_text(text):
    assert as_number(text) is None
    found = [cell for cell in cells(opened(one_grid(("Oats", text, "-")))) if cell.value == text]
    assert found
    assert all(cell.data_type == "s" for cell in found)


def test_names_of_rows_and_heads_of_columns_stay_text():
    book = opened(one_grid(("40", "3", "4"), header=("Field", "2027", "2028")))
    assert [cell.data_type for cell in cells(book) if cell.value in ("40", "2027", "2028")] == ["s"] * 3


def test_numbers_of_the_plan_are_numbers_on_the_sheets():
    """Else a grower cannot reckon on with them. A cell alone in its column may be a name."""
    figures = [
        cell
        for cell in cells(opened(fake()))
        if re.fullmatch(r"-?[\d,]+(\.\d+)?", shown(cell)) and cell.column > 1 and not cell.font.bold
    ]
    assert len(figures) > 500
    assert all(cell.data_type == "n" for cell in figures)


@pytest.mark.parametrize("names", [NASTY[at : at + 4] for at in range(0, len(NASTY), 4)], ids=ascii)
def test_hostile_names_are_plain_text(names):
    fields = fake_result.farm().fields
    named, adviser, first, second = (*names, *HOSTILE)[:4]
    farm = fake_result.farm(
        name=named,
        adviser=adviser,
        fields=tuple(
            fake_result.renamed(field, name=name) for field, name in zip(fields, (first, second), strict=True)
        ),
    )
    made = pages.printout(fake_result.result(farm=farm), TABLES)
    found = list(cells(opened(made)))
    assert {cell.data_type for cell in found} <= {"s", "n"}
    assert all(cell.hyperlink is None for cell in found)
    assert not wanted(made) - words(*(shown(cell) for cell in found))


@settings(max_examples=15, deadline=None, derandomize=True)
@given(name=st.text(max_size=60))
def test_any_text_at_all_can_be_a_name(name):
    book = opened(printout(name))
    assert {cell.data_type for cell in cells(book)} <= {"s", "n"}
    for sheet in book.worksheets:
        good_name(sheet.title)


def good_name(name: str) -> None:
    assert 0 < len(name) <= LONGEST_NAME
    assert not set(name) & FORBIDDEN
    assert name == name.strip("' ")
    assert name.isprintable()


@pytest.mark.parametrize("title", [*NASTY, "a" * 31 + "b", "a/b:c", "''", "", "x" * 30 + "'y"])
def test_names_of_sheets_are_allowed_and_no_two_alike(title):
    page = Page(key="a", title=title, lead=(), sections=printout().pages[0].sections)
    twin = dataclasses.replace(page, title=title.upper())
    book = opened(dataclasses.replace(printout(), pages=(page, twin, page)))
    names = [sheet.title for sheet in book.worksheets]
    for name in names:
        good_name(name)
    assert len({name.casefold() for name in names}) == 3


@pytest.mark.parametrize(("paper", "size"), [("Letter", "1"), ("A4", "9")])
def test_sheets_are_ready_to_be_printed(paper, size):
    made = dataclasses.replace(printout(), paper=paper)
    sheets = opened(made).worksheets
    for sheet in sheets:
        assert str(sheet.page_setup.paperSize) == size
        assert sheet.page_setup.fitToWidth == 1
        assert sheet.page_setup.fitToHeight == 0  # as many sheets down as it takes
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
        assert sheet.oddFooter.left.text == made.foot
        assert sheet.oddFooter.right.text == "&P / &N"
    assert sheets[0].page_setup.orientation == "portrait"
    assert sheets[2].page_setup.orientation == "landscape"  # the calendar has 17 columns


@pytest.mark.parametrize("foot", ["A & B", "&" * 300, "&L&P", "Ж" * 400, "a\nb", "40 acres"])
def test_a_foot_is_no_code_and_not_too_long(foot):
    made = dataclasses.replace(printout(), foot=foot)
    written = opened(made).worksheets[0].oddFooter
    assert len(str(written.left.text)) + len(str(written.right.text)) + 4 <= 255  # ISO/IEC 29500-1, 18.3.1.46
    assert not re.sub("&&", "", written.left.text).count("&")
    plain = " ".join(written.left.text.replace("&&", "&").split())
    assert plain
    assert " ".join(foot.split()).startswith(plain)


def test_rows_are_high_enough_for_their_text_and_not_higher_than_the_format_takes():
    long = "word " * 2000
    page = Page(
        key="a",
        title="Long",
        lead=(),
        sections=(
            Section(key="a", title="Long", blocks=(Paragraph(text="one\ntwo\nthree"), Paragraph(text=long))),
        ),
    )
    sheet = opened(dataclasses.replace(printout(), lead=(), pages=(page,))).worksheets[0]
    heights = {cell.value: sheet.row_dimensions[cell.row].height for row in sheet.iter_rows() for cell in row}
    assert heights["one\ntwo\nthree"] == 3 * heights[printout().foot]
    assert heights[long] == TALLEST
    assert lines_of("aaaa bbbb cccc", 9) == 2
    assert lines_of("aaaa bbbb cccc", 8) == 3
    assert lines_of("", 8) == 1


def test_a_page_without_a_table_is_fitted_to_the_sheet_too():
    """A single column wider than the paper is cut off: programs fit by leaving out breaks between columns."""
    block = Paragraph(text="word " * 60)
    page = Page(key="a", title="Words", lead=(), sections=(Section(key="a", title="Words", blocks=(block,)),))
    sheet = opened(dataclasses.replace(printout(), pages=(page,))).worksheets[0]
    widths = [column.width for column in sheet.column_dimensions.values()]
    assert sum(widths) == pytest.approx(LETTERS, abs=NARROWEST)
    assert max(widths) <= WIDEST
    assert {rows.size["columns"] for rows in sheet.merged_cells.ranges} == {len(widths)}


def test_columns_share_what_room_there_is():
    text = "a name of forty letters, more or less it"
    sheet = opened(one_grid((text, "1", text))).worksheets[0]
    assert sheet.column_dimensions["C"].width == len(text) + 2
    wide = opened(one_grid((text * 3, "1", text * 3))).worksheets[0]
    assert LETTERS - 3 <= sum(column.width for column in wide.column_dimensions.values()) <= LETTERS


def test_tables_of_charts_are_there_and_drawings_keep_their_places():
    sheet = opened(printout()).worksheets[1]
    chart = printout().pages[1].sections[0].blocks[0]
    assert isinstance(chart, Chart)
    column = [cell.value for cell in sheet["A"]]
    assert column[column.index(chart.title) + 1] == chart.table.header[0]
    drawing = printout().pages[1].sections[1].blocks[0]
    assert isinstance(drawing, Drawing)
    (line,) = (cell for cell in sheet["A"] if str(cell.value).startswith("light  |"))
    assert not line.alignment.wrap_text
    assert line.font.name == "Courier New"


# ---------------------------------------------------------------- read by another program


AS_SHOWN = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true"  # cells as they look, in UTF-8


def converted(made: Printout, kind: str) -> bytes:
    """The workbook read by LibreOffice and written out anew."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "plan.xlsx").write_bytes(render(made))
        own = f"-env:UserInstallation={(folder / 'profile').as_uri()}"
        run(
            "soffice",
            own,
            "--headless",
            "--convert-to",
            kind,
            "--outdir",
            folder / "out",
            folder / "plan.xlsx",
        )
        return next((folder / "out").iterdir()).read_bytes()


@pytest.mark.parametrize("made", [fake(), printout(HOSTILE[3])], ids=["farm", "hostile"])
def test_another_program_reads_it_and_writes_the_same_values(made):
    before, after = opened(made), openpyxl.load_workbook(io.BytesIO(converted(made, "xlsx")))
    assert after.sheetnames == before.sheetnames
    for one, other in zip(before.worksheets, after.worksheets, strict=True):
        there = {cell.coordinate: (cell.value, cell.data_type) for cell in cells_of(one)}
        again = {cell.coordinate: (cell.value, cell.data_type) for cell in cells_of(other)}
        assert again == there
        assert other.page_setup.orientation == one.page_setup.orientation
        assert other.merged_cells.ranges == one.merged_cells.ranges


def cells_of(sheet):
    return [cell for row in sheet.iter_rows() for cell in row if cell.value not in (None, "")]


def test_another_program_shows_numbers_as_on_paper():
    text = converted(one_grid(("Oats", "1,204.20", "=1+1"), ("Rye", "0", "-")), AS_SHOWN).decode()
    assert '"1,204.20"' in text
    assert "=1+1" in text  # as it stands, not 2
