"""Is there a market, does the climate allow it, does it pay: the first questions growers ask of a crop.

Defaults that stand here are common practice (no source) and are shown to the grower, who can change them.
"""

from __future__ import annotations

import math
import re
from typing import Any

from rotation_opt.farm_questions import answers, stations
from rotation_opt.farm_questions.answers import UnclearError, number
from rotation_opt.farm_questions.asking import Asking
from rotation_opt.farm_questions.machine import Content, Flow, Question
from rotation_opt.standing_hay import STANDING
from rotation_opt.words import plain

LONG = {"ton": "tons of 2,000 lb", "t": "tonnes"}
NO_LIMIT = frozenset({"none", "no", "no limit"})


def market(ask: Asking) -> Flow:
    part = "Is there a market?"
    crops = ask.tables.crops
    cash = [key for key, crop in crops.items() if crop.kind == "cash" and crop.product != "none"]
    hay = [key for key, crop in crops.items() if crop.kind == "hay"]

    def sold(text: str) -> list[str]:
        if plain(text) in {"all", "everything"}:
            return []
        found = answers.listed(ask.names, "crop", cash, text)
        return [key for key in cash if key not in found]

    def put_sold(content: Content, unsold: Any) -> None:
        if unsold:
            content["market"] = {"no_market": [ask.names.shown("crop", key).lower() for key in unsold]}

    yield Question(
        key="sold",
        part=part,
        text="Crops you can sell (numbers or names with commas between, or all)",
        help="A crop that is not named here is never planned for sale. Say also what you do not grow yet but "
        "could sell. Numbers can be given as 1-4, 7.",
        read=sold,
        put=put_sold,
        default="all",
        shown=ask.numbered("crop", cash),
    )

    def put_hay(content: Content, buyer: Any) -> None:
        if buyer != "yes":
            market = content.setdefault("market", {})
            market["no_market"] = [
                *market.get("no_market", ()), *(ask.names.shown("crop", key).lower() for key in hay)
            ]  # fmt: skip
        if buyer == "standing":
            content["outlet"] = [
                {
                    "name": f"buyer of {ask.names.shown('crop', key).lower()}, standing",
                    "crop": ask.names.shown("crop", key).lower(),
                    "standing": True,
                }
                for key in hay
                if f"{key}{STANDING}" in crops
            ]

    buyer = yield Question(
        key="hay buyer",
        part=part,
        text="Does anybody near buy hay? yes, no, or standing (he cuts and carries it himself)",
        help="Hay is the strongest crop against creeping weeds. With no it is still planned if your own "
        "animals eat it. With standing you need no tools for it; you get half of the hay price unless you "
        "write a price in the file.",
        read=answers.choice("yes", "no", "standing"),
        put=put_hay,
        default="no",
    )
    herd = yield from _herd(ask, part)
    ask.hay_made = herd or buyer == "yes"
    if ask.hay_made:
        yield ask.put(
            "storage", ask.hay_key("hay"), part,
            f"Room to keep hay dry, {ask.hay_word}",
            "What fits under a roof at one time. Hay beyond it is sold at harvest.",
            number(f"an amount in {ask.hay_word}", units=ask.hay_units, comma=ask.metric, none=True),
            default="0",
        )  # fmt: skip


def _herd(ask: Asking, part: str) -> Flow:
    amount = number(f"an amount in {ask.hay_word}", units=ask.hay_units, comma=ask.metric)
    head = re.compile(r"^\s*(\d{1,6})\s*(head|cows?|animals?)\s*$", re.IGNORECASE)

    def read(text: str) -> tuple[str, float]:
        if plain(text) in {"none", "no"}:
            return ask.hay_key("hay_need"), 0.0
        counted = head.match(text)
        return ("head", int(counted[1])) if counted else (ask.hay_key("hay_need"), amount(text))

    def put(content: Content, value: Any) -> None:
        if value[1]:
            content["livestock"] = dict([value])

    key, size = yield Question(
        key="herd",
        part=part,
        text=f'Hay your own animals eat in a year, {ask.hay_word}, or how many they are, like "60 head"',
        help="0 if you keep none or feed no hay.",
        read=read,
        put=put,
        default="0",
    )
    if key == "head" and size:
        unit, usual = ("kg", "550") if ask.metric else ("lb", "1200")
        yield ask.put(
            "livestock", f"live_weight_{unit}", part, f"Weight of one animal, {unit}",
            "About what they weigh on the whole; hay eaten goes by weight.",
            number(f"a weight in {unit}", units=(unit,), comma=ask.metric), default=usual,
        )  # fmt: skip
        yield ask.put(
            "livestock", "days", part, "Days of the year on which hay is fed", "From 0 to 366.",
            number("a number of days", units=("days", "d"), comma=ask.metric), default="150",
        )  # fmt: skip
    return bool(size)


# ---------------------------------------------------------------- does the climate allow it?


def climate(ask: Asking) -> Flow:
    part = "Does the climate allow it?"
    station = yield Question(
        key="climate",
        part=part,
        text="Weather station most like the farm: a town, a state or country, or latitude and longitude",
        help='Type a part of a name, like "iowa" or "germany", and choose a number from what is shown; '
        '"list" shows all. Latitude and longitude, like "43.1 -77.6", show the nearest ones. '
        "What counts is that spring, frost and summer are alike, not that it is near.",
        read=lambda text: stations.read(text, ask.names, ask.tables),
        put=ask.putting("farm", "climate"),
        echo=lambda key: f"Taken: {key}, {ask.tables.stations[key].country}.",
    )

    yield ask.put(
        "farm", "place", part, "Where the farm is, as it is to be printed",
        "Any words: the nearest town, the county.", answers.plain_text(120), default=f"near {station}",
    )  # fmt: skip

    def refuses(text: str) -> list[str]:
        wanted = [] if plain(text) in {"none", "no"} else answers.whole_names(ask.names, "ban", text)
        for name in wanted:
            answers.named(ask.names, "ban", name)
        return wanted

    def put(content: Content, value: Any) -> None:
        if value:
            content.setdefault("limits", {})["refuses"] = value

    yield Question(
        key="refuses",
        part=part,
        text="Crops that are out of the question (too cold, too dry, not liked)",
        help='Names with commas between, like "soybeans, fallow". No plan will hold them.',
        read=refuses,
        put=put,
        default="none",
    )


# ---------------------------------------------------------------- does it pay?


def pay(ask: Asking) -> Flow:
    part = "Does it pay?"
    yield ask.put(
        "farm", "organic", part, "Is the farm organic (yes or no)",
        "With yes, organic prices of the crop tables are used where you give none.",
        answers.yes_no, default="yes",
    )  # fmt: skip
    yield ask.put(
        "farm", "currency", part, "Currency", "Its three letters, such as USD, CAD, GBP, EUR.",
        _currency, default="EUR" if ask.metric else "USD",
    )  # fmt: skip
    count = 1
    while (yield _own_figures(ask, part, count)) is not None:
        count += 1
    money = number("an amount of money", comma=ask.metric)
    yield ask.put(
        "limits", "fixed_cost_per_year", part,
        "Fixed cost of the whole farm in a year (buildings, insurance, own living)",
        "What has to be paid whatever is grown; the cost of machines and wages for field work is reckoned "
        "apart. 0 if you want to see what is left for it.",
        number("an amount of money", comma=ask.metric, none=True), default="0",
    )  # fmt: skip

    def least(text: str) -> float:
        return -math.inf if plain(text) in NO_LIMIT else money(text)

    def put_least(content: Content, value: Any) -> None:
        if math.isfinite(value):  # without the key there is no limit
            content.setdefault("limits", {})["cash_floor"] = value

    yield Question(
        key="limits cash_floor",
        part=part,
        text="Least that must be left in any one year, after the fixed cost (none: no limit)",
        help="Plans that leave less in any year are not shown. It may be negative: -20000 says that a year "
        "may cost you that much. If it is set too high there may be no plan at all; then you are told so.",
        read=least,
        put=put_least,
        default="none",
    )


def _currency(text: str) -> str:
    if not re.match(r"^[A-Za-z]{3}$", text):
        raise UnclearError(f'"{text}" is not a currency of three letters, like USD or EUR.')
    return text.upper()


def _own_figures(ask: Asking, part: str, count: int) -> Question:
    unit_word = r"(?: ?(?P<unit>bu|bushels?|t|tons?|tonnes?)(?:(?: ?/ ?| per | an )(?:acre|ac|ha))?)?"
    form = re.compile(
        rf"^(?P<crop>.*?)[\s:,]+(?P<yield>[\d.,]+|-){unit_word}(?:[\s,]+[$€£]?(?P<price>[\d.,]+))?$",
        re.IGNORECASE,
    )
    figure = number("a number", comma=ask.metric)

    def read(text: str) -> Content:
        found = form.match(text)
        if not found:
            raise UnclearError(f'"{text}" is not a crop with its yield and price. Type ? for help.')
        key = answers.named(ask.names, "crop", found["crop"])
        crop = ask.tables.crops[key]
        bushels = not ask.metric and crop.bushel_kg is not None
        area, unit = ("ha", "t") if ask.metric else ("acre", "bu" if bushels else "ton")
        if found["unit"] and plain(found["unit"])[0] != unit[0]:
            name = ask.names.shown("crop", key).lower()
            raise UnclearError(
                f"Give the yield of {name} in {'bushels' if unit == 'bu' else LONG[unit]} per {area}."
            )
        block: Content = {"name": found["crop"]}
        if found["yield"] != "-":
            block[f"yield_{unit}_per_{area}"] = figure(found["yield"])
        if found["price"]:
            block[f"price_per_{unit}"] = figure(found["price"])
        return block

    def put(content: Content, value: Any) -> None:
        if value is not None:
            content.setdefault("crop", []).append(value)

    like = '"oats 3.8 420" (t per ha, money per t)' if ask.metric else '"corn 110 9.50" (per acre, per bu)'
    return Question(
        key=f"own figures {count}",
        part=part,
        text=f"{'Another' if count > 1 else 'A'} crop with your own yield and price, like {like}; Enter: "
        f"{'no more' if count > 1 else 'none'}",
        help="First the crop, then what it yields, then what is paid for it: "
        + ("tonnes per ha and money per tonne." if ask.metric else
           "bushels per acre and $ per bushel; hay and silage in tons of 2,000 lb.")
        + ' "oats - 4" gives only the price. Enter goes on; what is not given is taken from the crop tables.',
        read=read,
        put=put,
        optional=True,
    )  # fmt: skip
