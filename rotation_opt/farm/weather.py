"""The daily record a farm file names: its faults are told with those of the farm file itself."""

from __future__ import annotations

from pathlib import Path

from rotation_opt import daily_weather
from rotation_opt.errors import Fault, InputError
from rotation_opt.farm.reading import Blocks, Report
from rotation_opt.farm.text import show
from rotation_opt.tables import Tables
from rotation_opt.words import nearest


def daily_file(found: Blocks, farm_file: Path) -> Path | None:
    """The daily record, which is named from where the farm file stands; None if there is none."""
    placed = found.single.get("climate")
    name = None if placed is None else placed.block.daily_file
    return None if name is None else farm_file.parent / name


def check(found: Blocks, farm_file: Path, tables: Tables, report: Report) -> None:
    """Read the record for its faults; a wrong name is the fault of the farm file."""
    path = daily_file(found, farm_file)
    if path is None:
        return
    placed = found.single["climate"]
    line = report.lines.get((*placed.path, "daily_file"), 0)
    try:
        there = path.exists()
    except (OSError, ValueError):
        there = False
    if not there:
        known = [other.name for other in path.parent.glob("*.csv")] if path.parent.is_dir() else []
        near = nearest(path.name, known)
        report.add(
            (*placed.path, "daily_file"),
            placed.title,
            "daily_file",
            show(placed.block.daily_file),
            "allowed is a file that is there, named from the folder of the farm file",
            f'Did you mean "{near}"?' if near else "",
        )
        return
    try:
        record = daily_weather.read(path)
    except InputError as refused:
        report.found.extend((line, fault) for fault in refused.faults)
        return
    farm = found.single.get("farm")
    station = None if farm is None else tables.stations.get(farm.block.climate)
    if station is not None and _summer_in_july(record) != (station.latitude >= 0):
        half = "July" if station.latitude >= 0 else "January"
        fault = Fault(
            path.name,
            f"a record whose {'January' if half == 'July' else 'July'} is warmer than its {half}",
            f"needed is a record from the same side of the equator as the station, {station.key}",
        )
        report.found.append((line, fault))


def _summer_in_july(record: daily_weather.DailyWeather) -> bool:
    """Whether days 182 to 212 of the year are warmer than the first 31, over all years."""
    return sum(sum(year[181:212]) - sum(year[:31]) for year in record.tmax) >= 0
