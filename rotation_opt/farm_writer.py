"""A farm file with its remarks, from values that somebody has given.

The values come as the nested tables that the file will hold (``{"farm": {"name": ...}, "field": [...]}``);
what they may be is checked where the file is read, not here. The remarks say what a key means and what
else could be written there, so that the file can be changed by hand afterwards.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any

Value = str | bool | int | float | date | list[Any] | Mapping[str, Any]

_REMARK_COLUMN = 36
_WIDTH = 110
_BARE_KEY = re.compile(r"^[A-Za-z0-9_-]+$")

_HEAD = """\
Lines that start with # are remarks and do nothing. Names stand between quotation marks, numbers do not.
A key says its unit: area_acres is in acres, area_ha in hectares. What is not given is taken from the crop
tables, each figure with its source."""

_TITLES = {
    "field": "fields",
    "machine": "machines",
    "labour": "labour",
    "crop": "crops and markets",
    "limits": "limits",
}
#: Where each block stands, and above which one a title is written (the first there is of a group).
_ORDER = (
    ("farm", ""),
    ("climate", ""),
    ("field", "field"),
    ("machine", "machine"),
    ("labour", "labour"),
    ("crop", "crop"),
    ("outlet", "crop"),
    ("market", "crop"),
    ("livestock", "crop"),
    ("storage", "crop"),
    ("costs", "crop"),
    ("limits", "limits"),
)
_ABOVE = {
    "field": """\
history: crops of the last years, oldest first; the last one is the crop of the year before the plan.
         A crop stands for the usual way to grow it. A hay crop that follows itself is a year older.
as_now:  what you would grow if nothing changed, one crop for each year of the plan.
patches: shoots counted on part of the field, best at bud stage. The patch belongs to the field above it.
Also possible in a field: lease_end = 2029, rent_per_acre or rent_per_ha, landlord_share_pct,
yield_ratio = 0.9 (yields here against the usual ones), bans = ["winter wheat"].""",
    "machine": """\
status "own", "hire", "buy" (is it worth it?) or "none". Also possible: width_ft or width_m, also_hire = true,
hire_rate_per_acre, _per_ha, _per_hour, _per_bale, comes_late_days.""",
    "limits": """\
cash_floor = 5000 is the least that may be left in any one year; without it there is no limit.
Also possible here: refuses = ["sunflowers"], target_shoots_per_m2 = 1, cash_now, cash_floor_quarter,
soil_cover = [{ from = "11-15", to = "01-15" }]; and below it [limits.largest_share_pct] with corn = 50.""",
}
_REMARKS = {
    ("farm", "units"): '"us" prints acres and bushels, "metric" hectares and tonnes',
    ("farm", "region"): '"us" says Canada thistle, "uk" creeping thistle',
    ("farm", "climate"): "the weather station that is most like the farm",
    ("farm", "first_year"): "first harvest year of the plan",
    ("farm", "years"): "3 to 8",
    ("farm", "decided_on"): "work that falls before this day can no longer be done",
    ("farm", "other_machines"): "what is not listed under [[machine]]",
    ("field", "soil"): "light, medium, heavy or wet",
    ("field", "lease_end"): "last harvest that is sure",
    ("patch", "counts"): "shoots in the frame, stop by stop",
    ("patch", "stage"): "emerging, rosette, stem, bud, flower, mature or stubble",
    ("labour", "workers"): "people in the fields",
    ("labour", "hours_per_week_by_month"): "hours in the field a week, each, January to December",
    ("labour", "hours_per_week"): "hours in the field a week, each",
    ("labour", "extra_hours_per_week"): "paid help that can be found, all together",
    ("labour", "machine_hours_a_day"): "on a day fit for field work",
    ("market", "no_market"): "nobody near buys these",
    ("outlet", "standing"): "the buyer cuts and carries it himself",
    ("livestock", "days"): "days of the year on which hay is fed",
    ("limits", "cash_floor"): "least that may be left in any one year, the whole farm",
    ("limits", "fixed_cost_per_year"): "machinery, buildings, insurance, family beside wages",
    ("limits", "refuses"): "crops not wanted",
}


def farm_text(content: Mapping[str, Any], about: str) -> str:
    """The text of a farm file.

    Parameters
    ----------
    content : mapping
        Blocks by name, with keys and values as :func:`rotation_opt.farm.read` takes them; patches stand under
        ``patch`` of their field. Values of None are left out.
    about : str
        One line on where the file comes from, for its head.

    Returns
    -------
    str
        TOML; ends with a line end.
    """
    lines = [f"# {line}" for line in (about, *_HEAD.splitlines())]
    titled: set[str] = set()
    remarks = dict(_REMARKS)
    for name, group in _ORDER:
        blocks = content.get(name)
        if not blocks:
            continue
        if group and group not in titled:
            titled.add(group)
            lines += ["", "", f"# {'-' * 20} {_TITLES[group]}"]
        if name in _ABOVE:
            lines += [f"# {line}".rstrip() for line in _ABOVE[name].splitlines()]
        for block in [blocks] if isinstance(blocks, Mapping) else blocks:
            lines += _block(name, block, not isinstance(blocks, Mapping), remarks)
    return "\n".join(lines) + "\n"


def _block(
    name: str, block: Mapping[str, Any], many: bool, remarks: dict[tuple[str, str], str]
) -> Iterator[str]:
    """Lines of one block; a remark is taken out of `remarks` once made, so that each stands once."""
    yield ""
    yield f"[[{name}]]" if many else f"[{name}]"
    inner = {key: value for key, value in block.items() if isinstance(value, Mapping)}
    for key, value in block.items():
        if key not in inner and key != "patch" and value is not None:
            yield _line(key, value, remarks.pop((name, key), ""))
    for key, table in inner.items():
        yield from ("", f"[{name}.{key}]")
        yield from (f"{_key(each)} = {toml(value)}" for each, value in table.items())
    for patch in block.get("patch", ()):
        yield from ("", f"[[{name}.patch]]")
        for key, value in patch.items():
            if value is not None:
                yield _line(key, value, remarks.pop(("patch", key), ""))


def _line(key: str, value: Value, remark: str) -> str:
    line = f"{_key(key)} = {toml(value)}"
    if len(line) > _WIDTH and isinstance(value, list):
        line = "\n".join([f"{_key(key)} = [", *(f"  {toml(each)}," for each in value), "]"])
    if not remark:
        return line
    beside = f"{line:<{_REMARK_COLUMN - 1}} # {remark}"
    return beside if len(beside) <= _WIDTH and "\n" not in line else f"# {remark}\n{line}"


def _key(key: str) -> str:
    return key if _BARE_KEY.match(key) else toml(key)


def toml(value: Value) -> str:
    r"""One value as it stands in the file.

    Examples
    --------
    >>> toml('The "Forty"'), toml([1.0, 2]), toml(date(2026, 6, 24))
    ('"The \\"Forty\\""', '[1, 2]', '2026-06-24')
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        escaped = value.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n").replace("\t", "\\t")
        return f'"{escaped}"'
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, int | float):
        return str(int(value)) if value == int(value) and abs(value) < 1e15 else repr(float(value))
    if isinstance(value, Mapping):
        return f"{{ {', '.join(f'{_key(key)} = {toml(each)}' for key, each in value.items())} }}"
    return f"[{', '.join(toml(each) for each in value)}]"
