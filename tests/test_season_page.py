"""The season pages: every figure that of the record, every mark at its day, readable on any paper."""

import re

import fake_result
import pytest

from rotation_opt.records import CountedStand
from rotation_opt.report.blocks import SHADES
from rotation_opt.report.season_page import course_page, season_page
from rotation_opt.report.season_plot import HIGH_PANEL, LOW_PANEL, MARGIN, dark_spells, half_up, plot
from rotation_opt.report.terminal import render
from rotation_opt.report.wording import Wording, band, weed_figure, weed_percent

TABLES = fake_result.tables()
WORDS = Wording(fake_result.farm(), TABLES)
COURSE = fake_result.season_course()
DAYS = len(COURSE.light)


def text_of(page, width=80, encoding="utf-8"):
    return " ".join(render(page, width, encoding).split())


def panels(lines):
    """Rows of each panel by the first word of its title, scale taken off."""
    found, current = {}, None
    for line in lines:
        if line[:1].isalpha() and not line.startswith("work"):
            current = found.setdefault(line.split()[0], [])
        elif line[4:5] == "|" and current is not None:
            current.append(line[MARGIN:])
    return found


def level(rows, column, fill="#"):
    """Full cells of one column, from the lowest row up."""
    return sum(row[column : column + 1] == fill for row in rows)


def column_of(day, width):
    columns = min(width - MARGIN, DAYS)
    return (day - COURSE.first_day) * columns // DAYS


# ---------------------------------------------------------------- the drawing


@pytest.mark.parametrize("width", [40, 60, 80, 120])
def test_the_drawing_keeps_to_the_paper_and_shows_all_of_the_season(width):
    for plain in (True, False):
        lines = plot(COURSE, WORDS, width, plain)
        assert max(map(len, lines)) <= width
        axis = next(line for line in lines if line.startswith("    +"))
        assert len(axis) == width


def test_with_ascii_only_nothing_else_is_drawn_and_with_shades_nothing_but_these():
    assert all(line.isascii() for line in plot(COURSE, WORDS, 80, plain=True))
    shaded = "".join(plot(COURSE, WORDS, 80, plain=False))
    assert set(SHADES) & set(shaded)
    assert {letter for letter in shaded if not letter.isascii()} <= set(SHADES)


def test_paper_that_cannot_carry_shades_gets_the_ascii_drawing():
    page = course_page(COURSE, WORDS)
    assert render(page, 80, "ascii").isascii()
    assert "?" not in render(page, 80, "latin-1")
    assert "█" in render(page, 80, "utf-8")


@pytest.mark.parametrize("enough", [0.35, 0.55, 0.65, 0.9])
def test_the_line_lies_at_the_figure_and_over_every_day_with_less_light(enough):
    course = fake_result.season_course(enough_light=enough)
    lines = plot(course, WORDS, 120, plain=True)
    labelled = [line for line in lines if line.startswith(f" {enough * 100:.0f} |")]
    assert len(labelled) == 1
    row = labelled[0][MARGIN:]
    light = panels(lines)["Light"]
    from_bottom = HIGH_PANEL - 1 - light.index(row)
    assert from_bottom / HIGH_PANEL <= enough <= (from_bottom + 1) / HIGH_PANEL
    columns = 120 - MARGIN
    bounds = [place * DAYS // columns for place in range(columns + 1)]
    for column in range(columns):
        part = course.light[bounds[column] : bounds[column + 1]]
        assert (row[column : column + 1] == "-") == (sum(part) / len(part) < enough)


def test_the_panels_rise_with_their_figures():
    shown = panels(plot(COURSE, WORDS, 80, plain=True))
    roots, cover, shoots = shown["Roots"], shown["Ground"], shown["Canada"]
    assert (len(cover), len(shoots), len(roots)) == (LOW_PANEL, LOW_PANEL, HIGH_PANEL)
    # roots are 1 - (day + 100) / 600, the cover 0.9 from day 144 on, shoots a half at most
    for day in (-90, 50, 200, 300):
        wanted = (1.0 - (day + 100) / 600) * HIGH_PANEL
        assert level(roots, column_of(day, 80)) == pytest.approx(wanted, abs=1.0)
    assert level(cover, column_of(200, 80)) == 2  # 0.9 of 3 rows: two are full
    assert level(cover, column_of(0, 80)) == 0
    assert level(shoots, column_of(100, 80)) == 0
    assert level(shoots, column_of(200, 80)) == 1


@pytest.mark.parametrize("width", [60, 80, 120])
def test_operations_are_marked_below_their_days(width):
    course = fake_result.season_course(
        operations=tuple(
            fake_result.operation(day, name) for day, name in ((-90, "plough"), (100, "drill"), (205, "cut"))
        )
    )
    words = Wording(fake_result.farm(), fake_result.with_operations())
    marks = next(line for line in plot(course, words, width, plain=True) if line.startswith("work"))[MARGIN:]
    assert {letter: marks.index(letter) for letter in "TSC"} == {
        "T": column_of(-90, width),
        "S": column_of(100, width),
        "C": column_of(205, width),
    }


def test_operations_of_one_column_stand_below_each_other():
    course = fake_result.season_course(
        operations=tuple(fake_result.operation(100, name) for name in ("plough", "drill"))
    )
    words = Wording(fake_result.farm(), fake_result.with_operations())
    lines = plot(course, words, 80, plain=True)
    place = MARGIN + column_of(100, 80)
    assert [line[place] for line in lines[-2:]] == ["T", "S"]


def test_months_stand_where_they_begin():
    lines = plot(COURSE, WORDS, 120, plain=True)
    at = next(number for number, line in enumerate(lines) if line.startswith("    +"))
    ticks, months, years = (line[MARGIN:] for line in lines[at : at + 3])
    june = column_of(151, 120)
    assert ticks[june] == "|"
    assert months[june : june + 3] == "Jun"
    assert years.index("year before") == 0
    assert years.index("year of harvest") == column_of(0, 120)


def test_south_of_the_equator_months_and_dates_are_half_a_year_on():
    course = fake_result.season_course(shift_days=181)
    lines = plot(course, WORDS, 120, plain=True)
    at = next(number for number, line in enumerate(lines) if line.startswith("    +"))
    months = lines[at + 1][MARGIN:]
    assert months[column_of(151, 120) : column_of(151, 120) + 3] != "Jun"
    december = column_of(334 - 181, 120)
    assert months[december : december + 3] == "Dec"
    shown = text_of(course_page(course, WORDS))
    # harvest on day 205 + 181 = 22 January; the season begins on day -100 + 181 = 23 March
    assert "January 22" in shown
    assert "March 23 of the year before" in shown
    # a harvest on day 170 is before the year's end, the end of the season on day 304 + 181 = 1 May after it
    early = text_of(course_page(fake_result.season_course(shift_days=181, harvest_day=170), WORDS), 120)
    assert "May 1 of the year after end of the season" in early


# ---------------------------------------------------------------- what is said


def test_the_spell_of_shade_and_who_is_first_are_those_of_the_record():
    # light is 1 - (day - 90) / 60, below 0.65 from day 112 on; first shoots at day 110.4, half up at day 130
    assert dark_spells(COURSE) == [(112, 279)]
    assert half_up(COURSE) == 130
    shown = text_of(course_page(COURSE, WORDS))
    assert "From April 23 to October 7 the crop leaves Canada thistle less than 65% of full light" in shown
    assert "168 of the 190 days" in shown
    assert "Half of its shoots would be up by May 11, 18 days after the crop begins to shade" in shown
    assert "(April 23): the crop is first" in shown


def test_shade_is_broken_where_a_cut_lets_light_in():
    light = tuple(
        1.0 if 159 <= day <= 170 else share for day, share in zip(range(-100, 305), COURSE.light, strict=True)
    )
    course = fake_result.season_course(light=light)
    assert dark_spells(course) == [(112, 158), (171, 279)]
    assert "From April 23 to June 8 and from June 21 to October 7 the crop" in text_of(
        course_page(course, WORDS)
    )


@pytest.mark.parametrize(
    ("head", "said"),
    [
        (None, "does not shade them that much before bud: the weed is first"),
        (-12.0, "12 days before the crop begins to shade them that much (May 23): the weed is first"),
        (130.0, "since before they came up: the crop is first"),
    ],
)
def test_who_is_first_is_said_for_every_kind_of_crop(head, said):
    assert said in text_of(course_page(fake_result.season_course(head_start_days=head), WORDS))


def test_a_season_without_shade_says_so():
    course = fake_result.season_course(
        light=(1.0,) * DAYS, stands=(), cover=(0.0,) * DAYS, head_start_days=None
    )
    course = fake_result.renamed(course, left_alone=(0.9, 0.95, 1.0), shade_alone=(0.9, 0.95, 1.0))
    shown = text_of(course_page(course, WORDS))
    assert "Shade does nothing" in shown
    assert "there is no crop to be first" in shown
    assert "It is the work that does it: without any 95% (90 to 100) would be left" in shown
    assert "No crop covers the ground" in shown
    assert "Canada thistle has all the light it wants" in shown


def test_the_roots_on_the_page_are_those_of_the_record():
    shown = text_of(course_page(COURSE, WORDS))
    low, likely, high = COURSE.reserve[-1]
    assert f"{100 * likely:.0f}% ({100 * low:.0f} to {100 * high:.0f}) is left on November 1" in shown
    assert "This work without the shade would leave 55% (50 to 60)" in shown
    assert "The work does more than the shade" in shown
    harvest = COURSE.reserve[205 + 100]
    assert f"July 25 its own harvest {band(harvest, weed_percent)}" in shown


def test_the_larger_part_is_named_and_an_even_share_too():
    shade = fake_result.season_course(work_alone=(0.8, 0.83, 0.85), shade_alone=(0.5, 0.55, 0.6))
    even = fake_result.season_course(work_alone=(0.5, 0.55, 0.6), shade_alone=(0.5, 0.56, 0.6))
    assert "The shade does more than the work" in text_of(course_page(shade, WORDS))
    assert "Work and shade do about as much" in text_of(course_page(even, WORDS))


@pytest.mark.parametrize("width", [40, 60, 80, 120])
@pytest.mark.parametrize("encoding", ["utf-8", "ascii"])
def test_nothing_of_the_pages_is_cut_off(width, encoding):
    for page in (course_page(COURSE, WORDS), season_page(fake_result.season_rows(), WORDS, every=True)):
        lines = render(page, width, encoding).splitlines()
        assert max(map(len, lines)) <= width
        assert not any("…" in line for line in lines)


def test_the_stand_counted_on_the_field_is_spoken_of_where_there_is_one():
    counted = CountedStand(
        field="Home 40", start=(0.31, 0.412, 0.5), end=(0.1, 0.148, 0.21), shoots_per_m2=(2.04, 3.46, 5.1)
    )
    shown = text_of(course_page(fake_result.season_course(counted=counted), WORDS, "Home 40"))
    assert "On Home 40 the count speaks for 41% (31 to 50) of a full stand" in shown
    assert "would leave 15% (10 to 21), and 3.5 (2.0 to 5.1) shoots per m2" in shown
    assert "the count speaks" not in text_of(course_page(COURSE, WORDS, "Home 40"))


@pytest.mark.parametrize(
    ("weathers", "said"),
    [
        ((), "in the mean weather of the place"),
        (("cool", "usual", "warm"), "each in a cool, usual and warm year"),
        (("1983", "1987", "1991"), "each in the weather of 1983, 1987 and 1991 from your record"),
    ],
)
def test_it_is_said_what_low_to_high_covers(weathers, said):
    shown = text_of(course_page(fake_result.season_course(weathers=weathers), WORDS))
    assert said in shown
    assert "21 sets of weed figures" in shown
    assert "the usual error with which trials that the figures were not fitted to were foretold" in shown


def test_the_ranking_says_what_low_to_high_covers():
    shown = text_of(season_page(fake_result.season_rows(), WORDS))
    for cause in (
        "sets of weed figures that explain published trials about equally well",
        "cool to warm years",
        "the usual error with which trials that the figures were not fitted to were foretold",
    ):
        assert cause in shown


def test_another_line_that_the_trials_speak_for_is_named():
    shown = text_of(course_page(fake_result.season_course(fitted_light=(0.54, 0.55, 0.58)), WORDS))
    assert "The line at 65% was judged from what is published on thistle, before any fit" in shown
    assert "the roots gain less from 55% (54 to 58) of full light down" in shown
    assert "before any fit" not in text_of(course_page(COURSE, WORDS))


# ---------------------------------------------------------------- the ranking


def ranking(rows, **options):
    lines = render(season_page(rows, WORDS, **options), 120).splitlines()
    return [re.split(r"  +", line.strip()) for line in lines if re.match(r"\d+ ", line)]


def test_the_ranking_begins_with_the_practice_that_leaves_least():
    first, second = fake_result.season_rows()
    for rows in ((first, second), (second, first)):
        shown = ranking(rows)
        assert [line[0] for line in shown] == ["1", "2"]
        assert shown[0][1].startswith("Alfalfa hay, three cuts")
        assert shown[0][2:] == ["24", "18", "0", "3", "34 (20 to 50)"]
        assert shown[1][2:] == ["never", "83", "7", "0", "110 (90 to 120)"]


def test_of_each_crop_the_best_is_shown_with_what_is_grown_now_unless_all_are_asked_for():
    best, now = fake_result.season_rows()
    rows = [
        best,
        fake_result.renamed(best, practice="alfalfa_3_leave", reserve_end=(0.3, 0.4, 0.5)),
        fake_result.renamed(now, practice="oats_plain", reserve_end=(0.4, 0.6, 0.7), now=False),
        fake_result.renamed(now, practice="oats_late", reserve_end=(0.5, 0.7, 0.8), now=False),
        now,
        fake_result.renamed(now, practice="oats_nurse", reserve_end=(0.8, 0.9, 1.0)),
    ]
    assert [line[0] for line in ranking(rows)] == ["1", "3", "5", "6"]
    assert [line[0] for line in ranking(rows, every=True)] == ["1", "2", "3", "4", "5", "6"]
    shown = render(season_page(rows, WORDS), 120)
    assert "4 of 6 practices; --all shows all" in shown
    assert shown.count("(now)") == 2


# ---------------------------------------------------------------- rounding


@pytest.mark.parametrize("value", [0.0, 0.004, 0.0123, 0.347, 1.04, 9.96, 23.7, 137.2, 998.0])
def test_weed_figures_have_two_figures_at_most(value):
    for text in (weed_figure(value), weed_percent(value / 10)):
        digits = text.replace("under", "").strip("< ").replace(".", "").replace(",", "").strip("0")
        assert len(digits) <= 2
        if "<" not in text and "under" not in text:
            wanted = value if text == weed_figure(value) else 10 * value
            assert float(text.replace(",", "")) == pytest.approx(wanted, rel=0.051, abs=0.5)
