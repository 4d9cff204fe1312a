"""The cells of one row of a log: each understood, or told as a fault."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from rotation_opt import words
from rotation_opt.errors import Fault
from rotation_opt.farm.names import Names
from rotation_opt.frames import LARGEST_M2, SMALLEST_M2
from rotation_opt.records import Farm
from rotation_opt.scouting_log.records import STAGES, visit_key
from rotation_opt.tables import Tables

DENSEST_PER_M2 = 5_000.0  # of one stop; far above any stand, so it stops slips of the hand only
MOST_SHOOTS = 10_000  # in a frame, as in the farm file
FIRST_YEAR, LAST_YEAR = 1970, 2099  # of a visit
TALLEST_CM = 400.0
SMALLEST_HA = 1e-6
LONGEST = 500  # letters of a text
_NUMBER = re.compile(r"[-+]?[0-9]{1,12}(?:[.,][0-9]{1,12})?")
_THOUSANDS = re.compile(r"[-+]?[1-9][0-9]{0,2},[0-9]{3}")
_DATE_ALLOWED = "allowed is a date as year-month-day, like 2027-06-24"
_ROUNDING = 1.001  # a patch as large as its field, in acres turned to hectares


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """One row without faults."""

    place: str
    date: str
    observer: str
    field: str
    patch: str
    weed: str
    stage: str
    frame_m2: float
    count: int
    patch_area_ha: float | None
    height_cm: float | None
    note: str

    @property
    def visit(self) -> tuple[str, ...]:
        """What the stops of one visit have in common."""
        return visit_key(self.date, self.field, self.patch, self.weed, self.observer)


class Cells:
    """Reads rows of one log; faults and remarks are gathered.

    Parameters
    ----------
    farm : Farm
    tables : Tables
    faults : list of Fault
        Where faults go.
    """

    def __init__(self, farm: Farm, tables: Tables, faults: list[Fault]) -> None:
        self.faults = faults
        self.remarks: list[str] = []
        self._names = Names(tables, farm.region)
        self._areas = {field.name: field.area_ha for field in farm.fields}

    def stop(self, where: str, row: Mapping[str, str]) -> Stop | None:
        """One stop, None if the row has a fault.

        Parameters
        ----------
        where : str
            File and line.
        row : mapping of column to cell
        """
        before = len(self.faults)
        cell = {name: text.strip() for name, text in row.items()}

        def get(name: str) -> tuple[str, str]:
            return f"{where}, column {name}", cell.get(name, "")

        day = self._date(*get("date"))
        field = self._field(*get("field"))
        weed = self._weed(*get("weed"))
        stage = self._stage(*get("stage"))
        frame = self._number(*get("frame_m2"), SMALLEST_M2, LARGEST_M2, "m2", "Is the frame in square feet?")
        count = self._count(*get("count"))
        area = self._perhaps(*get("patch_area_ha"), SMALLEST_HA, 10_000.0, "hectares")
        height = self._perhaps(*get("height_cm"), 0.0, TALLEST_CM, "centimeters")
        texts = {name: self._text(*get(name)) for name in ("observer", "patch", "note")}
        if field and area and area > self._areas[field] * _ROUNDING:
            place, text = get("patch_area_ha")
            allowed = f"a patch is no larger than its field, and {field} has {self._areas[field]:.3g} ha"
            self._fault(place, text, allowed, "Is the area in acres or square meters?")
        if frame and count and count / frame > DENSEST_PER_M2:
            allowed = f"at most {DENSEST_PER_M2:,.0f} shoots per m2, and this is {count / frame:,.0f}"
            self._fault(*get("count"), allowed, "Is the frame as large as that?")
        if len(self.faults) > before or count is None or frame is None:
            return None
        return Stop(
            place=where,
            date=day,
            field=field,
            weed=weed,
            stage=stage,
            frame_m2=frame,
            count=count,
            patch_area_ha=area,
            height_cm=height,
            **texts,
        )

    def _fault(self, place: str, found: str, allowed: str, hint: str = "") -> None:
        shown = found if len(found) <= 40 else f"{found[:37]}..."
        clean = "".join(sign if sign.isprintable() else "?" for sign in shown)
        self.faults.append(Fault(place, f'"{clean}"' if found else "nothing", allowed, hint))

    def _date(self, place: str, text: str) -> str:
        try:
            day = date.fromisoformat(text) if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text) else None
        except ValueError:
            day = None
        if day is None:
            self._fault(place, text, _DATE_ALLOWED, as_iso(text))
            return ""
        if not FIRST_YEAR <= day.year <= LAST_YEAR:
            self._fault(place, text, f"allowed are the years {FIRST_YEAR} to {LAST_YEAR}")
            return ""
        return text

    def _field(self, place: str, text: str) -> str:
        there: dict[str, tuple[str, ...]] = dict.fromkeys(self._areas, ())
        found = words.find(text, there) if text else None
        if found is None:
            near = words.nearest(text, there)
            allowed = f"allowed is a field of the farm: {words.listed(list(self._areas))}"
            self._fault(place, text, allowed, f'Did you mean "{near}"?' if near else "")
            return ""
        return found

    def _weed(self, place: str, text: str) -> str:
        found = self._names.key("weed", text) if text else None
        if found is None:
            self._fault(place, text, self._names.allowed("weed", text), self._names.hint("weed", text))
            return ""
        return found

    def _stage(self, place: str, text: str) -> str:
        found = words.find(text, dict.fromkeys(STAGES, ())) if text else None
        if found is None:
            near = words.nearest(text, STAGES)
            allowed = f"allowed is {words.listed(STAGES)}"
            self._fault(place, text, allowed, f'Did you mean "{near}"?' if near else "")
            return ""
        return found

    def _count(self, place: str, text: str) -> int | None:
        value = self._number(place, text, 0.0, float(MOST_SHOOTS), "shoots in the frame", "")
        if value is not None and not value.is_integer():
            self._fault(
                place, text, "allowed is a whole number of shoots", "Write what was counted, stop by stop."
            )
            return None
        return None if value is None else int(value)

    def _perhaps(self, place: str, text: str, least: float, most: float, unit: str) -> float | None:
        return self._number(place, text, least, most, unit, "Leave it empty if not known.") if text else None

    def _number(  # noqa: PLR0917
        self, place: str, text: str, least: float, most: float, unit: str, hint: str
    ) -> float | None:
        allowed = f"allowed is a number from {least:g} to {most:g}, in {unit}"
        if not _NUMBER.fullmatch(text):
            self._fault(place, text, allowed, hint if text else "")
            return None
        if _THOUSANDS.fullmatch(text):
            meant = f"Write {text.replace(',', '.')} or {text.replace(',', '')}."
            self._fault(place, text, "a comma before three digits may mean two things", meant)
            return None
        value = float(text.replace(",", "."))
        if not least <= value <= most:
            self._fault(place, text, allowed, hint)
            return None
        if "," in text:
            self.remarks.append(f"{place}: {text} is read as {text.replace(',', '.')}.")
        return value

    def _text(self, place: str, text: str) -> str:
        if any(not sign.isprintable() for sign in text):
            hint = "Is a quotation mark missing?" if "\n" in text or "\r" in text else ""
            self._fault(place, text, "allowed is plain text on one line", hint)
        elif len(text) > LONGEST:
            self._fault(place, text, f"allowed are {LONGEST} letters")
        return text


def as_iso(text: str) -> str:
    """A date of another kind turned round, where only one reading makes sense."""
    if found := re.fullmatch(r"([0-9]{1,2})([./-])([0-9]{1,2})\2([0-9]{4})", text):
        first, second, year = int(found[1]), int(found[3]), int(found[4])
        meant = set()
        for month, day in ((first, second), (second, first)):
            try:
                meant.add(date(year, month, day).isoformat())
            except ValueError:
                continue
        if found[2] == ".":  # the day comes first where points are written
            meant = {day for day in meant if int(day[8:]) == first}
        return f"Write {words.listed(sorted(meant))}." if meant else ""
    return ""
