"""Patches on the page: how much ground they may take by the end of each plan, and the seed shed in them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from rotation_opt import units
from rotation_opt.records import Alternative, Figure
from rotation_opt.report.blocks import Block, Bullets, Paragraph
from rotation_opt.report.summary import NO_FIGURE, Reading
from rotation_opt.report.wording import band, capital, mean, weed_figure

Three = tuple[float, float, float]
LEAST_SEED = 10.0  # seeds per m2 and year below which seed is not worth a word

PATCHES = (
    "Patches at the end = the ground they may take, all fields together that are farmed to the end. "
    "{rates}Patches worn down move less, in proportion to their roots. Here none gets smaller: the root "
    "left in them is the first row. Each patch is taken as a circle; long or scattered ones may gain more, "
    "and tillage that drags pieces of root can carry them further, but no figure for that was found."
)
SEED = (
    "Patches that flower shed seed: roughly so many sound seeds a year on each m2 of patch, mean of the "
    "years, from shoots that neither hoe, mower, stock nor harvest takes before. Crop shade is not counted, "
    "and no new plants from it are in the figures above: look for seedlings, hoe or mow before flowers open."
)


def patch_rows(reading: Reading) -> list[tuple[str, Callable[[Alternative], str]]]:
    """One row of the summary for each weed whose patches gain ground that shows in two figures."""
    words = reading.wording
    return [
        (
            f"{capital(words.weed_short(weed))} patches at the end, {words.area_unit} "
            f"({weed_figure(_area(reading, today))} today)",
            _answer(reading, weed),
        )
        for weed, today in _gaining(reading).items()
    ]


def patch_notes(reading: Reading, plans: Sequence[Alternative]) -> list[Block]:
    """What the rows mean, and how much seed the patches shed where they come to flower."""
    gaining = _gaining(reading)
    blocks: list[Block] = []
    if gaining:
        blocks.append(Paragraph(text=PATCHES.format(rates=_rates(reading, tuple(gaining)))))
    shed = tuple(filter(None, (_seed(reading, plans, weed) for weed in _weeds(reading))))
    return [*blocks, Paragraph(text=SEED), Bullets(items=shed)] if shed else blocks


def _weeds(reading: Reading) -> list[str]:
    return list(dict.fromkeys(w for plan in reading.result.alternatives for w in plan.figures.patches_ha))


def _gaining(reading: Reading) -> Mapping[str, float]:
    """Weeds with a plan under which their ground rounds to more than today's, with today's. [ha]"""
    found = {}
    for weed in _weeds(reading):
        figures = (plan.figures.patches_ha for plan in reading.result.alternatives)
        courses = [each[weed] for each in figures if weed in each]
        today = courses[0][0][1]
        before = weed_figure(_area(reading, today))
        if any(weed_figure(_area(reading, ha)) != before for course in courses for ha in course[-1]):
            found[weed] = today
    return found


def _area(reading: Reading, ha: float) -> float:
    return units.area(ha, reading.result.farm.units)


def _answer(reading: Reading, weed: str) -> Callable[[Alternative], str]:
    def answer(plan: Alternative) -> str:
        course = plan.figures.patches_ha.get(weed)
        return band([_area(reading, ha) for ha in course[-1]]) if course else NO_FIGURE

    return answer


def _rates(reading: Reading, weeds: Sequence[str]) -> str:
    """How far the edges of full-strength patches move in a year, ending with a space; empty if not known."""
    of = reading.result.farm.units
    parts = []
    for weed in weeds:
        figure = _figure(reading, weed, "spread_m_per_year")
        if figure is not None:
            said = band([units.length(m, of) for m in _range(figure)])
            judged = ", a judgement" if figure.mark == "judgement" else ""
            parts.append(f"{reading.wording.weed_short(weed)} {said} {units.length_name(of)}{judged}")
    if not parts:
        return ""
    return f"At full strength their edges move outward every year: {'; '.join(parts)}. "


def _seed(reading: Reading, plans: Sequence[Alternative], weed: str) -> str:
    """Seed that each plan lets fall, and how long it lives; empty where hardly any is shed."""
    courses = [(plan, plan.figures.seed_shed_per_m2.get(weed)) for plan in plans]
    shed = [(plan, _mean(course)) for plan, course in courses if course]
    if not any(each[1] >= LEAST_SEED for _, each in shed):
        return ""
    amounts = ", ".join(f"{reading.letter(plan)} {band(each, _rough)}" for plan, each in shed)
    life = reading.result.seed_years.get(weed)
    years = f"; seed lives {_years(life)} in the soil" if life is not None else ""
    return f"{capital(reading.wording.weed_short(weed))}: {amounts}{years}."


def _rough(seeds: float) -> str:
    """An order of magnitude needs one figure.

    Examples
    --------
    >>> _rough(1867.0), _rough(38.0), _rough(0.2), _rough(0.0)
    ('2,000', '40', 'under 1', '0')
    """
    return "under 1" if 0.0 < seeds < 0.5 else units.figure(seeds, 1)


def _years(low_likely_high: Three) -> str:
    """Years that seed lives, whole, with the range.

    Examples
    --------
    >>> _years((3.0, 20.0, 30.0)), _years((3.7, 3.7, 4.0))
    ('20 years (3 to 30)', '4 years')
    """
    low, likely, high = (f"{round(years)}" for years in low_likely_high)
    return f"{likely} years" if low == high else f"{likely} years ({low} to {high})"


def _mean(course: Sequence[Three]) -> Three:
    """Mean of the years."""
    low, likely, high = (mean(column) for column in zip(*course, strict=True))
    return low, likely, high


def _figure(reading: Reading, weed: str, quantity: str) -> Figure | None:
    tables = reading.wording.tables
    return tables.figure("weed", weed, quantity) if tables.has("weed", weed, quantity) else None


def _range(figure: Figure) -> Three:
    low = figure.value if figure.low is None else figure.low
    high = figure.value if figure.high is None else figure.high
    return low, figure.value, high
