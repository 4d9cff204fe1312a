"""Patches on the page: how much ground they may take by the end of each plan, and the seed shed in them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from rotation_opt import units
from rotation_opt.records import Alternative, Figure
from rotation_opt.report.blocks import Block, Paragraph
from rotation_opt.report.summary import NO_FIGURE, Reading
from rotation_opt.report.wording import band, capital, mean, weed_figure
from rotation_opt.words import listed

Three = tuple[float, float, float]
LEAST_SEED = 10.0  # seeds per m2 and year below which seed is not worth a word
MUCH_GROUND = 1.1  # patches that may gain less than a tenth get no row of their own

PATCHES = (
    "Patches at the end = the ground they may take, fields farmed to the end. {rates}Worn-down patches move "
    "less. None gets smaller here: the root left in them is the first row. Long or scattered patches, and "
    "roots that tillage drags along, may gain more. "
)
SEED = (
    "Patches that flower shed seed, roughly so many a year on each m2, perhaps several times more or less: "
    "{shed}. No figure above counts new plants from it: hoe or mow before flowers open."
)


def patch_rows(reading: Reading) -> list[tuple[str, Callable[[Alternative], str]]]:
    """One row of the summary for each weed whose patches may gain a tenth of their ground or more."""
    words = reading.wording
    return [
        (
            f"{capital(words.weed_short(weed))} patches at the end, {words.area_unit} "
            f"({weed_figure(_area(reading, today))} today)",
            _answer(reading, weed),
        )
        for weed, (today, most) in _gaining(reading).items()
        if most >= MUCH_GROUND * today
    ]


def patch_notes(reading: Reading, plans: Sequence[Alternative]) -> list[Block]:
    """What the rows mean, and how much seed the patches shed where they come to flower."""
    blocks: list[Block] = []
    gaining = _gaining(reading)
    much = [weed for weed, (today, most) in gaining.items() if most >= MUCH_GROUND * today]
    few = [reading.wording.weed_short(weed) for weed in gaining if weed not in much]
    little = f"Patches of {listed(few, 'and')} gain less than a tenth in every plan." if few else ""
    if gaining:
        text = PATCHES.format(rates=_rates(reading, much)) if much else ""
        blocks.append(Paragraph(text=f"{text}{little}".strip()))
    shed = "; ".join(filter(None, (_seed(reading, plans, weed) for weed in _weeds(reading))))
    return [*blocks, Paragraph(text=SEED.format(shed=shed))] if shed else blocks


def _weeds(reading: Reading) -> list[str]:
    return list(dict.fromkeys(w for plan in reading.result.alternatives for w in plan.figures.patches_ha))


def _gaining(reading: Reading) -> Mapping[str, tuple[float, float]]:
    """Weeds with a plan under which their ground rounds to more than today's: today's and the most. [ha]"""
    found = {}
    for weed in _weeds(reading):
        figures = (plan.figures.patches_ha for plan in reading.result.alternatives)
        courses = [each[weed] for each in figures if weed in each]
        today = courses[0][0][1]
        most = max(max(course[-1]) for course in courses)
        if weed_figure(_area(reading, most)) != weed_figure(_area(reading, today)):
            found[weed] = (today, most)
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
    return f"At full strength their edges move out every year: {'; '.join(parts)}. "


def _seed(reading: Reading, plans: Sequence[Alternative], weed: str) -> str:
    """Seed that each plan lets fall, and how long it lives; empty where hardly any is shed."""
    courses = [(plan, plan.figures.seed_shed_per_m2.get(weed)) for plan in plans]
    shed = [(plan, mean([likely for _, likely, _ in course])) for plan, course in courses if course]
    if not any(likely >= LEAST_SEED for _, likely in shed):
        return ""
    amounts = ", ".join(f"{reading.letter(plan)} {_rough(likely)}" for plan, likely in shed)
    life = reading.result.seed_years.get(weed)
    years = f" (lives {round(life[1])} years)" if life is not None else ""
    return f"{reading.wording.weed_short(weed)} {amounts}{years}"


def _rough(seeds: float) -> str:
    """An order of magnitude needs one figure.

    Examples
    --------
    >>> _rough(1867.0), _rough(38.0), _rough(0.2), _rough(0.0)
    ('2,000', '40', 'under 1', '0')
    """
    return "under 1" if 0.0 < seeds < 0.5 else units.figure(seeds, 1)


def _figure(reading: Reading, weed: str, quantity: str) -> Figure | None:
    tables = reading.wording.tables
    return tables.figure("weed", weed, quantity) if tables.has("weed", weed, quantity) else None


def _range(figure: Figure) -> Three:
    low = figure.value if figure.low is None else figure.low
    high = figure.value if figure.high is None else figure.high
    return low, figure.value, high
