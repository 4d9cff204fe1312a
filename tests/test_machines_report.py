"""The block on owning, hiring and buying, on paper and as JSON."""

from __future__ import annotations

import dataclasses
import json
import math
import re

import fake_result
import jsonschema
import pytest
from test_report import render
from whole_page import plan_page

from rotation_opt.records import BuyingChoice, MachineCase, Result
from rotation_opt.report import result_json

TABLES = fake_result.tables()
CASE = MachineCase(
    machine="round_baler",
    now="buy",
    area_ha=60.0,
    hours=24.0,
    price=35_000.0,
    remaining=8_800.0,
    years_kept=12.0,
    interest=0.04,
    owning=3_361.0,
    running=1_389.0,
    hired=5_721.0,
    break_even_ha=47.9,
)
NOTHING = BuyingChoice(machines=(), net=90_000.0, owning=0.0, gain=0.0, gap=0.001)
BALER = BuyingChoice(machines=("round_baler",), net=94_900.0, owning=3_361.0, gain=1_013.0, gap=0.002)


def shown(*cases: MachineCase, choices: tuple[BuyingChoice, ...] = ()) -> str:
    return " ".join(lines(*cases, choices=choices).split())


def lines(*cases: MachineCase, choices: tuple[BuyingChoice, ...] = ()) -> str:
    return render(plan_page(with_machines(*cases, choices=choices), TABLES))


def with_machines(*cases: MachineCase, choices: tuple[BuyingChoice, ...] = ()) -> Result:
    result = fake_result.result()
    mine = fake_machine(result)
    farm = dataclasses.replace(result.farm, machines={**result.farm.machines, "round_baler": mine})
    return dataclasses.replace(result, farm=farm, machine_cases=cases, buying=choices)


def fake_machine(result: Result):  # type: ignore[no-untyped-def]
    some = next(iter(result.farm.machines.values()))
    return dataclasses.replace(some, machine="round_baler", status="hire", buy=True)


def test_without_hired_machines_there_is_no_block() -> None:
    assert "Own, hire or buy" not in shown()


def test_both_ways_stand_side_by_side_with_the_area_that_decides_and_the_caution() -> None:
    text = shown(CASE)
    assert "Own, hire or buy (estimates)" in text
    # owned it costs 3,361 + 1,389; 47.9 ha are 118 acres
    for figure in ("5,721", "4,750", "118"):
        assert figure in text
    assert "12 years at 4% interest" in text
    assert "nobody knows what a machine brings when it is sold" in text


def test_a_machine_that_never_pays_is_said_so() -> None:
    assert "never" in shown(dataclasses.replace(CASE, break_even_ha=math.inf))


def test_buying_says_which_is_better_and_by_how_much() -> None:
    assert "comes out $1,013 a year better than hiring" in shown(CASE, choices=(NOTHING, BALER))
    worse = dataclasses.replace(BALER, gain=-2_500.0)
    text = shown(CASE, choices=(NOTHING, worse))
    assert "comes out $2,500 a year worse than hiring" in text
    assert "owning takes $3,361 of it" in text
    assert "held against your least cash" in text
    assert "held against your least cash" not in shown(CASE)


def test_what_cannot_be_worth_it_is_said_so_with_the_least_it_loses() -> None:
    never = dataclasses.replace(BALER, net=0.0, gain=-1_200.0, gap=None, searched=False)
    text = shown(CASE, choices=(NOTHING, never))
    assert "Buying the round baler cannot be worth it" in text
    assert "at least $1,200 a year worse than hiring, and owning takes $3,361 a year" in text
    assert "comes out" not in text and "too close" not in text


def test_what_the_search_cannot_tell_apart_is_too_close_to_call() -> None:
    assert "too close to call" not in shown(CASE, choices=(NOTHING, BALER))
    loose = dataclasses.replace(BALER, gap=0.02)
    text = shown(CASE, choices=(NOTHING, loose))
    assert "too close to call: better plans by up to $1,898 a year" in text


def test_a_set_without_a_plan_says_why() -> None:
    none = dataclasses.replace(BALER, gain=-math.inf, why_not="Too few hours in June.")
    text = shown(CASE, choices=(NOTHING, none))
    assert "no plan was found that keeps all limits. Too few hours in June." in text
    assert not re.search(r"\binf\b", text)


def test_the_block_fits_on_paper() -> None:
    text = lines(CASE, dataclasses.replace(CASE, now="own", area_ha=900.0), choices=(NOTHING, BALER))
    assert max(len(line) for line in text.splitlines()) <= 80


def test_the_json_holds_it_within_its_schema() -> None:
    never = dataclasses.replace(CASE, break_even_ha=math.inf)
    none = dataclasses.replace(BALER, gain=-math.inf, why_not="Too few hours in June.")
    found = with_machines(CASE, never, choices=(NOTHING, BALER, none))
    lost = dataclasses.replace(BALER, gain=-1_200.0, gap=None, searched=False)
    found = dataclasses.replace(found, buying=(*found.buying, lost))
    written = json.loads(result_json.dumps(found, TABLES))
    jsonschema.validate(written, result_json.schema())
    assert written["own_or_hire"][0]["break_even_ha"] == pytest.approx(47.9)
    assert written["own_or_hire"][1]["break_even_ha"] is None
    assert [each["gain_a_year"] for each in written["buying"]] == [0.0, 1_013.0, None, -1_200.0]
    assert [each["net_a_year"] for each in written["buying"]] == [90_000.0, 94_900.0, None, None]
    assert [each["searched"] for each in written["buying"]] == [True, True, True, False]
    numbers = {
        key for part in ("own_or_hire", "buying") for each in written[part] for key, value in each.items()
    }
    assert numbers - {"machine", "machines", "now", "searched", "why_not"} <= set(written["units"])
