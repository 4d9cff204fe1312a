"""Days on which a field was really sown, cut and harvested, as a row of the years done tells them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from rotation_opt.errors import Fault
from rotation_opt.scouting_log.cells import as_iso

#: Column -> other names that growers give it.
COLUMNS: Mapping[str, tuple[str, ...]] = {
    "sown_on": ("sown", "sowing date", "seeded", "seeded on", "seeding date", "planted", "planted on",
                "planting date", "drilled", "drilled on"),
    "cut_on": ("cut", "cuts", "cutting date", "mown", "mown on", "mowed on", "grazed on"),
    "harvested_on": ("harvested", "harvest date", "threshed", "threshed on", "combined on"),
}  # fmt: skip
_ALLOWED = "allowed is a date as year-month-day, like 2027-06-24"


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """ISO dates; empty where nothing is told, so that the usual day holds.

    Attributes
    ----------
    sown_on : str
    cut_on : tuple of str
        All cuts or grazings of the season, in order.
    harvested_on : str
    """

    sown_on: str = ""
    cut_on: tuple[str, ...] = ()
    harvested_on: str = ""

    def __bool__(self) -> bool:
        return bool(self.sown_on or self.cut_on or self.harvested_on)

    def of(self, column: str) -> tuple[str, ...]:
        """Dates that stand in a column."""
        found = getattr(self, column)
        return found if isinstance(found, tuple) else (found,) if found else ()


def told(where: str, row: Mapping[str, str], faults: list[Fault]) -> Told:
    """The dates of one row; faults go to `faults`.

    Parameters
    ----------
    where : str
        File and line.
    row : mapping of column to cell
    faults : list of Fault
    """
    cells = {name: _dates(f"{where}, column {name}", row.get(name, ""), faults) for name in COLUMNS}
    for name in ("sown_on", "harvested_on"):
        if len(cells[name]) > 1:
            allowed = "allowed is one date" + (
                "; all cuts of a season stand in cut_on" if name == "harvested_on" else ""
            )
            faults.append(Fault(f"{where}, column {name}", f"{len(cells[name])} dates", allowed))
    sown, harvested = ((cells[name] or ("",))[0] for name in ("sown_on", "harvested_on"))
    return Told(sown_on=sown, cut_on=cells["cut_on"], harvested_on=harvested)


def _dates(place: str, text: str, faults: list[Fault]) -> tuple[str, ...]:
    """Dates of a cell in order, each once."""
    parts = re.split(r"[\s;,]+", text.strip(" ;,")) if text.strip(" ;,") else []
    wrong = next((part for part in parts if not _is_date(part)), None)
    if wrong is not None:
        clean = "".join(sign if sign.isprintable() else "?" for sign in text[:40])
        faults.append(Fault(place, f'"{clean}"', _ALLOWED, as_iso(wrong)))
        return ()
    twice = next((part for part in parts if parts.count(part) > 1), None)
    if twice is not None:
        faults.append(Fault(place, f"{twice} twice", "each day stands once"))
        return ()
    return tuple(sorted(parts))


def _is_date(text: str) -> bool:
    try:
        return bool(re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text) and date.fromisoformat(text))
    except ValueError:
        return False
