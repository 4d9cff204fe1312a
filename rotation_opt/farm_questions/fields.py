"""The questions about each field: its land, what was and would be grown on it, the weeds counted in it."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from rotation_opt import frames
from rotation_opt.errors import InputError
from rotation_opt.farm_questions import answers
from rotation_opt.farm_questions.answers import UnclearError, number, told
from rotation_opt.farm_questions.asking import Asking
from rotation_opt.farm_questions.machine import Content, Flow, Question
from rotation_opt.words import listed, plain

STAGES = ("emerging", "rosette", "stem", "bud", "flower", "mature", "stubble")
_SOIL = answers.choice("light", "medium", "heavy", "wet")
#: Soils by what they are called [judgement: how fast they dry and how they work].
_SOILS = {
    **dict.fromkeys(("sand", "sandy", "loamy sand", "sandy loam"), "light"),
    **dict.fromkeys(("loam", "silt", "silt loam"), "medium"),
    **dict.fromkeys(("clay", "clay loam", "silty clay", "silty clay loam"), "heavy"),
}
_TIMES = re.compile(r"^(?P<name>.+?)\s*[x*]\s*(?P<times>\d)$", re.IGNORECASE)
Put = Callable[[Content, Any], None]


def field_questions(ask: Asking) -> Flow:
    """Field after field, until a name is left out."""
    count = 1
    while (yield from _field(ask, count)) is not None:
        count += 1


def _in_field(key: str) -> Put:
    def put(content: Content, value: Any) -> None:
        if value is not None:
            content["field"][-1][key] = value

    return put


def _in_patch(key: str) -> Put:
    def put(content: Content, value: Any) -> None:
        content["field"][-1]["patch"][-1][key] = value

    return put


def _field(ask: Asking, count: int) -> Flow:
    part = "Is there a place? Field by field"

    def begin(content: Content, name: Any) -> None:
        if name is not None:
            content.setdefault("field", []).append({"name": name})

    def question(
        key: str, text: str, help: str, read: answers.Read, put: Put | None = None, **more: Any
    ) -> Question:
        return Question(
            key=f"field {count} {key}", part=part, text=text, help=help, read=read,
            put=put or _in_field(key), **more,
        )  # fmt: skip

    name = yield question(
        "name", "Name of the first field" if count == 1 else "Name of the next field (Enter: no more fields)",
        "Any name; every field needs one of its own.", answers.plain_text(80), begin, optional=count > 1,
    )  # fmt: skip
    if name is None:
        return None
    size = number(f"an area in {ask.area_word}", units=_area_units(ask), comma=ask.metric)
    yield question(ask.area, f"{name}: area, {ask.area_word}", "What is sown, without margins.", size)
    yield question(
        "soil", f"{name}: soil (light, medium, heavy or wet)",
        "light dries fast, like sand or sandy loam; medium is loam or silt loam; heavy is clay or clay loam; "
        "wet stands in water in spring.",
        lambda text: _SOIL(_SOILS.get(plain(text), text)), default="medium",
    )  # fmt: skip
    year = number("a year", whole=True)
    lease = yield question(
        "lease_end", f"{name}: last harvest its {ask.word('lease')} is sure for (Enter: your own land)",
        "A year, like 2029. After it the plan does not count on the field.", year, optional=True,
    )  # fmt: skip
    if lease is not None:
        rent = "rent_per_ha" if ask.metric else "rent_per_acre"
        yield question(
            rent, f"{name}: rent, {'per ha' if ask.metric else 'per acre'} and year",
            "0 if it is paid in kind or not at all.",
            number("an amount of money", comma=ask.metric, none=True), default="0",
        )  # fmt: skip
    first = ask.content["farm"]["first_year"]
    history = yield question(
        "history", f"{name}: crops up to {first - 1}, oldest first, with commas between",
        f'Three to five years, the last one is the crop of {first - 1}. "alfalfa x3, corn" stands for three '
        "years of alfalfa and then corn.", _crops(ask),
    )  # fmt: skip
    years = ask.content["farm"]["years"]
    repeated = [history[year % len(history)] for year in range(years)]
    yield question(
        "as_now", f"{name}: what you would grow from {first} to {first + years - 1} if nothing changed",
        f"{years} crops with commas between; Enter takes the history over again. Plans are held against it.",
        _crops(ask), default=", ".join(repeated),
    )  # fmt: skip
    patch = 1
    while (yield from _patch(ask, name, f"field {count} patch {patch}", patch)) is not None:
        patch += 1
    return name


def _area_units(ask: Asking) -> tuple[str, ...]:
    return ("ha", "hectares", "hectare") if ask.metric else ("acres", "acre", "ac")


def _crops(ask: Asking) -> answers.Read:
    def read(text: str) -> list[str]:
        grown = []
        for item in answers.whole_names(ask.names, "grown", text):
            times = _TIMES.match(item) if ask.names.key("grown", item) is None else None
            name = times["name"] if times else item
            try:
                answers.named(ask.names, "grown", name)
            except UnclearError as unclear:
                commas = " Commas go between crops." if " " in name and "," not in text else ""
                raise UnclearError(f"{unclear}{commas}") from None
            grown += [name] * (int(times["times"]) if times else 1)
        if not grown:
            raise UnclearError("Give at least one crop.")
        return grown

    return read


def _patch(ask: Asking, field: str, key: str, count: int) -> Flow:
    part = "Is there a place? Field by field"
    before = _last_patch(ask.content)

    def question(name: str, text: str, help: str, read: answers.Read, put: Put, **more: Any) -> Question:
        return Question(key=f"{key} {name}", part=part, text=text, help=help, read=read, put=put, **more)

    def weed(text: str) -> str:
        answers.named(ask.names, "weed", text)
        return text

    def begin(content: Content, value: Any) -> None:
        if value is not None:
            content["field"][-1].setdefault("patch", []).append({"weed": value})

    weeds = listed([ask.names.shown("weed", each) for each in ask.tables.weeds], "and")
    found = yield question(
        "weed", f"{field}: another creeping weed in it (Enter: no more)" if count > 1
        else f"{field}: a creeping weed in it (Enter: none)",
        f"Known are {weeds}. Give each patch that you counted.", weed, begin, optional=True,
        shown=() if before or count > 1 else (f"Known are {weeds}.",),
    )  # fmt: skip
    if found is None:
        return None
    area = number(f"an area in {ask.area_word} or per cent", units=_area_units(ask), comma=ask.metric)

    def share(text: str) -> tuple[str, float]:
        if text.rstrip().endswith("%"):
            return "share_of_field_pct", number("per cent", comma=ask.metric)(text.rstrip()[:-1])
        return ask.area, area(text)

    def put_pair(content: Content, value: Any) -> None:
        content["field"][-1]["patch"][-1][value[0]] = value[1]

    yield question(
        "size", f'{found}: how much of {field} it covers, like "35%" or "6 {ask.area_word}"',
        "Where its shoots stand, gaps of a few steps counted in. 100% if it is everywhere.", share, put_pair,
        echo=lambda pair: _size(pair, ask.content["field"][-1][ask.area], ask.area_word),
    )  # fmt: skip
    kind, counts = yield question(
        "counts", f"{found}: shoots per m2 (one number), or counted in a frame, stop by stop (3 5 2 6)",
        "One number stands for shoots on one m2. Several numbers are what you counted in your frame "
        "at each stop through the patch; five stops or more are good. 12 per sq ft is understood as well.",
        _shoots(ask), put_pair,
    )  # fmt: skip
    if kind == "counts":
        yield question(
            "frame", "Size of the frame, m2",
            "0.25 is 50 x 50 cm, a quarter of one m2. Also: 1 sq ft, 1 sq yd, 50 x 50 cm, hoop 22 in.",
            _frame,
            put_pair, default=_frame_before(ask.content) or "0.25",
            echo=lambda pair: _density(counts, pair[1]),
        )  # fmt: skip
    today = ask.interview.today
    like = "2026-06-24 or 24 June" if ask.metric else "2026-06-24 or June 24"

    def counted(text: str) -> Any:
        day = answers.day(text, today, ask.names.region)
        if day > today:
            raise UnclearError(f"{day.isoformat()} is still to come.")
        return day

    yield question(
        "counted_on", f"Counted on (like {like})",
        "If the day is not known any more, one near it will do: shoots are reckoned on from there.",
        counted, _in_patch("counted_on"),
        default=before["counted_on"].isoformat() if before else None,
    )  # fmt: skip
    couch = ask.names.shown("weed", "couch_grass")
    yield question(
        "stage", f"Its stage then ({listed(STAGES)})",
        f"That of most shoots: rosette = flat on the ground, stem = shooting up ({couch}: before ears), "
        "bud = before the first flowers open, stubble = after a harvest.",
        answers.choice(*STAGES), _in_patch("stage"), default=_stage_before(ask.content, found),
    )  # fmt: skip
    return found


def _size(pair: tuple[str, float], field: float, word: str) -> str:
    """The size of a patch in the way in which it was not typed, since a missing % is easily overlooked."""
    key, size = pair
    if key == "share_of_field_pct":
        return f"That is {size / 100.0 * field:.3g} {word}."
    return f"That is {size / field:.0%} of the field."


def _density(counts: list[float], frame_m2: float) -> str:
    return f"That is {sum(counts) / len(counts) / frame_m2:.3g} shoots per m2."


def _patches(content: Content) -> list[Content]:
    return [patch for field in content.get("field", ()) for patch in field.get("patch", ())]


def _last_patch(content: Content) -> Content | None:
    patches = _patches(content)
    return patches[-1] if patches else None


def _stage_before(content: Content, weed: str) -> str:
    """The stage at which the same weed was counted last; bud, the stage to count at, if it was not."""
    stages = [each["stage"] for each in _patches(content) if each["weed"] == weed and "stage" in each]
    return stages[-1] if stages else "bud"


def _frame_before(content: Content) -> str:
    sizes = [patch["frame_m2"] for patch in _patches(content) if "frame_m2" in patch]
    return f"{sizes[-1]:g}" if sizes else ""


def _shoots(ask: Asking) -> answers.Read:
    per_foot = re.compile(r"^(?P<figure>\S+)\s*(?:per|/)\s*(?:sq\.? ?ft\.?|square foot)$", re.IGNORECASE)
    figure = number("a number of shoots", units=("per m2", "m2", "/m2"), comma=ask.metric)

    def read(text: str) -> tuple[str, Any]:
        found = per_foot.match(text)
        if found:
            return "shoots_per_sq_ft", figure(found["figure"])
        parts = [part for part in re.split(r"[;\s]+|,\s+", text) if part]
        if len(parts) > 1 and all(part[0].isdecimal() for part in parts):
            return "counts", [figure(part) for part in parts]
        return "shoots_per_m2", figure(text)

    return read


def _frame(text: str) -> tuple[str, float]:
    try:
        return "frame_m2", round(frames.area_m2(text), 4)
    except InputError as wrong:
        raise UnclearError(told(wrong)) from None
