"""Years done and counted become history; the rest of a plan is planned anew, and its promise looked at."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from small_farm import TABLES, TEXT, small, with_field

from rotation_opt.cli import main
from rotation_opt.errors import InputError
from rotation_opt.plan_followed import FollowedPlan, read_plan
from rotation_opt.promises import Held
from rotation_opt.records import Farm
from rotation_opt.replanning import Taken, take_stock
from rotation_opt.scouting_log import Visit
from rotation_opt.years_done import Done, paths_done, read_done

WEED = "creeping_thistle"
HAY = ("oat_alfalfa", "alfalfa_1", "alfalfa_2")
PLANNED: Mapping[str, Sequence[str]] = {
    "East": HAY,
    "West": ("soybean", "spring_barley", "corn_grain"),
    "North": ("spring_barley", "corn_grain", "soybean"),
}
FEW = ("spring_barley", "soybean", "corn_grain", *HAY)


def followed(practices: Mapping[str, Sequence[str]] = PLANNED) -> FollowedPlan:
    shoots = {("East", WEED, 2027): (8.0, 10.0, 12.0), ("East", WEED, 2028): (4.0, 6.0, 9.0)}
    return FollowedPlan(
        title="Balanced",
        first_year=2027,
        years=3,
        practices={
            (field, year): key for field, path in practices.items() for year, key in enumerate(path, 2027)
        },
        shoots_per_m2=shoots,
    )


def visit(field: str, year: int, counts: Sequence[int], **changes: object) -> Visit:
    made = Visit(
        field=field, weed=WEED, date=f"{year}-06-21", stage="bud", frame_m2=0.25, counts=tuple(counts)
    )
    return replace(made, **changes)  # type: ignore[arg-type]


def row(field: str, year: int, name: str, note: str = "") -> Done:
    return Done(field=field, year=year, name=name, note=note)


def stock(
    rows: Sequence[Done],
    visits: Sequence[Visit] = (),
    farm: Farm | None = None,
    plan: FollowedPlan | None = None,
) -> Taken:
    return take_stock(farm or small(FEW), TABLES, plan or followed(), visits=visits, rows=rows)


@cache
def usual() -> Taken:
    """One year done as planned and counted on one of two infested fields."""
    return stock([row("West", 2027, "soybean")], [visit("East", 2027, (2, 3, 1, 4, 2, 2, 3, 3))])


# ---------------------------------------------------------------- the farm afterwards


def test_years_done_become_history_and_the_rest_of_the_plan_is_as_now() -> None:
    farm = usual().rest.farm
    east = farm.fields[0]
    assert (farm.first_year, farm.years, farm.decided_on) == (2028, 3, "2027-06-21")
    assert east.history == ("corn_grain", "soybean", "spring_barley", "oat_alfalfa")
    assert east.as_now[:2] == ("alfalfa_1", "alfalfa_2")
    # the present rotation of the farm file, in its turn, fills the year beyond the plan
    assert farm.fields[1].as_now == ("spring_barley", "corn_grain", "soybean")
    assert any("2 years left; 3 are planned" in note for note in usual().rest.notes)


def test_a_patch_counted_has_the_count_and_one_not_counted_what_is_estimated() -> None:
    taken = usual()
    east, north = taken.rest.farm.fields[0].patches[0], taken.rest.farm.fields[2].patches[0]
    assert east.shoots_per_m2 == pytest.approx(10.0)
    assert (east.area_ha, east.counted_on) == (5.0, "2027-06-21")
    after = taken.estimate.shoots["North", WEED, 2027][1]
    assert north.shoots_per_m2 == pytest.approx(after[1])
    assert [each.counted for each in taken.followup.roots] == [True, False]


def test_a_patch_that_grew_takes_the_area_in_the_log_but_never_more_than_its_field() -> None:
    visits = [visit("East", 2027, (4, 4), area_ha=6.5), visit("North", 2027, (1, 2), area_ha=99.0)]
    fields = stock([row("East", 2027, "oat")], visits).rest.farm.fields
    assert [field.patches[0].area_ha for field in (fields[0], fields[2])] == pytest.approx([6.5, 6.0])


def test_what_was_not_counted_is_called_estimated() -> None:
    fields = usual().rest.farm.fields
    assert [fields[0].patches[0].estimated, fields[2].patches[0].estimated] == [False, True]


def test_a_patch_that_nobody_went_to_does_not_vanish() -> None:
    farm = small(FEW)
    one = farm.fields[0].patches[0]
    two = (replace(one, area_ha=1.0), replace(one, area_ha=4.0))
    farm = replace(farm, fields=(replace(farm.fields[0], patches=two), *farm.fields[1:]))
    seen = [visit("East", 2027, (4, 4), patch="1", area_ha=1.0)]
    rest = stock([row("East", 2027, "oat")], seen, farm).rest
    assert [patch.area_ha for patch in rest.farm.fields[0].patches] == pytest.approx([1.0, 4.0])
    assert any("1 of 2 patches" in note for note in rest.notes)
    both = [*seen, visit("East", 2027, (4, 4), patch="2", area_ha=2.0)]
    rest = stock([row("East", 2027, "oat")], both, farm).rest
    assert sum(patch.area_ha for patch in rest.farm.fields[0].patches) == pytest.approx(3.0)


def test_a_count_of_nothing_is_told_as_such_and_leaves_some_root() -> None:
    taken = stock([row("East", 2027, "oat")], [visit("East", 2027, (0,) * 10)])
    patch = taken.rest.farm.fields[0].patches[0]
    assert patch.shoots_per_m2 == 0.0
    assert patch.roots is not None
    assert 0.0 < patch.roots.in_autumn < taken.followup.roots[0].before[1]


def test_a_weed_that_was_looked_for_and_not_found_is_no_patch() -> None:
    seen = [replace(visit("West", 2027, (0,) * 10), area_ha=2.0)]
    assert not stock([row("East", 2027, "oat")], seen).rest.farm.fields[1].patches


def test_a_failed_stand_takes_the_years_that_need_it_out_of_the_plan() -> None:
    taken = stock([row("East", 2027, "oat", "the alfalfa died")])
    assert not TABLES.practices[taken.rest.farm.fields[0].as_now[0]].needs_stand
    assert any("East, 2028" in note and "cannot follow" in note for note in taken.rest.notes)
    (other,) = taken.followup.otherwise
    assert (other.planned, other.done, other.note) == ("oat_alfalfa", "oat", "the alfalfa died")


def test_what_cannot_have_followed_is_taken_for_another_way_to_grow_it_and_told() -> None:
    farm = small((*FEW, "oat_alfalfa", "alfalfa_1", "alfalfa_2", "alfalfa_spring"))
    keys = [key for key, each in TABLES.practices.items() if each.crop == "alfalfa" and each.needs_stand]
    taken = stock([row("West", 2027, keys[0])], farm=farm)
    (note,) = [each for each in taken.followup.notes if "cannot follow" in each and "West" in each]
    assert "is taken for it" in note
    assert not [
        note for note in stock([row("West", 2027, "soybean")]).followup.notes if "taken for it" in note
    ]


def test_a_field_whose_lease_has_ended_is_left_out() -> None:
    leased = with_field(small(FEW), "West", lease_end_year=2027)
    taken = stock([row("East", 2027, "oat_alfalfa")], farm=leased)
    assert [field.name for field in taken.rest.farm.fields] == ["East", "North"]
    assert "West is left out: its lease has ended." in taken.rest.notes


def test_without_a_log_courses_go_on_from_what_was_foretold_for_what_was_done() -> None:
    taken = stock([row("East", 2027, "oat_alfalfa")])
    assert np.ptp(taken.belief.weights[:, 1:]) == 0.0
    for each in taken.followup.roots:
        assert each.before == each.after
        assert each.after[0] < each.after[1] < each.after[2]
    patch = taken.rest.farm.fields[0].patches[0]
    assert patch.roots is not None
    assert patch.roots.in_autumn == taken.followup.roots[0].after[1]


@pytest.mark.parametrize("day", ["2027-11-28", "2028-02-01"])
def test_the_new_plan_is_made_on_the_day_it_is_told(day: str) -> None:
    rows = [row("East", 2027, "oat_alfalfa")]
    taken = take_stock(small(FEW), TABLES, followed(), visits=[], rows=rows, decided_on=day)
    assert taken.rest.farm.decided_on == day
    assert stock(rows).rest.farm.decided_on == "2027-07-15"


def test_the_new_plan_is_not_made_before_the_years_done() -> None:
    with pytest.raises(InputError, match="allowed is a day of 2027 or of 2028"):
        take_stock(
            small(FEW),
            TABLES,
            followed(),
            visits=[],
            rows=[row("East", 2027, "oat_alfalfa")],
            decided_on="2026-12-01",
        )


def test_what_cannot_have_grown_after_one_another_is_a_clear_fault() -> None:
    rows = [row("East", 2027, "soybean"), row("East", 2028, "alfalfa_2")]
    with pytest.raises(InputError, match=r"what was done: .*East"):
        stock(rows)


# ---------------------------------------------------------------- the promise


@pytest.mark.parametrize(
    ("counted", "side"),
    [((9.0, 10.0, 11.0), "inside"), ((11.0, 13.0, 16.0), "inside"), ((13.0, 15.0, 18.0), "above"),
     ((4.0, 5.0, 7.0), "below"), ((4.0, 5.0, 8.0), "inside")],
)  # fmt: skip
def test_a_count_is_outside_only_where_the_ranges_do_not_touch(
    counted: tuple[float, float, float], side: str
) -> None:
    held = Held(
        field="East", weed=WEED, year=2027, stops=8, promised=(8.0, 10.0, 12.0), by_plan=True, counted=counted
    )
    assert held.side == side


def test_one_year_outside_is_to_look_again_and_two_running_to_plan_anew() -> None:
    many = (20,) * 20
    once = stock([row("East", 2027, "oat_alfalfa")], [visit("East", 2027, many)])
    assert once.followup.years_outside("East", WEED) == 1
    rows = [row("East", 2028, "alfalfa_1")]
    twice = stock(rows, [visit("East", 2027, many), visit("East", 2028, many)])
    assert twice.followup.years_outside("East", WEED) == 2
    back = stock(rows, [visit("East", 2027, many), visit("East", 2028, (1, 2, 2, 1, 1, 2))])
    assert back.followup.years_outside("East", WEED) == 0
    assert [each.by_plan for each in back.followup.held] == [True, True]


def test_two_stages_of_one_year_are_one_verdict_and_sides_do_not_add_up() -> None:
    known = stock([row("East", 2027, "oat_alfalfa")], [visit("East", 2027, (20,) * 20)]).followup
    above = known.held[0]
    assert above.side == "above"
    assert replace(known, held=(above, above)).years_outside("East", WEED) == 1
    below = replace(above, year=2028, counted=(0.1, 0.2, 0.3))
    assert below.side == "below"
    assert replace(known, held=(above, below)).years_outside("East", WEED) == 1
    again = replace(above, year=2028)
    assert replace(known, held=(above, again)).years_outside("East", WEED) == 2


# ---------------------------------------------------------------- files


def test_what_no_row_tells_of_was_done_as_planned() -> None:
    done = paths_done(small(FEW), (row("West", 2028, "oat"),), followed(), TABLES)
    assert done["East"] == ("oat_alfalfa", "alfalfa_1")
    assert done["West"] == ("soybean", "oat")


def test_a_row_that_says_nothing_of_what_grew_tells_of_what_was_planned(tmp_path: Path) -> None:
    text = "field,year,practice_or_crop,note,sown_on\nWest,2027,,wet,2027-05-28\n"
    (told,) = read_done(written(tmp_path, text), small(FEW), TABLES)
    assert (told.name, told.note) == ("", "wet")
    assert paths_done(small(FEW), (told,), followed(), TABLES)["West"] == ("soybean",)
    taken = stock([told])
    (other,) = taken.followup.otherwise
    assert (other.field, other.planned, other.done) == ("West", "soybean", "soybean")


def test_a_bare_crop_is_grown_as_planned_where_the_plan_has_it() -> None:
    plan = followed({**PLANNED, "West": ("soybean_wide", "corn_grain", "soybean")})
    key = next(k for k, p in TABLES.practices.items() if p.crop == "soybean" and k != "soybean")
    plan = replace(plan, practices={**plan.practices, ("West", 2027): key})
    done = paths_done(small(FEW), (row("West", 2027, "soybean"),), plan, TABLES)
    assert done["West"] == (key,)


def written(folder: Path, text: str) -> Path:
    path = folder / "done.csv"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "no column"),
        ("field,year,note\n", "no column practice_or_crop"),
        ("field,year,practice_or_crop,note\n", "no row"),
        ("field,year,practice_or_crop\nNorht,2027,oats\n", 'Did you mean "North"'),
        ("field,year,practice_or_crop\nEast,2026,oats\n", "2027"),
        ("field,year,practice_or_crop\nEast,next,oats\n", "line 2, column year"),
        ("field,year,practice_or_crop\nEast,2027,soybeens\n", "Did you mean"),
        ("field,year,practice_or_crop\nEast,2027,oats\nEast,2027,corn\n", "stands once"),
        ("field,year,practice_or_crop,note\nEast,2027,oats,late, and wet\n", "5 cells"),
    ],
)
def test_faults_of_a_file_of_years_done_are_told(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        read_done(written(tmp_path, text), small(), TABLES)


def test_a_file_of_years_done_is_read_with_semicolons_and_other_words(tmp_path: Path) -> None:
    path = written(tmp_path, "Field;Year;practice_or_crop;note\n east ;2027;oats;second cut missed\n\n")
    assert read_done(path, small(), TABLES) == (row("East", 2027, "oat", "second cut missed"),)


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_a_mutated_file_of_years_done_is_read_or_refused(data: st.DataObject) -> None:
    text = "field,year,practice_or_crop,note\nEast,2027,oats,late\nNorth,2028,corn,\n"
    place = data.draw(st.integers(0, len(text)))
    put = data.draw(st.text(max_size=3))
    cut = data.draw(st.integers(0, 4))
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "done.csv"
        path.write_bytes((text[:place] + put + text[place + cut :]).encode("utf-8", "surrogatepass"))
        try:
            assert read_done(path, small(), TABLES)
        except InputError as fault:
            assert "done.csv" in str(fault)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{", "no JSON"),
        ("{}", "another kind of JSON"),
        ('{"schema": "rotation_opt result"}', "not whole"),
        (
            '{"schema": "rotation_opt result", "alternatives": [{"title": "Balanced", "key": "b"}]}',
            "not whole",
        ),
        (
            '{"schema": "rotation_opt result", "alternatives": [{"title": "Balance", "key": "b"}]}',
            "Did you mean",
        ),
    ],
)
def test_a_plan_file_that_is_none_is_refused(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "last.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=said):
        read_plan(path, "Balanced", small(), TABLES)


# ---------------------------------------------------------------- the command


def refusing(keep: Sequence[str]) -> str:
    """The farm file of the small farm with few things to grow, so that a plan takes a moment."""
    crops = {TABLES.practices[key].crop for key in keep}
    others = sorted(frozenset(TABLES.practices) - frozenset(keep) - crops)
    return TEXT + f"refuses = {json.dumps(others)}\n"


def test_a_plan_is_followed_and_planned_anew_from_the_command_line(tmp_path: Path) -> None:
    farm, last, new = (tmp_path / name for name in ("home.toml", "last.json", "new.json"))
    farm.write_text(refusing(("spring_barley", "soybean", "corn_grain")), encoding="utf-8")
    run = CliRunner()
    first = run.invoke(main, ["plan", str(farm), "--save", str(last)])
    assert first.exit_code == 0, first.output
    (tmp_path / "home.scouting.csv").write_text(
        "date,observer,field,patch,weed,stage,frame_m2,count\n"
        + "".join(f"2027-06-24,A,East,,Canada thistle,bud,0.25,{count}\n" for count in (19, 22, 15, 30, 21)),
        encoding="utf-8",
    )
    done = written(tmp_path, "field,year,practice_or_crop,note\nWest,2027,spring barley,too wet for beans\n")
    words = ["replan", str(farm), "--done", str(done), "--last", str(last)]
    words += ["--decided-on", "2027-11-20", "--plan", "Most money"]
    found = run.invoke(main, [*words, "--save", str(new), "--width", "100"])
    assert found.exit_code == 0, found.output
    assert found.output.index("What became of the plan, 2027") < found.output.index("Side by side")
    for said in (
        "East: C. thistle: above the promise in 2027. Look again.",
        "too wet for beans",
        "2028 to 2030",
    ):
        assert said in found.output
    content = json.loads(new.read_text(encoding="utf-8"))
    was = {field["name"]: field["history"][-1] for field in content["farm"]["fields"]}
    assert was["West"] == "spring_barley"
    assert content["farm"]["first_year"] == 2028
    plan = read_plan(new, "As now", small(FEW), TABLES)  # a year later that one is the plan followed
    later = paths_done(small(FEW), (row("West", 2028, "corn_grain"),), plan, TABLES)
    assert later["West"] == ("spring_barley", "corn_grain")
    assert "As of" in found.output
    assert content["farm"]["decided_on"] == "2027-11-20"
    wrong = run.invoke(main, [*words[:-1], "Most mony"])
    assert wrong.exit_code == 1
    assert 'Did you mean "Most money"?' in wrong.output
    assert "Traceback" not in wrong.output


def test_a_plan_is_planned_anew_without_a_log_and_says_so(tmp_path: Path) -> None:
    farm, last = tmp_path / "home.toml", tmp_path / "last.json"
    farm.write_text(refusing(("spring_barley", "soybean", "corn_grain")), encoding="utf-8")
    run = CliRunner()
    assert run.invoke(main, ["plan", str(farm), "--save", str(last)]).exit_code == 0
    done = written(tmp_path, "field,year,practice_or_crop,note\nWest,2027,spring barley,\n")
    words = ["replan", str(farm), "--done", str(done), "--last", str(last), "--plan", "Most money"]
    found = run.invoke(main, [*words, "--decided-on", "2027-11-20"])
    assert found.exit_code == 0, found.output
    assert "There is no home.scouting.csv beside the farm file" in found.stderr
    assert "No count of the years done could be held against the plan" in found.stdout.replace("\n", " ")
    wrong = run.invoke(main, [*words, "--decided-on", "2026-11-20"])
    assert wrong.exit_code == 1
    assert "allowed is a day of 2027 or of 2028" in wrong.stderr
    wrong = run.invoke(main, [*words, "--log", str(tmp_path / "none.csv")])
    assert wrong.exit_code != 0
    assert "none.csv" in wrong.stderr
