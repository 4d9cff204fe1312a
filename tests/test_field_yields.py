"""Yields by field and crop: a share of the farm's usual yield, everywhere the same."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest
from small_farm import TABLES, Plans, small, with_field

from rotation_opt import farm as farms
from rotation_opt.balances import balance_checks, balances
from rotation_opt.cash_flow import CashFlow
from rotation_opt.errors import InputError
from rotation_opt.farm_arrays import selection_data
from rotation_opt.groundwork import lay
from rotation_opt.records import Farm
from rotation_opt.sequences import trace
from rotation_opt.verify import recheck

DEMO = Path(__file__).parent.parent / "examples" / "lindenhang.toml"


def uneven() -> Farm:
    """East gives nine tenths of everything, but half of the corn and a fifth more soybeans."""
    return with_field(
        small(), "East", yield_ratio=0.9, yield_ratios={"corn_grain": 0.5, "soybean": 1.2}, patches=()
    )


@cache
def planned() -> Plans:
    return Plans(uneven())


def test_a_crop_with_a_ratio_of_its_own_goes_by_it_and_others_by_that_of_the_field() -> None:
    field = uneven().fields[0]
    assert [field.ratio_of(crop) for crop in ("corn_grain", "soybean", "oat")] == [0.5, 1.2, 0.9]
    base = with_field(small(), "East", patches=())
    path_of, made = {}, {}
    for name, farm in (("even", base), ("uneven", uneven())):
        data = selection_data(lay(farm, TABLES))
        path_of[name] = [data.practice_keys.index(key) for key in farm.fields[0].as_now]
        made[name] = trace(data, 0, path_of[name]).made_t
    # now: soybean, spring barley, corn
    assert made["uneven"] / made["even"] == pytest.approx([1.2, 0.9, 0.5])


def test_plans_by_such_yields_are_reckoned_the_same_twice_and_balances_close() -> None:
    plans = planned()
    flow = CashFlow(plans.ground, plans.data)
    for each in plans.all:
        assert all(line.agrees for line in recheck(plans.ground, each)), each.key
        assert all(line.agrees for line in balance_checks(balances(plans.ground, each, flow.course(each))))


def test_ratios_by_crop_are_read_from_the_field(tmp_path: Path) -> None:
    text = DEMO.read_text(encoding="utf-8")
    line = 'yield_ratio_by_crop = { maize = 0.7, "winter rye" = 1.05 }'
    path = tmp_path / "uneven.toml"
    shipped = next(each for each in text.splitlines() if each.startswith("yield_ratio_by_crop"))
    path.write_text(text.replace(shipped, line), encoding="utf-8")
    (field,) = (each for each in farms.read(path, TABLES).fields if each.name == "Kiesgrube")
    assert field.yield_ratios == {"corn_grain": 0.7, "winter_rye": 1.05}
    assert field.ratio_of("field_pea") == 0.85
    path.write_text(text.replace(shipped, line.replace("0.7", "7")), encoding="utf-8")
    with pytest.raises(InputError, match=r"yield_ratio_by_crop.*from 0.1 to 3"):
        farms.read(path, TABLES)
