"""Machine capacity and cost; published examples stand in test_worked_examples.py."""

import math

import pytest

from rotation_opt import machinery


def test_a_baler_in_a_heavy_crop_is_held_up_by_its_throughput():
    light = machinery.hours_per_ha(6.0, 8.0, 0.65, crop_t_ha=1.0, throughput_t_h=10.0)
    heavy = machinery.hours_per_ha(6.0, 8.0, 0.65, crop_t_ha=6.0, throughput_t_h=10.0)
    assert light == pytest.approx(1 / (6.0 * 8.0 * 0.65 / 10))
    assert heavy == pytest.approx(0.6)


def test_owning_never_breaks_even_where_hire_is_cheaper_than_running():
    assert machinery.break_even_area(1000, 4, 21) == math.inf


def test_break_even_lies_where_owning_costs_what_hiring_costs():
    area = machinery.break_even_area(1000, 21, 4)
    assert 1000 + 4 * area == pytest.approx(21 * area)
