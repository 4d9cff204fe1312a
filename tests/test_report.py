"""The page: nothing cut off, nothing hidden, every figure what it should be, whatever the names are."""

import dataclasses
import re
import unicodedata
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import fake_result
import paste_plan
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from whole_page import plan_page

from rotation_opt import cli
from rotation_opt import tables as real_tables
from rotation_opt.report.blocks import (
    SHADES,
    Bullets,
    Chart,
    Drawing,
    Entries,
    Form,
    Grid,
    Page,
    Paragraph,
    Section,
)
from rotation_opt.report.check_page import check_page
from rotation_opt.report.field_years import ShortNames, field_table, practices_of
from rotation_opt.report.limits import limits_in_words
from rotation_opt.report.plain_text import clean, fit_to_encoding
from rotation_opt.report.printout import printout
from rotation_opt.report.season_page import course_page, season_page
from rotation_opt.report.sources_page import all_figures, sources_page
from rotation_opt.report.summary import Reading, side_by_side
from rotation_opt.report.terminal import render
from rotation_opt.report.wording import Wording

WIDTHS = (72, 80, 100, 120)
TABLES = fake_result.tables()

# Words that growers do not use, or that promise too much.
NOT_FOR_GROWERS = (
    "ramet", "objective", "mip", "solver", "infeasible", "optimal", "node", "nodes", "dominated", "score",
    "eradicate", "risk-free", "carbohydrate", "par",
)  # fmt: skip


def pages() -> Iterator[tuple[str, Page]]:
    metric = fake_result.farm(
        region="uk", units="metric", currency="EUR", cash_floor=-500.0, adviser="A. Adviser"
    )
    words = Wording(fake_result.farm(), TABLES)
    yield "plan", plan_page(fake_result.result(), TABLES)
    yield "plan in metric units", plan_page(fake_result.result(farm=metric), TABLES)
    yield "one plan", plan_page(fake_result.result(), TABLES, ["Balanced"])
    yield "five plans", plan_page(five_plans(), TABLES)
    yield "season", season_page(fake_result.season_rows(), words, "Home 40")
    yield "course", course_page(fake_result.season_course(), words)
    yield "sources", sources_page(TABLES, all_figures(TABLES))
    yield "check", check_page(fake_result.farm(), TABLES)


def five_plans():
    result = fake_result.result()
    hired = dataclasses.replace(result.alternatives[2], key="hired", title="With the neighbor's combine")
    return dataclasses.replace(result, alternatives=(*result.alternatives, hired))


def texts(page: Page, width: int = 80) -> Iterator[str]:
    """Every text that a page holds, cell by cell, drawings as on paper of that width."""
    yield page.title
    yield from page.lead
    for section in page.sections:
        yield section.title
        for block in section.blocks:
            match block:
                case Paragraph():
                    yield block.text
                case Bullets():
                    yield from block.items
                case Entries():
                    for item in block.items:
                        yield from (item.label, item.text)
                case Drawing():
                    yield from block.draw(width, False)
                case Grid():
                    yield from cells(block)
                case Chart():  # the terminal has no pictures
                    yield block.title
                    yield from cells(block.table)
                case Form():
                    yield from block.header


def cells(grid: Grid) -> Iterator[str]:
    yield from grid.header
    for row in grid.rows:
        yield from row


def cells_wide(line: str) -> int:
    return sum(
        0 if unicodedata.combining(letter) else 2 if unicodedata.east_asian_width(letter) in "WF" else 1
        for letter in line
    )


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize(
    ("name", "page"), list(pages()), ids=lambda value: value if isinstance(value, str) else ""
)
def test_every_word_of_every_cell_survives_at_every_usual_width(name, page, width):
    shown = render(page, width)
    there, wanted = (
        Counter(shown.split()),
        Counter(word for text in texts(page, width) for word in text.split()),
    )
    assert not wanted - there, f"{name} at {width}"
    assert max(map(len, shown.splitlines())) <= width
    assert "…" not in shown
    assert "\x1b" not in shown
    assert {letter for letter in shown if not letter.isascii()} <= {"€", *SHADES}


def test_a_page_is_not_wider_than_its_words_need():
    table = Grid(header=("a", "b"), rows=(("one", "two"),))
    page = Page(title="t", lead=(), sections=(Section(key="s", title="s", blocks=(table,)),))
    assert "one  two" in render(page, 80)


def test_columns_that_do_not_fit_side_by_side_go_below_each_other_with_the_names_of_the_rows():
    table = Grid(header=("row", *(f"column{i:02d}" * 3 for i in range(6))), rows=(("name", *"abcdef"),))
    shown = render(Page(title="t", lead=(), sections=(Section(key="s", title="s", blocks=(table,)),)), 72)
    assert shown.count("name") == 3  # two columns of 24 letters beside the name: three tables
    assert all(letter in shown.split() for letter in "abcdef")


HOSTILE = (
    "<b>North</b> & [/x] [red]40[/red]",
    ":cow: [link=http://example.org]x[/link]",
    "\x1b[31mred\x1b[0m",
    "tab\there\nand there\r",
    "\u202eevil\u202c name\u200b",
    "שדה צפוני 40",
    "北の畑",
    "",
    "Ж" * 200,
)


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_field_name_is_printed_as_it_stands_and_breaks_nothing(name, width):
    fields = fake_result.farm().fields
    farm = fake_result.farm(
        name=name,
        fields=(fake_result.renamed(fields[0], name=name), fake_result.renamed(fields[1], name="Other")),
    )
    page = plan_page(fake_result.result(farm=farm), TABLES)
    shown = render(page, width)
    assert max(map(cells_wide, shown.splitlines())) <= width
    assert "\x1b" not in shown
    assert not any(unicodedata.category(letter) in {"Cc", "Cf"} for letter in shown.replace("\n", ""))
    if "Ж" in name:  # folded, with nothing lost
        wanted = sum(text.count("Ж") for text in texts(page))
        assert shown.count("Ж") == wanted
    else:
        assert all(word in shown.split() for word in clean(name).split())


@settings(max_examples=15, deadline=None, derandomize=True)
@given(name=st.text(max_size=60), width=st.sampled_from(WIDTHS))
def test_any_text_at_all_can_be_a_field_name(name, width):
    fields = fake_result.farm().fields
    farm = fake_result.farm(fields=(fake_result.renamed(fields[0], name=name), fields[1]))
    for encoding in ("utf-8", "ascii"):
        shown = render(plan_page(fake_result.result(farm=farm), TABLES), width, encoding)
        shown.encode(encoding)
        assert "\x1b" not in shown


@pytest.mark.parametrize(
    ("name", "page"), list(pages()), ids=lambda value: value if isinstance(value, str) else ""
)
def test_a_stream_that_carries_only_ascii_gets_only_ascii(name, page):
    assert render(page, 80, "ascii").isascii(), name


@pytest.mark.parametrize(
    ("text", "plain"),
    [("3 × 4 m² – “yes”", '3 x 4 m2 - "yes"'), ("5 €", "5 EUR"), ("Gänsedistel", "Gansedistel"), ("畑", "?")],
)
def test_characters_that_a_stream_cannot_carry_become_their_nearest_plain_ones(text, plain):
    assert fit_to_encoding(text, "ascii") == plain
    assert fit_to_encoding(text, "utf-8") == text


@pytest.mark.parametrize(
    ("name", "page"), list(pages()), ids=lambda value: value if isinstance(value, str) else ""
)
def test_no_word_is_used_that_growers_do_not_use(name, page):
    said = {word.strip(".,;:()'\"").lower() for text in texts(page) for word in text.split()}
    assert not said & set(NOT_FOR_GROWERS), name


def test_the_readme_and_the_help_use_no_such_word_either():
    helps = [cli.main, *cli.main.commands.values()]
    words = [text for command in helps for text in (command.help or "").split()]
    words += (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8").split()
    assert not {word.strip(".,;:()'\"`*").lower() for word in words} & set(NOT_FOR_GROWERS)


def test_the_readme_shows_every_question_that_the_printout_answers():
    lines = paste_plan.pasted().splitlines()
    width = next(line.index("A: As now") for line in lines if line.startswith("Question"))
    shown = " ".join(" ".join(line[:width] for line in lines).split())
    for question in summary():
        assert question in shown, "python tests/paste_plan.py pastes it anew"


# ---------------------------------------------------------------- figures


def summary(result=None, titles=None):
    """Row label -> cell of each plan."""
    result = result or fake_result.result()
    grid = side_by_side(Reading(result, Wording(result.farm, TABLES)), result.alternatives)
    return {row[0]: row[1:] for row in grid.rows}


def test_the_summary_says_what_the_result_holds():
    rows = summary()
    # By hand from fake_result: 310 $/ha + 1350 $ over 46.2 ha = 339.22 $/ha; an acre is 0.404686 ha
    assert rows["Net return, $ per acre and year"][0] == "137"
    # 310 x 46.2 + mean of 0, 900, 1800, 2700
    assert rows["Net return, whole farm, $ a year"][0] == "15,672"
    assert rows["Against as now, $ a year"] == ("-", "4,250 more", "2,818 more", "2,079 less")
    assert rows["Net return of the leanest year, $"][0] == "10,322 in 2027"
    # (402 - 371) x 46.2 = 1432.2 for 0.78 - 0.31 = 4.7 tenths of today's roots
    assert rows["Each 10% of today's roots fewer than in B costs, $ a year"][2] == "305"
    assert rows["Weed roots left at the end, % of today's (low to high)"][2] == "31 (10 to 52)"
    # after year y of 4 they are 1 + (share - 1) y / 4, on the mean 1 + (share - 1) 0.625
    assert rows["Weed roots, mean of the years, % of today's"][2] == "57 (44 to 70)"
    assert rows["Years until under 1.0 shoots per m2"] == (
        "not in 4",
        "not in 4\n(at best 4)",
        "3 (2 to not in 4)",
        "2 (2 to 3)",
    )
    assert rows["Busiest half-month, hours needed of own hours"][0].startswith("72 of 60\nlate June")
    assert rows["Machines hired, hours a year"][:2] == ("none", "Round baler 14")
    assert rows["Land in hay, % over the years"] == ("0", "18", "50", "50")
    assert rows["Fields that change against as now"] == ("-", "1 of 2", "2 of 2", "2 of 2")
    assert rows["Limits not kept"][:2] == ("1, see limits", "none")
    assert rows["How sure it is the best"][2:] == (
        "proven within 0.5% of the best",
        "best found, not proven",
    )


def test_weed_roots_are_given_with_low_and_high_wherever_a_plan_is_spoken_of():
    shown = " ".join(render(plan_page(fake_result.result(), TABLES), 120).split())
    assert "roots at the end 31% (10 to 52) of today's instead of 78% (50 to 110)" in shown
    assert "57 (44 to 70)" in shown
    assert "as much living root as 8.4 acres" in shown  # 3.4 ha
    row = next(
        line
        for line in render(plan_page(fake_result.result(), TABLES, ["Balanced"]), 120).splitlines()
        if line.startswith("Weed roots, % of")
    )
    assert "66 (55 to 76)" in row  # second of four years: 1 + (0.31 - 1) / 2 and so on


def test_hay_made_is_accounted_for_to_the_last_ton():
    made, *rest = summary()["Hay, tons (2,000 lb) a year"][2].split("\n")
    spent = sum(float(line.split()[0]) for line in rest if "bought" not in line)
    assert float(made.split()[0]) == pytest.approx(spent, abs=1.0)  # whole tons, three of them rounded


@pytest.mark.parametrize("counted", [0.004, 0.0437, 1.26, 9.97, 23.7, 187.0])
def test_a_density_never_has_more_than_two_figures(counted):
    fields = fake_result.farm().fields
    patch = fake_result.renamed(fields[1].patches[0], weed="field_bindweed", shoots_per_m2=counted)
    farm = fake_result.farm(fields=(fake_result.renamed(fields[0], patches=(patch,)),))
    page = plan_page(fake_result.result(farm=fake_result.farm()), TABLES)
    weeds = check_page(farm, TABLES).sections[0].blocks[0].rows[0][3]
    figure = re.search(r": (?:under )?([0-9.]+) on", weeds).group(1)
    assert len(figure.replace(".", "").strip("0")) <= 2
    assert page.sections[0].key == "weeds"


def test_a_second_reckoning_that_disagrees_is_shouted():
    result = fake_result.result()
    bad = dataclasses.replace(result.checks["balanced"][0], agrees=False, largest_difference=412.0)
    result = dataclasses.replace(result, checks={**result.checks, "balanced": (bad,)})
    shown = render(plan_page(result, TABLES))
    assert "SECOND RECKONING DISAGREES" in shown
    assert "DIFFERS in" in shown
    assert "412 USD" in shown
    assert "DISAGREES" not in render(plan_page(fake_result.result(), TABLES))


def test_cells_changed_against_as_now_carry_a_mark_and_the_others_do_not():
    page = plan_page(fake_result.result(), TABLES)
    grids = {section.key: section.blocks[0] for section in page.sections if section.key.startswith("fields:")}
    assert not any("*" in cell for row in grids["fields:as_now"].rows for cell in row)
    most_money = grids["fields:most_money"].rows
    assert most_money[0] == ("Home 40 (40)", "Oats ua*", "Alfalfa 3s*", "Alfalfa 3s*", "Rye*")
    assert not any("*" in cell for cell in most_money[1])


def test_two_practices_never_share_a_short_name():
    names = ShortNames(TABLES.practices, Wording(fake_result.farm(), TABLES))
    short = [names[key] for key in TABLES.practices]
    assert len(set(short)) == len(short)
    assert names["oats_late"] == "Oats (2)"


@pytest.mark.parametrize(
    ("practice", "short"),
    [
        ("spring_barley", "S barley"),
        ("spring_barley_chisel", "S barley n"),
        ("spring_barley_dense", "S barley d"),
        ("spring_barley_late", "S barley l"),
        ("spring_barley_spring_plough", "S barley p"),
        ("spring_barley_stubble", "S barley w"),
        ("oat_red_clover", "Oats ur"),
        ("corn_grain_rye", "Corn cr"),
        ("alfalfa_2_leave", "Alfalfa y2 3m"),
    ],
)
def test_letters_say_what_differs_from_the_usual_way(practice, short):
    tables = real_tables.read()
    words = Wording(fake_result.farm(), tables)
    names = ShortNames(tables.practices, words)
    assert names[practice] == short
    assert len({names[key] for key in tables.practices}) == len(tables.practices)
    assert "p = plowed in spring" in names.letters()
    assert "plowed" not in ShortNames(["spring_barley"], words).letters()  # only what stands on the page


def test_a_crop_and_its_letters_stay_on_one_line_in_five_years_at_80_columns():
    cells = ("Soybeans d*", "S barley n*", "W wheat ur*", "Corn co*", "not farmed")
    row = ("Nichols rented (64) lease to 2029", *cells)
    header = ("Field (acres)", "2027", "2028", "2029", "2030", "2031")
    result = fake_result.result()
    words = Wording(result.farm, TABLES)
    plan = result.alternatives[0]
    real = field_table(Reading(result, words), plan, ShortNames(practices_of([plan]), words))
    grid = dataclasses.replace(real, header=header, rows=(row,))
    page = Page(title="t", lead=(), sections=(Section(key="k", title="t", blocks=(grid,)),))
    lines = render(page, 80).splitlines()
    assert any(all(cell in line for cell in cells) for line in lines)


def test_groups_and_tags_are_named_in_the_plural_in_limits():
    farm = fake_result.farm(
        least_share={"legume": 0.1}, largest_share={"row crop": 0.5, "maize": 0.4, "fall cereal": 0.3}
    )
    said = limits_in_words(farm, Wording(farm, TABLES))
    assert "At least 10% of the land in legumes, over the years." in said
    assert "At most 50% of the land in row crops in any year." in said
    assert "At most 40% of the land in corn in any year." in said
    assert "At most 30% of the land in fall cereals in any year." in said


def test_a_reason_is_said_once_for_all_that_it_keeps_out():
    left_out = (("lentils", "nobody near buys it"), ("fallow", "no tool"), ("flax", "nobody near buys it"))
    result = dataclasses.replace(fake_result.result(), left_out=left_out)
    section = next(each for each in plan_page(result, TABLES).sections if each.key == "left_out")
    assert section.blocks[0].items == ("Nobody near buys it: lentils; flax.", "No tool: fallow.")


def test_a_row_that_no_plan_has_anything_for_is_left_away():
    result = fake_result.result()
    none = tuple(
        dataclasses.replace(
            plan, figures=dataclasses.replace(plan.figures, cut_and_left_ha=(0.0,) * fake_result.YEARS)
        )
        for plan in result.alternatives
    )
    label = "Cut and left on the field, acres a year"
    assert label in summary()
    assert label not in summary(dataclasses.replace(result, alternatives=none))


def test_a_plan_that_came_out_the_same_has_no_column_but_is_named():
    result = fake_result.result()
    twin = dataclasses.replace(result.alternatives[2], same_as="Most money")
    result = dataclasses.replace(
        result, alternatives=(*result.alternatives[:2], twin, result.alternatives[3])
    )
    page = plan_page(result, TABLES)
    grid = next(section for section in page.sections if section.key == "summary").blocks[0]
    assert grid.header == ("Question", "A: As now", "B: Most money", "D: Fastest clean-up")
    assert "Came out the same as Most money" in render(page)


def test_a_plan_shown_that_came_out_the_same_is_shown_by_the_other_one():
    result = fake_result.result()
    twin = dataclasses.replace(result.alternatives[2], same_as="Most money")
    plans = (*result.alternatives[:2], twin, result.alternatives[3])
    pages = printout(dataclasses.replace(result, alternatives=plans), TABLES, [twin.title]).pages
    summary = next(page for page in pages if page.key == "summary")
    grid = next(section for section in summary.sections if section.key == "summary").blocks[0]
    assert grid.header == ("Question", "B: Most money")
    assert "Came out the same as Most money" in render(summary)
    assert [page.key for page in pages if page.key.startswith("weeds:")] == [
        f"weeds:{result.alternatives[1].key}"
    ]


def test_the_page_says_estimates_demo_farm_net_return_and_cautions():
    shown = " ".join(render(plan_page(fake_result.result(), TABLES)).split())
    for said in (
        "invented demo farm",
        "Net return = sales",
        "not advice",
        "stop the engine",
        "2 figures from 2 sources",
    ):
        assert said in shown
    real = " ".join(
        render(plan_page(fake_result.result(farm=fake_result.farm(invented=False)), TABLES)).split()
    )
    assert "invented demo farm" not in real


def test_a_farm_is_spoken_to_in_the_words_of_its_region():
    uk = fake_result.farm(region="uk", units="metric", currency="GBP")
    shown = render(plan_page(fake_result.result(farm=uk), TABLES))
    assert "Creeping thistle" in shown
    assert "autumn-sown" in shown
    assert "fall-sown" not in shown
    assert "Canada" not in shown
    assert "acre" not in shown
