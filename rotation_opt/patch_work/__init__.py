"""Work on small patches, by hand or under a cover, on top of the crops of the field.

Every counted patch is followed through the seasons of the crops that the grower has in mind, with the extra
work on the patch alone. What a cover keeps dark and what shoots are cut goes through the season model as any
other shade and pass.
"""

from rotation_opt.patch_work.course import PatchYear, RootsTaken, follow, solve, without_what_was_taken
from rotation_opt.patch_work.outlook import (
    PART_M2,
    PatchOption,
    PatchOutlook,
    PatchSeason,
    effort,
    patch_outlooks,
    refusal,
)
from rotation_opt.patch_work.seasons import Land, taken_share

__all__ = [
    "PART_M2",
    "Land",
    "PatchOption",
    "PatchOutlook",
    "PatchSeason",
    "PatchYear",
    "RootsTaken",
    "effort",
    "follow",
    "patch_outlooks",
    "refusal",
    "solve",
    "taken_share",
    "without_what_was_taken",
]
