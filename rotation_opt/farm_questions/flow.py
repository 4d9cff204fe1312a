"""Which question comes after which: the farm as a whole, then field by field."""

from __future__ import annotations

from typing import Any

from rotation_opt.farm_questions import answers, means, trade
from rotation_opt.farm_questions.answers import UnclearError
from rotation_opt.farm_questions.asking import Asking
from rotation_opt.farm_questions.fields import field_questions
from rotation_opt.farm_questions.machine import Content, Flow, Interview, Question
from rotation_opt.words import listed


def questions(interview: Interview, content: Content) -> Flow:
    """All questions of one farm; what is answered stands in `content` when the next one is asked."""
    yield Question(
        key="units",
        part="The farm",
        text="Units and words: us (acres, bushels, Canada thistle) or metric (hectares, tonnes, creeping "
        "thistle)",
        help="Choose what your records are kept in. It can be changed in the file later.",
        read=answers.choice("us", "metric", same={"acres": "us", "hectares": "metric", "ha": "metric"}),
        put=_put_units,
        default="us",
    )
    ask = Asking(interview, content)
    yield ask.put(
        "farm", "name", "The farm", "Name of the farm", "As it is to be printed.", answers.plain_text(80)
    )
    yield from trade.market(ask)
    yield from trade.climate(ask)
    yield from trade.pay(ask)
    yield from means.machines(ask)
    yield from means.time(ask)
    yield from field_questions(ask)
    yield Question(
        key="write",
        part="Done",
        text="Write the farm file? yes, or back to change answers; one word far back is changed more easily "
        "in the file afterwards",
        help="yes writes it; back leads to the last answer, as often as you like; stop keeps the answers.",
        read=_sure,
        put=lambda content, value: None,
        default="yes",
        shown=_summary(ask),
    )


def _put_units(content: Content, value: Any) -> None:
    metric = value == "metric"
    content["farm"] = {"name": "Farm", "units": value, "region": "uk" if metric else "us"}


def _sure(text: str) -> bool:
    if not answers.yes_no(text):
        raise UnclearError("Then say back to change the last answer, or stop to keep all for later.")
    return True


def _summary(ask: Asking) -> tuple[str, ...]:
    """The fields in a line each, to look through."""
    fields = ask.content["field"]
    count = "1 field" if len(fields) == 1 else f"{len(fields)} fields"
    lines = [f"{count}, {sum(field[ask.area] for field in fields):g} {ask.area_word}:"]
    for field in fields:
        weeds = listed([patch["weed"] for patch in field.get("patch", ())], "and") or "no weeds counted"
        grown = ", ".join(field["history"])
        lines.append(f"- {field['name']}, {field[ask.area]:g} {ask.area_word}: {grown}; {weeds}")
    return tuple(lines)
