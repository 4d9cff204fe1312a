"""All pages of a printout: every figure of the plan on them, in the words of the region, the same every time.

Figures are worked out here from the result, with conversions of their own, and looked for in the cells.
"""

import dataclasses
import datetime
import hashlib
import json
import os
import re
import subprocess
import sys
from collections import Counter
from html.parser import HTMLParser
from pathlib import Path

import fake_result
import pytest
from demo_farm import demo
from outside_tools import accessibility_rules, in_browser
from sample_printout import HOSTILE, texts
from test_html import for_scripts
from test_report import NOT_FOR_GROWERS

from rotation_opt import tables as crop_tables
from rotation_opt.report import files
from rotation_opt.report.blocks import Chart, Grid, Page, Printout
from rotation_opt.report.plain_text import clean
from rotation_opt.report.printout import FIRST, PAGES, first_pages, kind_of, only, printout

TABLES = fake_result.tables()
ACRE_HA = 0.40468564224  # NIST Handbook 44, Appendix C: international acre
SHORT_TON_T = 0.90718474  # the same: short ton
POUND_KG = 0.45359237

RESULT = fake_result.result()
MADE = printout(RESULT, TABLES)
FARM_UK = fake_result.farm(region="uk", units="metric", currency="GBP")
MADE_UK = printout(fake_result.result(farm=FARM_UK), TABLES)
PLANS = [plan.key for plan in RESULT.alternatives]
ACRES = sum(field.area_ha for field in RESULT.farm.fields) / ACRE_HA


def page(key: str, made: Printout = MADE) -> Page:
    (found,) = (each for each in made.pages if each.key == key)
    return found


def grids(*pages: Page) -> list[Grid]:
    blocks = [block for each in pages for section in each.sections for block in section.blocks]
    return [getattr(block, "table", block) for block in blocks if isinstance(block, Grid | Chart)]


def grid(head: str, *pages: Page) -> Grid:
    """The table whose first column is headed so."""
    (found,) = (each for each in grids(*pages) if each.header[0].startswith(head))
    return found


def rows(table: Grid) -> dict[str, tuple[str, ...]]:
    return {row[0]: row[1:] for row in table.rows}


def number(text: str) -> float:
    return float(text.replace(",", ""))


def whole(value: float) -> str:
    return f"{round(value):,}"


def plan_of(key: str):
    return next(plan for plan in RESULT.alternatives if plan.key == key)


# ---------------------------------------------------------------- figures


def test_net_returns_side_by_side_are_those_of_the_plans():
    shown = rows(grid("Question", page("summary")))
    means = [sum(plan.figures.net_return) / fake_result.YEARS for plan in RESULT.alternatives]
    assert shown["Net return, whole farm, $ a year"] == tuple(map(whole, means))
    assert shown["Net return, $ per acre and year"] == tuple(
        f"{plan.figures.net_return_per_ha_year * ACRE_HA:,.0f}" for plan in RESULT.alternatives
    )
    leanest = shown["Net return of the leanest year, $"]
    for cell, plan in zip(leanest, RESULT.alternatives, strict=True):
        assert cell.startswith(whole(min(plan.figures.cash)))


@pytest.mark.parametrize("key", PLANS)
def test_net_return_of_each_year_is_below_the_fields_and_is_the_total_of_its_budget(key):
    plan = plan_of(key)
    (section,) = (each for each in page("fields").sections if each.key == f"fields:{key}")
    below = rows(section.blocks[0])["Net return, $"]
    assert below == tuple(map(whole, plan.figures.net_return))
    for place, net in enumerate(plan.figures.net_return):
        year = RESULT.farm.first_year + place
        (budget,) = (
            each.blocks[0] for each in page(f"budget:{key}").sections if each.title == f"Harvest {year}"
        )
        total = dict(zip(budget.header[1:], rows(budget)["Total"], strict=True))
        assert total["Net return"] == whole(net)
        assert total["Net per acre"] == whole(net / ACRES)
        assert total["acres"] == f"{ACRES:,.0f}"


@pytest.mark.parametrize("key", PLANS)
def test_budgets_add_up_across_and_down(key):
    """To what rounding to whole dollars may take: half a dollar a figure."""
    for budget in grids(page(f"budget:{key}")):
        if not budget.header[0].startswith("Crop"):
            continue
        first, last = 2, budget.header.index("Net return")
        for row in budget.rows:
            parts = [number(cell) for cell in row[first:last]]
            assert sum(parts) == pytest.approx(number(row[last]), abs=0.5 * (len(parts) + 1))
        *crops, total = budget.rows
        for column in range(first, last + 1):
            down = sum(number(row[column]) for row in crops)
            assert down == pytest.approx(number(total[column]), abs=0.5 * len(budget.rows))


def test_every_part_of_the_money_is_in_a_column_of_the_budgets():
    for key in PLANS:
        for place in range(fake_result.YEARS):
            year = RESULT.farm.first_year + place
            accounts = [each for each in RESULT.accounts[key] if each.year == year]
            budget = next(
                each.blocks[0] for each in page(f"budget:{key}").sections if each.title.endswith(str(year))
            )
            cells = [number(cell) for row in budget.rows[:-1] for cell in row[2:-2]]
            for value in (value for account in accounts for value in account.money.values()):
                assert round(value) in cells


@pytest.mark.parametrize("key", PLANS)
def test_hire_and_inputs_to_order(key):
    lists = page(f"budget:{key}")
    hired, bought = rows(grid("Hire", lists)), rows(grid("To buy", lists))
    work = RESULT.hired[key]
    assert hired["Round baler, bales"] == tuple(whole(each.amount) for each in work)
    assert hired["All hired work, $"] == tuple(whole(each.cost) for each in work)
    crops = [each for each in RESULT.accounts[key] if each.crop]
    assert bought["Seed of oats, lb"] == tuple(whole(each.sown_kg["oats"] / POUND_KG) for each in crops)
    assert bought["Nitrogen, lb"] == tuple(whole(each.nitrogen_kg / POUND_KG) for each in crops)


def test_cash_in_hand_by_quarter():
    shown = grid("In hand", page("money"))
    months = ("Jan-Mar", "Apr-Jun", "Jul-Sep", "Oct-Dec")
    for place, key in enumerate(PLANS):
        course = RESULT.cash[key]
        column = {row[0]: row[1 + place] for row in shown.rows}
        assert column == {
            f"{months[quarter - 1]} {year}": whole(left)
            for (year, quarter), left in zip(course.quarters, course.left, strict=True)
        }


def test_what_comes_in_and_goes_out_by_quarter_is_what_changes_cash_in_hand():
    shown, left = grid("In / out", page("money")), grid("In hand", page("money"))
    assert shown.header[0].endswith("$1,000")
    for place, key in enumerate(PLANS):
        before = RESULT.cash[key].opening
        for row, after in zip(shown.rows, left.rows, strict=True):
            coming, going = (number(part) * 1000.0 for part in row[1 + place].split(" / "))
            assert before + coming - going == pytest.approx(number(after[1 + place]), abs=1001.0)
            before = number(after[1 + place])


def test_hours_and_tons_of_the_balances():
    def mean_of(key: str, what: str, side: str, name: str) -> float:
        (found,) = (each for each in RESULT.balances[key] if each.what == what)
        years = getattr(found, side)[name]
        return sum(years) / len(years)

    hours, hay = rows(grid("Hours", page("balances"))), rows(grid("Hay, tons", page("balances")))
    assert hours["needed"] == tuple(whole(mean_of(key, "hours", "there", "needed")) for key in PLANS)
    assert hours["own"] == tuple(whole(mean_of(key, "hours", "gone", "own")) for key in PLANS)
    for label, side in (("bought", "there"), ("sold", "gone"), ("fed", "gone")):
        tons = (mean_of(key, "hay", side, label) / SHORT_TON_T for key in PLANS)
        assert hay[label] == tuple(f"{each:,.0f}" if each >= 9.95 else f"{each:.1f}" for each in tons)
    crops = rows(grid("Crops, tons", page("balances")))
    mill = (mean_of(key, "oats", "gone", "Valley mill") / SHORT_TON_T for key in PLANS)
    assert crops["Oats, Valley mill"] == tuple(f"{each:,.0f}" for each in mill)


def jobs_page(key: str) -> Page:
    return page(f"calendar:{key}")


@pytest.mark.parametrize("key", PLANS[1:])
def test_every_job_has_a_line_in_the_calendar_with_its_days_and_all_hours(key):
    shown = grids(jobs_page(key))
    lines = [
        dict(zip(each.header, row, strict=True), year=section.title.split()[-1])
        for section, each in zip(jobs_page(key).sections, shown, strict=True)
        for row in each.rows
    ]
    for job in RESULT.jobs[key]:
        first, last = (datetime.date.fromisoformat(day) for day in (job.first, job.last))
        month = first.strftime("%b")
        to = f"{last.day}" if last.month == first.month else f"{last.strftime('%b')} {last.day}"
        days = f"{month} {first.day}-{to}" if last.month == first.month else f"{month} {first.day} to {to}"
        (line,) = (
            line
            for line in lines
            if line["year"] == job.first[:4]
            and line["When"] == days
            and line["Job"].lower() == job.operation
            and job.field in line["Crop: fields"]
        )
        assert line["With"].lower().startswith({"mower": "mower", "baler": "round baler"}[job.machine])
        assert ("hired" in line["With"]) == job.hired
        assert line["Look for"].lower() == (job.stage.lower() or "-")
        assert line["Done on"] == "[ ]"
    hours = sum(number(line["Hours"]) for line in lines if line["Hours"] != "-")
    counted = [line for line in lines if line["Job"] == "Count the shoots"]
    wanted = sum(job.hours for job in RESULT.jobs[key])
    assert hours == pytest.approx(wanted, abs=0.5 * (len(lines) - len(counted)))
    assert len(counted) == 2 * fake_result.YEARS


def test_the_same_job_twice_in_a_half_month_has_two_lines():
    job = next(each for each in RESULT.jobs["balanced"] if each.operation == "mow")
    again = dataclasses.replace(job, first=job.first[:-2] + "14", last=job.first[:-2] + "15")
    result = dataclasses.replace(RESULT, jobs={"balanced": (job, again)})
    lines = [row for each in grids(page("calendar:balanced", printout(result, TABLES))) for row in each.rows]
    assert [row[0] for row in lines if row[1] == "Mow"] == ["Jun 12-14", "Jun 14-15"]


def two_figures(value: float) -> str:
    return (
        "0"
        if value == 0
        else f"{value:.0f}"
        if value >= 10
        else f"{value:.1f}"
        if value >= 1
        else f"{value:.2f}"
    )


@pytest.mark.parametrize("key", PLANS)
def test_the_course_of_the_weeds_is_that_of_the_result(key):
    shown = rows(grid("Shoots per m2", page(f"weeds:{key}")))
    for entry in plan_of(key).fields:
        low, likely, high = map(two_figures, entry.shoots_per_m2["creeping_thistle"])
        cell = shown[f"{entry.field}: thistle"][1 + entry.year - RESULT.farm.first_year]
        assert cell == f"{likely} ({low} to {high})"


def test_the_scouting_sheet_expects_what_the_course_of_the_weeds_shows():
    for field in RESULT.farm.fields:
        (section,) = (each for each in page("scouting").sections if each.key == f"scouting:{field.name}")
        expected = rows(next(block for block in section.blocks if isinstance(block, Grid)))
        for letter, key in zip("BCD", PLANS[1:], strict=True):
            course = rows(grid("Shoots per m2", page(f"weeds:{key}")))[f"{field.name}: thistle"]
            assert expected[f"{letter}, thistle"] == course[1:]


def test_the_weed_plan_names_what_was_counted_and_what_is_expected():
    shown = grid("Field, weed", page("weed-plan:balanced"))
    home = next(row for row in shown.rows if row[0].startswith("Home 40"))
    assert home[0].split("\n") == [
        "Home 40, 40 acres",
        "Canada thistle (Cirsium arvense), 9.9 acres, 14 per m2, June 20, 2026",  # 4 ha / 0.404686
        "Field bindweed (Convolvulus arvensis), 3.0 acres, 31 per m2, June 20, 2026",
    ]
    course = rows(grid("Shoots per m2", page("weeds:balanced")))["Home 40: thistle"]
    for cell, shoots in zip(home[1:], course[1:], strict=True):
        assert cell.endswith(f"thistle {shoots}")


# ---------------------------------------------------------------- pages


@pytest.mark.parametrize("made", [MADE, MADE_UK], ids=["us", "uk"])
def test_every_page_can_be_asked_for_and_comes_in_order(made):
    kinds = list(dict.fromkeys(kind_of(each) for each in made.pages))
    assert kinds == list(PAGES)
    assert len({each.key for each in made.pages}) == len(made.pages)
    for kind in kinds:
        assert {kind_of(each) for each in only(made, [kind]).pages} == {kind}
    assert only(made, kinds) == made
    assert not only(made, []).pages


def test_the_first_pages_name_all_others():
    shown = first_pages(MADE)
    assert [each.key for each in shown.pages] == [*FIRST, "more"]
    told = " ".join(texts(dataclasses.replace(shown, pages=shown.pages[-1:])))
    for key, what in PAGES.items():
        assert (f"{key}: {what}" in told) == (key not in FIRST)
    assert first_pages(only(MADE, FIRST)).pages == only(MADE, FIRST).pages


def test_every_page_says_whose_it_is_of_when_and_about_which_plan():
    farm = fake_result.farm(adviser="A. Adviser")
    made = printout(fake_result.result(farm=farm), TABLES)
    assert made.foot == "Invented Ridge Farm, an invented farm, adviser A. Adviser, as of December 1, 2026"
    headings = {
        plan.key: f"{letter}: {plan.title}" for letter, plan in zip("ABCD", RESULT.alternatives, strict=True)
    }
    about_one = [each for each in made.pages if ":" in each.key]
    assert len(about_one) == 2 * 4 + 3 * 3
    for each in about_one:
        assert each.title.endswith(headings[each.key.partition(":")[2]])
    assert len({each.title for each in made.pages}) == len(made.pages)


def test_plans_left_away_are_on_no_page():
    made = printout(RESULT, TABLES, ["As now", "Balanced"])
    assert {each.key.partition(":")[2] for each in made.pages} == {"", "as_now", "balanced"}
    assert "Fastest clean-up" not in {cell for each in grids(*made.pages) for cell in each.header}


# ---------------------------------------------------------------- words


def said(made: Printout) -> Counter:
    every = list(texts(made))
    for each in made.pages:
        for section in each.sections:
            for block in section.blocks:
                if isinstance(block, Chart):
                    every += [block.alt]
                    for panel in block.panels:
                        every += [panel.title, panel.alt, panel.x_label, panel.y_label]
                        every += [text for series in panel.series for text in (series.label, *series.names)]
    return Counter(word.strip(".,;:()'\"%").lower() for text in every for word in text.split())


@pytest.mark.parametrize("made", [MADE, MADE_UK], ids=["us", "uk"])
def test_no_page_has_words_that_growers_do_not_use(made):
    assert not said(made).keys() & set(NOT_FOR_GROWERS)


def test_words_and_units_are_those_of_the_region():
    """Names of practices are the same in both regions here, and the sheet to count with has both units."""
    us, uk = said(MADE), said(MADE_UK)
    american, british = {"canada", "acre", "acres", "tons", "lb"}, {"creeping", "ha", "kg", "maize", "autumn"}
    assert american <= us.keys()
    assert british <= uk.keys()
    assert not us.keys() & {
        *british - {"creeping"},
        "labour",
        "plough",
        "neighbour",
        "tonnes",
        "hectares",
        "metres",
    }
    assert not uk.keys() & {*american, "labor", "plow", "neighbor"}
    for made, other in ((MADE, "creeping thistle"), (MADE_UK, "canada thistle")):
        assert other not in " ".join(texts(made)).lower()


# ---------------------------------------------------------------- the same every time, whatever the names


PRINT_SUMS = """
import hashlib, sys
sys.path.insert(0, sys.argv[1])
import fake_result
from rotation_opt.report import files
from rotation_opt.report.printout import printout
result, tables = fake_result.result(), fake_result.tables()
made = printout(result, tables)
for kind in (".html", ".json", ".ics", ".txt"):
    print(kind, hashlib.sha256(files.contents(kind, result, tables, made, "Balanced")).hexdigest())
"""


def sums(seed: str) -> str:
    command = [sys.executable, "-c", PRINT_SUMS, str(Path(__file__).parent)]
    settings = {**os.environ, "PYTHONHASHSEED": seed}
    return subprocess.run(
        command, capture_output=True, check=True, text=True, env=settings, timeout=120
    ).stdout


def test_the_same_result_gives_the_same_bytes_in_another_process():
    one, other = sums("1"), sums("4242")
    assert one == other
    assert one.count("\n") == 4
    html = files.contents(".html", RESULT, TABLES, MADE)
    assert b"<svg" in html
    assert hashlib.sha256(html).hexdigest() in one


class Seen(HTMLParser):
    """Tags, and the text that a reader sees."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.text = ""
        self.feed(html)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        assert not any(key.startswith("on") for key, _ in attrs)

    def handle_data(self, data):
        self.text += data


NAMES = (*HOSTILE, "@x", "\x1b[31mred", "\u202eevil\u202c")


@pytest.mark.parametrize("names", [NAMES[at : at + 3] for at in range(0, len(NAMES), 3)], ids=ascii)
def test_hostile_names_stand_as_they_are_on_every_page(names):
    """Workbook and calendar have tests of their own."""
    farm_name, first, second = (*names, *HOSTILE)[:3]
    fields = fake_result.farm().fields
    farm = fake_result.farm(
        name=farm_name,
        fields=(fake_result.renamed(fields[0], name=first), fake_result.renamed(fields[1], name=second)),
    )
    result = fake_result.result(farm=farm)
    made = printout(result, TABLES)
    seen = Seen(files.contents(".html", result, TABLES, made).decode())
    usual = Seen(files.contents(".html", RESULT, TABLES, MADE).decode())
    assert seen.tags - usual.tags <= {"bdi", "wbr"}  # other directions, and where long words may break
    text = files.contents(".txt", result, TABLES, made).decode()
    assert "\x1b" not in text
    for name in (farm_name, first, second):
        for word in clean(name).split():
            assert word in seen.text
            assert word in "".join(text.split())
    read = json.loads(files.contents(".json", result, TABLES, made))
    there = set(strings(read))
    assert {farm_name, first, second} <= there


def strings(value):
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield key
            yield from strings(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from strings(inner)


def test_a_kind_of_file_that_is_not_known_is_refused():
    with pytest.raises(ValueError, match=re.escape(".doc")):
        files.contents(".doc", RESULT, TABLES, MADE)


# ---------------------------------------------------------------- for every reader


@pytest.mark.parametrize("width", [1280, 360])
def test_the_accessibility_rules_find_nothing_on_the_pages_of_a_farm(width):
    made = printout(RESULT, TABLES, ["As now", "Balanced"])
    page = for_scripts(files.contents(".html", RESULT, TABLES, made).decode())
    script = """axe.run().then(found => ({
        broken: found.violations.map(rule => [rule.id, rule.nodes.map(node => node.html)]),
        kept: found.passes.length,
    }))"""
    rules = f"<script>{accessibility_rules()}</script>"
    opened = page.replace("<details>", "<details open>").replace("</head>", f"{rules}</head>")
    found = in_browser(opened, script, width)
    assert found["broken"] == []
    assert found["kept"] > 20


# ---------------------------------------------------------------- a whole farm


def test_a_demo_farm_goes_into_files_of_every_kind_and_none_is_large():
    """How long it takes is told by ``tests/benchmarks/time_plan.py``."""
    result, tables = demo("tamarack_hollow").result, crop_tables.read()
    made = printout(result, tables)
    sizes = {
        kind: len(files.contents(kind, result, tables, made, result.alternatives[1].title))
        for kind in files.KINDS
        if kind != ".pdf"  # is made of the HTML
    }
    assert min(sizes.values()) > 20_000
    assert max(sizes.values()) < 3_000_000
    for plan in result.alternatives:
        for field, years in plan.practices.items():
            assert any(field in row[0] for row in grid("Field (", page_of(made, plan.key)).rows), field
            assert len(years) == result.farm.years


def page_of(made: Printout, key: str) -> Page:
    """The part of the fields' page on one plan."""
    whole = page("fields", made)
    return dataclasses.replace(
        whole, sections=tuple(each for each in whole.sections if each.key == f"fields:{key}")
    )
