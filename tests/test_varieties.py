"""Varieties of warm-season crops fit the place: harvest falls when growers there bring the crop in."""

from datetime import date

import pytest

from rotation_opt import tables
from rotation_opt.climate import for_station
from rotation_opt.practices import DatedPractice, date_practice, field_calendar
from rotation_opt.varieties import MARGIN, fitted


def dated(practice: str, station: str) -> tuple[DatedPractice, str]:
    climate = for_station(station, tables.read())
    fit = fitted(tables.read(), climate)
    return date_practice(fit.practices[practice], climate, fit, field_calendar(climate, fit))


def day(month: int, number: int) -> int:
    """Day of the year, 0 = 1 January."""
    return (date(2025, month, number) - date(2025, 1, 1)).days


# Nguyen and Liebman 2022, archive of the rotation trial near Boone, Iowa, 2017-2020: first and last days.
@pytest.mark.parametrize(
    ("practice", "sown", "harvested"),
    [
        ("corn_grain", (day(4, 23), day(6, 3)), (day(10, 2), day(11, 6))),
        ("soybean", (day(5, 13), day(6, 10)), (day(9, 23), day(10, 29))),
        ("oat", (day(4, 2), day(4, 24)), (day(7, 17), day(7, 24))),
    ],
)
def test_iowa_dates_are_those_of_the_trial(
    practice: str, sown: tuple[int, int], harvested: tuple[int, int]
) -> None:
    found, reason = dated(practice, "Boone IA")
    assert not reason
    assert found.sowing_day is not None
    assert sown[0] <= found.sowing_day <= sown[1]
    assert harvested[0] <= found.harvest_day <= harvested[1]


# Same archive: alfalfa cut 2-7 June, 6-12 July and 7 August to 10 September.
def test_alfalfa_is_cut_when_it_is_cut_in_iowa() -> None:
    found, _ = dated("alfalfa_1", "Boone IA")
    for cut, (first, last) in zip(
        found.cut_days,
        [(day(6, 2), day(6, 7)), (day(7, 6), day(7, 12)), (day(8, 7), day(9, 10))],
        strict=True,
    ):
        assert first <= cut <= last


def test_a_cooler_place_gets_an_earlier_variety() -> None:
    heat = {
        station: fitted(tables.read(), for_station(station, tables.read())).number(
            "crop", "corn_grain", "heat_maturity"
        )
        for station in ("Boone IA", "Wuerzburg", "Winnipeg MB, airport")
    }
    assert heat["Boone IA"] > heat["Wuerzburg"] > heat["Winnipeg MB, airport"]


def test_a_variety_stays_in_the_range_that_is_grown_and_keeps_its_shape() -> None:
    plain = tables.read()
    for station in plain.stations:
        fit = fitted(plain, for_station(station, plain))
        for crop in plain.crops:
            if not plain.has("crop", crop, "heat_maturity"):
                continue
            usual, now = (each.figure("crop", crop, "heat_maturity") for each in (plain, fit))
            if not plain.has("crop", crop, MARGIN):
                assert now.value == usual.value
                continue
            assert usual.low is not None
            assert usual.high is not None
            assert usual.low <= now.value <= usual.high
            share = [each.number("crop", crop, "heat_senescence") for each in (plain, fit)]
            assert share[1] / now.value == pytest.approx(share[0] / usual.value)


def test_corn_does_not_ripen_where_even_the_earliest_hybrid_fails() -> None:
    _, reason = dated("corn_grain", "Saskatoon SK, airport")
    assert "ripen" in reason
