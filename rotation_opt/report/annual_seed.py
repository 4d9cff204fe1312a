"""Annual weeds on the page: how their seed in the soil changes under each plan, and where to watch it."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from rotation_opt.records import Alternative, AnnualWeed
from rotation_opt.report.blocks import Block, Bullets, Paragraph
from rotation_opt.report.summary import NO_FIGURE, Reading
from rotation_opt.report.wording import capital, percent
from rotation_opt.words import listed

MUCH = 3.0  # seed that rises more than so many times calls for a word of caution
SHOWN = 1.5  # a weed whose seed rises less in every plan gets no row of its own
WATCH = "watch this"
MOST, LEAST = 50.0, 0.1  # beyond these the figure says nothing more

SEED = (
    "Seed of annual weeds = living seed in the soil after the last harvest, fields farmed to the end. Nobody "
    "has counted it and most figures behind it are judgement: read only which way a plan pushes these weeds. "
    "Choice of plans, yields and money leave it out. "
)


def seed_rows(reading: Reading) -> list[tuple[str, Callable[[Alternative], str]]]:
    """One row of the summary for each annual weed whose seed rises under some plan."""
    return [
        (f"{capital(_name(reading, weed))} seed at the end, times today's", _answer(reading, weed.key))
        for weed in _weeds(reading)
        if _rises(reading, weed)
    ]


def seed_notes(reading: Reading, plans: Sequence[Alternative]) -> list[Block]:
    """What the rows mean, which weeds have none, and a word of caution where seed rises much."""
    weeds = _weeds(reading)
    if not weeds:
        return []
    shown = [weed for weed in weeds if _rises(reading, weed)]
    others = [_with_kind(reading, weed) for weed in weeds if weed not in shown]
    kinds = listed(
        [
            f"{_name(reading, weed)} for {_group(reading, weed)}"
            for weed in shown
            if _is_a_kind(reading, weed)
        ],
        "and",
    )
    text = SEED if shown else ""
    if kinds:
        text += f"Each stands for its kind: {kinds}. "
    if others:
        text += f"No plan is likely to raise seed of these annual weeds {SHOWN:g} times: {', '.join(others)}."
    cautions = tuple(filter(None, (_caution(reading, plans, weed) for weed in weeds)))
    return [Paragraph(text=text.strip()), *([Bullets(items=cautions)] if cautions else [])]


def _rises(reading: Reading, weed: AnnualWeed) -> bool:
    ends = (_end(reading, plan, weed.key) for plan in reading.result.alternatives)
    return any(end is not None and end[1] >= SHOWN for end in ends)


def _is_a_kind(reading: Reading, weed: AnnualWeed) -> bool:
    return _name(reading, weed) != _group(reading, weed)


def _with_kind(reading: Reading, weed: AnnualWeed) -> str:
    name = _name(reading, weed)
    return f"{name} ({_group(reading, weed)})" if _is_a_kind(reading, weed) else name


def _caution(reading: Reading, plans: Sequence[Alternative], weed: AnnualWeed) -> str:
    """Where the seed of one weed rises much, and what to do; empty if it does nowhere."""
    ends = [(plan, end) for plan in plans if (end := _end(reading, plan, weed.key)) is not None]
    much = [(plan, end[1]) for plan, end in ends if end[1] > MUCH]
    if not much:
        return ""
    where = ", ".join(f"{_times(times)} times in {reading.heading(plan)}" for plan, times in much)
    return f"{capital(_name(reading, weed))} seed rises: {where}. {_advice(reading, much[0][0], weed)}"


def _weeds(reading: Reading) -> list[AnnualWeed]:
    there = {weed for plan in reading.result.annual_seed.values() for weed in plan}
    if not there:
        return []
    return [weed for key, weed in reading.wording.tables.annual_weeds.items() if key in there]


def _name(reading: Reading, weed: AnnualWeed) -> str:
    return weed.name_us if reading.result.farm.region == "us" else weed.name_uk


def _group(reading: Reading, weed: AnnualWeed) -> str:
    return weed.group_us if reading.result.farm.region == "us" else weed.group_uk


def _end(reading: Reading, plan: Alternative, weed: str) -> tuple[float, float, float] | None:
    """Low, likely and high at the end; None if the result says nothing of this plan."""
    years = reading.result.annual_seed.get(plan.key, {}).get(weed)
    return None if years is None else years[-1]


def _answer(reading: Reading, weed: str) -> Callable[[Alternative], str]:
    def answer(plan: Alternative) -> str:
        end = _end(reading, plan, weed)
        if end is None:
            return NO_FIGURE
        low, likely, high = (_times(times) for times in end)
        text = likely if low == high else f"{likely} ({low} to {high})"
        return f"{text}\n{WATCH}" if end[1] > MUCH else text

    return answer


def _times(times: float) -> str:
    """A multiple to two figures at most.

    Examples
    --------
    >>> _times(0.034), _times(0.37), _times(4.25), _times(12.4), _times(300.0)
    ('under 0.1', '0.4', '4.2', '12', 'over 50')
    """
    if times < LEAST:
        return f"under {LEAST:g}"
    if times > MOST:
        return f"over {MOST:g}"
    return f"{times:.1f}" if times < 9.95 else f"{times:.0f}"


def _advice(reading: Reading, plan: Alternative, weed: AnnualWeed) -> str:
    """Why it rises and what breaks it."""
    us = reading.result.farm.region == "us"
    if weed.life == "winter annual":
        share = percent(reading.land_share(plan, "fall cereal"))
        autumn, plough = reading.wording.word("autumn_sown"), "moldboard plow" if us else "plough"
        return (
            f"It comes up with {autumn} cereals, {share} of the land in {reading.heading(plan)}: a spring "
            f"crop, hay cut before it heads or the {plough} between two of them breaks it."
        )
    return (
        "It ripens in spring-sown crops and in stubble that is left alone after an early harvest: work the "
        "stubble or mow it before seed is ripe, hoe, and put hay between."
    )
