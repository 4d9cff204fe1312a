"""Days on which a field was really sown, cut and harvested: read, held against the calendar, and followed."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from click.testing import CliRunner
from fake_result import result as fake_result
from hypothesis import given, settings
from hypothesis import strategies as st
from small_farm import TABLES, small, with_field
from test_replanning import followed, refusing, row, written

import rotation_opt
from rotation_opt import farm as farm_room
from rotation_opt.cli import main
from rotation_opt.dates_told import Told
from rotation_opt.errors import InputError
from rotation_opt.farm_arrays import selection_data
from rotation_opt.groundwork import Groundwork, lay
from rotation_opt.practices import YEAR, DatedPractice, date_practice, dated_practices, first_day_at
from rotation_opt.promises import Otherwise
from rotation_opt.records import Farm, Programme
from rotation_opt.replanning import Taken, take_stock
from rotation_opt.report.followup import _other_days
from rotation_opt.report.summary import Reading
from rotation_opt.report.wording import Wording
from rotation_opt.season import respond
from rotation_opt.seasons_done import SeasonsDone, _Season, as_done
from rotation_opt.state_estimate import foretold
from rotation_opt.weeds.parameters import LIKELY
from rotation_opt.years_done import Done, read_done

WEED = "creeping_thistle"
GROWN = ("spring_barley", "winter_wheat", "soybean", "oat_alfalfa", "alfalfa_1", "alfalfa_2")
USUAL_CUTS = (
    "2027-06-07",
    "2027-07-13",
    "2027-08-15",
)  # of alfalfa in this climate, as the program dates them
PLANS: Mapping[str, Sequence[str]] = {
    "East": ("winter_wheat", "spring_barley", "soybean"),
    "West": ("soybean", "spring_barley", "soybean"),
    "North": ("spring_barley", "soybean", "soybean"),
}


def told(field: str, year: int, name: str, **dates: object) -> Done:
    return Done(field=field, year=year, name=name, note="", dates=Told(**dates))  # type: ignore[arg-type]


def cereal_farm() -> Farm:
    return with_field(small(GROWN), "East", history=("corn_grain", "soybean", "spring_barley"))


def hay_farm() -> Farm:
    return with_field(small(GROWN), "East", history=("corn_grain", "spring_barley", "oat_alfalfa"))


def stock(*rows: Done, farm: Farm | None = None, plans: Mapping[str, Sequence[str]] = PLANS) -> Taken:
    return take_stock(farm or cereal_farm(), TABLES, followed(plans), visits=[], rows=rows)


def roots(taken: Taken) -> tuple[float, float, float]:
    """Of the thistle on East, low, likely and high."""
    return next(each.after for each in taken.followup.roots if each.field == "East")


@cache
def wheat_roots(**dates: str) -> tuple[float, float, float]:
    return roots(stock(told("East", 2027, "winter_wheat", **dates)))


@cache
def hay_roots(*cuts: str) -> tuple[float, float, float]:
    plans = {**PLANS, "East": ("alfalfa_1", "alfalfa_2", "alfalfa_2")}
    return roots(stock(told("East", 2027, "alfalfa_1", cut_on=cuts), farm=hay_farm(), plans=plans))


@cache
def laid() -> Groundwork:
    """A farm that can grow all there is; only what it may grow and when is worked out of that."""
    ground = lay(small(("spring_barley", "soybean", "corn_grain")), TABLES)
    every = small(TABLES.practices, feed_need_t=50.0)  # stock, so that something is grazed
    return replace(ground, practice_list=dated_practices(every, ground.tables, ground.climate))


def seasons(*rows: Done, grown: Sequence[str] = (), history: str = "spring_barley") -> SeasonsDone:
    """Of East, where nothing else is told."""
    keys = grown or [each.name for each in rows]
    others = {"West": ("soybean", "spring_barley"), "North": ("spring_barley", "soybean")}
    farm = with_field(laid().farm, "East", history=(history,))
    done = {"East": tuple(keys), **{field: path[: len(keys)] for field, path in others.items()}}
    return as_done(replace(laid(), farm=farm), done, rows)


def usual(key: str) -> DatedPractice:
    return laid().practice_list.of(key)


def iso(day: int, year: int = 2027) -> str:
    """By the calendar of Python, so that the one of the program is held against it; no leap year is near."""
    return (date(year, 1, 1) + timedelta(days=day)).isoformat()


# ---------------------------------------------------------------- what it does to the weeds


def test_a_fall_cereal_sown_later_leaves_more_root() -> None:
    """Thin in spring, it lets the thistle more light while that builds its store up again."""
    likely = [wheat_roots(sown_on=day)[1] for day in ("2026-09-19", "2026-10-10", "2026-11-10")]
    assert likely == sorted(likely)
    assert likely[-1] > 1.15 * likely[0]
    light = [
        respond([season], laid().climate, laid().tables, [WEED], [LIKELY]).light[0, 0]
        for day in ("2026-10-10", "2026-11-10")
        for season in seasons(told("East", 2027, "winter_wheat", sown_on=day)).programmes.values()
    ]
    assert light[1] > light[0]


def test_hay_cut_later_the_last_time_leaves_less_root() -> None:
    """What comes up again has fewer days to feed the root before 1 November."""
    usual_root, late_root = (hay_roots(*USUAL_CUTS[:2], last)[1] for last in ("2027-08-15", "2027-09-15"))
    assert late_root < 0.9 * usual_root


def test_days_told_that_are_the_usual_ones_change_nothing() -> None:
    as_planned = roots(stock(row("East", 2027, "winter_wheat")))
    assert wheat_roots(sown_on="2026-09-19", harvested_on="2027-07-22") == as_planned
    wheat = usual("winter_wheat")
    assert (iso(wheat.sowing_day or 0), iso(wheat.harvest_day)) == ("2026-09-19", "2027-07-22")
    same = seasons(told("East", 2027, "winter_wheat", sown_on="2026-09-19", harvested_on="2027-07-22"))
    assert not same.programmes
    assert not same.days
    assert tuple(iso(day) for day in usual("alfalfa_1").cut_days) == USUAL_CUTS
    assert not seasons(told("East", 2027, "alfalfa_1", cut_on=USUAL_CUTS), history="oat_alfalfa").days


def test_a_season_counted_anew_from_its_usual_days_is_the_usual_one() -> None:
    ground, known = small_ground(), small_ground().practice_list
    for before in known.all:
        for this in known.all:
            pair = int(ground.pair_index[known.index[before.key], known.index[this.key]])
            if pair >= 0:
                season = _Season(ground, this, row("East", 2027, this.key))
                assert season.programme(before, this) == ground.programmes[pair]
    for each in laid().practice_list.all:
        again, _ = date_practice(
            each.practice, laid().climate, laid().tables, known.calendar, sown=each.sowing_day
        )
        assert replace(again, available=each.available) == each


def test_a_season_told_to_the_courses_as_it_usually_is_leaves_the_likely_course_bit_for_bit() -> None:
    ground = small_ground()
    data = selection_data(ground)
    beans = data.practice_keys.index("soybean")
    paths = [(beans,) for _ in data.fields]
    pairs = [int(data.pair_index[land.history[-1], beans]) for land in data.fields]
    told_so = {(0, 0): ground.programmes[pairs[0]]}
    plain, fixed = (foretold(ground, data, paths, as_done=each).courses[0] for each in (None, told_so))
    for name in ("autumn", "reserve", "shoots"):
        assert (getattr(plain, name)[..., 0] == getattr(fixed, name)[..., 0]).all()


def test_the_plan_starts_from_other_roots_where_days_are_told() -> None:
    east = stock(told("East", 2027, "winter_wheat", sown_on="2026-11-10")).rest.farm.fields[0]
    assert east.patches[0].roots is not None
    assert east.patches[0].roots.in_autumn == wheat_roots(sown_on="2026-11-10")[1]


# ---------------------------------------------------------------- the seasons


def only(found: SeasonsDone) -> Programme:
    (season,) = found.programmes.values()
    return season


def test_what_follows_from_the_sowing_moves_with_it() -> None:
    late = only(seasons(told("East", 2027, "spring_barley", sown_on="2027-05-02"), history="soybean"))
    barley, tables = usual("spring_barley"), laid().tables
    sown = 121  # 2 May
    assert (late.sowing_day, barley.sowing_day) == (sown, 101)
    base, upper = (
        tables.number("crop", "spring_barley", name) for name in ("base_temperature", "upper_temperature")
    )
    heat = laid().climate.season_heat(base, upper)
    up = first_day_at(heat, tables.number("crop", "spring_barley", "heat_emergence"), sown)
    ripe = first_day_at(heat, tables.number("crop", "spring_barley", "heat_maturity"), sown)
    assert ripe is not None
    assert late.harvest_day == ripe + tables.number("crop", "spring_barley", "dry_down_days")
    assert up is not None
    last_harrow = max(op.day for op in late.operations if op.part == "in_crop")
    assert last_harrow - up == max(
        op.day - (barley.emergence_day or 0)
        for op in small_season("soybean", "spring_barley").operations
        if op.part == "in_crop"
    )
    (piece,) = (each for each in late.canopies if each.crop == "spring_barley")
    assert (piece.start_day, piece.end_day) == (sown, late.harvest_day)


def test_a_late_harvest_starts_the_next_season_later() -> None:
    found = seasons(
        told("East", 2027, "winter_wheat", harvested_on="2027-08-21"),
        grown=("winter_wheat", "spring_barley"),
    )
    first, second = found.programmes[0, 0], found.programmes[0, 1]
    assert (first.harvest_day, second.start_day) == (232, 232 - YEAR)
    assert all(op.day > second.start_day for op in second.operations)
    assert second.sowing_day == usual("spring_barley").sowing_day
    assert set(found.days) == {("East", 2027)}
    assert set(found.programmes) == {(0, 0), (0, 1)}


def test_a_stand_sown_earlier_than_the_crop_before_usually_comes_off_found_it_gone() -> None:
    """Of the last crop before the years done no harvest can be told."""
    early = only(seasons(told("East", 2027, "winter_rye", sown_on="2026-09-01"), history="buckwheat"))
    assert usual("buckwheat").harvest_day - YEAR >= (early.sowing_day or 0)
    assert early.start_day == (early.sowing_day or 0) - 1
    assert {op.day for op in early.operations if op.part == "sow"} == {early.sowing_day}


def test_passes_of_a_cut_go_with_it() -> None:
    cuts = ("2027-06-17", "2027-07-20", "2027-09-01")
    hay = only(seasons(told("East", 2027, "alfalfa_1", cut_on=cuts), history="oat_alfalfa"))
    assert [iso(op.day) for op in hay.operations if op.operation == "mow_condition"] == list(cuts)
    assert [op.day for op in hay.operations if op.operation == "bale"] == [169, 202, 245]
    assert hay.harvest_day == 245
    (stand,) = hay.canopies
    assert tuple(iso(day) for day in stand.cut_days) == cuts


@pytest.mark.parametrize(
    ("key", "history", "operation", "days"),
    [
        ("grass_clover_2_mown_bud", "grass_clover_1", "mow_leave", ("2027-06-12", "2027-07-20")),
        (
            "grass_clover_2_grazed_topped",
            "grass_clover_1",
            "graze_light",
            ("2027-05-03", "2027-06-01", "2027-07-01", "2027-08-01", "2027-09-03"),
        ),
    ],
)
def test_mowing_and_grazing_that_go_by_weed_or_calendar_are_on_the_days_told(
    key: str, history: str, operation: str, days: tuple[str, ...]
) -> None:
    found = only(seasons(told("East", 2027, key, cut_on=days), history=history))
    assert [iso(op.day) for op in found.operations if op.part == "harvest"] == list(days)
    assert {op.operation for op in found.operations if op.part == "harvest"} == {operation}
    assert iso(found.harvest_day) == days[-1]


def test_each_field_has_its_own_days() -> None:
    """A timetable keeps the work of a practice by its key, whatever its days."""
    rows = [
        told("East", 2027, "soybean", sown_on="2027-05-25"),
        told("West", 2027, "soybean", sown_on="2027-06-05"),
    ]
    done = dict.fromkeys(("East", "West", "North"), ("soybean",))
    found = as_done(laid(), done, rows).programmes
    for (field, _), day in zip(sorted(found), (144, 155), strict=True):
        season = found[field, 0]
        assert season.sowing_day == day
        assert max(op.day for op in season.operations if op.part == "sow") == day


def test_the_29th_of_february_is_a_day_like_others() -> None:
    found = seasons(
        told("East", 2028, "winter_rye", sown_on="2028-02-29"), grown=("spring_barley", "winter_rye")
    )
    assert found.programmes[0, 1].sowing_day == 59


# ---------------------------------------------------------------- what cannot be


def sentence(*rows: Done, **more: object) -> str:
    with pytest.raises(InputError) as caught:
        seasons(*rows, **more)  # type: ignore[arg-type]
    return str(caught.value)


@pytest.mark.parametrize(
    ("key", "dates", "said"),
    [
        ("winter_wheat", {"sown_on": "2027-09-19"}, "sown_on: found 2027-09-19; allowed is a day from"),
        ("winter_wheat", {"sown_on": "2025-09-19"}, r"to April 1, 2027 \(usual here: September 19\)"),
        ("spring_barley", {"sown_on": "2026-10-19"}, r"from February 26, 2027 .*usual here: April 12"),
        ("spring_barley", {"sown_on": "2027-12-24"}, "does not come up before the year is over"),
        ("spring_barley", {"sown_on": "2027-09-01"}, "harvested_on: found nothing; .*Say when it was"),
        ("spring_barley", {"sown_on": "2027-05-20", "harvested_on": "2027-05-10"}, "2027-05-10; .*usual"),
        ("winter_wheat", {"harvested_on": "2027-04-02"}, r"from June 7, 2027 to December 31, 2027"),
        ("winter_wheat", {"harvested_on": "2028-01-02"}, r"from June 7, 2027 to December 31, 2027"),
        ("winter_wheat", {"cut_on": ("2027-06-10",)}, '"winter wheat" is not cut'),
        ("fallow", {"sown_on": "2027-05-10"}, "is not sown in that season"),
        ("fallow", {"harvested_on": "2027-09-10"}, "is not threshed, so it stays empty.$"),
        ("alfalfa_1", {"harvested_on": "2027-09-10"}, "not threshed.*Its cuts stand in cut_on"),
        ("alfalfa_1", {"sown_on": "2027-04-20"}, "is not sown in that season"),
        ("alfalfa_1", {"cut_on": USUAL_CUTS[:2]}, "2 dates; .* 3 cuts.*June 7.*write alfalfa_1_two_cuts"),
        ("alfalfa_1", {"cut_on": USUAL_CUTS[:1]}, "No way to grow it has 1 cut: name the nearest one"),
        ("alfalfa_1", {"cut_on": ("2027-01-07", *USUAL_CUTS[1:])}, "2027-01-07; allowed is a day from April"),
        ("alfalfa_1", {"cut_on": (*USUAL_CUTS[:2], "2027-12-31")}, "to December 29, 2027"),
        ("alfalfa_spring", {"sown_on": "2027-08-01"}, "cut_on: found nothing; .*Say when it was cut"),
        ("alfalfa_spring", {"sown_on": "2027-05-20", "cut_on": ("2027-05-22", "2027-08-01")}, "05-22;"),
    ],
)  # fmt: skip
def test_days_that_cannot_be_are_told_with_the_usual_ones(
    key: str, dates: Mapping[str, object], said: str
) -> None:
    history = "oat_alfalfa" if key == "alfalfa_1" else "soybean"
    text = sentence(told("East", 2027, key, **dates), history=history)
    assert re.search(said, text), text
    assert text.startswith('what was done, field "East", 2027, column ')


def test_a_fault_names_file_and_line_and_writes_dates_as_the_region_does(tmp_path: Path) -> None:
    text = "field,year,practice_or_crop,sown_on\nWest,2027,soybean,\nEast,2027,winter wheat,2027-09-19\n"
    uk = replace(laid(), farm=replace(laid().farm, region="uk"))
    rows = read_done(written(tmp_path, text), uk.farm, TABLES)
    done = {"East": ("winter_wheat",), "West": ("soybean",), "North": ("spring_barley",)}
    with pytest.raises(InputError) as caught:
        as_done(uk, done, rows)
    assert str(caught.value) == (
        "done.csv line 3, column sown_on: found 2027-09-19; allowed is a day from 10 July 2026 to "
        "1 April 2027 (usual here: 19 September)."
    )


def test_a_crop_is_sown_after_the_one_before_came_off() -> None:
    grown = ("spring_barley", "winter_wheat")
    late = told("East", 2027, "spring_barley", harvested_on="2027-10-05")
    text = sentence(late, grown=grown, history="soybean")
    assert 'field "East", 2028, column sown_on: found nothing; "spring barley" is off the field on' in text
    assert "October 5, 2027, after the usual sowing" in text
    text = sentence(late, told("East", 2028, "winter_wheat", sown_on="2027-10-05"), history="soybean")
    assert "found 2027-10-05" in text
    assert "say so in the row of 2027" in text
    found = seasons(late, told("East", 2028, "winter_wheat", sown_on="2027-10-06"), history="soybean")
    assert {op.day for op in found.programmes[0, 1].operations if op.part == "sow"} == {-87}
    text = sentence(told("East", 2028, "winter_wheat", sown_on="2027-07-15"), grown=grown, history="soybean")
    assert '"spring barley" is off the field on August 3, 2027, so allowed is a day after it' in text


def test_faults_of_all_fields_are_told_at_once() -> None:
    rows = [told(field, 2027, "soybean", sown_on="2026-05-25") for field in ("East", "West")]
    text = sentence(*rows, grown=("soybean",))
    assert text.count("column sown_on") == 2


dates = st.lists(
    st.integers(-250, 420).map(iso) | st.sampled_from(("2028-02-29", "0001-01-01", "9999-12-31")),
    max_size=4,
    unique=True,
).map(lambda days: tuple(sorted(days)))  # fmt: skip


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_any_days_of_any_practice_make_a_season_or_a_sentence(data: st.DataObject) -> None:
    keys = st.sampled_from(sorted(laid().practice_list.index))
    grown = [data.draw(keys), data.draw(keys)]
    rows = []
    for year, key in enumerate(grown, 2027):
        near = laid().practice_list.of(key)
        here = {"cut_on": near.cut_days}
        if near.sowing_day is not None:
            here["sown_on"] = (near.sowing_day,)
            if not near.practice.cuts:
                here["harvested_on"] = (near.harvest_day,)
        given_days: dict[str, object] = {}
        for name in data.draw(st.lists(st.sampled_from(sorted(here)), unique=True)):
            late = data.draw(st.integers(-20, 40))
            days = tuple(iso(day + late, year) for day in here[name])
            if data.draw(st.integers(0, 4)) == 0:  # seldom any day at all, or nothing would pass
                days = data.draw(dates)
            given_days[name] = days if name == "cut_on" else "".join(days[:1])
        rows.append(told("East", year, key, **given_days))
    try:
        found = seasons(*rows, history=data.draw(keys))
    except InputError as fault:
        assert all("East" in each.place and "column" in each.place for each in fault.faults)
        return
    for season in found.programmes.values():
        assert all(season.start_day < op.day <= season.harvest_day for op in season.operations)
        assert season.sowing_day is None or season.start_day < season.sowing_day < season.harvest_day
    some = list(found.programmes.values())[:1]
    respond(some, laid().climate, laid().tables, [WEED], [LIKELY])


# ---------------------------------------------------------------- the file

HEADER = "field,year,practice_or_crop,note,sown_on,cut_on,harvested_on"


def read(folder: Path, text: str) -> tuple[Done, ...]:
    return read_done(written(folder, text), small(), TABLES)


@pytest.mark.parametrize("between", [" ", ";", "; ", ", "])
def test_dates_are_read_and_cuts_put_in_order(tmp_path: Path, between: str) -> None:
    cuts = between.join(("2027-07-20", "2027-06-10"))
    (found,) = read(tmp_path, f'{HEADER}\nEast,2027,oats,late,2027-05-02,"{cuts}",2027-08-20\n')
    assert found.dates == Told(
        sown_on="2027-05-02", cut_on=("2027-06-10", "2027-07-20"), harvested_on="2027-08-20"
    )
    assert found.place == "done.csv line 2"


@pytest.mark.parametrize("names", ["Seeded on,mown,threshed", "planting date,cuts,harvest date"])
def test_columns_of_days_go_by_the_names_that_growers_use(tmp_path: Path, names: str) -> None:
    (found,) = read(tmp_path, f"field,year,practice_or_crop,{names}\nEast,2027,oats,2027-05-02,,2027-08-20\n")
    assert (found.dates.sown_on, found.dates.harvested_on) == ("2027-05-02", "2027-08-20")


def test_without_dates_nothing_is_told(tmp_path: Path) -> None:
    for text in (f"{HEADER}\nEast,2027,oats,,,,\n", "field,year,practice_or_crop\nEast,2027,oats\n"):
        (found,) = read(tmp_path, text)
        assert not found.dates


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("East,2027,oats,,2 May 2027,,", 'line 2, column sown_on: found "2 May 2027"; allowed is a date'),
        ("East,2027,oats,,2027-02-30,,", "column sown_on"),
        ("East,2027,oats,,20.5.2027,,", "Write 2027-05-20"),
        ("East,2027,oats,,2027-05-02 2027-05-03,,", "2 dates; allowed is one date"),
        ("East,2027,oats,,,,2027-08-02 2027-08-03", "all cuts of a season stand in cut_on"),
        ("East,2027,oats,,,2027-06-10 2027-06-10,", "2027-06-10 twice"),
        ("East,2027,oats,,,2027-06-10 soon,", 'column cut_on: found "2027-06-10 soon"'),
    ],
)
def test_dates_that_are_none_are_told(tmp_path: Path, line: str, said: str) -> None:
    with pytest.raises(InputError, match=re.escape(said)):
        read(tmp_path, f"{HEADER}\n{line}\n")


@pytest.mark.parametrize(
    ("header", "said"),
    [("sown_onn", "Did you mean sown_on"), ("harvst_on", "Did you mean harvested_on"),
     ("sown_on,seeded", "two columns sown_on")],
)  # fmt: skip
def test_a_misspelt_column_of_days_is_not_passed_over(tmp_path: Path, header: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        read(tmp_path, f"field,year,practice_or_crop,{header}\nEast,2027,oats,2027-05-02\n")


def test_a_column_of_the_growers_own_may_stay(tmp_path: Path) -> None:
    (found,) = read(tmp_path, "field,year,practice_or_crop,acres\nEast,2027,oats,12\n")
    assert found.name == "oat"


def test_the_file_of_the_readme_is_read(tmp_path: Path) -> None:
    readme = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")
    text = readme[readme.index("field,year,practice_or_crop") :].partition("```")[0]
    farm = farm_room.read(rotation_opt.example_farm("tamarack_hollow"), TABLES)
    found = read_done(written(tmp_path, text), farm, TABLES)
    assert [bool(each.dates) for each in found] == [True] * 3
    assert len(found[1].dates.cut_on) == 3


@settings(max_examples=100, deadline=None)
@given(st.data())
def test_a_mutated_file_is_followed_or_refused(data: st.DataObject) -> None:
    text = (
        f"{HEADER}\nEast,2027,winter wheat,late,2026-10-10,,2027-08-01\n"
        "West,2027,soybean,,2027-05-25,,\nNorth,2027,alfalfa_1,,,2027-06-10 2027-07-16 2027-08-20,\n"
    )
    for _ in range(data.draw(st.integers(0, 2))):
        place, cut = data.draw(st.integers(0, len(text))), data.draw(st.integers(0, 4))
        put = data.draw(st.text(max_size=3) | st.text("0123456789-; ,", max_size=3))
        text = text[:place] + put + text[place + cut :]
    with TemporaryDirectory() as folder:
        path = Path(folder) / "done.csv"
        path.write_bytes(text.encode("utf-8", "surrogatepass"))
        try:
            rows = read_done(path, laid().farm, TABLES)
            done = {"East": ("winter_wheat",), "West": ("soybean",), "North": ("alfalfa_1",)}
            as_done(laid(), done, rows)
        except InputError as fault:
            assert "done.csv" in str(fault)


# ---------------------------------------------------------------- what is told of it


@pytest.mark.parametrize(
    ("region", "said"),
    [
        ("us", ["sown Oct 20, usual Sep 19", "cut Jun 18 and Aug 2, usual Jun 7 and Jul 13"]),
        ("uk", ["sown 20 Oct, usual 19 Sep", "cut 18 Jun and 2 Aug, usual 7 Jun and 13 Jul"]),
    ],
)
def test_the_page_says_days_as_the_region_does(region: str, said: Sequence[str]) -> None:
    result = fake_result()
    farm = replace(result.farm, region=region)  # type: ignore[arg-type]
    reading = Reading(result, Wording(farm, TABLES))
    other = Otherwise(
        field="East",
        year=2027,
        planned="winter_wheat",
        done="winter_wheat",
        note="",
        sown_on="2026-10-20",
        usual_sown_on="2026-09-19",
        cut_on=("2027-06-18", "2027-08-02"),
        usual_cut_on=("2027-06-07", "2027-07-13"),
    )
    assert _other_days(reading, other) == said
    assert other.other_days


def test_only_days_that_are_not_the_usual_ones_are_told_again() -> None:
    found = stock(told("East", 2027, "winter_wheat", sown_on="2026-10-20", harvested_on="2027-07-22"))
    (other,) = found.followup.otherwise
    assert (other.planned, other.done) == ("winter_wheat", "winter_wheat")
    assert (other.sown_on, other.usual_sown_on) == ("2026-10-20", "2026-09-19")
    assert (other.harvested_on, other.usual_harvested_on, other.cut_on) == ("", "", ())


def test_a_plan_is_planned_anew_with_days_told_from_the_command_line(tmp_path: Path) -> None:
    farm, last, new = (tmp_path / name for name in ("home.toml", "last.json", "new.json"))
    farm.write_text(refusing(("spring_barley", "soybean")), encoding="utf-8")
    run = CliRunner()
    first = run.invoke(main, ["plan", str(farm), "--save", str(last)])
    assert first.exit_code == 0, first.output
    (tmp_path / "home.scouting.csv").write_text(
        "date,observer,field,patch,weed,stage,frame_m2,count\n2027-06-24,A,East,,Canada thistle,bud,0.25,4\n",
        encoding="utf-8",
    )
    words = ["replan", str(farm), "--last", str(last), "--plan", "As now", "--page", "followup"]
    wrong = written(tmp_path, "field,year,practice_or_crop,sown_on\nEast,2027,soybean,2026-05-20\n")
    found = run.invoke(main, [*words, "--done", str(wrong)])
    assert found.exit_code == 1
    assert (
        "done.csv line 2, column sown_on: found 2026-05-20; allowed is a day from April 5, 2027"
        in found.stderr
    )
    assert "usual here: May 20" in found.stderr
    done = written(tmp_path, "field,year,practice_or_crop,sown_on\nEast,2027,soybean,2027-05-29\n")
    found = run.invoke(main, [*words, "--done", str(done), "--save", str(new), "--width", "100"])
    assert found.exit_code == 0, found.output
    assert "sown May 29, usual May 20" in found.stdout
    (other,) = json.loads(new.read_text(encoding="utf-8"))["followup"]["done_otherwise"]
    assert (other["sown_on"], other["usual_sown_on"], other["cut_on"]) == ("2027-05-29", "2027-05-20", [])


@cache
def small_ground() -> Groundwork:
    return lay(small(("spring_barley", "soybean", "corn_grain")), TABLES)


def small_season(before: str, this: str) -> Programme:
    ground, place = small_ground(), small_ground().practice_list.index
    return ground.programmes[int(ground.pair_index[place[before], place[this]])]
