"""Is there the equipment, is there the time.

Defaults that stand here are common practice (no source) and are shown to the grower, who can change them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any

from rotation_opt.farm_questions import answers
from rotation_opt.farm_questions.answers import UnclearError, number
from rotation_opt.farm_questions.asking import Asking
from rotation_opt.farm_questions.machine import Content, Flow, Question
from rotation_opt.words import listed, plain

USUAL_OWN = ("plough", "disk", "field_cultivator", "broadcaster", "drill", "roller", "rotary_hoe",
             "row_cultivator", "row_planter", "seedbed_harrow", "tine_weeder", "rotary_mower")  # fmt: skip
HAYMAKING = ("mower_conditioner", "rake", "round_baler")
MOST_NAMED = 6  # crops in one sentence; of more only how many they are
SEASONS = ("tillage", "sowing", "weeding", "mowing", "harvest", "haymaking")
IN_SEASON = range(4, 12)  # April to November
OUT_OF_SEASON_SHARE = 0.25  # judgement: field work that is done in winter


def machines(ask: Asking) -> Flow:
    part = "Do you have the equipment?"
    order = [
        key for season in SEASONS for key, machine in ask.tables.machines.items() if machine.season == season
    ]

    def read(text: str) -> list[str]:
        if plain(text) in {"none", "no"}:
            return []
        return order if plain(text) == "all" else list(answers.listed(ask.names, "machine", order, text))

    def putting(status: str) -> Callable[[Content, Any], None]:
        def put(content: Content, value: Any) -> None:
            content["farm"]["other_machines"] = "none"
            blocks = content.setdefault("machine", [])
            there = {block["name"]: block for block in blocks}
            for key in value:
                name = ask.names.shown("machine", key)
                if name in there:
                    there[name]["also_hire"] = True
                else:
                    blocks.append({"name": name, "status": status})

        return put

    own = yield Question(
        key="own machines",
        part=part,
        text="Machines you own (numbers or names with commas between, all or none)",
        help="Numbers can be given as 1-4, 7. Widths and prices are those of the crop tables until you write "
        "your own in the file.",
        read=read,
        put=putting("own"),
        default=_spans(order, USUAL_OWN),
        shown=ask.numbered("machine", order),
    )
    wanted = {key for key in ("combine", *(HAYMAKING if ask.hay_made else ())) if key not in own}
    yield Question(
        key="hired machines",
        part=part,
        text=f"Machines of a {ask.word('contractor')} or neighbor you can have (numbers or names, or none)"
        if not ask.metric
        else f"Machines of a {ask.word('contractor')} or neighbour you can have (numbers or names, or none)",
        help="Work with a machine that is neither owned nor for hire is never planned. One that you own can "
        "be named too: then help comes when time is short.",
        read=read,
        put=putting("hire"),
        default=_spans(order, wanted) or "none",
        echo=lambda hired: _missing(ask, {*own, *hired}),
    )


def _missing(ask: Asking, had: set[str]) -> str:
    """What cannot be done for want of machines, as far as it is likely to be a slip."""
    told = [] if "combine" in had else ["Without a combine no grain can be harvested."]
    lack = [ask.names.shown("machine", key) for key in HAYMAKING if key not in had]
    if ask.hay_made and lack:
        told.append(f"Without {listed(lack, 'and')} no hay can be made here.")
    told += _not_grown(ask, {*had, "combine"})
    return " ".join([*told, "Say back to add them."] if told else [])


def _not_grown(ask: Asking, had: set[str]) -> list[str]:
    """Crops for sale that no way to grow them can do without other machines, and which these are."""
    tables, names = ask.tables, ask.names
    unsold = {names.key("crop", name) for name in ask.content.get("market", {}).get("no_market", ())}
    needed: dict[str, list[str]] = {}  # by crop, those of the way that lacks fewest
    for practice in tables.practices.values():
        crop = tables.crops[practice.crop]
        if crop.kind != "cash" or crop.product == "none" or crop.key in unsold:
            continue
        lack = [key for key in tables.machines_for(practice) if key not in had]
        if crop.key not in needed or len(lack) < len(needed[crop.key]):
            needed[crop.key] = lack
    crops = [names.shown("crop", key).lower() for key, lack in needed.items() if lack]
    if not crops:
        return []
    lacking = dict.fromkeys(names.shown("machine", key) for lack in needed.values() for key in lack)
    which = (
        listed(crops, "or") if len(crops) <= MOST_NAMED else f"{len(crops)} of {len(needed)} crops for sale"
    )
    return [f"Without {listed(list(lacking), 'and')} no plan can hold {which}."]


def _spans(order: Sequence[str], wanted: Sequence[str] | set[str]) -> str:
    """The numbers of some things in a list, as they would be typed."""
    spans: list[list[int]] = []
    for place in (place for place, key in enumerate(order, 1) if key in wanted):
        if spans and spans[-1][-1] == place - 1:
            spans[-1][1:] = [place]
        else:
            spans.append([place])
    return ", ".join("-".join(map(str, span)) for span in spans)


# ---------------------------------------------------------------- is there the time?


def time(ask: Asking) -> Flow:
    part = "Is there the time?"
    yield ask.put(
        "labour", "workers", part, "People who work in the fields", "Halves are possible: 1.5.",
        number("a number of people", units=("people", "person"), comma=ask.metric), default="1",
    )  # fmt: skip
    south = ask.tables.stations[ask.content["farm"]["climate"]].latitude < 0
    season = "October to May" if south else "April to November"

    def hours(text: str) -> list[float]:
        figures = [number("a number of hours", comma=ask.metric)(each) for each in re.split(r"[;\s]+", text)]
        if len(figures) not in (1, 12):
            raise UnclearError(f"That is {len(figures)} numbers; give one, or twelve with blanks between.")
        if len(figures) == 12:
            return figures
        months = {(month + 5) % 12 + 1 if south else month for month in IN_SEASON}
        quiet = round(figures[0] * OUT_OF_SEASON_SHARE, 1)
        return [figures[0] if month in months else quiet for month in range(1, 13)]

    yield Question(
        key="hours",
        part=part,
        text=f"Hours a week each of them can be in the field, {season}",
        help="Without what animals, repairs and the office take. In the other months a quarter of it is "
        "taken; or give twelve numbers, January to December, with blanks between.",
        read=hours,
        put=ask.putting("labour", "hours_per_week_by_month"),
        default="40",
    )
    yield ask.put(
        "labour", "extra_hours_per_week", part, "Hours a week of paid help that could be found, in all",
        "0 if there is none. It is called in only where it pays.",
        number("a number of hours", units=("h", "hours"), comma=ask.metric, none=True), default="0",
    )  # fmt: skip
    yield ask.put(
        "labour", "machine_hours_a_day", part, "Hours a machine works on a good day",
        "From the first to the last round, on a day fit for field work.",
        number("a number of hours", units=("h", "hours"), comma=ask.metric), default="10",
    )  # fmt: skip
    today = ask.interview.today
    decided = yield ask.put(
        "farm", "decided_on", part, "Day from which the plan can be carried out",
        "Work before this day can no longer be done. Like 2026-11-28.",
        lambda text: answers.day(text, today, ask.names.region), default=today.isoformat(),
    )  # fmt: skip
    year = number("a year", whole=True)
    yield ask.put(
        "farm", "first_year", part, "First harvest year of the plan",
        "The next harvest that can still be chosen.", year,
        default=str(decided.year + (decided.month > 5)),
    )  # fmt: skip
    yield ask.put(
        "farm", "years", part, "How many years to plan", "From 3 to 8.", year, default="5"
    )  # fmt: skip
