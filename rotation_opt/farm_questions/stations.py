"""The weather station a grower means by a town, a state, a country or a place on the map."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable

from rotation_opt.farm.names import Names
from rotation_opt.farm_questions.answers import UnclearError
from rotation_opt.tables import Tables
from rotation_opt.words import plain

EARTH_RADIUS_KM = 6371.0  # mean radius, from memory
NEAREST = 5
_PLACE = re.compile(r"^([+-]?\d+(?:\.\d+)?)[\s,;]+([+-]?\d+(?:\.\d+)?)$")

#: States and provinces with a station, by the letters that stand in its name.
STATES = {
    "alberta": "AB", "california": "CA", "colorado": "CO", "illinois": "IL", "iowa": "IA", "kansas": "KS",
    "manitoba": "MB", "maryland": "MD", "montana": "MT", "new york": "NY", "ohio": "OH", "ontario": "ON",
    "oregon": "OR", "pennsylvania": "PA", "quebec": "QC", "saskatchewan": "SK", "south australia": "SA",
    "south dakota": "SD", "vermont": "VT", "victoria": "VIC", "wisconsin": "WI",
}  # fmt: skip
SAME_COUNTRY = {"us": "usa", "united states": "usa", "uk": "united kingdom", "england": "united kingdom"}


def read(text: str, names: Names, tables: Tables) -> str:
    """The key of the station.

    Raises
    ------
    UnclearError
        If several could be meant, with their numbers; if none is, with the nearest spelling.
    """
    keys = list(tables.stations)
    if text.isdecimal() and len(text) < 4:
        if not 1 <= int(text) <= len(keys):
            raise UnclearError(f"There are {len(keys)} stations; type list to see them.")
        return keys[int(text) - 1]
    own = names.key("station", text)
    if own is not None:
        return own
    place = _PLACE.match(text)
    if place:
        raise UnclearError(_near(float(place[1]), float(place[2]), tables))
    said = plain(text)
    if said in {"list", "all"}:
        raise UnclearError(_told(keys, tables))
    found = [key for key in keys if _fits(said, key, tables.stations[key].country)]
    if len(found) == 1:
        return found[0]
    if found:
        raise UnclearError(f"{_told(found, tables)} Type the number of one.")
    hint = names.hint("station", text) or "Type a country, list, or latitude and longitude (43.1 -77.6)."
    raise UnclearError(f'There is no station "{text}". {hint}')


def _fits(said: str, key: str, country: str) -> bool:
    if SAME_COUNTRY.get(said, said) == plain(country):
        return True
    if said in STATES and re.search(rf"\b{STATES[said]}\b", key):
        return True
    return len(said) > 1 and f" {said}" in f" {plain(key)}"


def _told(keys: Iterable[str], tables: Tables) -> str:
    numbers = {key: place for place, key in enumerate(tables.stations, 1)}
    by_country: dict[str, list[str]] = {}
    for key in keys:
        by_country.setdefault(tables.stations[key].country, []).append(f"{numbers[key]} {key}")
    return "\n".join(f"{country}: {'; '.join(shown)}." for country, shown in sorted(by_country.items()))


def _near(latitude: float, longitude: float, tables: Tables) -> str:
    if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
        return "Latitude lies between -90 and 90, longitude between -180 and 180 (west is negative)."
    numbers = {key: place for place, key in enumerate(tables.stations, 1)}
    far = {
        key: _distance_km(latitude, longitude, station.latitude, station.longitude)
        for key, station in tables.stations.items()
    }
    nearest = sorted(far, key=far.__getitem__)[:NEAREST]
    shown = "; ".join(
        f"{numbers[key]} {key}, {far[key]:.0f} km, {tables.stations[key].elevation_m:.0f} m high"
        for key in nearest
    )
    return f"The nearest: {shown}. Type the number of one."


def _distance_km(lat_a: float, lon_a: float, lat_b: float, lon_b: float) -> float:
    """Along the great circle (Sinnott 1984, "Virtues of the haversine"; from memory)."""
    a, b = math.radians(lat_a), math.radians(lat_b)
    half_lat, half_lon = (b - a) / 2, math.radians(lon_b - lon_a) / 2
    chord = math.sin(half_lat) ** 2 + math.cos(a) * math.cos(b) * math.sin(half_lon) ** 2
    return 2 * EARTH_RADIUS_KM * math.asin(min(1.0, math.sqrt(chord)))
