"""Counting frames: the usual ones, and the area of one that a grower describes in words."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from rotation_opt.errors import Fault, InputError
from rotation_opt.units import FOOT_M, INCH_M, SQUARE_FOOT_M2, SQUARE_YARD_M2
from rotation_opt.words import listed, nearest


@dataclass(frozen=True, slots=True)
class Frame:
    """A frame or hoop that is laid down to count in."""

    name: str
    area_m2: float


def _hoop_m2(across_m: float) -> float:
    return math.pi * (across_m / 2.0) ** 2


FRAMES = (
    Frame("1/4 m2, 50 x 50 cm", 0.25),
    Frame("1/2 m2, 50 x 100 cm", 0.5),
    Frame("1 m2", 1.0),
    Frame("1 square foot", SQUARE_FOOT_M2),
    Frame("1 square yard, 3 x 3 ft or 2 x 4.5 ft", SQUARE_YARD_M2),
    Frame("hoop 56 cm (22 in.) across", _hoop_m2(0.56)),
    Frame("hoop 1 m across", _hoop_m2(1.0)),
)
"""Frames of the scouting sheet. Common practice, no source; areas are geometry."""

SMALLEST_M2, LARGEST_M2 = 0.01, 100.0  # limits that stop slips of the hand, as in the farm file

_LENGTHS_M = {
    "mm": 0.001,
    "cm": 0.01,
    "m": 1.0,
    "in": INCH_M,
    "inch": INCH_M,
    "inches": INCH_M,
    "ft": FOOT_M,
    "foot": FOOT_M,
    "feet": FOOT_M,
    "yd": 3.0 * FOOT_M,
    "yard": 3.0 * FOOT_M,
}
_AREAS_M2 = {
    "m2": 1.0,
    "cm2": 1e-4,
    "square metre": 1.0,
    "square meter": 1.0,
    "square foot": SQUARE_FOOT_M2,
    "square feet": SQUARE_FOOT_M2,
    "sq ft": SQUARE_FOOT_M2,
    "ft2": SQUARE_FOOT_M2,
    "square yard": SQUARE_YARD_M2,
    "sq yd": SQUARE_YARD_M2,
    "yd2": SQUARE_YARD_M2,
}
_HALVES = {"¼": "1/4", "½": "1/2", "¾": "3/4", "²": "2", "×": "x"}
_NUMBER = r"([0-9]+(?:[.,][0-9]+)?)(?:/([0-9]+))?"
_BY = re.compile(rf"{_NUMBER} ?([a-z]*) ?(?:x|by) ?{_NUMBER} ?([a-z]+)")
_ACROSS = re.compile(rf"(?:hoop|ring|circle)(?: of)? {_NUMBER} ?([a-z]+)(?: across)?")
_SIZE = re.compile(rf"(?:{_NUMBER} ?)?([a-z]+2?(?: [a-z]+)?)?")
_WORDS = ("1/4 m2", "1/2 m2", "1 m2", "1 square foot", "1 square yard", "hoop 56 cm", "hoop 1 m")
ALLOWED = (
    f"allowed is a frame such as {listed([*_WORDS, '50 x 50 cm'])}, of {SMALLEST_M2:g} to {LARGEST_M2:g} m2"
)


def area_m2(text: str, place: str = "frame") -> float:
    """Area of a frame described in words.

    Parameters
    ----------
    text : str
        A size in square metres, feet or yards, two sides, or a hoop and how far it is across. A number
        alone is square metres.
    place : str
        Where it was written, for the fault.

    Returns
    -------
    float
        Area. [m2]

    Raises
    ------
    InputError
        If that is no frame, or one of a size that nobody counts in.

    Examples
    --------
    >>> area_m2("1/4 m2"), area_m2("50 x 50 cm"), round(area_m2("hoop 56 cm"), 4)
    (0.25, 0.25, 0.2463)
    """
    plain = text.casefold()
    for sign, written in _HALVES.items():
        plain = plain.replace(sign, written)
    plain = " ".join(plain.replace("in.", "in").split())
    listed_frame = next((each.area_m2 for each in FRAMES if each.name.replace("in.", "in") == plain), None)
    size = listed_frame if listed_frame is not None else _area_m2(plain)
    if size is None or not SMALLEST_M2 <= size <= LARGEST_M2:
        near = nearest(text, _WORDS) if size is None else ""
        found = f'"{text[:40]}"' if size is None else f'"{text[:40]}", which is {size:.3g} m2'
        raise InputError([Fault(place, found, ALLOWED, f'Did you mean "{near}"?' if near else "")])
    return size


def _area_m2(plain: str) -> float | None:
    if found := _BY.fullmatch(plain):
        unit = found[6]
        other = found[3] or unit
        if unit not in _LENGTHS_M or other not in _LENGTHS_M:
            return None
        return _value(found[1], found[2]) * _LENGTHS_M[other] * _value(found[4], found[5]) * _LENGTHS_M[unit]
    if found := _ACROSS.fullmatch(plain):
        return _hoop_m2(_value(found[1], found[2]) * _LENGTHS_M[found[3]]) if found[3] in _LENGTHS_M else None
    found = _SIZE.fullmatch(plain)
    if found is None or not plain or (found[3] or "m2").removesuffix("s") not in _AREAS_M2:
        return None
    return _value(found[1] or "1", found[2]) * _AREAS_M2[(found[3] or "m2").removesuffix("s")]


def _value(number: str, parts: str | None) -> float:
    """A number, or a fraction; a part of nothing is not a number and turned down by its size."""
    whole = float(number.replace(",", "."))
    return whole if parts is None else whole / int(parts) if int(parts) else 0.0
