"""Names and figures in the words and units of one farm."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from rotation_opt import units
from rotation_opt.records import Farm, Patch, Practice
from rotation_opt.tables import Tables
from rotation_opt.words import MONTHS, word

HALF_MONTHS = tuple(f"{half} {month}" for month in MONTHS for half in ("early", "late"))
NEW_YEAR = date(2001, 1, 1)  # any year of 365 days


@dataclass(frozen=True, slots=True)
class Wording:
    """Says things the way the people of one farm say them.

    Parameters
    ----------
    farm : Farm
        Decides on region (which word), units and currency.
    tables : Tables
        Names of crops, weeds, machines and practices.
    """

    farm: Farm
    tables: Tables

    @property
    def land(self) -> str:
        """Where the farm lies, if it says so, its fields and their area: the start of a first line."""
        fields = self.farm.fields
        where = f"{sentence(self.farm.place)} " if self.farm.place.strip(". ") else ""
        count = f"{len(fields)} field{'' if len(fields) == 1 else 's'}"
        return f"{where}{count}, {self.area(sum(field.area_ha for field in fields))}."

    # ------------------------------------------------------------ names

    @property
    def _british(self) -> bool:
        return self.farm.region == "uk"

    def crop(self, key: str) -> str:
        crop = self.tables.crops.get(key)
        return _readable(key) if crop is None else crop.name_uk if self._british else crop.name_us

    def crop_short(self, key: str) -> str:
        crop = self.tables.crops.get(key)
        return _readable(key) if crop is None else crop.short_uk if self._british else crop.short_us

    def weed(self, key: str) -> str:
        weed = self.tables.weeds.get(key)
        return _readable(key) if weed is None else weed.name_uk if self._british else weed.name_us

    def weed_short(self, key: str) -> str:
        weed = self.tables.weeds.get(key)
        return _readable(key) if weed is None else weed.short_uk if self._british else weed.short_us

    def machine(self, key: str) -> str:
        machine = self.tables.machines.get(key)
        return _readable(key) if machine is None else machine.name_uk if self._british else machine.name_us

    def operation(self, key: str) -> str:
        operation = self.tables.operations.get(key)
        if operation is None:
            return _readable(key)
        return operation.name_uk if self._british else operation.name_us

    def practice(self, key: str) -> str:
        practice = self.tables.practices.get(key)
        return _readable(key) if practice is None else practice.name_uk if self._british else practice.name_us

    def practice_record(self, key: str) -> Practice | None:
        return self.tables.practices.get(key)

    def word(self, term: str) -> str:
        """A term of the glossary as it is said where the farm lies."""
        return word(term, self.farm.region)

    # ------------------------------------------------------------ days

    def day(self, day: int) -> str:
        """Day of the season, 0 = 1 January of the harvest year, as it is written where the farm lies."""
        when = NEW_YEAR + timedelta(days=day)
        words = self._day_of_month(when)
        return f"{words} of the year before" if day < 0 else words

    def dated(self, iso: str) -> str:
        """An ISO date in words; anything else unchanged."""
        try:
            when = date.fromisoformat(iso)
        except ValueError:
            return iso
        return f"{self._day_of_month(when)}{' ' if self._british else ', '}{when.year}"

    def short_day(self, iso: str) -> str:
        """The same without the year and with short months: "May 13", "13 May"."""
        when = date.fromisoformat(iso)
        month = MONTHS[when.month - 1][:3]
        return f"{when.day} {month}" if self._british else f"{month} {when.day}"

    def counted(self, patch: Patch) -> str:
        """When a patch was counted, or that it was not."""
        if patch.estimated:
            return f"estimated for {self.dated(patch.counted_on)}, not counted"
        return f"counted {self.dated(patch.counted_on)}"

    def _day_of_month(self, when: date) -> str:
        month = MONTHS[when.month - 1]
        return f"{when.day} {month}" if self._british else f"{month} {when.day}"

    # ------------------------------------------------------------ figures

    def area(self, ha: float) -> str:
        """Area with its unit."""
        return units.area_text(ha, self.farm.units)

    def area_figure(self, ha: float) -> str:
        """Area without its unit."""
        return units.area_text(ha, self.farm.units).rpartition(" ")[0]

    @property
    def area_unit(self) -> str:
        return units.area_name(self.farm.units)

    @property
    def one_area(self) -> str:
        """The unit of area, once: "net return per acre"."""
        return "acre" if self.farm.units == "us" else "ha"

    @property
    def money_unit(self) -> str:
        """What a column of money is headed with."""
        return units.symbol(self.farm.currency).strip()

    def money(self, value: float) -> str:
        """An amount with its sign."""
        return units.money_text(value, self.farm.currency)

    def money_figure(self, value: float) -> str:
        """An amount to the whole unit, for a column whose header names the currency."""
        return f"{round(value):,}"

    def money_per_area(self, per_ha: float) -> float:
        return units.money_per_area(per_ha, self.farm.units)

    def hay(self, tonnes: float) -> str:
        """Tons of hay, without the unit."""
        amount = units.hay_amount(tonnes, self.farm.units)
        return f"{amount:,.0f}" if abs(amount) >= 9.95 else f"{amount:.1f}"

    @property
    def hay_unit(self) -> str:
        """Unit of hay, spelled so that nobody mixes up the two tons."""
        return "tons (2,000 lb)" if self.farm.units == "us" else "t"

    def amount(self, tonnes: float, crop: str) -> str:
        """An amount of a crop with its unit."""
        record = self.tables.crops.get(crop)
        text = f"{tonnes:,.1f} t" if record is None else units.amount_text(tonnes, record, self.farm.units)
        return f"{text}s" if text.endswith(" ton") else text

    def in_unit(self, value: float, unit: str) -> str:
        """A figure kept in tonnes or hectares as the farm writes it; others as they are."""
        if unit == "t":
            return f"{units.figure(units.hay_amount(value, self.farm.units))} {self.hay_unit}"
        if unit == "ha":
            return f"{units.figure(units.area(value, self.farm.units))} {self.area_unit}"
        return f"{units.figure(value)} {unit}"

    def weed_area(self, low_likely_high: Sequence[float]) -> str:
        """Area of full-strength stand with its unit: likely, then the range, as weed figures are written."""
        return f"{band([units.area(ha, self.farm.units) for ha in low_likely_high])} {self.area_unit}"


def percent(share: float) -> str:
    """A share in running text, without a blank that a line could break at."""
    return f"{percent_figure(share)}%"


def weed_figure(value: float) -> str:
    """A figure of a weed: two significant figures at most, since counts and model are no better.

    Examples
    --------
    >>> weed_figure(23.7), weed_figure(1.04), weed_figure(137.2), weed_figure(0.004), weed_figure(0.0)
    ('24', '1.0', '140', 'under 0.01', '0')
    """
    return units.density_text(value)


def weed_percent(share: float) -> str:
    """A share of a weed's roots, shoots or full stand, as whole per cent of two figures at most.

    Examples
    --------
    >>> weed_percent(0.347), weed_percent(1.137), weed_percent(0.047), weed_percent(0.002)
    ('35', '110', '5', '<1')
    """
    value = 100.0 * share
    if 0.0 < value < 0.5:
        return "<1"
    return f"{value:.0f}" if value < 10.0 else units.figure(value, 2)


def band(low_likely_high: Sequence[float], say: Callable[[float], str] = weed_figure) -> str:
    """What is likely, then from low to high; without the range where rounding leaves none.

    Examples
    --------
    >>> band((3.14, 4.4, 6.02)), band((0.24, 0.29, 0.36), weed_percent)
    ('4.4 (3.1 to 6.0)', '29 (24 to 36)')
    """
    low, likely, high = (say(value) for value in low_likely_high)
    return likely if low == likely == high else f"{likely} ({low} to {high})"


def percent_range(low_likely_high: Sequence[float]) -> str:
    """Shares of a weed as per cent figures: likely, then the range, without the sign."""
    return band(low_likely_high, weed_percent)


def share_range(low_likely_high: Sequence[float]) -> str:
    """The same in running text, with the sign.

    Examples
    --------
    >>> share_range((0.24, 0.29, 0.36)), share_range((1.0, 1.0, 1.0))
    ('29% (24 to 36)', '100%')
    """
    likely, _, rest = percent_range(low_likely_high).partition(" (")
    return f"{likely}% ({rest}" if rest else f"{likely}%"


def percent_figure(share: float) -> str:
    """A share for a column whose header says per cent."""
    return units.percent_text(share).removesuffix(" %")


def half_month(index: int) -> str:
    """Name of one of the 24 half-months.

    Examples
    --------
    >>> half_month(0), half_month(11)
    ('early January', 'late June')
    """
    return HALF_MONTHS[index]


def capital(text: str) -> str:
    """Text with its first letter raised."""
    return text[:1].upper() + text[1:]


def sentence(text: str) -> str:
    """Text as a sentence: first letter raised, full stop at the end."""
    return f"{capital(text.rstrip('. '))}."


def more_or_less(difference: float, text: str, zero: str = "the same") -> str:
    """A difference in words, never by sign or colour alone."""
    if not any(digit in text for digit in "123456789"):
        return zero
    return f"{text} {'more' if difference > 0 else 'less'}"


def mean(values: Sequence[float]) -> float:
    """Plain mean; 0 for no values."""
    return sum(values) / len(values) if values else 0.0


def total_a_year(amounts: Mapping[str, Sequence[float]]) -> float:
    """Mean over the years of the sum over all names."""
    return sum(mean(values) for values in amounts.values())


def _readable(key: str) -> str:
    return key.replace("_", " ")
