"""How much ground a crop covers through the season, and how much light it leaves to a weed.

Cover follows the growth and decline equations of the FAO crop-water model, driven by degree-days; cuts and
winters set it back and it grows on from there. Light follows from cover and from who is taller.
"""

from rotation_opt.canopy.cover import Canopy, Covers, cover_of
from rotation_opt.canopy.curves import (
    annual_cover,
    canopy_decline,
    canopy_growth,
    canopy_height,
    regrowth_cover,
)
from rotation_opt.canopy.light import row_exponent, share_of_light
from rotation_opt.canopy.parameters import CanopyParameters

__all__ = [
    "Canopy",
    "CanopyParameters",
    "Covers",
    "annual_cover",
    "canopy_decline",
    "canopy_growth",
    "canopy_height",
    "cover_of",
    "regrowth_cover",
    "row_exponent",
    "share_of_light",
]
