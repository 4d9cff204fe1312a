"""The page that tells what became of a plan: what each figure stands for, and what stays as it was."""

import dataclasses

import fake_result

from rotation_opt.promises import FollowUp, Held, Narrowed, Otherwise
from rotation_opt.report.printout import printout
from rotation_opt.report.terminal import render

TABLES = fake_result.tables()
WEED = "creeping_thistle"


def held(year: int, counted: tuple[float, float, float]) -> Held:
    return Held(
        field="Home 40",
        weed=WEED,
        year=year,
        stops=8,
        promised=(4.0, 6.5, 9.0),
        by_plan=True,
        counted=counted,
    )


ROOTS = Narrowed(
    field="Home 40", weed=WEED, before=(0.2, 0.3, 0.5), after=(0.35, 0.4, 0.45), counted=True, moved=False
)
ABOVE = (9.5, 12.0, 15.0)
TOLD = FollowUp(
    title="Balanced",
    first_year=2025,
    last_year=2026,
    held=(held(2025, ABOVE), held(2026, ABOVE)),
    roots=(ROOTS,),
    otherwise=(Otherwise(field="Home 40", year=2026, planned="corn", done="oats", note="too wet"),),
    visits_used=2,
    effective=41.5,
    power=1.0,
    notes=(),
)


def page(told: FollowUp, **changed) -> str:
    result = dataclasses.replace(fake_result.result(), followup=told, **changed)
    return " ".join(render(printout(result, TABLES).pages[0], 100).split())


def test_a_count_beside_the_promise_of_what_was_not_done_is_told():
    said = "Home 40 in 2026 was not done as planned: the promise there was for what was planned"
    assert said in page(TOLD)
    as_planned = dataclasses.replace(TOLD, otherwise=())
    assert "was for what was planned" not in page(as_planned)
    inside = dataclasses.replace(TOLD, held=(held(2026, (4.0, 6.0, 8.0)),))
    assert "was for what was planned" not in page(inside)
    late = Otherwise(field="Home 40", year=2026, planned="oats", done="oats", note="late")
    assert "was for what was planned" not in page(dataclasses.replace(TOLD, otherwise=(late,)))


def test_roots_without_any_count_used_stand_in_one_column():
    shown = page(TOLD)
    assert "With the counts" in shown
    assert "The new plan starts from the roots with the counts" in shown
    bare = dataclasses.replace(ROOTS, after=ROOTS.before, counted=False)
    shown = page(dataclasses.replace(TOLD, held=(), roots=(bare,), visits_used=0))
    assert "30 (20 to 50)" in shown
    assert "ith the counts" not in shown
    assert "speak for it" not in shown
    assert "Foretold = from the counts of the farm file alone" in shown


def test_years_of_one_reason_are_told_together():
    said = "Home 40: thistle counted above the promise in 2025 and 2026; 2026 was not done as planned."
    assert said in page(TOLD)


def test_plans_that_came_out_the_same_as_the_plan_followed_are_named():
    plans = fake_result.result().alternatives
    assert "came out the same as the plan as it was" not in page(TOLD)
    twin = dataclasses.replace(plans[1], same_as=plans[0].title)
    shown = page(TOLD, alternatives=(plans[0], twin, *plans[2:]))
    assert "B: Most money came out the same as the plan as it was." in shown


def test_shoots_today_that_nobody_counted_are_called_estimated():
    farm = fake_result.farm()
    guessed = tuple(
        dataclasses.replace(
            field, patches=tuple(dataclasses.replace(patch, estimated=True) for patch in field.patches)
        )
        for field in farm.fields
    )
    for fields, some in ((farm.fields, False), (guessed, True)):
        result = fake_result.result(farm=dataclasses.replace(farm, fields=fields))
        pages = printout(result, TABLES).pages
        today = next(page for page in pages if page.key == "summary").sections[0].blocks[0]
        assert all(row[-1].endswith(", estimated") == some for row in today.rows)
        course = render(next(page for page in pages if page.key.startswith("weeds:")), 100)
        assert ("estimated" in course) == some


def about_now(told: FollowUp | None, same_as: str = "") -> set[str]:
    """Kinds of pages about the plan as now."""
    result = dataclasses.replace(fake_result.result(), followup=told)
    plans = result.alternatives
    twin = dataclasses.replace(plans[1], same_as=same_as)
    pages = printout(dataclasses.replace(result, alternatives=(plans[0], twin, *plans[2:])), TABLES).pages
    return {page.key.partition(":")[0] for page in pages if page.key.endswith(f":{plans[0].key}")}


def test_the_plan_as_now_has_a_calendar_where_it_goes_on_or_is_the_best():
    own = {"calendar", "weed-plan"}
    title = fake_result.result().alternatives[0].title
    assert not own & about_now(None)
    assert own <= about_now(TOLD)
    assert own <= about_now(None, same_as=title)


def test_as_now_is_the_plan_one_has_after_a_year_of_it():
    result = fake_result.result()
    for told in (None, TOLD):
        shown = printout(dataclasses.replace(result, followup=told), TABLES).pages
        sections = next(page for page in shown if page.key == "summary").sections
        grid = next(section for section in sections if section.key == "summary").blocks[0]
        assert ("go on with the plan you have" in grid.rows[-1][1]) == (told is not None)
