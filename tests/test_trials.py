"""Published weed trials: copied right, runnable, and run as the season room would run them."""

from __future__ import annotations

import csv
import functools
import json
import math
import re
import shutil
import statistics
from dataclasses import replace
from pathlib import Path

import numpy as np
import paste_trials
import pytest
from click.testing import CliRunner

from rotation_opt import bands, cli, fitting, tables
from rotation_opt.climate import for_station
from rotation_opt.errors import TableError
from rotation_opt.records import DatedOperation, Programme
from rotation_opt.report.terminal import render
from rotation_opt.report.trials_page import _percent, trials_page
from rotation_opt.season import trace
from rotation_opt.trials import (
    BAND,
    Trial,
    TrialBench,
    TrialResult,
    at_the_edge,
    log_errors,
    order_errors,
    orders_kept,
    run_trials,
    score,
)
from rotation_opt.trials.outcome import station_gain
from rotation_opt.weeds.parameters import DYNAMIC, weed_parameters
from rotation_opt.weeds.reserve import STEPS_A_DAY, settle

TABLES = tables.read()
TRIALS = TABLES.trials
FOLDER = Path(str(tables.folder()))
WEEDS = sorted({trial.weed for trial in TRIALS.values() if trial.runs})

TRADE_ROWS = 16

# Percent left of what it is compared with; None where the source gives an order only.
PUBLISHED = {
    "S01": ("bicksler2009", 20.0),  # Bicksler & Masiunas 2009: "less than 20%" for two growing seasons
    "S02": ("debruijn2006", 100 * 10 / 35),  # De Bruijn & Bork 2006: fewer than 10 stems from 30-40/m2
    "S03": ("debruijn2006", 100 * 5 / 35),  # 5 stems
    "S04": ("debruijn2006", float(round(100 * 1.5 / 35))),  # 1-2 stems
    "S05": ("debruijn2006", 100.0),  # no change
    "S06": ("debruijn2006", 100.0),  # no change
    "S07": ("pywell2010", None),  # Pywell et al. 2010: fell under lenient, held or rose under hard grazing
    "S08": ("pywell2010", None),  # cutting among the least effective
    "S09": ("bourdot2016", 100.0),  # Bourdot et al. 2016: one mowing a year holds the stand
    "S10": ("bourdot2016", 50.0),  # two mowings halve it
    "S11": ("mow_bulletin", 50.0),  # advice: halves in 4-5 years
    "S12": ("welton1929", None),  # Welton et al. 1929, recalled: practically eliminated
    "S13": ("hodgson1968", 1.0),  # Hodgson 1968, recalled
    "S14": ("graglia2006", 100 - 73),  # Graglia et al. 2006: 73 % less mass the year after
    "S14b": ("graglia2006", 100 - 73 * 3 / 6),  # linear in the number of passes
    "S14c": ("graglia2006", None),  # grass-clover adds to it
    "S15": ("thomsen2011", 100 - (81 + 99) / 2),  # Thomsen et al. 2011: 81-99 % less
    "S16": ("thomsen2011", 100 - (95 + 100) / 2),  # 95-100 % less
    "S17": ("gruber2008", 100 * 2 / 24.5),  # Gruber & Claupein 2008: under 2 g against 23-26 g/m2
    "S18": ("gruber2008", 100 - (30 + 80) / 2),  # 30-80 % less
    "S19": ("knudson2012", 100 - 60),  # Knudson et al. 2012: 60 % less
    "S20": ("knudson2012", 100.0),  # no effect
    "S21": ("iwm_psu2017", 100.0),  # as effective as tillage every 3 weeks
    "S22": ("ominski1999", None),  # Ominski et al. 1999: lower after alfalfa
    "S23": ("ominski1999", None),
    "S24": ("bakke1945", 100 * 0.7 / 1700.9),  # Bakke & Gaessler 1945: g per 24 sq ft
    "S25": ("bakke1945", 100 * 0.45 / 141.4),
    "S26": ("bakke1945", 100 * 1418.5 / 1700.9),
    "S28": ("gallmite_fs", 100 - 90),  # reduced by 90 % over 10 years, best case
    "S29": ("calag1993", None),  # California Agriculture 1993: regrew
    "S30": ("ringselle2016", 100 - (50 + 70) / 2),  # Ringselle et al. 2016: 50-70 % less
    "S30b": ("ringselle2016", None),  # a second pass added nothing
    "S30c": ("ringselle2016", None),  # at harvest tended to beat 20 days later
    "S31": ("bergkvist2017", 100 - 95),  # Bergkvist et al. 2017: up to 95 % less
    "S32": ("bergkvist2017", 100 - 60),  # up to 60 % less
    "S33": ("bergkvist2017", 100.0),  # rhizomes did not fall
    "S34": ("ringselle2015", 100 - 35),  # Ringselle et al. 2015: 35 % less
    "S35": ("ringselle2015", 100 + (20 + 30) / 2),  # 20-30 % more
    "S36": ("weill2013", 100 * 0.1 / 3.9),  # Weill 2013: 0.1 against 3.9 plants/m2
    "S37": ("brandsaeter_harrow", 100 - 26),  # Brandsaeter et al. 2012: 26 % less
    "S38": ("brandsaeter_harrow", 100 - 47),
    "S39": ("brandsaeter_harrow", 100 - 61),
    "R01": ("frontiers2023_rootcut", 100 - 57.5),  # Rostock/NIBIO/Luke team 2023: 57.5 % less
    "R02": ("frontiers2023_rootcut", 100 - 66),
    "R03": ("frontiers2023_rootcut", 100 - 57.5),
    "R04": ("frontiers2023_rootcut", 100 - 66),
    "R05": ("meiss2010", None),  # Meiss et al. 2010: indicator value 6 against 22, which is no density
    "R06": ("meiss2010", None),  # 9 against 22
    "R07": ("melander2024", None),  # Melander et al. 2024: no reduction by cover crops
    "R08": ("melander2024", None),  # best: cut green manure and repeated stubble work
    "R09": ("weisberger2019", 100 - 49),  # Weisberger et al. 2019: density 49 % less
    "R10": ("liew2013", None),  # Liew et al. 2013: sow-thistle buds rest from September to November
}
# A figure in the source, but nothing that can be run: pots, a mite, a sheet, slicing, annual weeds.
NOT_RUN = {"S19", "S20", "S28", "S29", "S32", "S33", "S23", "R09", "S37", "S38", "S39"}
# Not published: the percentage is common practice or ours, and no error is ever counted on it.
NOT_PUBLISHED = {
    "S21b": 1.0,
    "S27": 1.0,
    "J1": 30.0,
    "J2": 30.0,
    "J3": 15.0,
    "J4": 14.0,
    "K2": 30.0,
    "K3": 15.0,
    "L2": 30.0,
    "L3": 15.0,
    "N2": 30.0,
    "N3": 15.0,
}
TRADE = {f"T{n:02}" for n in range(1, TRADE_ROWS + 1)}


@pytest.fixture(scope="module")
def results() -> tuple[TrialResult, ...]:
    return run_trials(TABLES)


@functools.cache
def bench(weed: str) -> TrialBench:
    return TrialBench(TABLES, [trial for trial in TRIALS.values() if trial.weed == weed])


# ---------------------------------------------------------------- the tables


def test_the_tables_hold_these_outcomes_and_no_others() -> None:
    assert set(TRIALS) == {*PUBLISHED, *NOT_PUBLISHED, *TRADE}
    assert {f"S{n:02}" for n in range(1, 40)} <= set(TRIALS)


@pytest.mark.parametrize("key", PUBLISHED)
def test_a_published_outcome_is_that_of_its_source(key: str) -> None:
    source, percent = PUBLISHED[key]
    trial = TRIALS[key]
    assert trial.source == source
    assert trial.mark in {"seen", "derived", "memory"}
    if percent is None:
        assert trial.published is None
    else:
        assert trial.published == pytest.approx(percent, rel=0.03)  # tables round to two figures


def test_what_is_not_published_never_counts() -> None:
    for key, percent in NOT_PUBLISHED.items():
        assert TRIALS[key].published == percent
        assert TRIALS[key].mark in {"judgement", "practice"}
        assert not TRIALS[key].counted
    for key in TRADE:
        assert (TRIALS[key].source, TRIALS[key].mark, TRIALS[key].use) == ("practice", "practice", "order")


def test_every_published_figure_that_can_be_run_counts() -> None:
    figures = {key for key, (_, percent) in PUBLISHED.items() if percent is not None}
    counted = {key for key, trial in TRIALS.items() if trial.counted}
    assert counted == figures - NOT_RUN
    assert {key for key, trial in TRIALS.items() if not trial.runs} == NOT_RUN


def test_upper_limits_in_the_sources_are_upper_limits_here() -> None:
    # "less than 20%" in the abstract; "fewer than 10 stems" of about 35
    assert {key for key, trial in TRIALS.items() if trial.bound == "<" and trial.counted} == {"S01", "S02"}


def test_outcomes_of_one_paper_are_left_out_together() -> None:
    studies = {key: trial.study for key, trial in TRIALS.items()}
    assert len({studies[key] for key in ("S02", "S03", "S04", "S05", "S06")}) == 1
    for key, trial in TRIALS.items():
        if key in PUBLISHED:
            assert trial.study == trial.source


def test_whatever_is_left_out_gives_its_reason_and_all_else_says_what_is_our_reading() -> None:
    for trial in TRIALS.values():
        assert bool(trial.reason) == (trial.use == "left_out"), trial.key
        assert trial.note or trial.reason, trial.key


def test_each_trial_that_runs_has_a_station_a_weed_and_known_passes_and_crops() -> None:
    for trial in TRIALS.values():
        if not trial.runs:
            continue
        assert trial.station in TABLES.stations, trial.key
        assert trial.weed in TABLES.weeds, trial.key
        for season in (*trial.treated, *trial.against):
            assert all(-61 <= day < 304 for day, _ in season.work), season.key
            assert all(operation in TABLES.operations for _, operation in season.work), season.key
            assert all(piece.crop in TABLES.crops for piece in season.canopies), season.key
            assert season.note or season.light < 1, season.key


def test_every_season_in_the_tables_is_used_by_some_trial() -> None:
    with (FOLDER / "trial_years.csv").open(encoding="utf-8", newline="") as file:
        there = {row["key"] for row in csv.DictReader(file)}
    used = {season.key for trial in TRIALS.values() for season in (*trial.treated, *trial.against)}
    assert used == there


@pytest.mark.parametrize(
    ("file", "found", "put", "said"),
    [
        ("trials.csv", ",reserve,0.01,1,30,", ",reserve,0.01,1,none,", "no published percentage"),
        ("trials.csv", "Boone IA,standing", "Boone IO,standing", "Did you mean 'Boone IA'"),
        (
            "trial_seasons.csv",
            "S36,against,2,alone,1",
            "S36,against,2,alone,2",
            "compares 2 seasons with 3 in trial_seasons.csv",
        ),
        ("trial_work.csv", "mown_3,mow_leave", "mown_3,mow_leaf", "Did you mean 'mow_leave'"),
        ("trial_canopies.csv", "165|228", "165|June", "days joined by"),
    ],
)
def test_a_row_that_cannot_be_run_is_refused_with_its_file(
    file: str, found: str, put: str, said: str, tmp_path: Path
) -> None:
    folder = tmp_path / "crop_tables"
    shutil.copytree(FOLDER, folder)
    text = (folder / file).read_text(encoding="utf-8")
    assert found in text
    (folder / file).write_text(text.replace(found, put, 1), encoding="utf-8")
    with pytest.raises(TableError, match=re.escape(said)) as fault:
        tables.read(folder)
    assert file in str(fault.value)


def test_a_trial_left_out_without_a_reason_is_refused(tmp_path: Path) -> None:
    folder = tmp_path / "crop_tables"
    shutil.copytree(FOLDER, folder)
    path = folder / "trials.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    place = next(n for n, line in enumerate(lines) if line.startswith("S19,"))
    lines[place] = lines[place].rsplit(",left_out,", 1)[0] + ",left_out,none,none,none"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    with pytest.raises(TableError, match="S19 is left out without a reason"):
        tables.read(folder)


# ---------------------------------------------------------------- running them


@pytest.mark.parametrize("weed", WEEDS)
def test_every_season_of_every_trial_runs(weed: str) -> None:
    place = bench(weed)
    percent = place.predict(weed_parameters(TABLES, [weed]))
    assert percent.shape == (len(place.trials), len(TABLES.draws))
    assert np.isfinite(percent).all()
    assert (percent > 0).all()


def after_by_the_season_room(trial: Trial, start: float, seasons: tuple[tables.TrialSeason, ...]) -> float:
    """Reserve on the last 1 November, one season and one day at a time."""
    climate = for_station(trial.station, TABLES)
    reserve = start
    for season in seasons:
        work = tuple(
            DatedOperation(day=day, operation=name, programme="", part="in_crop", stage="")
            for day, name in season.work
        )
        programme = Programme(
            previous="", practice="", start_day=-61, sowing_day=None, harvest_day=304, operations=work,
            canopies=season.canopies, bare_days=0, bare_spans=(),
        )  # fmt: skip
        course = trace(programme, climate, TABLES, trial.weed, reserve, draws=["likely"])
        reserve = float(course.reserve[-1, 0])
    return reserve


@pytest.mark.parametrize("key", ["S30", "S15", "T04", "R10"])
def test_the_bench_says_what_the_season_room_says_day_by_day(key: str) -> None:
    trial = TRIALS[key]
    assert trial.measure == "reserve"
    alone = replace(TRIALS["J2"].treated[0], key="")
    against = trial.against or (alone,) * len(trial.treated)
    by_hand = 100 * (
        after_by_the_season_room(trial, trial.start, trial.treated)
        / after_by_the_season_room(trial, trial.against_start, against)
    )
    place = bench(trial.weed)
    percent = place.predict(weed_parameters(TABLES, [trial.weed], ["likely"]))[place.trials.index(trial), 0]
    assert percent == pytest.approx(by_hand, rel=1e-6)


@pytest.mark.parametrize("weed", WEEDS)
def test_all_stations_together_hold_the_stand_as_each_one_does_by_itself(weed: str) -> None:
    place, figures = bench(weed), weed_parameters(TABLES, [weed])
    together = station_gain(place.fields, figures, STEPS_A_DAY)[:, 0]
    for n, station in enumerate(place.fields.stations):
        assert together[n] == pytest.approx(settle(for_station(station, TABLES), figures).gain[0], rel=1e-7)


def test_many_draws_at_once_come_out_as_one_by_one() -> None:
    weed = "creeping_thistle"
    place, several = bench(weed), weed_parameters(TABLES, [weed])
    together = place.predict(several)
    for n, name in enumerate(several.draws):
        one = place.predict(weed_parameters(TABLES, [weed], [name]))
        assert together[:, n] == pytest.approx(one[:, 0], rel=1e-9)


def test_the_steps_a_fit_searches_with_are_only_a_little_off() -> None:
    place, figures = bench("creeping_thistle"), weed_parameters(TABLES, ["creeping_thistle"])
    assert place.predict(figures, fitting._COARSE) == pytest.approx(place.predict(figures), rel=0.02)


def test_a_pass_less_changes_the_outcome() -> None:
    trial = TRIALS["S14"]
    mown = trial.treated[0]
    fewer = replace(trial, treated=(replace(mown, work=mown.work[:-1]), *trial.treated[1:]))
    figures = weed_parameters(TABLES, [trial.weed], ["likely"])
    six = TrialBench(TABLES, [trial]).predict(figures)[0, 0]
    five = TrialBench(TABLES, [fewer]).predict(figures)[0, 0]
    assert five > six * 1.02


def test_cloth_crops_and_the_start_all_tell() -> None:
    figures = weed_parameters(TABLES, ["field_bindweed"], ["likely"])
    shaded = TRIALS["S26"]
    lit = replace(shaded, treated=(replace(shaded.treated[0], light=1.0),))
    percent = TrialBench(TABLES, [shaded, lit]).predict(figures)[:, 0]
    assert percent[1] == pytest.approx(100.0)
    assert percent[0] < 95.0
    thin = TRIALS["K2"]
    fuller = replace(thin, start=0.1)
    few, more = TrialBench(TABLES, [thin, fuller]).predict(figures)[:, 0]
    assert few < more < 100.0


def test_figures_that_are_not_fitted_may_differ_too() -> None:
    trial = TRIALS["S22"]
    place, figures = TrialBench(TABLES, [trial]), weed_parameters(TABLES, [trial.weed], ["likely"])
    before = place.predict(figures)
    lower = replace(figures, height_m=0.3 * figures.height_m)
    assert place.predict(lower)[0, 0] != pytest.approx(before[0, 0], rel=1e-3)
    assert place.predict(figures) == pytest.approx(before)


def test_trials_of_two_weeds_or_of_none_are_refused() -> None:
    with pytest.raises(ValueError, match="one weed"):
        TrialBench(TABLES, [TRIALS["S14"], TRIALS["S26"]])
    with pytest.raises(ValueError, match="none"):
        TrialBench(TABLES, [TRIALS["S19"]])
    with pytest.raises(ValueError, match="couch_grass"):
        bench("creeping_thistle").predict(weed_parameters(TABLES, ["couch_grass"]))


# ---------------------------------------------------------------- errors and orders


def test_errors_are_logarithms_and_a_limit_that_is_kept_is_no_error() -> None:
    trials = [TRIALS[key] for key in ("S10", "S01", "J4", "S07")]  # 50; < 20; > 14; an order
    percent = np.array([[100.0, 25.0], [10.0, 40.0], [28.0, 7.0], [50.0, 50.0]])
    off = log_errors(trials, percent)
    ln2 = 0.693147
    assert off[:3] == pytest.approx(np.array([[ln2, -ln2], [0.0, ln2], [0.0, -ln2]]), abs=1e-6)
    assert np.isnan(off[3]).all()


def test_orders_are_kept_between_their_limits() -> None:
    trials = [TRIALS["T04"], TRIALS["S08"], TRIALS["S10"]]  # 5 to 60; 100 or more; no order
    percent = np.array([[5.0, 61.0, 4.0], [100.0, 99.0, 300.0], [1.0, 1.0, 1.0]])
    kept = orders_kept(trials, percent)
    assert kept.tolist() == [[True, False, False], [True, False, True], [False] * 3]
    off = order_errors(trials, percent)
    assert off[0] == pytest.approx([0.0, np.log(61 / 60), np.log(4 / 5)])
    assert np.isnan(off[2]).all()


def test_an_order_may_be_taken_of_another_weed() -> None:
    trial = TRIALS["T09"]
    assert (trial.weed, TRIALS[trial.than].weed) == ("field_bindweed", "creeping_thistle")
    percent = np.array([[40.0, 40.0]])
    kept = orders_kept([trial], percent, {trial.than: np.array([30.0, 50.0])})
    assert kept.tolist() == [[True, False]]
    assert not orders_kept([trial], percent).any()  # not known: not kept


def test_only_outcomes_that_count_enter_the_score(results: tuple[TrialResult, ...]) -> None:
    found = score(results)
    counted = [one for one in results if one.trial.counted]
    checks = [one for one in counted if one.trial.use == "check"]
    assert found.study_left_out.outcomes == found.fitted.outcomes == len(counted)
    assert found.checks.outcomes == len(checks) > 0
    for match, column in (
        (found.study_left_out, [one.study_left_out_factor for one in counted]),
        (found.outcome_left_out, [one.outcome_left_out_factor for one in counted]),
        (found.fitted, [one.factor for one in counted]),
        (found.checks, [one.factor for one in checks]),
    ):
        factors = [factor for factor in column if factor is not None]
        assert match.median_factor == pytest.approx(statistics.median(factors))
        assert match.close == pytest.approx(sum(factor <= 2.5 for factor in factors) / len(factors))
    assert found.orders == sum(trial.use == "order" for trial in TRIALS.values())
    worse = [
        replace(one, factor=1e6, study_left_out_factor=1e6) if not one.trial.counted else one
        for one in results
    ]
    assert score(worse) == replace(found, missed=score(worse).missed)
    assert [one.trial.key for one in score(worse).missed] == [one.trial.key for one in found.missed]


def test_what_is_foretold_of_an_outcome_never_comes_from_a_fit_to_it(
    results: tuple[TrialResult, ...],
) -> None:
    with (FOLDER / "trial_left_out.csv").open(encoding="utf-8", newline="") as file:
        apart = {row["trial"]: row for row in csv.DictReader(file)}
    assert set(apart) == {key for key, trial in TRIALS.items() if trial.counted and trial.use == "fit"}
    for one in results:
        if one.trial.key in apart:
            row = apart[one.trial.key]
            assert one.outcome_left_out == float(row["left_out"])
            assert one.study_left_out == float(row["study_left_out"])
        elif one.trial.counted:
            assert one.trial.use == "check"
            assert one.study_left_out == one.outcome_left_out == one.likely
        else:
            assert one.study_left_out_factor is None
            assert math.isnan(one.study_left_out)


def test_an_outcome_fitted_to_but_not_yet_left_out_is_named_and_not_counted_as_foretold(
    tmp_path: Path,
) -> None:
    folder = tmp_path / "crop_tables"
    shutil.copytree(FOLDER, folder)
    path = folder / "trial_left_out.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    path.write_text("\n".join(line for line in lines if not line.startswith("S25,")) + "\n", encoding="utf-8")
    changed = tables.read(folder)
    results = run_trials(changed, ["field_bindweed"])
    found = score(results)
    assert found.waiting == ("S25",)
    assert found.study_left_out.outcomes == found.fitted.outcomes - 1
    page = render(trials_page(results, changed), width=80)
    assert "Not yet left out in turn, as the fit was not repeated since: S25." in page


def test_low_to_high_holds_the_same_share_as_the_band_of_a_plan(results: tuple[TrialResult, ...]) -> None:
    assert BAND == bands.BAND
    weed = "couch_grass"
    place = bench(weed)
    draws = ("likely", *(name for name in TABLES.draws if name != "likely"))
    percent = place.predict(weed_parameters(TABLES, [weed], draws))
    found = {one.trial.key: one for one in results}
    for trial, courses in zip(place.trials, percent, strict=True):
        one = found[trial.key]
        assert (one.low, one.likely, one.high) == pytest.approx(bands.three(courses), rel=1e-6)


# ---------------------------------------------------------------- how good it is


def test_no_outcome_waits_for_the_fit(results: tuple[TrialResult, ...]) -> None:
    assert not score(results).waiting


def test_half_of_the_outcomes_are_foretold_from_other_studies_within_1_6_times(
    results: tuple[TrialResult, ...],
) -> None:
    assert score(results).study_left_out.median_factor <= 1.6


def test_four_in_five_outcomes_are_foretold_from_other_studies_within_2_5_times(
    results: tuple[TrialResult, ...],
) -> None:
    assert score(results).study_left_out.close >= 0.8


def test_the_error_of_a_season_in_the_tables_is_that_of_the_outcomes_foretold(
    results: tuple[TrialResult, ...],
) -> None:
    errors = [
        math.log(one.study_left_out_factor) / len(one.trial.treated)
        for one in results
        if one.trial.counted and one.study_left_out_factor is not None
    ]
    spread = statistics.median(errors) / statistics.NormalDist().inv_cdf(0.75)
    for weed in WEEDS:
        assert TABLES.number("weed", weed, "season_error") == pytest.approx(spread, abs=0.01)


def test_the_part_of_that_error_in_common_is_the_intraclass_correlation_of_the_studies(
    results: tuple[TrialResult, ...],
) -> None:
    """One way, by analysis of variance, groups of unequal size: Fisher's, as in handbooks (from memory)."""
    most = 2.0 * TABLES.number("weed", WEEDS[0], "season_error")
    studies: dict[str, list[float]] = {}
    for one in results:
        if one.trial.counted and one.study_left_out_factor is not None:
            error = math.log(one.study_left_out / one.trial.published) / len(one.trial.treated)
            studies.setdefault(one.trial.study, []).append(min(max(error, -most), most))
    figure = TABLES.figure("weed", WEEDS[0], "season_error_shared")
    assert figure.value == pytest.approx(_in_common(list(studies.values())), abs=0.01)
    left_out = [_in_common([each for key, each in studies.items() if key != out]) for out in studies]
    assert (figure.low, figure.high) == pytest.approx((min(left_out), max(left_out)), abs=0.01)
    for weed in WEEDS:
        assert TABLES.number("weed", weed, "season_error_shared") == figure.value


def _in_common(groups: list[list[float]]) -> float:
    sizes, every = [len(each) for each in groups], [one for each in groups for one in each]
    mean, count = statistics.fmean(every), len(every)
    between = sum(len(each) * (statistics.fmean(each) - mean) ** 2 for each in groups) / (len(groups) - 1)
    within = sum((one - statistics.fmean(each)) ** 2 for each in groups for one in each) / (
        count - len(groups)
    )
    size = (count - sum(each**2 for each in sizes) / count) / (len(groups) - 1)
    return (between - within) / (between + (size - 1.0) * within)


@pytest.mark.xfail(strict=True, reason="25 of 28: see BROKEN")
def test_all_orders_are_kept(results: tuple[TrialResult, ...]) -> None:
    found = score(results)
    assert found.orders_kept == found.orders


#: Orders that are not kept, and what is predicted: R07 should be above 75, S30c below 100, R10 above 70.
BROKEN = {
    "R07": 71.4,
    "R10": 61.8,
    "S30c": 102,
}
#: Outcomes foretold wrong by more than 2.5 times with their study left out (checks: as predicted), and by
#: how much. The reasons stand in trials.csv, and ``rotation-opt trials`` prints them.
MISSED = {
    "S11": 90.8,
    "S13": 5.17,
    "S16": 2.87,
    "S24": 20.8,
    "S36": 38.3,
}
#: Rows fitted to that come out more than twice too high or too low all the same, and by how much. J are
#: judged, not published.
FITTED_BADLY = {
    "J1": 2.09,
    "J2": 3.19,
    "J3": 4.59,
    "L2": 3.33,
    "L3": 6.67,
    "S04": 2.21,
    "S13": 5.2,
    "S24": 38,
    "S26": 2.05,
    "S30": 2.49,
    "S36": 38.3,
}
WORSE = 1.05  # a miss may grow or shrink by so much before it has to be looked at again


def test_what_is_missed_is_recorded_with_its_size_and_its_reason(results: tuple[TrialResult, ...]) -> None:
    missed = {one.trial.key: one.study_left_out_factor for one in score(results).missed}
    assert set(missed) == set(MISSED)
    for key, factor in missed.items():
        assert factor is not None
        assert MISSED[key] / WORSE <= factor <= MISSED[key] * WORSE, key


def test_whatever_is_missed_gives_its_reason_and_nothing_that_is_met_does(
    results: tuple[TrialResult, ...],
) -> None:
    for one in results:
        if one.missed:
            assert one.trial.why_missed, one.trial.key
        if one.trial.why_missed:
            assert one.study_left_out_factor is not None
            assert one.study_left_out_factor > 2.0, one.trial.key


def test_orders_that_are_not_kept_are_recorded_with_what_is_predicted(
    results: tuple[TrialResult, ...],
) -> None:
    broken = {one.trial.key: one.likely for one in results if one.trial.use == "order" and not one.kept}
    assert set(broken) == set(BROKEN)
    for key, percent in broken.items():
        assert percent == pytest.approx(BROKEN[key], rel=WORSE - 1.0), key


def test_rows_that_are_fitted_badly_are_recorded_with_their_size(results: tuple[TrialResult, ...]) -> None:
    badly = {
        one.trial.key: one.factor
        for one in results
        if one.trial.use == "fit" and one.factor is not None and one.factor > 2.0
    }
    assert set(badly) == set(FITTED_BADLY)
    for key, factor in badly.items():
        assert FITTED_BADLY[key] / WORSE <= factor <= FITTED_BADLY[key] * WORSE, key


# ---------------------------------------------------------------- the command


@pytest.fixture(scope="module")
def printed(results: tuple[TrialResult, ...]) -> dict[int, str]:
    page = trials_page(results, TABLES, everything=True)
    return {width: render(page, width) for width in (60, 80, 100, 120)}


def test_the_command_prints_the_whole_page(printed: dict[int, str]) -> None:
    answer = CliRunner().invoke(cli.main, ["trials", "--all", "--width", "100"])
    assert answer.exit_code == 0, answer.output
    assert answer.stdout == printed[100]


@pytest.mark.parametrize("width", [60, 80, 100, 120])
def test_every_row_is_printed_and_no_word_is_cut(printed: dict[int, str], width: int) -> None:
    lines = printed[width].splitlines()
    assert max(map(len, lines)) <= width
    first = [line.split()[0] for line in lines if line.split()]
    words = set(printed[width].split())
    for trial in TRIALS.values():
        once = 1 + (trial.key in MISSED)
        # narrow paper splits a table, and the key stands in each part
        assert first.count(trial.key) in ({once} if width >= 80 else {once, once + 1}), trial.key
        assert set(trial.what.split()) <= words, trial.key


def test_what_was_foretold_stands_beside_what_is_fitted(
    printed: dict[int, str], results: tuple[TrialResult, ...]
) -> None:
    rows = {line.split()[0]: line for line in reversed(printed[120].splitlines()) if line.split()}
    for one in results:
        if one.trial.counted and one.trial.use == "fit":
            cells = re.split(r"\s{2,}", rows[one.trial.key].strip())
            assert len(cells) == 8, cells
            assert float(cells[3]) == pytest.approx(one.likely, rel=0.06, abs=0.005)
            assert float(cells[4]) == pytest.approx(one.factor, abs=0.06)
            assert float(cells[5]) == pytest.approx(one.study_left_out, rel=0.06, abs=0.005)
            assert float(cells[6]) == pytest.approx(one.study_left_out_factor, abs=0.06)


@pytest.mark.parametrize("width", [60, 80, 100, 120])
def test_the_last_lines_say_how_good_the_match_is(
    printed: dict[int, str], results: tuple[TrialResult, ...], width: int
) -> None:
    found = score(results)
    _, _, last = printed[width].partition("All together\n")
    said = " ".join(last.split())
    for match in (found.study_left_out, found.outcome_left_out, found.fitted, found.checks):
        assert f" {match.outcomes} {match.median_factor:.2f} {match.close:.0%} " in said
    assert f"Order checks kept: {found.orders_kept} of {found.orders}." in said
    _, _, missed = said.partition("Missed by more than 2.5 times")
    for key, factor in MISSED.items():
        trial = TRIALS[key]
        entry = missed[missed.index(f"{key} {trial.what}") :]
        assert entry.index("times off") < 120
        assert trial.why_missed[1:] in entry
        assert f"foretold {_percent(found.missed[list(MISSED).index(key)].study_left_out)}%" in entry, factor


def test_developers_md_shows_what_the_command_prints(
    printed: dict[int, str], results: tuple[TrialResult, ...]
) -> None:
    shown = paste_trials.pasted()
    assert shown == paste_trials.printed(results, TABLES), "python tests/paste_trials.py pastes it anew"
    # and that is the command's own text, but for two sections
    lines = printed[100].splitlines()
    assert [line for line in shown.splitlines() if line not in set(lines)] == []
    for heading in ("Canada thistle", "Field bindweed", "Quackgrass", "Perennial sowthistle", "All together"):
        assert f"\n{heading}" in shown


def test_readme_says_how_well_outcomes_are_foretold(results: tuple[TrialResult, ...]) -> None:
    found = score(results).study_left_out
    text = " ".join((paste_trials.FILE.parent / "README.md").read_text(encoding="utf-8").split())
    said = f"half of {found.outcomes} published outcomes come within a factor of {found.median_factor:.1f}"
    assert said in text
    assert f"{found.close:.0%} within 2.5;" in text


def test_figures_at_the_edge_of_their_range_are_named(printed: dict[int, str]) -> None:
    text = " ".join(printed[80].split())
    edges = at_the_edge(TABLES, WEEDS)
    for weed in WEEDS:
        for name in DYNAMIC:
            value = TABLES.draw("likely", weed, name)
            figure = TABLES.figure("weed_parameter", weed, name)
            assert figure.low is not None
            assert figure.high is not None
            inside = figure.low * 1.02 < value < figure.high * 0.98
            assert inside != ((weed, name, value) in edges), (weed, name)
            assert inside != (f"{name} {value:g}" in text.partition("at an edge of their range")[2]), (
                weed,
                name,
            )


def test_without_all_only_figures_are_printed() -> None:
    answer = CliRunner().invoke(cli.main, ["trials", "--weed", "thistle", "--width", "80"])
    assert answer.exit_code == 0
    first = {line.split()[0] for line in answer.output.splitlines() if line.split()}
    wanted = {
        key
        for key, trial in TRIALS.items()
        if trial.weed == "creeping_thistle" and trial.use in ("fit", "check")
    }
    assert first & set(TRIALS) == wanted


def test_the_file_for_other_programs_holds_every_row(
    tmp_path: Path, results: tuple[TrialResult, ...]
) -> None:
    path = tmp_path / "trials.json"
    answer = CliRunner().invoke(cli.main, ["trials", "--json", str(path)])
    assert answer.exit_code == 0, answer.output
    read = json.loads(path.read_text(encoding="utf-8"))
    rows = {row["trial"]: row for row in read["trials"]}
    assert set(rows) == set(TRIALS)
    for one in results:
        row = rows[one.trial.key]
        assert row["published_percent"] == one.trial.published
        if one.trial.runs:
            assert row["predicted_percent"] == pytest.approx(one.likely, rel=1e-4)
            assert row["low_percent"] <= row["predicted_percent"] <= row["high_percent"]
        else:
            assert row["predicted_percent"] is None
        if one.trial.counted:
            assert row["study_left_out_percent"] == pytest.approx(one.study_left_out, rel=1e-4)
            assert row["study_left_out_factor"] == pytest.approx(one.study_left_out_factor, rel=1e-4)
        assert row["missed"] == (one.trial.key in MISSED)
        assert row["why_missed"] == one.trial.why_missed
    found = score(results)
    assert read["together"]["missed"] == list(MISSED)
    for name in ("study_left_out", "outcome_left_out", "fitted", "checks"):
        said, match = read["together"][name], getattr(found, name)
        assert said["outcomes"] == match.outcomes
        assert said["median_factor"] == pytest.approx(match.median_factor, rel=1e-4)
        assert said["share_within_factor"] == pytest.approx(match.close, rel=1e-4)


def test_a_weed_nobody_knows_gets_the_nearest_name() -> None:
    answer = CliRunner().invoke(cli.main, ["trials", "--weed", "creeping thistel"])
    assert answer.exit_code == 2
    assert "Did you mean" in answer.output
