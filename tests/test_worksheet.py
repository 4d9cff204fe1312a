"""The worksheet: written, filled in as a grower would, read back; every bad cell by sheet and cell.

What it does not hold of a farm file: remarks, hours by half-month, and the years of a history (it ends with
the year before the plan).
"""

import dataclasses
import datetime
import io
import tomllib
from functools import cache
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook

from rotation_opt import cli, farm, farm_writer, tables, worksheet
from rotation_opt.errors import InputError
from rotation_opt.worksheet import layout

EXAMPLES = Path(__file__).parent.parent / "examples"
TABLES = tables.read()


@cache
def blank(units="us"):
    return worksheet.write(units, TABLES)[0]


@cache
def filled(name):
    content = tomllib.loads((EXAMPLES / f"{name}.toml").read_text(encoding="utf-8"))
    return worksheet.write(content["farm"]["units"], TABLES, content)


def column(page, label):
    heads = {layout.plain_label(str(cell.value)): cell.column for cell in page[4] if cell.value}
    return heads[layout.plain_label(label)]


def answer(page, label):
    return next(row[1] for row in page.iter_rows(min_row=4) if row[0].value == label)


def typed(book, tmp_path, name="filled.xlsx"):
    path = tmp_path / name
    book.save(path)
    return path


def a_small_farm(book):
    """Type a farm into the blank worksheet, as a grower would: blanks, commas and other usual words."""
    for label, value in {
        "Name of the farm *": " Little Acre (invented) ",
        "Weather station *": "Rochester NY, airport",
        "Organic *": "Yes",
        "First harvest year of the plan *": 2027,
        "Years to plan": "3",
        "Day the plan is decided *": datetime.datetime(2026, 7, 15),
        "Invented farm": True,
    }.items():
        answer(book["Farm"], label).value = value
    for row, entries in enumerate(
        [
            {"Field *": "East", "Area, acres *": "24,5", "Soil": "Heavy ", "Year before the plan *": "maize"},
            {
                "Field *": "West",
                "Area, acres *": 20.0,
                "2 years before": "oats",
                "Year before the plan *": "Soybeans",
            },
        ],
        6,
    ):
        for label, value in entries.items():
            book["Fields"].cell(row=row, column=column(book["Fields"], label)).value = value
    for label, value in {
        "Field *": "east",
        "Weed *": "Canada thistle\u00a0",
        "Share of the field, %": 0.35,  # a spreadsheet makes this of "35%"
        "Counts, stop by stop": "3, 5 , 2",
        "Frame, m2": 0.25,
        "Counted on *": "June 24, 2026",
        "Stage *": "bud",
    }.items():
        book["Weeds"].cell(row=6, column=column(book["Weeds"], label)).value = value
    book["Weeds"].cell(row=6, column=column(book["Weeds"], "Share of the field, %")).number_format = "0%"
    machines = book["Machines"]
    names = [row[0].value for row in machines.iter_rows(min_row=6) if row[0].value]
    assert len(names) == len(TABLES.machines)
    machines.cell(row=6 + names.index("combine"), column=2).value = "hire"
    machines.cell(row=6 + names.index("combine"), column=column(machines, "Hire rate")).value = 45
    machines.cell(row=6 + names.index("combine"), column=column(machines, "Hire paid by the")).value = "Acre"
    answer(book["People"], "Hours a week each, all year *").value = 30
    answer(book["People"], "Hours a machine works a day *").value = "10"
    answer(book["Limits"], "Least cash left in any year").value = -2000
    answer(book["Limits"], "Largest share of the land, %").value = "corn 50, soybeans 40"
    answer(book["Limits"], "No bare soil").value = "11-15 to 1-15"
    selling = {
        "Buyer *": "=Mill",
        "Crop *": "oats",
        "Amounts in": "bu",
        "Price": "5.25",
        "At most": "1,200.0",
    }
    for label, value in selling.items():
        cell = book["Selling"].cell(row=6, column=column(book["Selling"], label))
        cell.value = value
        cell.data_type = "s" if isinstance(value, str) else cell.data_type


SMALL = """
[farm]
name = "Little Acre (invented)"
invented = true
units = "us"
region = "us"
climate = "Rochester NY, airport"
organic = true
first_year = 2027
years = 3
decided_on = 2026-07-15
[[field]]
name = "East"
area_acres = 24.5
soil = "heavy"
history = ["corn"]
[[field.patch]]
weed = "Canada thistle"
share_of_field_pct = 35
counts = [3, 5, 2]
frame_m2 = 0.25
counted_on = 2026-06-24
stage = "bud"
[[field]]
name = "West"
area_acres = 20
history = ["oats", "soybean"]
[[machine]]
name = "combine"
status = "hire"
hire_rate_per_acre = 45
[labour]
hours_per_week = 30
machine_hours_a_day = 10
[[outlet]]
name = "=Mill"
crop = "oats"
price_per_bu = 5.25
most_bu = 1200
[limits]
cash_floor = -2000
largest_share_pct = { corn = 50, soybean = 40 }
soil_cover = [{ from = "11-15", to = "01-15" }]
"""


def test_what_a_grower_types_into_it_becomes_the_farm_file_it_says(tmp_path):
    book = load_workbook(io.BytesIO(blank()))
    a_small_farm(book)
    said = worksheet.read(typed(book, tmp_path), TABLES)
    text = farm_writer.farm_text(said, "A test.")
    path = tmp_path / "small.toml"
    assert farm.read_text(text, path, TABLES) == farm.read_text(SMALL, path, TABLES)


@pytest.mark.parametrize("name", ["tamarack_hollow", "lindenhang"])
def test_an_example_farm_survives_the_worksheet_whole(tmp_path, name):
    made, left_out = filled(name)
    assert left_out == ()
    path = tmp_path / "w.xlsx"
    path.write_bytes(made)
    text = farm_writer.farm_text(worksheet.read(path, TABLES), "A test.")
    example = EXAMPLES / f"{name}.toml"
    before, after = farm.read(example, TABLES), farm.read_text(text, example, TABLES)
    for field in dataclasses.fields(before):
        assert getattr(after, field.name) == getattr(before, field.name), field.name


def test_what_the_worksheet_has_no_cell_for_is_told():
    content = tomllib.loads(SMALL)
    content["labour"] = {"hours_by_half_month": [50] * 24, "machine_hours_a_day": 9}
    assert worksheet.write("us", TABLES, content)[1] == ("labour.hours_by_half_month",)


def test_keys_in_other_units_get_cells_of_their_own(tmp_path):
    text = SMALL.replace("area_acres = 20", "area_ha = 8").replace("frame_m2 = 0.25", "frame_sq_yd = 0.5")
    made, left_out = worksheet.write("us", TABLES, tomllib.loads(text))
    assert left_out == ()
    path = tmp_path / "w.xlsx"
    path.write_bytes(made)
    said = worksheet.read(path, TABLES)
    assert said["field"][1]["area_ha"] == 8
    assert said["field"][0]["patch"][0]["frame_sq_yd"] == 0.5


@pytest.mark.parametrize(
    ("where", "value", "said"),
    [
        (
            ("Machines", "Status *", 7),
            "hier",
            'Machines!B7: found "hier"; allowed is "own", "hire", "buy" or "none". Did you mean "hire"?',
        ),
        (("Fields", "Area, acres *", 6), "forty", 'Fields!B6: found "forty"; allowed is a number alone.'),
        (("Fields", "Area, acres *", 6), "40 acres", "The unit is known already: leave it out"),
        (("Fields", "Area, acres *", 6), "1,200", "Write 1200 or 1.200."),
        (
            ("Fields", "Area, acres *", 6),
            "=6*2",
            "Fields!B6: found a formula; a formula without a figure is of no use",
        ),
        (("Fields", "Area, acres *", 6), None, "Fields!B6: found nothing; needed is the area of the field."),
        (("Fields", "Area, acres *", 6), -3, "Fields!B6: found -3; allowed is a number above 0"),
        (("Fields", "Area, acres *", 6), "#DIV/0!", "not the fault of a formula"),
        (("Fields", "Area, acres *", 6), datetime.datetime(2026, 3, 4), "a date is no answer here"),
        (("Fields", "Soil", 6), "haevy", 'Did you mean "heavy"?'),
        (("Fields", "As now, year 2", 6), "alfafa", 'Did you mean "Alfalfa hay"?'),
        (("Fields", "As now, year 2", 6), None, "Fields!row 6: found nothing under As now, year 2"),
        (("Fields", "Field *", 9), "Home 40", "Fields!A9: found"),
        (
            ("Weeds", "Field *", 6),
            "Hom 40",
            'Weeds!A6: found "Hom 40"; allowed is a field of the sheet Fields',
        ),
        (("Weeds", "Counted on *", 6), "7/6/2026", "allowed is a date as year, month, day, like 2026-07-31"),
        (("Weeds", "Weed *", 6), "bull thistle", "Bull thistle lives two years and does not creep"),
        (
            ("Weeds", "Stage *", 6),
            None,
            "Weeds!J6: found nothing; needed is the stage of the weed when counted.",
        ),
        (
            ("Selling", "Amounts in", 6),
            None,
            "Selling!C6: found nothing; allowed are bu, cwt, ton, t or dt, as there is an amount.",
        ),
        (("Selling", "Amounts in", 6), "bsh", 'Selling!C6: found "bsh"; allowed are bu, cwt, ton, t or dt.'),
        (("People", "Hours a week each, May", 0), None, "found nothing under Hours a week each, May"),
        (
            ("People", "Hours a week each, May", 0),
            "many",
            'People!B15: found "many"; allowed is a number alone.',
        ),
        (("Limits", "Largest share of the land, %", 0), "corn half", "allowed is a number alone"),
        (
            ("Limits", "No bare soil", 0),
            "winter",
            'Limits!B13: found "winter"; allowed are days as month-day',
        ),
        (("Farm", "Organic *", 0), "perhaps", 'Farm!B13: found "perhaps"; allowed is yes or no.'),
    ],
)
def test_a_bad_cell_is_named_by_sheet_and_cell_with_what_is_allowed(tmp_path, where, value, said):
    sheet, label, row = where
    book = load_workbook(io.BytesIO(filled("tamarack_hollow")[0]))
    page = book[sheet]
    cell = page.cell(row=row, column=column(page, label)) if row else answer(page, label)
    cell.value = value
    with pytest.raises(InputError) as fault:
        worksheet.read(typed(book, tmp_path), TABLES)
    assert said in str(fault.value)
    assert f"{sheet}!" in str(fault.value)
    assert len(fault.value.faults) == 1


def test_all_bad_cells_are_told_in_the_order_of_the_workbook(tmp_path):
    book = load_workbook(io.BytesIO(filled("tamarack_hollow")[0]))
    book["Limits"]["B4"].value = "none"
    book["Machines"]["B6"].value = "mine"
    book["Farm"]["B14"].value = "soon"
    with pytest.raises(InputError) as fault:
        worksheet.read(typed(book, tmp_path), TABLES)
    assert [one.place for one in fault.value.faults] == ["Farm!B14", "Machines!B6", "Limits!B4"]


def test_an_empty_worksheet_says_which_cells_are_needed(tmp_path):
    path = tmp_path / "blank.xlsx"
    path.write_bytes(blank("metric"))
    with pytest.raises(InputError) as fault:
        worksheet.read(path, TABLES)
    assert [one.place for one in fault.value.faults][:3] == ["Farm!B4", "Farm!B10", "Farm!B13"]
    assert {one.found for one in fault.value.faults} == {"nothing", "nothing filled in"}


@pytest.mark.parametrize(
    ("content", "said"),
    [(b"name,area\nHome,40\n", "not an .xlsx workbook"), (b"", "not an .xlsx workbook")],
)
def test_a_file_that_is_no_workbook_is_told(tmp_path, content, said):
    path = tmp_path / "farm.xlsx"
    path.write_bytes(content)
    with pytest.raises(InputError, match=said):
        worksheet.read(path, TABLES)


def test_a_workbook_of_another_kind_is_told(tmp_path):
    book = load_workbook(io.BytesIO(blank()))
    book.remove(book["Weeds"])
    with pytest.raises(InputError, match="no sheet 'Weeds'"):
        worksheet.read(typed(book, tmp_path), TABLES)


def test_only_cells_to_fill_are_open_lists_are_hidden_and_text_is_never_a_formula():
    content = tomllib.loads(SMALL)
    book = load_workbook(io.BytesIO(worksheet.write("us", TABLES, content)[0]))
    assert book["Lists"].sheet_state == "hidden"
    for page in book.worksheets:
        assert page.protection.sheet
        assert not any(cell.data_type == "f" for row in page.iter_rows() for cell in row)
    page = book["Selling"]
    assert (page["A4"].protection.locked, page["A6"].protection.locked) == (True, False)
    assert page["A6"].value == "=Mill"
    assert page.page_setup.paperSize == 1 and page.sheet_properties.pageSetUpPr.fitToPage
    kinds = {rule.type for rule in book["Fields"].data_validations.dataValidation}
    assert {"list", "decimal"} <= kinds
    status = next(
        rule
        for rule in book["Machines"].data_validations.dataValidation
        if "B6" in rule.sqref and rule.type == "list"
    )
    letter = status.formula1.split("$")[1]
    assert [book["Lists"][f"{letter}{row}"].value for row in range(2, 6)] == ["own", "hire", "buy", "none"]


def test_every_key_of_a_farm_file_has_a_cell_but_hours_by_half_month():
    asked = set()
    for name in layout.NAMES:
        sheet = next(one for one in layout.sheets("us") if one.name == name)
        for ask in layout.all_labels(name).values():
            units = [""]
            if layout.UNIT in ask.key:
                pick = next(other.pick for other in sheet.asks if other.label == ask.unit)
                units = [unit.replace(" ", "_") for unit in layout.choices()[pick]]
            asked |= {(ask.block or sheet.block, ask.key.replace(layout.UNIT, unit)) for unit in units}
    known = {(block, key) for block, model in layout.MODELS.items() for key in model.model_fields}
    half_months = {("labour", "hours_by_half_month"), ("labour", "extra_hours_by_half_month")}
    assert known - asked == half_months
    assert asked - known == {("patch", "field")} | {(block, "") for block in ("machine", "crop", "outlet")}


# ---------------------------------------------------------------- the commands


def test_the_commands_write_and_read_and_never_over_a_file_without_force(tmp_path):
    sheet, made = tmp_path / "w.xlsx", tmp_path / "made.toml"
    example = str(EXAMPLES / "lindenhang.toml")

    def run(*words):
        return CliRunner().invoke(cli.main, [str(word) for word in words])

    assert run("worksheet", sheet, "--farm", example).exit_code == 0
    again = run("worksheet", sheet)
    assert again.exit_code == 2 and "is there already" in again.stderr
    assert run("worksheet", tmp_path / "w.xls").exit_code == 2
    ran = run("worksheet-read", sheet, made)
    assert ran.exit_code == 0, ran.stderr
    assert farm.read(made, TABLES).name == "Lindenhang"
    made.write_text("mine", encoding="utf-8")
    assert run("worksheet-read", sheet, made).exit_code == 2
    assert made.read_text(encoding="utf-8") == "mine"
    assert run("worksheet-read", sheet, made, "--force").exit_code == 0
    held = sheet.read_bytes()
    assert run("worksheet-read", sheet, sheet, "--force").exit_code == 2
    assert sheet.read_bytes() == held
    sheet.write_bytes(b"PK\x03\x04 broken")
    bad = run("worksheet-read", sheet, tmp_path / "other.toml")
    assert bad.exit_code == 1 and bad.stderr.startswith("Error: ")
    assert not (tmp_path / "other.toml").exists()


# ---------------------------------------------------------------- junk

JUNK = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**15), 10**15),
    st.floats(allow_nan=False, allow_infinity=False),
    st.text(st.characters(min_codepoint=32, exclude_categories=("Cs",), max_codepoint=0xFFFD), max_size=12),
    st.datetimes(datetime.datetime(1900, 3, 1), datetime.datetime(9999, 1, 1)),
    st.times(),
    st.timedeltas(datetime.timedelta(0), datetime.timedelta(days=3)),
    st.sampled_from(
        ["=1/0", "#REF!", "hire", "corn", "corn 50", "{a=1}", "[1", '"', "1,2;3", "11-15 to 1", "East"]
    ),
)


@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_junk_in_any_cells_gives_a_sound_farm_or_faults_with_their_cells(tmp_path, data):
    book = load_workbook(io.BytesIO(small_one()))
    for _ in range(data.draw(st.integers(1, 12))):
        page = book[data.draw(st.sampled_from(layout.NAMES))]
        row, place = data.draw(st.integers(1, 14)), data.draw(st.integers(1, 12))
        cell = page.cell(row=row, column=place)
        if type(cell).__name__ == "Cell":  # not a merged one
            cell.value = data.draw(JUNK)
    path = typed(book, tmp_path, "junk.xlsx")
    try:
        said = worksheet.read(path, TABLES)
    except InputError as fault:
        assert fault.faults
        for one in fault.faults:
            assert one.place.split("!")[0] in layout.NAMES
        return
    farm.read_text(farm_writer.farm_text(said, "Junk."), tmp_path / "junk.toml", TABLES)


@cache
def small_one():
    return worksheet.write("us", TABLES, tomllib.loads(SMALL))[0]


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(st.tuples(st.floats(0, 1), st.integers(0, 255)), max_size=6), st.floats(0, 1))
def test_a_damaged_file_gives_a_sentence(tmp_path, changes, end):
    raw = bytearray(small_one())
    for where, byte in changes:
        raw[min(int(where * len(raw)), len(raw) - 1)] = byte
    path = tmp_path / "damaged.xlsx"
    path.write_bytes(bytes(raw[: int(len(raw) * max(end, 0.3))]) if end < 0.5 else bytes(raw))
    try:
        worksheet.read(path, TABLES)
    except InputError as fault:
        assert str(fault)
