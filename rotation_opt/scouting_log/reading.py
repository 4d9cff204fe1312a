"""A scouting log from its CSV file: read, and refused with every fault it has."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import groupby
from pathlib import Path

from rotation_opt.errors import Fault, InputError
from rotation_opt.records import Farm
from rotation_opt.scouting_log.cells import Cells, Stop
from rotation_opt.scouting_log.layout import decoded, layout, read_bytes, rows
from rotation_opt.scouting_log.records import Log, Visit
from rotation_opt.tables import Tables

MOST_FAULTS = 200  # more of them help nobody


def default_path(farm_file: Path) -> Path:
    """Where the log of a farm stands unless told: beside the farm file.

    Examples
    --------
    >>> default_path(Path("farms/home.toml")).as_posix()
    'farms/home.scouting.csv'
    """
    return farm_file.with_name(f"{farm_file.stem}.scouting.csv")


def read(path: Path, farm: Farm, tables: Tables) -> tuple[Visit, ...]:
    """Visits of a log.

    Parameters
    ----------
    path : Path
        CSV file in UTF-8, commas or semicolons between, one row a stop; see `records.COLUMNS`.
    farm : Farm
        Whose fields the log names.
    tables : Tables
        Names of the weeds.

    Returns
    -------
    tuple of Visit
        In the order of the file.

    Raises
    ------
    InputError
        With one sentence for each fault: file, line, column, what was found, what is allowed.
    """
    return read_log(path, farm, tables).visits


def read_log(path: Path, farm: Farm, tables: Tables) -> Log:
    """The same, with remarks on what was understood though not written as asked for."""
    return parsed(read_bytes(path), path.name, farm, tables)


def parsed(raw: bytes, file: str, farm: Farm, tables: Tables) -> Log:
    """A log from its bytes; as `read_log`."""
    text = decoded(raw, file)
    form = layout(text, file)
    faults: list[Fault] = []
    cells = Cells(farm, tables, faults)
    stops = []
    for line, row in rows(text, form, file, faults):
        where = f"{file} line {line}"
        if len(row) > len(form.header):
            found = f"{len(row)} cells"
            hint = (
                "A decimal comma splits the row in two: write a point, as in 0.25."
                if form.separator == ","
                else "A note with a semicolon in it stands in quotation marks."
            )
            faults.append(Fault(where, found, f"a row has {len(form.header)} cells, as the first line", hint))
            continue
        stop = cells.stop(where, dict(zip(form.header, row, strict=False)))
        if stop is not None:
            stops.append(stop)
    visits = list(_visits(stops, faults))
    if faults:
        faults.sort(key=lambda fault: _line_of(fault.place))
        more = len(faults) - MOST_FAULTS
        rest = [Fault(file, f"{more} more faults like these", "put these right first")] if more > 0 else []
        raise InputError([*faults[:MOST_FAULTS], *rest])
    return Log(visits=tuple(visits), remarks=tuple(cells.remarks))


def _line_of(place: str) -> int:
    number = place.rpartition(" line ")[2].partition(",")[0]
    return int(number) if number.isdigit() else 0


def _visits(stops: Iterable[Stop], faults: list[Fault]) -> Iterator[Visit]:
    """Rows that stand together are the stops of one visit."""
    seen: dict[tuple[str, ...], str] = {}
    for key, group in groupby(stops, key=lambda stop: stop.visit):
        together = list(group)
        first = together[0]
        if key in seen:
            said = f"a visit that stands there already ({seen[key]})"
            faults.append(Fault(first.place, said, "each visit stands once, with all its stops", _SECOND))
            continue
        seen[key] = f"line {_line_of(first.place)}"
        half = len(together) // 2
        if len(together) % 2 == 0 and half >= 3 and _twice(together[:half], together[half:]):
            said = f"the {half} stops above once more"
            hint = "Take them out; if they were really counted so, say it in the note of one of them."
            faults.append(Fault(together[half].place, said, "each visit stands once", hint))
        yield _visit(together, faults)


_SECOND = "Was it another patch? Give it a name of its own in the column patch."


def _twice(first: list[Stop], second: list[Stop]) -> bool:
    """The same counts and notes in the same order; stops that are all alike prove nothing."""
    told = [(stop.count, stop.note) for stop in first]
    return len(set(told)) > 1 and told == [(stop.count, stop.note) for stop in second]


def _visit(stops: list[Stop], faults: list[Fault]) -> Visit:
    first = stops[0]
    for name, unit in (("stage", ""), ("frame_m2", " m2"), ("patch_area_ha", " ha")):
        given = [(stop, getattr(stop, name)) for stop in stops if getattr(stop, name) is not None]
        for stop, value in given:
            if value != given[0][1]:
                said = value if name == "stage" else f"{value:g}{unit}"
                rest = given[0][1] if name == "stage" else f"{given[0][1]:g}{unit}"
                allowed = f"one visit has one {name}, and it began with {rest}"
                faults.append(Fault(f"{stop.place}, column {name}", said, allowed, _SECOND))
    areas = [stop.patch_area_ha for stop in stops if stop.patch_area_ha is not None]
    heights = [stop.height_cm for stop in stops if stop.height_cm is not None]
    return Visit(
        field=first.field,
        weed=first.weed,
        date=first.date,
        stage=first.stage,
        patch=first.patch,
        frame_m2=first.frame_m2,
        counts=tuple(stop.count for stop in stops),
        area_ha=areas[0] if areas else None,
        observer=first.observer,
        height_cm=sum(heights) / len(heights) if heights else None,
        note="; ".join(dict.fromkeys(stop.note for stop in stops if stop.note)),
    )
