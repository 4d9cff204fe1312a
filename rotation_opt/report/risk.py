"""Good and bad years on the page: what each plan brings when yields and prices swing."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from rotation_opt.records import Alternative, Risk
from rotation_opt.report.blocks import Grid, Paragraph, Section
from rotation_opt.report.summary import NO_FIGURE, Reading
from rotation_opt.report.wording import Wording, mean
from rotation_opt.scenarios import SERIES, TABLE, goes_by
from rotation_opt.tables import Tables
from rotation_opt.words import listed

Answer = Callable[[Risk], str]
PUBLISHED = ("seen", "derived")

METHOD = (
    "Each plan is tried on the same {courses} made-up runs of {years} years, with good and bad harvests and "
    "prices. In each year {hay}promised amounts come first, then your buyers by price; the rest goes at the "
    "open price. {bought} bought in at that year's price."
)
OWN_SWING = (
    "Yields of {crops} swing as those of US states did from 1982 to 2011, but two to three times as far, "
    "since a farm swings more than a state."
)
BORROWED_SWING = "For {crops} no such figures were found: how far they swing is judgement, and {goes}."
SAME_SWING = "they go with a crop like them"
DRY, WET = "In a dry year, as in the drought of 1988, ", "In a wet year, as in 1993, "
BAD_YEARS = (
    "Both were the worst of thirty years in several US states, and losses are those of the states. Work and "
    "costs stay as planned, and nothing is sown in place of what failed; what the year costs the years after "
    "it is taken off. The figure is the mean over the plan years, then the worst."
)
CAUTION = (
    "This is no forecast. {prices} and how they go together are judgement; your own fields, buyers "
    "and insurance can differ much. A plan that you change on the way does better. The expected return may "
    "lie below the one above: in good years not all goes at the best price, and prices tend to be low then."
)


def risk_sections(reading: Reading, plans: Sequence[Alternative]) -> list[Section]:
    """The section on good and bad years; none where they were not worked out."""
    risks = {plan.key: reading.result.risks.get(plan.key) for plan in plans}
    known = [each for each in risks.values() if each is not None]
    if not known:
        return []
    money, farm = reading.wording.money_unit, reading.result.farm
    figure = reading.wording.money_figure
    rows: list[tuple[str, Answer]] = [
        (f"Expected net return, {money} a year", lambda risk: figure(risk.expected_net)),
        (f"Mean of the worst fifth of runs, {money} a year", lambda risk: figure(risk.worst_fifth_net)),
    ]
    if math.isfinite(farm.cash_floor):
        floor = reading.wording.money(farm.cash_floor)
        rows += [
            (
                f"Years in ten with less than your least cash, {floor}",
                lambda risk: in_ten(risk.year_below_floor),
            ),
            (
                f"Chance in ten of at least one such year in {farm.years}",
                lambda risk: in_ten(risk.any_year_below_floor),
            ),
        ]
    rows.append((f"Worst year in a typical run, {money}", lambda risk: figure(risk.leanest_year)))
    if any(each.contract_short is not None for each in known):
        rows.append(
            (
                "Years in ten with a promise not filled from your own harvest",
                lambda risk: NO_FIGURE if risk.contract_short is None else in_ten(risk.contract_short),
            )
        )
    names = tuple(dict.fromkeys(name for each in known for name in each.bad_years))
    rows += [(f"In a {name} year, {money} (worst)", _bad_year(reading, name)) for name in names]
    cells: list[tuple[str, ...]] = []
    for label, answer in rows:
        row = [label]
        for plan in plans:
            each = risks[plan.key]
            row.append(NO_FIGURE if each is None else answer(each))
        cells.append(tuple(row))
    grid = Grid(
        header=("Question", *(reading.heading(plan) for plan in plans)),
        rows=tuple(cells),
        groups=frozenset({len(cells) - len(names)} if names else ()),
        even=True,
    )
    herd = farm.feed_need_t > 0.0
    method = METHOD.format(
        courses=f"{known[0].courses:,}",
        years=farm.years,
        hay="the herd's hay and " if herd else "",
        bought="Hay and promised amounts that are short are"
        if herd
        else "Promised amounts that are short are",
    )
    hay = reading.any_hay
    caution = CAUTION.format(prices="Most price swings" if hay else "Price swings")
    told = (method, _yields(reading, plans), _bad_years(reading, plans) if names else "", caution)
    texts = tuple(text for text in told if text)
    return [
        Section(
            key="risk",
            title="Good and bad years",
            blocks=(grid, *(Paragraph(text=text) for text in texts)),
        )
    ]


def _sold(reading: Reading, plans: Sequence[Alternative]) -> list[str]:
    """Crops of the plans that yield something and have figures on good and bad years, in order."""
    tables = reading.wording.tables
    grown = {
        tables.practices[key].crop
        for plan in plans
        for path in plan.practices.values()
        for key in path
        if key
    }
    return sorted(crop for crop in grown if tables.has("crop", crop, "yield_cv"))


def _yields(reading: Reading, plans: Sequence[Alternative]) -> str:
    """Which crops have published swings of their own, and which borrow."""
    tables, words = reading.wording.tables, reading.wording
    crops = _sold(reading, plans)
    own = [crop for crop in crops if tables.figure("crop", crop, "yield_cv").mark in PUBLISHED]
    rest = [crop for crop in crops if crop not in own]
    said = []
    if own:
        said.append(OWN_SWING.format(crops=_named(words, own)))
    if rest:
        found = BORROWED_SWING if own else BORROWED_SWING.replace("no such figures", "no published figures")
        said.append(found.format(crops=_named(words, rest), goes=SAME_SWING))
    return " ".join(said)


def _bad_years(reading: Reading, plans: Sequence[Alternative]) -> str:
    """What a dry and a wet year take, from the figures they are reckoned with."""
    tables = reading.wording.tables
    crops = _sold(reading, plans)
    hay = [crop for crop in crops if tables.crops[crop].kind == "hay"]
    other = [crop for crop in crops if crop not in hay]
    dry = (
        [
            f"other crops lose {_loss(tables, other, 'dry_year_yield')}"
            if hay
            else f"crops lose {_loss(tables, other, 'dry_year_yield')}"
        ]
        if other
        else []
    )
    wet = (
        [
            f"other crops lose {_loss(tables, other, 'wet_year_yield')}"
            if hay
            else f"crops lose {_loss(tables, other, 'wet_year_yield')}"
        ]
        if other
        else []
    )
    if hay:
        dry = [f"hay loses {_loss(tables, hay, 'dry_year_yield')}", *dry, "a new hay stand fails"]
        wet = ["one cutting of hay is missed", "the others are late and sell for less", *wet]
    if reading.any_hay:
        dry.append("hay is dear")
    said = [f"{lead}{listed(parts, 'and')}." for lead, parts in ((DRY, dry), (WET, wet)) if parts]
    return " ".join((*said, BAD_YEARS))


def _loss(tables: Tables, crops: Sequence[str], quantity: str) -> str:
    """Share lost, as a percentage or the span of several."""
    lost = [
        100.0 * (1.0 - tables.number(TABLE, SERIES[goes_by(crop, "yields_with", tables)[0]], quantity))
        for crop in crops
    ]
    least, most = (f"{each + 1e-9:.0f}" for each in (min(lost), max(lost)))
    return f"{least}%" if least == most else f"{least} to {most}%"


def _named(words: Wording, crops: Sequence[str]) -> str:
    return listed([words.crop(crop).lower() for crop in crops], "and")


def _bad_year(reading: Reading, name: str) -> Answer:
    def answer(risk: Risk) -> str:
        by_year = risk.bad_years.get(name, ())
        if not by_year:
            return NO_FIGURE
        figure, least = reading.wording.money_figure, min(by_year)
        year = reading.result.farm.first_year + by_year.index(least)
        return f"{figure(mean(by_year))}\n({figure(least)} in {year})"

    return answer


def in_ten(share: float) -> str:
    """A chance as so many in ten.

    Examples
    --------
    >>> in_ten(0.234), in_ten(0.0), in_ten(0.002), in_ten(1.0), in_ten(0.999)
    ('2.3', '0', 'under 0.1', '10', 'over 9.9')
    """
    if share in (0.0, 1.0):
        return f"{10.0 * share:.0f}"
    if share < 0.005:
        return "under 0.1"
    return "over 9.9" if share >= 0.995 else f"{10.0 * share:.1f}"
