"""Good and bad years on the page: what each plan brings when yields and prices swing."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from rotation_opt.records import Alternative, Risk
from rotation_opt.report.blocks import Grid, Paragraph, Section
from rotation_opt.report.summary import NO_FIGURE, Reading
from rotation_opt.report.wording import mean

Answer = Callable[[Risk], str]

METHOD = (
    "Each plan is run through the same {courses} made-up runs of {years} years, in which yields and prices "
    "swing together as published state yields and a few hay prices did, yields two to three times as far as "
    "those of a whole state. In each year {hay}promised tonnes come first, then your buyers by price; the "
    "rest goes at the open price. {bought} bought in at that year's price."
)
BAD_YEARS = (
    "A dry year is like the drought of 1988: a new hay stand fails and hay is dear. A wet year is like 1993: "
    "one cutting is missed, the others are late and sell for less. Both were the worst of thirty years in "
    "several states. Work and costs stay as planned, and nothing is sown in place of what failed; what the "
    "year costs the years after it is taken off. The figure is the mean over the plan years, then the worst."
)
CAUTION = (
    "This is no forecast. Most price swings and how they go together are judgement; your own fields, buyers "
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
    floor = f"{money}{figure(farm.cash_floor)}" if len(money) == 1 else f"{figure(farm.cash_floor)} {money}"
    rows: list[tuple[str, Answer]] = [
        (f"Expected net return, {money} a year", lambda risk: figure(risk.expected_net)),
        (f"Mean of the worst fifth of runs, {money} a year", lambda risk: figure(risk.worst_fifth_net)),
        (
            f"Years in ten with less than your least cash, {floor}",
            lambda risk: in_ten(risk.year_below_floor),
        ),
        (
            f"Chance in ten of at least one such year in {farm.years}",
            lambda risk: in_ten(risk.any_year_below_floor),
        ),
        (f"Leanest year of a middling run, {money}", lambda risk: figure(risk.leanest_year)),
    ]
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
        bought="Hay and promised tonnes that are short are" if herd else "Promised tonnes that are short are",
    )
    texts = (method, *((BAD_YEARS,) if names else ()), CAUTION)
    return [
        Section(
            key="risk",
            title="Good and bad years",
            blocks=(grid, *(Paragraph(text=text) for text in texts)),
        )
    ]


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
