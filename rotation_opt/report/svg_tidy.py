"""A drawing as the library writes it, made fit to stand inside a page: small, with names of its own."""

from __future__ import annotations

import re
from collections.abc import Mapping
from xml.etree import ElementTree as ET

SVG = "{http://www.w3.org/2000/svg}"
HREF = "{http://www.w3.org/1999/xlink}href"
POINTED_AT = re.compile(r"url\(#([^)]+)\)")
DECIMALS = re.compile(r"-?\d*\.\d{3,}")
BLANK_AFTER_LETTER = re.compile(r"(?<=[A-Za-z]) | (?=[A-Za-z])")
AS_IT_IS = {"stroke-dashoffset": "0", "stroke-linecap": "butt", "stroke-miterlimit": "4"}  # said by nobody
MOVED_BY = re.compile(r"rotate\(-?0 ")
ONLY_IN_LISTS = frozenset({"d", "x", "y", "width", "height", "transform", "stroke-width", "font-size"})


def tidied(drawn: str, prefix: str) -> ET.Element:
    """The drawing as one element, to be put into a page beside others.

    Parameters
    ----------
    drawn : str
        A whole SVG file.
    prefix : str
        Put before every id, so that no two drawings of a page share one.

    Returns
    -------
    Element
        ``svg`` without prolog, metadata, style sheet, typeface, empty groups and needless decimals. A style
        sheet would reach all of the page; a typeface is the page's business.
    """
    root = ET.fromstring(drawn)
    for element in root.iter():
        element.tag = element.tag.removeprefix(SVG)
        element.text = _stripped(element.text) if element.tag != "text" else element.text
        element.tail = None
        _attributes(element, prefix)
    _flatten(root)
    used = set(re.findall(rf"#({re.escape(prefix)}[\w-]+)", " ".join(_values(root))))
    for element in root.iter():
        if element.attrib.get("id", "") not in used:
            element.attrib.pop("id", None)
    width, height = root.attrib["viewBox"].split()[2:]
    root.attrib = {"xmlns": SVG[1:-1], "viewBox": f"0 0 {width} {height}"}
    return root


def _stripped(text: str | None) -> str | None:
    return text if text and text.strip() else None


def _values(root: ET.Element) -> list[str]:
    return [value for element in root.iter() for name, value in element.attrib.items() if name != "id"]


def _attributes(element: ET.Element, prefix: str) -> None:
    """Styles as plain attributes, ids with their prefix, figures to two decimals."""
    found = {name: value for name, value in element.attrib.items() if name not in {"style", HREF}}
    found |= _styles(element.attrib.get("style", ""))
    if HREF in element.attrib:
        found["href"] = element.attrib[HREF]
    if MOVED_BY.match(found.get("transform", "")):
        del found["transform"]
    for name, value in found.items():
        if name == "id":
            value = prefix + value
        elif name == "href":
            value = f"#{prefix}{value.removeprefix('#')}"
        else:
            value = POINTED_AT.sub(rf"url(#{prefix}\1)", value)
        if name in ONLY_IN_LISTS:
            value = DECIMALS.sub(lambda each: f"{round(float(each[0]), 2) + 0.0:g}", value)
        found[name] = BLANK_AFTER_LETTER.sub("", " ".join(value.split())) if name == "d" else value
    element.attrib = found


def _styles(style: str) -> Mapping[str, str]:
    pairs = (each.split(":", 1) for each in style.split(";") if ":" in each)
    named = {name.strip(): value.strip() for name, value in pairs}
    return {
        name: value.removesuffix("px") if name == "font-size" else value
        for name, value in named.items()
        if name != "font-family" and AS_IT_IS.get(name) != value
    }


def _flatten(parent: ET.Element) -> None:
    """Take away what is not drawn, and groups that only hold their parts together."""
    kept: list[ET.Element] = []
    for child in parent:
        _flatten(child)
        if child.tag in {"metadata", "style"} or (child.tag in {"g", "defs"} and not len(child)):
            continue
        only_holds = child.tag == "g" and not set(child.attrib) - {"id"}
        kept.extend(child if only_holds else (child,))
    parent[:] = kept
