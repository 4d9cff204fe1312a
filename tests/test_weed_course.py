"""The page of expected courses, and the curve of what being cleaner costs."""

from __future__ import annotations

import dataclasses
from typing import Any
from xml.etree import ElementTree as ET

import fake_result
import pytest

from rotation_opt.records import Field, Patch, PriceStep, Result
from rotation_opt.report.blocks import Bullets, Chart, Page, Paragraph
from rotation_opt.report.charts import svg
from rotation_opt.report.curve import curve_chart
from rotation_opt.report.summary import Reading
from rotation_opt.report.terminal import render
from rotation_opt.report.weed_course import weeds_page
from rotation_opt.report.wording import Wording, band

TABLES = fake_result.tables()


def reading(result: Result) -> Reading:
    return Reading(result, Wording(result.farm, TABLES))


def page(result: Result, key: str = "balanced") -> Page:
    read = reading(result)
    (plan,) = (each for each in result.alternatives if each.key == key)
    return weeds_page(read, plan)


def chart_of(found: Page) -> Chart:
    (chart,) = (block for block in found.sections[0].blocks if isinstance(block, Chart))
    return chart


def notes_of(found: Page) -> str:
    return " ".join(
        text
        for block in found.sections[0].blocks
        for text in (block.items if isinstance(block, Bullets) else ())
    )


def with_fields(*fields: Field, **changes: Any) -> Result:
    return fake_result.result(farm=fake_result.farm(fields=fields), **changes)


FIELDS = fake_result.farm().fields
COURSES = {  # shoots of the thistle by year: low, likely, high
    2027: (6.0, 9.0, 14.0),
    2028: (2.0, 4.0, 8.0),
    2029: (0.5, 1.5, 6.0),
    2030: (0.004, 0.3, 5.0),
}


def with_courses() -> Result:
    """Each year another figure, so that a mix-up of years shows; the second weed has twice as many."""
    result = fake_result.result()
    plans = tuple(
        dataclasses.replace(
            plan,
            fields=tuple(
                dataclasses.replace(
                    entry,
                    shoots_per_m2={
                        weed: tuple(factor * value for value in COURSES[entry.year])
                        for weed, factor in (("creeping_thistle", 1.0), ("field_bindweed", 2.0))
                        if weed == "creeping_thistle" or entry.field == "Home 40"
                    },
                )
                for entry in plan.fields
            ),
        )
        for plan in result.alternatives
    )
    return dataclasses.replace(result, alternatives=plans)


def test_each_weed_of_each_field_has_a_panel_with_its_course() -> None:
    found = page(with_courses())
    chart = chart_of(found)
    assert [each.title for each in chart.panels] == [
        "Home 40: thistle",
        "Home 40: bindweed",
        "North quarter: thistle",
    ]
    for panel, today, factor in zip(chart.panels, (14.0, 31.0, 6.3), (1.0, 2.0, 1.0), strict=True):
        grey, line, blanks = panel.series
        wanted = [tuple(factor * value for value in COURSES[year]) for year in sorted(COURSES)]
        for found_there, there in zip(
            zip(grey.low, line.y, grey.high, strict=True), [(today,) * 3, *wanted], strict=True
        ):
            assert found_there == pytest.approx(there)
        assert grey.x == line.x == (0.0, *blanks.x) == (0.0, 1.0, 2.0, 3.0, 4.0)
        assert (grey.kind, line.kind, blanks.kind) == ("band", "line", "blanks")
        assert panel.x_ticks == ((0.0, "today"), (1.0, "2027"), (2.0, "2028"), (3.0, "2029"), (4.0, "2030"))
        assert panel.own_scale


def test_the_table_has_every_figure_of_the_picture() -> None:
    table = chart_of(page(with_courses())).table
    assert table.header[1:] == ("Today", "2027", "2028", "2029", "2030")
    for row, today, factor in zip(table.rows, ("14", "31", "6.3"), (1.0, 2.0, 1.0), strict=True):
        assert row[1] == today
        assert row[2:] == tuple(band([factor * value for value in COURSES[year]]) for year in sorted(COURSES))
    assert "0.30 (under 0.01 to 5.0)" in table.rows[0]


def test_each_plan_has_its_own_picture() -> None:
    result = with_courses()
    keys = {chart_of(page(result, plan.key)).key for plan in result.alternatives}
    assert len(keys) == len(result.alternatives)
    assert "C: Balanced" in page(result).title


def test_several_patches_of_a_weed_are_one_course_by_their_area() -> None:
    def patch(area_ha: float, shoots: float, stage: Any) -> Patch:
        return dataclasses.replace(FIELDS[0].patches[0], area_ha=area_ha, shoots_per_m2=shoots, stage=stage)

    home = dataclasses.replace(FIELDS[0], patches=(patch(1.0, 30.0, "bud"), patch(3.0, 10.0, "rosette")))
    found = page(with_fields(home, FIELDS[1]))
    first = chart_of(found).panels[0]
    assert first.series[1].y[0] == pytest.approx(15.0)
    assert chart_of(found).table.rows[0][1] == "15, rosette"
    assert "not made at bud stage" in notes_of(found)
    assert "not made at bud stage" not in notes_of(page(fake_result.result()))


def test_a_field_given_up_has_its_course_as_long_as_it_is_farmed() -> None:
    result = with_courses()
    plans = tuple(
        dataclasses.replace(
            plan,
            fields=tuple(
                entry
                for entry in plan.fields
                if (entry.field == "Home 40" and entry.year < 2029) or entry.field == "nowhere"
            ),
        )
        for plan in result.alternatives
    )
    found = page(dataclasses.replace(result, alternatives=plans))
    chart = chart_of(found)
    assert [each.title for each in chart.panels] == ["Home 40: thistle", "Home 40: bindweed"]
    assert chart.panels[0].series[2].x == (1.0, 2.0)
    assert chart.table.rows[0][-2:] == ("-", "-")
    assert "No course is foretold for North quarter" in notes_of(found)
    gone = tuple(dataclasses.replace(plan, fields=()) for plan in result.alternatives)
    found = page(dataclasses.replace(result, alternatives=gone))
    assert not any(isinstance(block, Chart) for block in found.sections[0].blocks)
    assert "No course is foretold for Home 40 and North quarter" in notes_of(found)


def test_clean_fields_are_named_and_a_clean_farm_is_told_so() -> None:
    clean = dataclasses.replace(FIELDS[1], patches=())
    assert "No creeping weed was counted on North quarter." in notes_of(page(with_fields(FIELDS[0], clean)))
    found = page(with_fields(dataclasses.replace(FIELDS[0], patches=()), clean))
    (block,) = found.sections[0].blocks
    assert isinstance(block, Paragraph)
    assert "no course to show" in block.text


@pytest.mark.parametrize("name", ["<b>", "$x$ & [/x]", "x" * 200, "\u202eمزرعة"])
def test_names_of_fields_are_drawn_and_printed_as_they_are(name: str) -> None:
    result = with_fields(dataclasses.replace(FIELDS[0], name=name), FIELDS[1])
    found = page(result)
    ET.fromstring(svg(chart_of(found)))
    assert render(found, 80)


def test_the_page_has_no_line_longer_than_asked_and_every_figure() -> None:
    for width in (60, 80, 120):
        text = render(page(with_courses()), width)
        assert max(map(len, text.splitlines())) <= width
        assert "31" in text


# ---------------------------------------------------------------- the curve


def step(share: float, money: float, **more: Any) -> PriceStep:
    values: dict[str, Any] = {"labour_h": 600.0, "proven_gap": 0.004, "mark": "", "alternative": ""}
    return PriceStep(burden_share=share, net_return=money, **{**values, **more})


STEPS = (
    step(1.1, 20000.0, alternative="most_money"),
    step(0.6, 19000.0, mark="knee", alternative="balanced"),
    step(0.3, 12000.0, mark="bend"),
    step(0.1, 4000.0, alternative="fastest"),
)


def curve_of(result: Result) -> Chart | None:
    return curve_chart(reading(result), result.alternatives)


def with_roots(**roots: float) -> Result:
    """A result whose plans hold the same likely roots on all infested ground in every year."""
    result = fake_result.result(price_steps=STEPS)
    plans = tuple(
        dataclasses.replace(
            plan,
            fields=tuple(
                dataclasses.replace(
                    entry,
                    reserve={"creeping_thistle": (0.0, roots.get(plan.key, 1.0), 9.0)},
                )
                for entry in plan.fields
            ),
        )
        for plan in result.alternatives
    )
    return dataclasses.replace(result, alternatives=plans)


def test_the_curve_goes_through_every_step_and_the_plans_on_it_stand_there() -> None:
    result = with_roots(most_money=1.0, as_now=2.0)
    chart = curve_of(result)
    assert chart is not None
    line, points = chart.panels[0].series
    assert line.x == pytest.approx((110.0, 60.0, 30.0, 10.0))
    assert line.y == (20000.0, 19000.0, 12000.0, 4000.0)
    assert points.names == ("A", "B", "C", "D")
    # Off the curve: as much more than plan B as its roots are.
    assert points.x == pytest.approx((220.0, 110.0, 60.0, 10.0))
    money = [sum(plan.figures.net_return) / 4 for plan in result.alternatives]
    assert points.y == pytest.approx(money)
    assert len(chart.table.rows) == 5
    assert (chart.table.rows[-1][0], chart.table.rows[-1][-1]) == ("220", "A: As now")
    assert chart.table.groups == {4}
    assert "110% of today's roots" in chart.alt


def test_roots_of_the_last_year_count_more_in_the_place_of_a_plan() -> None:
    def place_of_now(year: int) -> float:
        result = with_roots()
        plans = tuple(
            dataclasses.replace(
                plan,
                fields=tuple(
                    dataclasses.replace(entry, reserve={"creeping_thistle": (0.0, 3.0, 9.0)})
                    if plan.key == "as_now" and entry.year == year
                    else entry
                    for entry in plan.fields
                ),
            )
            for plan in result.alternatives
        )
        chart = curve_of(dataclasses.replace(result, alternatives=plans))
        assert chart is not None
        return chart.panels[0].series[1].x[0]

    assert place_of_now(2027) == pytest.approx(place_of_now(2028))
    assert place_of_now(2030) > place_of_now(2029)


@pytest.mark.parametrize("count", [0, 2])
def test_without_steps_there_is_no_curve(count: int) -> None:
    assert curve_of(fake_result.result(price_steps=STEPS[:count])) is None


def test_where_no_plan_stands_on_the_curve_none_is_marked_off_it() -> None:
    steps = tuple(dataclasses.replace(each, alternative="") for each in STEPS)
    chart = curve_of(fake_result.result(price_steps=steps))
    assert chart is not None
    assert chart.panels[0].series[1].x == ()
    assert ET.fromstring(svg(chart)).tag.endswith("svg")
