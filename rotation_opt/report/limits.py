"""The limits of a farm, in the words its grower would use."""

from __future__ import annotations

import math

from rotation_opt.records import Farm
from rotation_opt.report.wording import Wording, capital, percent
from rotation_opt.words import listed

ONE_AND_MANY = frozenset({"hay", "fallow", "silage", "cover"})  # the same word for one and for many


def limits_in_words(farm: Farm, words: Wording) -> tuple[str, ...]:
    """One sentence for every limit that the farm file sets."""
    return (*_land(farm, words), *_markets(farm, words), *_means(farm, words))


def _land(farm: Farm, words: Wording) -> list[str]:
    said = [
        f"{field.name}: lease sure up to the harvest of {field.lease_end_year}."
        for field in farm.fields
        if field.lease_end_year is not None
    ]
    said += [
        f"{field.name}: {percent(field.landlord_share)} of the crop goes to the landlord."
        for field in farm.fields
        if field.landlord_share > 0.0
    ]
    said += [
        f"{field.name}: no {_all_of(sorted(_name(ban, words) for ban in field.bans))}."
        for field in farm.fields
        if field.bans
    ]
    said += [f"No bare soil from {words.day(first)} to {words.day(last)}." for first, last in farm.soil_cover]
    said += [
        f"At most {percent(share)} of the land in {_kind(what, words)} in any year."
        for what, share in farm.largest_share.items()
    ]
    said += [
        f"At least {percent(share)} of the land in {_kind(what, words)}, over the years."
        for what, share in farm.least_share.items()
    ]
    return said


def _markets(farm: Farm, words: Wording) -> list[str]:
    said = []
    for outlet in farm.outlets:
        years = f" in {_all_of([str(year) for year in outlet.years])}" if outlet.years else " every year"
        crop = _name(outlet.crop, words)
        if outlet.least_t > 0:
            said.append(
                f"{outlet.name}: at least {words.amount(outlet.least_t, outlet.crop)} of {crop}{years}."
            )
        if outlet.most_t is not None:
            said.append(
                f"{outlet.name}: at most {words.amount(outlet.most_t, outlet.crop)} of {crop}{years}."
            )
    if farm.no_market:
        said.append(f"No buyer near for {_all_of(sorted(_name(crop, words) for crop in farm.no_market))}.")
    if farm.refuses:
        said.append(f"Not wanted: {_all_of(sorted(_name(what, words) for what in farm.refuses))}.")
    if farm.feed_need_t > 0:
        said.append(f"The herd eats {words.hay(farm.feed_need_t)} {words.hay_unit} of hay a year.")
    return said


def _means(farm: Farm, words: Wording) -> list[str]:
    hours = sum(farm.labour.hours_by_half_month)
    extra = sum(farm.labour.extra_hours_by_half_month)
    said = [
        f"Work: {hours:,.0f} own hours a year, half-month by half-month, "
        f"and up to {extra:,.0f} hours of extra help.",
        _cash(farm, words),
    ]
    if farm.cash_floor_quarter is not None:
        said.append(
            f"Cash by quarter: at least {words.money(farm.cash_floor_quarter)} in hand at the end of each."
        )
    if farm.count_weeds_left:
        said.append(
            "What the weeds left will take after the plan counts when plans are chosen by money, though it "
            "is not in the net return."
        )
    if farm.bad_years_weight > 0.0:
        said.append(
            f"Bad years count {percent(farm.bad_years_weight)} when plans are chosen by money: so much "
            "counts the mean of the worst fifth of runs, as under good and bad years, and the rest the net "
            "return of usual years. How far a plan is from the best is then likely, not proven: the search "
            "sees bad years in a simpler way than that mean is worked out."
        )
    if farm.labour.bad_year:
        said.append("Field days: those of a bad year.")
    missing = sorted(words.machine(key) for key, own in farm.machines.items() if own.status == "none")
    hired = sorted(words.machine(key) for key, own in farm.machines.items() if own.status == "hire")
    if hired:
        said.append(f"By hire only: {_all_of(hired)}.")
    said += [
        f"{capital(words.machine(key))}: comes {own.comes_late_days} days after it is called; what it is "
        "needed for waits."
        for key, own in sorted(farm.machines.items())
        if own.status == "hire" and own.comes_late_days
    ]
    if missing:
        said.append(f"Neither owned nor for hire: {_all_of(missing)}.")
    return said


def _cash(farm: Farm, words: Wording) -> str:
    """The floor is for each harvest year by itself: what earlier years left does not count."""
    if math.isinf(farm.cash_floor):
        return "Least cash: no limit."
    if farm.cash_floor < 0:
        asked = f"may fall at most {words.money(-farm.cash_floor)} below nothing"
    elif farm.cash_floor == 0:
        asked = "may not fall below nothing"
    else:
        asked = f"must be at least {words.money(farm.cash_floor)}"
    fixed = f", fixed cost of {words.money(farm.fixed_cost)} paid," if farm.fixed_cost else ""
    return (
        f"Least cash: the net return of each harvest year{fixed} {asked}. What earlier years left does not "
        "count."
    )


def _name(what: str, words: Wording) -> str:
    """A crop by its name; groups and tags as they are written. In the middle of a sentence."""
    return words.crop(what).lower()


def _kind(what: str, words: Wording) -> str:
    """The same with kinds of crops in the plural: "row crops", "legumes"."""
    kinds = {"legume", *(crop.group for crop in words.tables.crops.values())} - ONE_AND_MANY
    if what in words.tables.crops or what not in kinds:
        return _name(what, words)
    return f"{what.replace('fall ', words.word('autumn_sown').removesuffix('sown'))}s".replace("-", " ")


def _all_of(items: list[str]) -> str:
    return listed(items, "and")
