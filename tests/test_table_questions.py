"""Questions at the kitchen table: an answer is what a plan of the changed farm from nothing would give."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from click.testing import CliRunner
from small_farm import KEPT, MONEY, TABLES, TEXT, small, with_machine, without_machines

from rotation_opt import changed_farm, cli, tables
from rotation_opt.alternatives import BALANCED
from rotation_opt.crop_reasons import crop_reason
from rotation_opt.downside import risks
from rotation_opt.errors import RotationOptError
from rotation_opt.farm_arrays import selection_data
from rotation_opt.groundwork import Groundwork, lay
from rotation_opt.reasons import only
from rotation_opt.records import Farm, Outlet
from rotation_opt.report.blocks import Grid, Page, Paragraph
from rotation_opt.report.differences import SAME, differences_page
from rotation_opt.report.terminal import render
from rotation_opt.report.why_page import why_page
from rotation_opt.select import evaluate, select, weighted_burden
from rotation_opt.table_questions import Base, Difference, base_of, difference
from rotation_opt.workload import cut_shares

TWO_CUTS = ("alfalfa_1_two_cuts", "alfalfa_2_two_cuts")
DAIRY = Outlet(
    name="Dairy", crop="alfalfa", price_per_t=260.0, least_t=0.0, most_t=40.0, years=(), haul_per_t=0.0
)


@cache
def hay_farm() -> Farm:
    """Two fields of the small farm with a herd and a buyer of hay, and a baler that is hired."""
    farm = small(
        (*KEPT, *TWO_CUTS),
        feed_need_t=60.0,
        feed_price_per_t=250.0,
        least_share={"hay": 0.25},
        outlets=(DAIRY,),
    )
    return with_machine(replace(farm, fields=farm.fields[:2]), "round_baler", status="hire")


@cache
def hay_base() -> Base:
    return base_of(hay_farm(), TABLES)


@cache
def without_baler() -> Base:
    return base_of(without_machines(replace(hay_farm(), least_share={}), "round_baler"), TABLES)


CHANGES: dict[str, tuple[Callable[[], Base], Callable[[Farm], tuple[Farm, str]]]] = {
    "baler hired": (without_baler, lambda farm: changed_farm.hired(farm, TABLES, "round_baler")),
    "buyer gone": (hay_base, lambda farm: changed_farm.no_buyer(farm, TABLES, outlet="Dairy")),
    "lease lost": (hay_base, lambda farm: changed_farm.lease_lost(farm, "West", 2028)),
    "baler late": (hay_base, lambda farm: changed_farm.late(farm, TABLES, "round_baler", 9)),
    "less cash": (hay_base, lambda farm: (replace(farm, cash_floor=-8000.0), "Cash")),
}


@cache
def asked(name: str) -> tuple[Difference, str, Farm]:
    base, change = CHANGES[name]
    farm, sentence = change(base().ground.farm)
    return difference(base(), farm), sentence, farm


@cache
def from_nothing(name: str) -> Groundwork:
    return lay(asked(name)[2], TABLES)


def grid(page: Page, section: str) -> Grid:
    (found,) = [
        block
        for each in page.sections
        if each.key == section
        for block in each.blocks
        if isinstance(block, Grid)
    ]
    return found


# ---------------------------------------------------------------- against a fresh plan


@pytest.mark.parametrize("name", CHANGES)
def test_a_changed_farm_is_worth_what_a_plan_from_nothing_is_worth(name: str) -> None:
    found, _, _ = asked(name)
    data = selection_data(from_nothing(name))
    fresh = select(data, MONEY)
    mine = evaluate(data, found.after.paths)
    assert not mine.breaks
    gap = found.after.plan.proven_gap
    assert gap is not None
    assert gap < 0.02
    assert fresh.bound is not None
    assert mine.worth <= fresh.bound + 1.0
    assert fresh.value <= mine.worth + gap * abs(mine.worth) + 1.0
    assert sum(found.after.plan.figures.net_return) == pytest.approx(float(mine.net.sum()), abs=0.5)


@pytest.mark.parametrize("name", CHANGES)
def test_the_old_plan_is_told_where_it_still_fits_and_why_where_it_does_not(name: str) -> None:
    found, _, farm = asked(name)
    ground = from_nothing(name)
    data = selection_data(ground)
    last = {field.name: field.lease_end_year for field in farm.fields}
    keys = {
        field: tuple(
            key if (end := last[field]) is None or farm.first_year + year <= end else ""
            for year, key in enumerate(path)
        )
        for field, path in found.before.plan.practices.items()
    }
    no = [ground.succession.first_no(field, path) for field, path in keys.items()]
    if found.kept is None:
        assert found.misfits
        paths = [[data.practice_keys.index(k) if k else -1 for k in path] for path in keys.values()]
        assert any(no) or evaluate(data, paths).breaks
    else:
        assert not any(no)
        assert found.kept.plan.practices == keys
        assert not evaluate(data, found.kept.paths).breaks
        assert not found.misfits


def test_some_old_plans_fit_and_some_do_not() -> None:
    fits = {name: asked(name)[0].kept is not None for name in CHANGES}
    assert fits["lease lost"]
    assert not fits["less cash"]


# ---------------------------------------------------------------- the page


@pytest.mark.parametrize("name", CHANGES)
def test_only_rows_that_differ_are_printed_with_the_figures_of_both_plans(name: str) -> None:
    found, sentence, _ = asked(name)
    page = differences_page(found, [sentence], TABLES, "Most money")
    figures = [one.plan.figures for one in (found.before, found.after)]
    nets = [f"{round(sum(each.net_return) / len(each.net_return)):,}" for each in figures]
    hours = [f"{sum(map(sum, each.labour_hours)) / len(each.labour_hours):,.0f}" for each in figures]
    rows = {row[0]: row[1:] for row in grid(page, "differences").rows}
    for label, cells in rows.items():
        assert len(set(cells)) > 1, label
    for label, values in (
        ("Net return, whole farm, $ a year", nets),
        ("Hours of work a year", hours),
    ):
        if values[0] != values[1]:
            assert list(rows[label][:2]) == values
        elif label in rows:
            assert list(rows[label][:2]) == values  # only the old plan on the changed farm differs
    moved = {(each.field, each.year) for each in found.moved}
    old, new = found.before.plan.practices, found.after.plan.practices
    assert moved == {
        (field, 2027 + year) for field in old for year in range(3) if old[field][year] != new[field][year]
    }
    keys = [section.key for section in page.sections]
    assert ("moved" in keys) == bool(moved)
    assert {"weather", "cut"}.isdisjoint(keys)
    text = render(page, 80)
    assert max(map(len, text.splitlines())) <= 80
    assert not any(key in text for key in TABLES.practices if "_" in key)


def test_nothing_that_changes_is_said_in_one_sentence() -> None:
    farm = replace(hay_farm(), cash_floor=-60000.0)
    page = differences_page(difference(hay_base(), farm), ["Less cash will do"], TABLES, "Most money")
    (section,) = page.sections
    assert section.blocks[0] == Paragraph(text=SAME)
    assert not any(isinstance(block, Grid) for block in section.blocks)


def test_of_the_same_money_no_doubt_is_told() -> None:
    found = difference(hay_base(), replace(hay_farm(), cash_floor=-60000.0))
    plan = found.before.plan

    def with_more(by: float) -> str:
        """The page, where the new plan brings so much more a year, and neither is proven the best."""
        more = replace(plan.figures, net_return=tuple(each + by for each in plan.figures.net_return))
        stands = (
            replace(found.before, plan=replace(plan, proven_gap=0.5)),
            replace(found.after, plan=replace(plan, proven_gap=0.5, figures=more)),
        )
        near = replace(found, before=stands[0], after=stands[1], moved=())
        return " ".join(render(differences_page(near, ["So"], TABLES, "Most money"), 80).split())

    assert SAME in with_more(0.01)
    assert "what is left open" not in with_more(0.01)
    assert "what is left open" in with_more(10.0)


def test_other_fields_or_years_are_no_question_at_the_table() -> None:
    farm = hay_farm()
    with pytest.raises(RotationOptError, match="same fields"):
        difference(hay_base(), replace(farm, fields=farm.fields[1:]))
    with pytest.raises(RotationOptError, match="same years"):
        difference(hay_base(), replace(farm, first_year=2028))


# ---------------------------------------------------------------- a cut skipped, a bad year


def test_a_missed_cut_takes_its_hay_and_its_work_and_leaves_more_roots() -> None:
    base = hay_base()
    found = difference(base, hay_farm(), skipped_cut=3)
    assert found.missed is not None
    before, missed = found.before.plan.figures, found.missed.plan.figures
    assert found.missed.plan.practices == found.before.plan.practices
    shares = cut_shares(TABLES.practices["alfalfa_1"], TABLES)
    kept = sum(shares[:2]) / sum(shares)
    assert sum(missed.made_t["alfalfa"]) == pytest.approx(kept * sum(before.made_t["alfalfa"]), rel=0.02)
    assert sum(map(sum, missed.labour_hours)) < sum(map(sum, before.labour_hours))
    assert sum(missed.hired_hours["round_baler"]) < sum(before.hired_hours["round_baler"])
    assert missed.burden[-1][1] >= before.burden[-1][1]
    assert sum(missed.net_return) < sum(before.net_return)
    # nothing that is cut three times is left to choose, and it is the best without
    chosen = {key for path in found.after.plan.practices.values() for key in path}
    assert all(TABLES.practices[key].cuts < 3 for key in chosen)
    farm = replace(
        hay_farm(), refuses=hay_farm().refuses | {key for key, p in TABLES.practices.items() if p.cuts >= 3}
    )
    fresh = select(selection_data(lay(farm, TABLES)), MONEY)
    worth = evaluate(base.data, found.after.paths).worth
    assert worth == pytest.approx(fresh.value, abs=0.02 * abs(fresh.value))
    page = differences_page(found, ["Cut 3 is skipped"], TABLES, "Most money", 3)
    assert grid(page, "differences").header[-1] == "Same plan, cut missed"


def test_a_cut_that_is_not_taken_cannot_be_skipped() -> None:
    with pytest.raises(RotationOptError, match="no such cut"):
        difference(hay_base(), hay_farm(), skipped_cut=5)


def test_a_bad_year_takes_what_the_page_on_good_and_bad_years_says() -> None:
    base = hay_base()
    found = difference(base, hay_farm(), dry_years=(2027,), wet_years=(2028,))
    assert found.after is found.before
    risk = risks(base.ground, base.data, [("x", base.chosen.paths, base.chosen.figures)])["x"]
    net = base.chosen.figures.net
    dry, wet = found.weather
    assert dry.before == pytest.approx(net[0] - risk.bad_years["dry"][0])
    assert wet.before == pytest.approx(net[1] - risk.bad_years["wet"][1])
    sown = [
        (field, 2027)
        for field, path in found.before.plan.practices.items()
        if TABLES.practices[path[1]].needs_stand.endswith(":1")
    ]
    assert sown
    assert list(dry.sown_again) == sown
    assert [section.key for section in differences_page(found, [], TABLES, "").sections] == ["weather"]


# ---------------------------------------------------------------- the balanced plan


def test_the_balanced_plan_is_chosen_anew_with_no_more_weeds_than_it_had() -> None:
    base = base_of(small(), TABLES, BALANCED)
    farm = replace(base.ground.farm, labour=replace(base.ground.farm.labour, wage_per_h=35.0))
    found = difference(base, farm)
    data = selection_data(lay(farm, TABLES))
    most = weighted_burden(base.data, base.chosen.figures)
    assert weighted_burden(data, evaluate(data, found.after.paths)) <= most * (1.0 + 1e-5)
    richest = select(base.data, MONEY)
    assert weighted_burden(base.data, richest.figures) > most


# ---------------------------------------------------------------- why


def test_what_comes_second_costs_what_a_search_without_the_crop_says() -> None:
    base = hay_base()
    found = crop_reason(base, "East", 2028)
    assert found.here is not None
    assert found.other is not None
    crop = base.data.crops.index(TABLES.practices[found.here.practice].crop)
    fresh = select(only(base.data, 0, 1, base.data.crop_of != crop), MONEY)
    assert evaluate(base.data, found.other.paths).worth == pytest.approx(
        fresh.value, abs=0.02 * abs(base.chosen.value)
    )
    assert {each.field for each in found.moved} >= {"East"}
    text = render(why_page(found, TABLES, "Most money"), 80)
    assert "What comes second" in text
    # two fields, and hay on a quarter of the land: without that nobody would make it here
    assert found.decided is not None
    assert found.decided.limits == ("the least share of hay",)
    assert "if it were not for the least share of hay." in " ".join(text.split())
    assert "Canada thistle" in text
    assert not any(key in text for key in TABLES.practices if "_" in key)


def test_a_crop_that_may_not_stand_there_is_told_with_its_rule() -> None:
    base = hay_base()
    ruled = crop_reason(base, "East", 2027, "alfalfa")
    assert ruled.other is None
    assert any("needs a stand" in each for each in ruled.why)


# ---------------------------------------------------------------- the commands


@pytest.fixture(scope="module")
def farm_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    kept = {*KEPT, *TWO_CUTS}
    refused = sorted(set(TABLES.practices) - kept - {TABLES.practices[key].crop for key in kept})
    path = tmp_path_factory.mktemp("table") / "small.toml"
    path.write_text(f"{TEXT}refuses = {json.dumps(refused)}\n", encoding="utf-8")
    return path


def run(*arguments: object) -> tuple[int, str]:
    done = CliRunner().invoke(cli.main, [str(each) for each in arguments], prog_name="rotation-opt")
    assert done.exception is None or isinstance(done.exception, SystemExit)
    return done.exit_code, done.output


def test_the_commands_print_their_page_and_leave_the_farm_file_alone(farm_file: Path) -> None:
    before = farm_file.read_bytes()
    code, text = run("what-if", farm_file, "--no-buyer", "corn", "--set", "labour.wage_per_hour", "22")
    assert code == 0
    assert "With labour.wage_per_hour = 22." in text
    assert "Nobody buys corn for grain." in text
    assert "less a year, whole farm" in text
    code, text = run("why", farm_file, "--field", "West", "--year", 2028, "--crop", "peas")
    assert code == 0
    assert "You do not want it." in text
    assert farm_file.read_bytes() == before


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((), "Say what is to change"),
        (("--late", "moldboard plow", "5"), "only a hired machine comes late"),
        (("--lose-lease", "West", "2031"), "give the last harvest year"),
        (("--lose-lease", "Wst", "2027"), "Did you mean West?"),
        (("--no-buyer", "oatss"), 'Did you mean "Oats"?'),
        (("--dry-year", "2040"), "2040 is not from 2027 to 2029"),
        (("--plan", "fastest", "--skip-cut", "1"), "Most money and Balanced"),
        (("--set", "labour.wage", "22"), "labour.wage"),
    ],
)
def test_a_wrong_question_is_answered_in_a_sentence(
    farm_file: Path, arguments: tuple[str, ...], said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tables, "read", lambda: TABLES)
    code, text = run("what-if", farm_file, *arguments)
    assert code in (1, 2)
    assert said in " ".join(text.split())
