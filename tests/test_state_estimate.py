"""Counts held against the courses of the weeds: what they narrow and leave, and what cannot upset them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy import stats  # type: ignore[import-untyped]
from small_farm import TABLES, patch, small, with_field

from rotation_opt.alternatives import present_paths
from rotation_opt.arrays import SelectionData
from rotation_opt.bands import Bands, three
from rotation_opt.farm_arrays import selection_data
from rotation_opt.groundwork import Groundwork, lay
from rotation_opt.scouting_log import Visit
from rotation_opt.state_estimate import (
    LEAST_EFFECTIVE,
    Estimate,
    Foretold,
    effective,
    estimate,
    foretold,
    weighted_band,
)

WEED = "creeping_thistle"
EAST, NORTH = 0, 2
YEARS = 2
CLUMPING = 2.0  # of the counts made up here
FRAME_M2 = 0.25


def log_likelihood(visit: Visit, expected: np.ndarray) -> np.ndarray:
    """Negative binomial, by scipy."""
    mean = np.asarray(expected)[:, None] * visit.frame_m2
    k = CLUMPING
    found: np.ndarray = stats.nbinom.logpmf(np.array(visit.counts), k, k / (k + mean)).sum(axis=1)
    return found


@cache
def laid() -> tuple[Groundwork, SelectionData]:
    ground = lay(small(keep=("spring_barley", "soybean", "corn_grain")), TABLES)
    return ground, selection_data(ground)


@cache
def done() -> tuple[tuple[int, ...], ...]:
    ground, data = laid()
    return tuple(path[:YEARS] for path in present_paths(data, ground.farm))


@cache
def truths() -> Bands:
    """Courses with other errors and other weather than those that counts are held against."""
    ground, data = laid()
    return Bands(ground, data, [done()], courses_a_draw=10)


def counts(shoots_per_m2: float, stops: int, rng: np.random.Generator) -> tuple[int, ...]:
    mean = shoots_per_m2 * FRAME_M2
    return tuple(int(c) for c in rng.negative_binomial(CLUMPING, CLUMPING / (CLUMPING + mean), stops))


def visit(place: int, year: int, counted: Sequence[int], **changes: object) -> Visit:
    data = laid()[1]
    stop = Visit(
        field=data.fields[place].name,
        weed=WEED,
        date=f"{data.first_year + year}-06-20",
        stage="bud",
        frame_m2=FRAME_M2,
        counts=tuple(counted),
    )
    return replace(stop, **changes)  # type: ignore[arg-type]


@cache
def before() -> Foretold:
    return foretold(*laid(), done())


def held(visits: Sequence[Visit]) -> Estimate:
    return estimate(before(), visits, log_likelihood)


# ---------------------------------------------------------------- nothing counted


def test_without_a_visit_all_is_as_before() -> None:
    found = held([])
    assert np.ptp(found.belief.weights[:, 1:]) == 0.0
    for before, after in (*found.roots.values(), *found.shoots.values()):
        assert before == after
    course = Bands(*laid(), [done()], courses_a_draw=50).course(EAST, done()[EAST])
    assert found.roots["East", WEED][1] == three(course.autumn[-1, 0])


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"stage": "stubble"}, "bud stage"),
        ({"field": "West"}, "had not been counted"),
        ({"field": "South"}, "no field"),
        ({"date": "2026-06-20"}, "not of a year"),
        ({"counts": ()}, "no count"),
    ],
)
def test_a_visit_that_tells_nothing_is_left_out_with_its_reason(change: dict[str, object], why: str) -> None:
    found = held([visit(EAST, 0, (3, 4), **change)])
    assert np.ptp(found.belief.weights[:, 1:]) == 0.0
    assert why in found.left_out[0][1]


# ---------------------------------------------------------------- counts


def test_the_band_after_the_counts_is_narrower_and_holds_the_truth_at_about_its_rate() -> None:
    truth = [truths().course(field, done()[field]) for field in (EAST, NORTH)]
    inside, narrower = [], []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        course = int(rng.integers(1, truth[0].shoots.shape[2]))
        visits = [
            visit(field, year, counts(float(each.shoots[year, 0, course]), 20, rng))
            for field, each in zip((EAST, NORTH), truth, strict=True)
            for year in range(YEARS)
        ]
        found = held(visits)
        for name, each in zip(("East", "North"), truth, strict=True):
            before, after = found.roots[name, WEED]
            inside.append(after[0] <= each.autumn[-1, 0, course] <= after[2])
            narrower.append(np.log(after[2] / after[0]) / np.log(before[2] / before[0]))
    assert np.mean(inside) == pytest.approx(0.8, abs=0.13)  # 80 of them: about three times the chance error
    assert np.mean(narrower) < 0.9
    assert np.mean(np.array(narrower) < 1.0) > 0.8


def test_counts_as_the_likely_course_foretold_leave_what_is_likely_in_place() -> None:
    prior = held([])
    visits = []
    for field, name in ((EAST, "East"), (NORTH, "North")):
        for year in range(YEARS):
            likely = prior.shoots[name, WEED, laid()[1].first_year + year][0][1]
            # one frame as large as makes the count whole to a part in a thousand
            frame = 1000.0 / likely
            visits.append(visit(field, year, (1000,), frame_m2=frame))
    found = held(visits)
    for before, after in found.roots.values():
        assert after[1] == pytest.approx(before[1], rel=1e-6)
        assert after[2] / after[0] < before[2] / before[0]


def test_more_shoots_than_likely_raise_what_is_likely_and_fewer_lower_it() -> None:
    prior = held([]).shoots["East", WEED, laid()[1].first_year + 1][0]
    for factor, sign in ((2.0, 1.0), (0.5, -1.0)):
        frame = 40.0 / (factor * prior[1])
        found = held([visit(EAST, 1, (40,) * 10, frame_m2=frame)])
        before, after = found.roots["East", WEED]
        assert sign * (after[1] - before[1]) > 0.0
        assert sign * (after[0] + after[2] - before[0] - before[2]) > 0.0


def test_a_thick_and_a_thin_patch_count_by_their_area() -> None:
    prior = held([]).shoots["East", WEED, laid()[1].first_year + 1][0][1]
    thick = visit(EAST, 1, (300,) * 5, patch="wet corner", area_ha=1.0, frame_m2=100 / prior)
    thin = visit(EAST, 1, (50,) * 5, patch="rest", area_ha=4.0, frame_m2=100 / prior)
    before, after = held([thick, thin]).roots["East", WEED]  # (1 x 3 + 4 x 0.5) / 5 = as foretold
    assert after[1] == pytest.approx(before[1], rel=1e-6)
    alike = [replace(each, area_ha=None) for each in (thick, thin)]
    before, after = held(alike).roots["East", WEED]
    assert after[1] > 1.02 * before[1]


def test_two_patches_tell_no_more_than_they_were_counted_for() -> None:
    """The thick patch holds nearly all shoots, so its few stops decide how sure the mean is."""
    prior = held([]).shoots["East", WEED, laid()[1].first_year + 1][0][1]
    thick = visit(EAST, 1, (19, 21, 20), patch="1", area_ha=1.0, frame_m2=20 / (2 * prior))
    thin = visit(EAST, 1, (19, 21, 20) * 30, patch="2", area_ha=1.0, frame_m2=20 / (0.02 * prior))
    alone = visit(EAST, 1, thick.counts, frame_m2=20 / prior)
    widths = {
        name: np.log(found.roots["East", WEED][1][2] / found.roots["East", WEED][1][0])
        for name, found in (("both", held([thick, thin])), ("alone", held([alone])), ("none", held([])))
    }
    assert widths["both"] == pytest.approx(widths["alone"], rel=0.05)
    assert widths["alone"] < widths["none"]


def test_a_count_far_from_all_that_was_foretold_speaks_alone_and_says_nothing_of_other_fields() -> None:
    prior = held([]).shoots["East", WEED, laid()[1].first_year + 1][0][1]
    far = visit(EAST, 1, (20, 24, 16, 21, 19) * 3, frame_m2=160 / prior)
    there = held([]).shoots["North", WEED, laid()[1].first_year + 1][0][1]
    north = visit(NORTH, 1, (6, 5, 7, 4), frame_m2=5 / there)
    found, other = held([far, north]), held([north])
    assert found.moved == {("East", WEED): laid()[1].first_year + 1}
    assert found.roots["North", WEED] == other.roots["North", WEED]
    # as much root as a farm file with this count would start with
    ground, data = laid()
    farm, path = ground.farm, [data.practice_keys[each] for each in done()[EAST]]
    field = replace(
        farm.fields[EAST],
        history=(*farm.fields[EAST].history, *path),
        patches=(replace(farm.fields[EAST].patches[0], shoots_per_m2=prior / 8, counted_on=far.date),),
    )
    fields = (field, *farm.fields[1:])
    read = lay(replace(farm, first_year=farm.first_year + YEARS, fields=fields), TABLES, like=ground)
    before, after = found.roots["East", WEED]
    assert after[1] == pytest.approx(float(read.starts["East"].autumn[0, 0]), rel=1e-6)
    assert after[0] < after[1] < after[2] < before[0]
    assert found.shoots["East", WEED, laid()[1].first_year + 1][1][1] == pytest.approx(prior / 8)
    near = visit(EAST, 1, (20, 24, 16, 21, 19), frame_m2=20 / (1.5 * prior))
    assert not held([near]).moved


def test_counts_after_one_far_off_are_held_against_the_courses_moved_there() -> None:
    first = laid()[1].first_year
    prior = held([]).shoots["East", WEED, first][0][1]
    far = visit(EAST, 0, (20, 24, 16, 21, 19) * 3, frame_m2=160 / prior)
    moved = held([far])
    assert moved.moved == {("East", WEED): first}
    expected = moved.shoots["East", WEED, first + 1][1][1]
    as_expected = held([far, visit(EAST, 1, (20,) * 10, frame_m2=20 / expected)])
    assert as_expected.moved == moved.moved  # far from the first count, but not from the second
    before, after = moved.roots["East", WEED][1], as_expected.roots["East", WEED][1]
    assert after[1] == pytest.approx(before[1], rel=1e-6)
    assert after[2] / after[0] < before[2] / before[0]
    more = held([far, visit(EAST, 1, (20,) * 10, frame_m2=20 / (1.5 * expected))])
    assert more.roots["East", WEED][1][1] > after[1]


def test_counts_of_one_weed_say_nothing_of_another() -> None:
    farm = small(keep=("spring_barley", "soybean", "corn_grain"))
    both = (*farm.fields[EAST].patches, patch(2.0, 80.0, weed="couch_grass"))
    ground = lay(with_field(farm, "East", patches=both), TABLES)
    data = selection_data(ground)
    paths = [path[:1] for path in present_paths(data, ground.farm)]
    found = estimate(foretold(ground, data, paths), [visit(EAST, 0, (90,) * 20)], log_likelihood).roots
    assert found["East", "couch_grass"][0] == pytest.approx(found["East", "couch_grass"][1], rel=0.02)
    assert found["East", WEED][1] != pytest.approx(found["East", WEED][0], rel=0.02)


@pytest.mark.parametrize("impossible", [(10_000_000,), (0,) * 2000])
def test_one_impossible_count_gives_figures_all_the_same(impossible: tuple[int, ...]) -> None:
    found = held([visit(EAST, 1, impossible)])
    assert np.isfinite(found.belief.weights).all()
    assert found.belief.weights.sum(axis=1) == pytest.approx(1.0)
    assert found.effective >= LEAST_EFFECTIVE * 0.999
    for _, after in found.roots.values():
        assert np.isfinite(after).all()
        assert after[0] <= after[1] <= after[2]


def test_counts_that_no_course_allows_say_nothing() -> None:
    found = estimate(before(), [visit(EAST, 1, (3,))], lambda _, m: np.full(len(m), -np.inf))
    assert found.belief.weights[:, 1:] == pytest.approx(1.0 / (found.belief.weights.shape[1] - 1))


def test_sharp_counts_leave_no_fewer_courses_than_the_rule_says() -> None:
    prior = held([]).shoots["East", WEED, laid()[1].first_year + 1][0]
    found = held([visit(EAST, 1, (2000,) * 10_000, frame_m2=2000 / prior[2])])
    assert 0.0 < found.power < 1.0
    assert found.effective == pytest.approx(LEAST_EFFECTIVE, rel=0.02)
    few = held([visit(EAST, 0, (3,))])
    assert few.power == 1.0


# ---------------------------------------------------------------- weights


def test_weighted_quantiles_are_those_of_courses_repeated() -> None:
    rng = np.random.default_rng(7)
    times = rng.integers(0, 9, 500)
    values = rng.lognormal(size=500)
    found = weighted_band(np.array([99.0, *values]), np.array([0.0, *times]) / times.sum())
    assert found == pytest.approx(np.quantile(np.repeat(values, times), (0.1, 0.9)), rel=0.02)
    assert effective(np.full(50, 0.02)) == pytest.approx(50.0)


# ---------------------------------------------------------------- the years to come


def to_come(found: Estimate) -> tuple[Bands, tuple[tuple[int, ...], ...]]:
    """Bands of the present rotation after the years done, and its paths."""
    ground, data = laid()
    keys = data.practice_keys
    fields = tuple(
        replace(
            field,
            history=(*field.history, *(keys[practice] for practice in path)),
            patches=tuple(replace(each, roots=found.likely[field.name, each.weed]) for each in field.patches),
        )
        for field, path in zip(ground.farm.fields, done(), strict=True)
    )
    farm = replace(ground.farm, first_year=ground.farm.first_year + YEARS, fields=fields)
    later = lay(farm, TABLES, like=ground)
    rest = selection_data(later)
    paths = present_paths(rest, farm)
    return Bands(later, rest, [paths], found.belief), paths


@cache
def counted_high_and_low() -> tuple[Estimate, Estimate]:
    prior = held([]).shoots["East", WEED, laid()[1].first_year + 1][0]
    high = held([visit(EAST, 1, (100,) * 5, frame_m2=100 / (2 * prior[2]))])
    return high, held([visit(EAST, 1, (100,) * 5, frame_m2=100 / (prior[0] / 2))])


def test_the_bands_of_later_years_follow_the_courses_that_count() -> None:
    ends = {}
    for name, found in zip(("all", "high", "low"), (held([]), *counted_high_and_low()), strict=True):
        bands, paths = to_come(found)
        ends[name] = three(bands.course(EAST, paths[EAST]).autumn[-1, 0])
    for place in range(3):
        assert ends["low"][place] < ends["all"][place] < ends["high"][place]


def test_later_years_set_out_from_the_roots_that_the_counts_leave_likely_low_and_high() -> None:
    for found in (held([]), *counted_high_and_low()):
        bands, _ = to_come(found)
        for field in ("East", "North"):
            low, likely, high = three(bands._today(field)[1][0])
            told = found.roots[field, WEED][1]
            assert likely == pytest.approx(told[1], rel=1e-9)
            # 400 courses going on: a tenth or nine tenths of them is sure to about 3.5 %
            assert (low, high) == pytest.approx((told[0], told[2]), rel=0.1)
            assert low < likely < high  # a count is not taken as exact


def test_a_weed_that_was_not_counted_keeps_its_band_whatever_is_counted_of_another() -> None:
    farm = small(keep=("spring_barley", "soybean", "corn_grain"))
    both = (*farm.fields[EAST].patches, patch(2.0, 80.0, weed="couch_grass"))
    ground = lay(with_field(farm, "East", patches=both), TABLES)
    data = selection_data(ground)
    paths = present_paths(data, ground.farm)
    before = foretold(ground, data, [path[:1] for path in paths])
    ends = {}
    for name, visits in (("none", []), ("thistle", [visit(EAST, 0, (90,) * 20)])):
        belief = estimate(before, visits, log_likelihood).belief
        course = Bands(ground, data, [paths], belief).course(EAST, paths[EAST])
        ends[name] = {weed: course.autumn[:, w] for w, weed in enumerate(data.weeds)}
    assert (ends["none"]["couch_grass"] == ends["thistle"]["couch_grass"]).all()
    assert not np.allclose(ends["none"][WEED], ends["thistle"][WEED], rtol=0.02)


def test_the_truth_lies_in_the_band_of_the_year_to_come_at_about_its_rate() -> None:
    ground, data = laid()
    whole = present_paths(data, ground.farm)
    truths = Bands(ground, data, [whole], courses_a_draw=10)
    truth = [truths.course(field, whole[field]) for field in (EAST, NORTH)]
    inside = []
    for seed in range(10):
        rng = np.random.default_rng([1, seed])
        course = int(rng.integers(1, truth[0].shoots.shape[2]))
        visits = [
            visit(field, year, counts(float(each.shoots[year, 0, course]), 20, rng))
            for field, each in zip((EAST, NORTH), truth, strict=True)
            for year in range(YEARS)
        ]
        bands, _ = to_come(held(visits))
        for field, each in zip((EAST, NORTH), truth, strict=True):
            found = bands.course(field, whole[field][YEARS:])
            for name in ("autumn", "shoots"):
                low, _, high = three(getattr(found, name)[0, 0])
                inside.append(low <= getattr(each, name)[YEARS, 0, course] <= high)
    assert 0.6 <= np.mean(inside) <= 0.975  # nominal 0.8


def test_a_belief_repeats_each_course_as_often_as_it_counts() -> None:
    found = held([visit(EAST, 1, (4, 6, 3))])
    kept = found.belief.going_on([WEED, "couch_grass"])
    weights = found.belief.weights[0]
    share = np.bincount(kept[0, 1:], minlength=len(weights)) / (kept.shape[1] - 1)
    assert (kept[:, 0] == 0).all()
    assert np.abs(share - weights).max() <= 1.0 / (kept.shape[1] - 1)
    assert np.bincount(kept[1, 1:]).max() == 1  # of a weed met later all count alike
