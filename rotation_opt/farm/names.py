"""What the names in a farm file stand for: crops, practices, weeds, machines, stations, things banned."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Literal

from rotation_opt import words
from rotation_opt.tables import Tables

Kind = Literal["crop", "grown", "weed", "machine", "station", "ban", "share"]

_WHAT = {
    "crop": "a crop",
    "grown": "a crop or practice",
    "weed": "a creeping weed",
    "machine": "a machine",
    "station": "a weather station",
    "ban": "a crop, crop group or kind of practice",
    "share": "a crop or crop group",
}
_FILES = {
    "crop": "crops.csv",
    "grown": "crops.csv and practices.csv",
    "weed": "weeds.csv",
    "machine": "machines.csv",
    "station": "climates.csv",
    "ban": "crops.csv and practices.csv",
    "share": "crops.csv",
}
_MOST_LISTED = 12


class Names:
    """Names by kind, with every other name each thing goes by.

    Parameters
    ----------
    tables : Tables
    region : {"us", "uk"}
        Which words to suggest; all are understood.
    """

    def __init__(self, tables: Tables, region: words.Region) -> None:
        self.region: words.Region = region
        crops = {key: (crop.name_us, crop.name_uk) for key, crop in tables.crops.items()}
        practices = {key: (each.name_us, each.name_uk) for key, each in tables.practices.items()}
        groups = {
            name
            for crop in tables.crops.values()
            for name in (crop.group, crop.family, crop.kind)
            if name not in {"none", ""}
        }
        crop_groups = {crop.group for crop in tables.crops.values()}
        tags = {tag for practice in tables.practices.values() for tag in practice.tags}
        self._names: Mapping[str, Mapping[str, Iterable[str]]] = {
            "crop": crops,
            "grown": {**crops, **{key: names for key, names in practices.items() if key not in crops}},
            "weed": {key: (w.latin, w.name_us, w.name_uk) for key, w in tables.weeds.items()},
            "machine": {key: (m.name_us, m.name_uk) for key, m in tables.machines.items()},
            "station": {key: (key.replace("_", " "),) for key in tables.stations},
            "ban": {
                **dict.fromkeys(sorted(groups | tags | {"small_grain", "legume"}), ()),
                **{key: (*crops.get(key, ()), *practices.get(key, ())) for key in (*crops, *practices)},
            },
            "share": {**dict.fromkeys(sorted(crop_groups | {"legume"}), ()), **crops},
        }

    def key(self, kind: Kind, name: str) -> str | None:
        """Key of what the grower means, None if nothing goes by that name."""
        return words.find(name, self._names[kind])

    def shown(self, kind: Kind, key: str) -> str:
        """The name to suggest: the region's own word where there is one."""
        own = tuple(self._names[kind][key])
        if kind == "station" or len(own) < 2:
            return key
        us, uk = own[1:3] if kind == "weed" else own[:2]
        return us if self.region == "us" else uk

    def allowed(self, kind: Kind) -> str:
        """What may stand there, for a fault."""
        keys = list(self._names[kind])
        if len(keys) <= _MOST_LISTED:
            return f"allowed is {words.listed([self.shown(kind, key) for key in keys])}"
        return f"allowed is {_WHAT[kind]} named in the crop tables ({_FILES[kind]})"

    def hint(self, kind: Kind, name: str) -> str:
        """Nearest spelling as a question, empty if nothing comes near."""
        if kind == "weed":
            for other, what in words.NOT_CREEPING.items():
                if words.plain(name).removesuffix("s") == words.plain(other):
                    return what
        near = words.nearest(name, self._names[kind])
        return f'Did you mean "{self.shown(kind, near)}"?' if near else ""
