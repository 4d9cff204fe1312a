"""The grower's own file: read, check, gather all faults, turn into SI and hectares."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from rotation_opt.errors import InputError
from rotation_opt.farm import build, checks, reading, text, weather
from rotation_opt.farm.names import Names
from rotation_opt.records import Farm
from rotation_opt.tables import Tables
from rotation_opt.words import Region


def read(path: Path, tables: Tables) -> Farm:
    """Read a farm file.

    Parameters
    ----------
    path : Path
        TOML file in UTF-8; the blocks and keys are described in ``farm/blocks.py`` and shown, with comments,
        in ``examples/``.
    tables : Tables
        The crop tables: which crops, practices, weeds, machines and stations there are.

    Returns
    -------
    Farm
        In SI units and hectares.

    Raises
    ------
    InputError
        If anything in the file is wrong; carries every fault found, in the order of the file.
    """
    return read_text(text.contents(Path(path)), path, tables)


def read_text(content_text: str, path: Path, tables: Tables) -> Farm:
    """The farm that a file would hold with this text in it; nothing is written.

    Parameters
    ----------
    content_text : str
        As it would stand in the file.
    path : Path
        The file: its name stands in faults, and other files that it names are looked for beside it.
    tables : Tables

    Raises
    ------
    InputError
        As :func:`read`.
    """
    path = Path(path)
    content, lines = text.parsed(content_text, path.name)
    names = Names(tables, _region(content))
    report = reading.Report(path.name, lines)
    found = reading.read_blocks(content, names, report)
    checks.check(found, tables, names, report)
    weather.check(found, path, tables, report)
    if report.found:
        raise InputError(report.faults())
    return build.build(found, tables, str(path))


def _region(content: dict[str, Any]) -> Region:
    """Whose words to use in faults, before the file is known to be sound."""
    farm = content.get("farm")
    if not isinstance(farm, dict):
        return "us"
    if farm.get("region") in ("us", "uk"):
        return "uk" if farm["region"] == "uk" else "us"
    return "uk" if farm.get("units") == "metric" else "us"
