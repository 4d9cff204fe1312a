"""What is asked on which sheet of the worksheet, by key of the farm file.

A label says its unit, so that writing and reading need no other agreement than this file.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from rotation_opt.farm import blocks
from rotation_opt.farm.blocks import Block
from rotation_opt.units import Units
from rotation_opt.words import MONTHS

UNIT = "{unit}"
FEWEST_HISTORY, FEWEST_YEARS = 5, 5
MODELS: Mapping[str, type[Block]] = {**blocks.SINGLE, **blocks.MANY, "patch": blocks.PatchBlock}
_CURRENCY_UNITS = ("bu", "cwt", "ton", "t", "dt")
_SPOKEN = {
    "acres": "acres",
    "acre": "per acre",
    "ha": "ha",
    "ft": "ft",
    "m": "m",
    "ton": "tons (2,000 lb)",
    "t": "t (1,000 kg)",
    "lb": "lb",
    "kg": "kg",
    "gallon": "gallon",
    "litre": "litre",
    "m2": "m2",
    "sq_ft": "square feet",
    "sq_yd": "square yards",
    "pct": "%",
}


@dataclass(frozen=True, slots=True)
class Ask:
    """One cell to fill, on a sheet of questions, or one column, on a sheet of rows.

    Parameters
    ----------
    label : str
    key : str
        Of the farm file; ``{unit}`` in it is what `unit` says. Empty for a cell that is itself the unit.
    help : str
    block : str
        The block of a question; rows have that of their sheet.
    pick : str
        Name of the list to choose from, empty if there is none.
    entry : int or None
        Place in a list, from 0.
    unit : str
        Label of the cell in which the unit stands.
    """

    label: str
    key: str
    help: str = ""
    block: str = ""
    pick: str = ""
    entry: int | None = None
    unit: str = ""
    wide: int = 11


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet: questions one below the other, or rows of one block with a head each column."""

    name: str
    lead: str
    asks: tuple[Ask, ...]
    block: str = ""  # of the rows; empty for questions
    rows: int = 0


def choices() -> dict[str, tuple[str, ...]]:
    """The short lists that do not come from the crop tables."""
    return {
        "yes": ("yes", "no"),
        "units": ("us", "metric"),
        "region": ("us", "uk"),
        "soil": ("light", "medium", "heavy", "wet"),
        "stage": ("emerging", "rosette", "stem", "bud", "flower", "mature", "stubble"),
        "status": ("own", "hire", "buy", "none"),
        "other": ("own", "hire", "none"),
        "amount": _CURRENCY_UNITS,
        "yield": ("bu per acre", "cwt per acre", "lb per acre", "ton per acre", "t per ha", "dt per ha"),
        "paid": ("acre", "ha", "bale", "ton", "t", "hour"),
    }


def sheets(units: Units, content: Mapping[str, Any] | None = None) -> tuple[Sheet, ...]:
    """All sheets in the order of the workbook.

    Parameters
    ----------
    units : {"us", "metric"}
        Which keys are asked for.
    content : mapping, optional
        A farm file as nested tables: what it gives in other units is asked for as well, and there are rows
        and years enough for it.
    """
    held = content or {}
    return tuple(_sheet(name, units, held) for name in _MAKERS)


def all_labels(name: str) -> dict[str, Ask]:
    """Every cell that a sheet of that name may ask for, by its label in small letters."""
    found: dict[str, Ask] = {}
    for units in ("us", "metric"):
        everything = {
            "farm": {"years": 8},
            "field": [{"history": [""] * 20, "as_now": [""] * 8}],
        }
        for ask in _MAKERS[name](_Making(units, everything, every=True)).asks:
            found.setdefault(plain_label(ask.label), ask)
    return found


def plain_label(label: str) -> str:
    return " ".join(label.replace("*", " ").split()).casefold()


@dataclass(frozen=True, slots=True)
class _Making:
    units: Units
    content: Mapping[str, Any]
    every: bool = False

    def used(self, block: str) -> set[str]:
        """Keys that the farm file gives in blocks of one kind."""
        if block == "patch":
            entries = [patch for one in self.content.get("field", ()) for patch in one.get("patch", ())]
        else:
            found = self.content.get(block, ())
            entries = [found] if isinstance(found, Mapping) else list(found)
        return {key for entry in entries for key in entry}

    def family(self, block: str, label: str, keys: Sequence[str], **more: Any) -> tuple[Ask, ...]:
        """A cell for the key of these units, and for others that the farm file uses."""
        usual = keys[0 if self.units == "us" else 1]
        wanted = [key for key in keys if key == usual or self.every or key in self.used(block)]
        bare, star = label.removesuffix(" *"), " *" if label.endswith(" *") else ""
        owner = block if block in blocks.SINGLE else ""
        return tuple(Ask(f"{bare}{_unit_of(key)}{star}", key, block=owner, **more) for key in wanted)


def _unit_of(key: str) -> str:
    for ending in sorted(_SPOKEN, key=len, reverse=True):
        if key.endswith(f"_per_{ending}"):
            return f", per {_SPOKEN[ending].removeprefix('per ').replace('tons', 'ton')}"
        if key.endswith(f"_{ending}"):
            return f", {_SPOKEN[ending]}"
    return ""


def _sheet(name: str, units: Units, content: Mapping[str, Any]) -> Sheet:
    return _MAKERS[name](_Making(units, content))


def _farm(_: _Making) -> Sheet:
    return Sheet(
        "Farm",
        "Fill in the framed cells only, on every sheet; cells with an arrow have a list. A star marks "
        "what is needed; all else may stay empty and is then taken from the crop tables. Save, and read it "
        "back with rotation-opt worksheet-read.",
        (
            Ask("Name of the farm *", "name", block="farm"),
            Ask("Place", "place", "Printed under the name.", "farm"),
            Ask("Adviser", "adviser", block="farm"),
            Ask(
                "Units *",
                "units",
                "us prints acres and bushels, metric hectares and tonnes.",
                "farm",
                "units",
            ),
            Ask("Words", "region", "us says Canada thistle, uk creeping thistle.", "farm", "region"),
            Ask("Currency", "currency", "Like USD or EUR.", "farm"),
            Ask("Weather station *", "climate", "The one most like the farm.", "farm", "station"),
            Ask("Note on the weather", "climate_note", block="farm"),
            Ask("Own weather file", "daily_file", "Name of a CSV file of daily temperatures.", "climate"),
            Ask("Organic *", "organic", "yes or no.", "farm", "yes"),
            Ask("First harvest year of the plan *", "first_year", block="farm"),
            Ask("Years to plan", "years", "3 to 8; 5 if empty.", "farm"),
            Ask(
                "Day the plan is decided *",
                "decided_on",
                "Like 2026-07-31. Work that falls before it can no longer be done.",
                "farm",
            ),
            Ask(
                "Machines not listed", "other_machines", "What to do where they are needed.", "farm", "other"
            ),
            Ask("Invented farm", "invented", "yes for a demo that is nobody's.", "farm", "yes"),
        ),
    )


def _fields(making: _Making) -> Sheet:
    fields = [one for one in making.content.get("field", ()) if isinstance(one, Mapping)]
    past = max([FEWEST_HISTORY, *(len(one.get("history", ())) for one in fields)])
    farm = making.content.get("farm", {})
    years = max([int(farm.get("years", FEWEST_YEARS)), *(len(one.get("as_now", ())) for one in fields)])
    before = [
        Ask(
            "Year before the plan *" if back == 1 else f"{back} years before",
            "history",
            "Crop.",
            pick="grown",
            entry=past - back,
            wide=14,
        )
        for back in range(past, 0, -1)
    ]
    now = [
        Ask(f"As now, year {n + 1}", "as_now", "What you would grow.", pick="grown", entry=n, wide=14)
        for n in range(years)
    ]
    return Sheet(
        "Fields",
        "One row a field. Crops of the last years, oldest first; leave the left cells empty where you do not "
        "know that far back. As now: what you would grow if nothing changed.",
        (
            Ask("Field *", "name", wide=18),
            *making.family("field", "Area *", blocks.AREA),
            Ask("Soil", "soil", pick="soil"),
            *before,
            *now,
            Ask("Lease ends", "lease_end", "Last harvest that is sure."),
            *making.family("field", "Rent", blocks.RENT),
            Ask("Landlord's share, %", "landlord_share_pct", "Of the crop."),
            Ask("Yield against usual", "yield_ratio", "0.9 is a tenth less."),
            Ask("The same of some crops", "yield_ratio_by_crop", "Like corn 0.8, oats 1.1", wide=18),
            Ask("Not to be grown here", "bans", "Crops, with commas.", wide=18),
        ),
        "field",
        25,
    )


def _weeds(making: _Making) -> Sheet:
    return Sheet(
        "Weeds",
        "One row a patch, best counted at bud stage. Give its size as a share of the field or as an area, "
        "and the shoots either as counts in a frame (3, 5, 2, 6, with the size of the frame) or per m2.",
        (
            Ask("Field *", "field", "As on the sheet Fields.", wide=18),
            Ask("Weed *", "weed", pick="weed", wide=20),
            Ask("Share of the field, %", "share_of_field_pct"),
            *making.family("patch", "Area", blocks.AREA),
            Ask("Counts, stop by stop", "counts", "With commas.", wide=20),
            Ask("Frame, m2", "frame_m2"),
            *(
                ask
                for ask in making.family("patch", "Frame", ("frame_sq_ft", "frame_m2", "frame_sq_yd"))
                if ask.key != "frame_m2"
            ),
            Ask("Shoots, per m2", "shoots_per_m2"),
            *(
                (Ask("Shoots, per square foot", "shoots_per_sq_ft"),)
                if making.every or "shoots_per_sq_ft" in making.used("patch")
                else ()
            ),
            Ask("Counted on *", "counted_on", "Like 2026-06-24.", wide=13),
            Ask("Stage *", "stage", pick="stage"),
        ),
        "patch",
        25,
    )


def _machines(making: _Making) -> Sheet:
    return Sheet(
        "Machines",
        "One row a machine. own, hire, buy (is it worth it?) or none. A row with nothing but a name is left "
        "out. What a machine costs, and how wide it is, is taken from the crop tables where it is not given.",
        (
            Ask("Machine *", "name", pick="machine", wide=22),
            Ask("Status *", "status", pick="status"),
            *making.family("machine", "Width", blocks.WIDTH),
            Ask("How many", "number"),
            Ask("Hours a day", "hours_a_day"),
            Ask("Hire rate", f"hire_rate_per_{UNIT}", "Money.", unit="Hire paid by the"),
            Ask("Hire paid by the", "", pick="paid"),
            *making.family("machine", "Most to hire a year", blocks.HIRE_CAP),
            Ask("Hired as well", "also_hire", "yes: help in a pinch.", pick="yes"),
            Ask("Comes late, days", "comes_late_days"),
            Ask("Price", "price", "For buy."),
            Ask("Years kept", "years_kept"),
            Ask("Interest, %", "interest_pct"),
            Ask("Your share, %", "share_pct", "Owned with neighbors."),
        ),
        "machine",
        40,
    )


def _labour(_: _Making) -> Sheet:
    months = [
        Ask(f"{what}, {month}", key, said, "labour", entry=n)
        for what, key, said in (
            ("Hours a week each", "hours_per_week_by_month", "For field work, each worker."),
            ("Paid help, hours a week", "extra_hours_per_week_by_month", "All people together."),
        )
        for n, month in enumerate(MONTHS)
    ]
    return Sheet(
        "People",
        "Hours for field work: one figure for all the year, or one for each month, not both. A star: one of "
        "the two is needed.",
        (
            Ask("Workers", "workers", "In the fields; 1 if empty.", "labour"),
            Ask("Wage per hour", "wage_per_hour", block="labour"),
            Ask("Wage of paid help per hour", "extra_wage_per_hour", block="labour"),
            Ask("Hours a machine works a day *", "machine_hours_a_day", "On a day fit for work.", "labour"),
            Ask(
                "Plan for a bad year",
                "bad_year",
                "yes: by the few field days of one year in five.",
                "labour",
                "yes",
            ),
            Ask("Hours a week each, all year *", "hours_per_week", "For field work, each worker.", "labour"),
            Ask(
                "Paid help, hours a week, all year", "extra_hours_per_week", "All people together.", "labour"
            ),
            *months,
        ),
    )


def _crops(_: _Making) -> Sheet:
    return Sheet(
        "Crops",
        "Your own yields and prices, one row a crop. What is not given is taken from the crop tables.",
        (
            Ask("Crop *", "name", pick="crop", wide=20),
            Ask("Yield", f"yield_{UNIT}", unit="Unit of the yield"),
            Ask("Unit of the yield", "", pick="yield", wide=14),
            Ask("Price", f"price_per_{UNIT}", unit="Price per"),
            Ask("Price per", "", "bu, cwt, ton (2,000 lb), t, dt (100 kg).", pick="amount"),
            Ask("Sold in month", "sold_in_month", "1 to 12."),
            Ask("Weedy grain, price off, %", "weedy_price_off_pct"),
            Ask("Weedy from a loss of, %", "weedy_from_loss_pct"),
        ),
        "crop",
        20,
    )


def _selling(_: _Making) -> Sheet:
    return Sheet(
        "Selling",
        "Buyers with terms of their own: one row a buyer and crop. At least and at most are amounts a year.",
        (
            Ask("Buyer *", "name", wide=24),
            Ask("Crop *", "crop", pick="crop", wide=18),
            Ask("Amounts in", "", "bu, cwt, ton (2,000 lb), t, dt (100 kg).", pick="amount"),
            Ask("Price", f"price_per_{UNIT}", unit="Amounts in"),
            Ask("At least", f"least_{UNIT}", "A contract.", unit="Amounts in"),
            Ask("At most", f"most_{UNIT}", unit="Amounts in"),
            Ask("Haul", f"haul_per_{UNIT}", "Money.", unit="Amounts in"),
            Ask("Sold in month", "sold_in_month", "1 to 12."),
            Ask("Sold standing", "standing", "The buyer cuts it.", pick="yes"),
            Ask("Only in the years", "years", "With commas.", wide=14),
        ),
        "outlet",
        15,
    )


def _herd(making: _Making) -> Sheet:
    family = making.family
    return Sheet(
        "Herd and costs",
        "Leave empty what you have not. The hay a herd eats can be given, or worked out from its head, "
        "weight and days on hay.",
        (
            *family("livestock", "Hay eaten in a year", ("hay_need_ton", "hay_need_t")),
            Ask("Head", "head", "Instead of the hay eaten.", "livestock"),
            *family("livestock", "Weight of one", blocks.LIVE_WEIGHT),
            Ask("Days on hay", "days", block="livestock"),
            *family("livestock", "Grazing needed in a year, as hay", blocks.GRAZING_NEED),
            *family("livestock", "Hay bought in", blocks.HAY_PRICE, help="Price, brought here."),
            *family("storage", "Hay that can be kept dry", blocks.HAY_STORE),
            *family("storage", "Hay in store now", blocks.HAY_NOW),
            Ask("Lost in store, %", "loss_pct", block="storage"),
            *family("costs", "Fuel", blocks.FUEL),
            *family("costs", "Nitrogen", blocks.NITROGEN),
            Ask("Interest, %", "interest_pct", block="costs"),
            Ask("Surplus sold at, % of the price", "surplus_price_pct", block="costs"),
            Ask("Payment on debt a year", "debt_payment_per_year", block="costs"),
            Ask("Month of that payment", "debt_payment_month", "1 to 12.", "costs"),
        ),
    )


def _limits(making: _Making) -> Sheet:
    return Sheet(
        "Limits",
        "What you will not go below or above. Lists with commas.",
        (
            Ask("Least cash left in any year", "cash_floor", "May be negative. Empty: no limit.", "limits"),
            Ask("Fixed cost a year", "fixed_cost_per_year", "Machinery, buildings, family.", "limits"),
            Ask("Cash in hand now", "cash_now", block="limits"),
            Ask("Least cash at the end of a quarter", "cash_floor_quarter", block="limits"),
            Ask("Weight of bad years, %", "bad_years_weight_pct", "0 if empty.", "limits"),
            Ask("Count weeds left", "count_weeds_left", "After the plan.", "limits", "yes"),
            Ask("Crops not wanted", "refuses", block="limits", wide=34),
            Ask("Largest share of the land, %", "largest_share_pct", "Like corn 50, soybean 50", "limits"),
            Ask("Least share of the land, %", "least_share_pct", "Like legume 10", "limits"),
            Ask("No bare soil", "soil_cover", "Month-day, like 11-15 to 01-15", "limits"),
            Ask("Clean enough, shoots per m2", "target_shoots_per_m2", "1 if empty.", "limits"),
            *(
                (Ask("Clean enough, shoots per square foot", "target_shoots_per_sq_ft", block="limits"),)
                if making.every or "target_shoots_per_sq_ft" in making.used("limits")
                else ()
            ),
            Ask("Crops nobody near buys", "no_market", block="market"),
        ),
    )


_MAKERS = {
    "Farm": _farm,
    "Fields": _fields,
    "Weeds": _weeds,
    "Machines": _machines,
    "People": _labour,
    "Crops": _crops,
    "Selling": _selling,
    "Herd and costs": _herd,
    "Limits": _limits,
}
NAMES = tuple(_MAKERS)
