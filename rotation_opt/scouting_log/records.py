"""What is kept of a visit to a patch."""

from __future__ import annotations

from dataclasses import dataclass

COLUMNS = (
    "date",
    "observer",
    "field",
    "patch",
    "weed",
    "stage",
    "frame_m2",
    "count",
    "patch_area_ha",
    "height_cm",
    "note",
)
"""Columns of a log as this program writes it."""

NEEDED = ("date", "field", "weed", "stage", "frame_m2", "count")
"""Columns without which a row is of no use."""

STAGES = ("emerging", "rosette", "stem", "bud", "flower", "mature", "stubble")
"""Stages of the weed, as in the farm file."""


def folded(name: str) -> str:
    """A name of a patch or an observer as it counts in comparing."""
    return " ".join(name.casefold().split())


def visit_key(date: str, field: str, patch: str, weed: str, observer: str) -> tuple[str, ...]:
    """What the stops of one visit have in common, and no other visit has."""
    return (date, field, folded(patch), weed, folded(observer))


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """Counts of one weed at the stops of one walk through one patch.

    Attributes
    ----------
    field : str
        Name of the field as in the farm file.
    weed : str
        Key of the weed.
    date : str
        ISO date.
    stage : str
        One of `STAGES`.
    patch : str
        Name of the patch; empty where the log has none.
    frame_m2 : float
        Area of the frame. [m2]
    counts : tuple of int
        Shoots in the frame, stop by stop, 0 too.
    area_ha : float or None
        Size of the patch; None where the log does not say. [ha]
    observer : str
    height_cm : float or None
        Mean height of the shoots measured. [cm]
    note : str
    """

    field: str
    weed: str
    date: str
    stage: str
    frame_m2: float
    counts: tuple[int, ...]
    patch: str = ""
    area_ha: float | None = None
    observer: str = ""
    height_cm: float | None = None
    note: str = ""

    @property
    def key(self) -> tuple[str, ...]:
        """What tells it from every other visit of the log."""
        return visit_key(self.date, self.field, self.patch, self.weed, self.observer)

    @property
    def year(self) -> int:
        """Calendar year of the visit."""
        return int(self.date[:4])


@dataclass(frozen=True, slots=True, kw_only=True)
class Log:
    """A whole log.

    Attributes
    ----------
    visits : tuple of Visit
        In the order of the file.
    remarks : tuple of str
        What was understood though not written as asked for, a sentence each.
    """

    visits: tuple[Visit, ...]
    remarks: tuple[str, ...]
