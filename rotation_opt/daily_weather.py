"""A daily record of temperature from a CSV file: read, and refused with every fault it has."""

from __future__ import annotations

import csv
import functools
import io
import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

from rotation_opt.errors import Fault, InputError
from rotation_opt.words import listed, nearest

Years = tuple[tuple[float, ...], ...]

COLUMNS = ("date", "tmin_c", "tmax_c")
COLDEST, WARMEST = -70.0, 60.0  # limits that stop slips of the hand, such as degrees Fahrenheit
LARGEST_BYTES = 20_000_000
_SHOWN_FAULTS = 10
_ONE_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DailyWeather:
    """Whole calendar years of daily temperatures, 29 February left out.

    Attributes
    ----------
    file : str
        Name of the file, without its folder.
    years : tuple of int
        In order, none missing between the first and the last.
    tmin, tmax : tuple of tuple of float, shape (years, 365)
        Lowest and highest air temperature of each day. [°C]
    """

    file: str
    years: tuple[int, ...]
    tmin: Years
    tmax: Years


def read(path: Path) -> DailyWeather:
    """Read a daily record.

    Parameters
    ----------
    path : Path
        CSV file in UTF-8 with the columns ``date`` (year-month-day), ``tmin_c`` and ``tmax_c`` in any order,
        further columns allowed: one row for each day, in order, from a 1 January to a 31 December.

    Returns
    -------
    DailyWeather

    Raises
    ------
    InputError
        With one sentence for each fault: file, line, column, what was found, what is allowed.
    """
    path = Path(path)
    try:
        stamp = path.stat()
    except (OSError, ValueError):
        raise _refused(
            str(path), "no file of that name", "give the name of a file of daily weather"
        ) from None
    if path.is_dir():
        raise _refused(str(path), "a folder", "allowed is a CSV file of daily weather")
    if stamp.st_size > LARGEST_BYTES:
        raise _refused(path.name, f"{stamp.st_size / 1e6:.0f} MB", "a daily record is at most 20 MB of text")
    return _read(path, stamp.st_mtime_ns, stamp.st_size)


@functools.lru_cache(maxsize=8)
def _read(path: Path, _changed: int, _size: int) -> DailyWeather:
    """The record of a file as it stands now; kept, because a plan asks for it several times."""
    rows = list(csv.reader(io.StringIO(_text(path), newline="")))
    faults: list[Fault] = []
    places = _header(path.name, rows[0] if rows else [], faults)
    if faults:
        raise InputError(faults)
    days, low, high = _days(path.name, rows[1:], places, faults)
    if not faults:
        faults += _whole_years(path.name, days)
    if faults:
        more = len(faults) - _SHOWN_FAULTS
        rest = [Fault(path.name, f"{more} more faults like these", "put these right first")]
        raise InputError([*faults[:_SHOWN_FAULTS], *(rest if more > 0 else [])])
    years = tuple(range(days[0].year, days[-1].year + 1))
    tmin, tmax = (_by_year(days, values) for values in (low, high))
    return DailyWeather(file=path.name, years=years, tmin=tmin, tmax=tmax)


def _by_year(days: list[date], values: list[float]) -> Years:
    kept = [value for day, value in zip(days, values, strict=True) if (day.month, day.day) != (2, 29)]
    return tuple(tuple(kept[at : at + 365]) for at in range(0, len(kept), 365))


def _refused(where: str, found: str, allowed: str, hint: str = "") -> InputError:
    return InputError([Fault(where, found, allowed, hint)])


def _text(path: Path) -> str:
    try:
        raw = path.read_bytes()
    except OSError as fault:
        found = f"a file that cannot be opened ({fault.strerror or 'no reason given'})"
        raise _refused(path.name, found, "allowed is a readable file") from None
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = "\0"
    if "\0" in text:
        raise _refused(path.name, "bytes that are not text", "allowed is a CSV file in UTF-8")
    return text


def _header(file: str, names: list[str], faults: list[Fault]) -> dict[str, int]:
    """Where each column stands."""
    given = [name.strip().lower() for name in names]
    needed = f"the first line names the columns {listed(COLUMNS, 'and')}, with commas between"
    if not any(given):
        faults.append(Fault(f"{file} line 1", "no column names", needed))
        return {}
    for name in COLUMNS:
        if name not in given:
            near = nearest(name, given)
            faults.append(
                Fault(f"{file} line 1", f"no column {name}", needed, f"Is {near} meant?" if near else "")
            )
        elif given.count(name) > 1:
            faults.append(Fault(f"{file} line 1", f"two columns {name}", "each column stands there once"))
    return {name: given.index(name) for name in COLUMNS if name in given}


def _days(
    file: str, rows: list[list[str]], places: dict[str, int], faults: list[Fault]
) -> tuple[list[date], list[float], list[float]]:
    days: list[date] = []
    coldest: list[float] = []
    warmest: list[float] = []
    before: date | None = None  # unknown again after a date that cannot be read
    for line, row in enumerate(rows, start=2):
        if not any(cell.strip() for cell in row):
            continue
        cells = {name: row[at].strip() if at < len(row) else "" for name, at in places.items()}
        where = f"{file} line {line}"
        day = _date(cells["date"])
        if day is None:
            allowed = "allowed is a date as year-month-day, like 2019-04-30"
            faults.append(Fault(f"{where}, column date", _shown(cells["date"]), allowed))
        elif before is not None and not _follows(before, day):
            faults.append(_out_of_order(where, before, day))
        before = day
        low, high = (_degrees(f"{where}, column {name}", cells[name], faults) for name in COLUMNS[1:])
        if low is not None and high is not None and low > high:
            found = f"a minimum of {low:g} above the maximum of {high:g}"
            faults.append(Fault(f"{where}, column tmin_c", found, "the minimum is the lower of the two"))
        if day is not None and low is not None and high is not None:
            days.append(day)
            coldest.append(low)
            warmest.append(high)
    if not days and not faults:
        faults.append(Fault(file, "no days", "a record holds one or more whole years"))
    return days, coldest, warmest


def _date(text: str) -> date | None:
    try:
        return date.fromisoformat(text) if len(text) == len("2019-04-30") else None
    except ValueError:
        return None


def _degrees(where: str, text: str, faults: list[Fault]) -> float | None:
    allowed = f"allowed is a number from {COLDEST:g} to {WARMEST:g}, in degrees Celsius"
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if math.isfinite(value) and COLDEST <= value <= WARMEST:
        return value
    hint = "Write a point for the decimal comma." if "," in text else ""
    faults.append(Fault(where, _shown(text), allowed, hint))
    return None


def _shown(text: str) -> str:
    return f'"{text[:40]}"' if text else "nothing"


def _follows(before: date, day: date) -> bool:
    """Whether a day is the next one; calendars without 29 February will do."""
    following = before + _ONE_DAY
    return day == following or ((following.month, following.day) == (2, 29) and day == following + _ONE_DAY)


def _out_of_order(where: str, before: date, day: date) -> Fault:
    wanted = before + _ONE_DAY
    found = f"{day} after {before}"
    if day == before:
        return Fault(f"{where}, column date", found, "each day stands there once")
    if day < before:
        return Fault(f"{where}, column date", found, "allowed are days in order")
    missing = (day - wanted).days
    gap = f"{wanted} is missing" if missing == 1 else f"{missing} days from {wanted} on are missing"
    return Fault(f"{where}, column date", found, f"needed is every day, and {gap}")


def _whole_years(file: str, days: list[date]) -> Iterator[Fault]:
    needed = "needed are whole years, from a 1 January to a 31 December"
    if (days[0].month, days[0].day) != (1, 1):
        yield Fault(f"{file} line 2, column date", f"{days[0]} as the first day", needed)
    if (days[-1].month, days[-1].day) != (12, 31):
        yield Fault(f"{file}, column date", f"{days[-1]} as the last day", needed)
