"""What the names in a farm file stand for: crops, practices, weeds, machines, stations, things banned."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Literal

from rotation_opt import words
from rotation_opt.tables import Tables

Kind = Literal["crop", "grown", "practice", "weed", "machine", "station", "ban", "share"]

_WHAT = {
    "crop": "a crop",
    "grown": "a crop or practice",
    "practice": "a practice",
    "weed": "a creeping weed",
    "machine": "a machine",
    "station": "a weather station",
    "ban": "a crop, crop group or kind of practice",
    "share": "a crop or crop group",
}
_ALL_PRACTICES = "`rotation-opt season FARM --all` names the practices"
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
        crops = {
            key: (crop.name_us, crop.name_uk, crop.short_us, crop.short_uk)
            for key, crop in tables.crops.items()
        }
        practices = {key: (each.name_us, each.name_uk) for key, each in tables.practices.items()}
        groups = {
            name
            for crop in tables.crops.values()
            for name in (crop.group, crop.family, crop.kind)
            if name not in {"none", ""}
        }
        crop_groups = {crop.group for crop in tables.crops.values()}
        tags = {tag for practice in tables.practices.values() for tag in practice.tags}
        self._sown = {practice.crop for practice in tables.practices.values()}
        self._names: Mapping[str, Mapping[str, Iterable[str]]] = {
            "crop": crops,
            "practice": practices,
            "grown": {**crops, **{key: names for key, names in practices.items() if key not in crops}},
            "weed": {key: (w.latin, w.name_us, w.name_uk) for key, w in tables.weeds.items()},
            "machine": {key: (m.name_us, m.name_uk) for key, m in tables.machines.items()},
            "station": {key: (key.replace("_", " "),) for key in tables.stations},
            "ban": {
                **{key: _of_group(key) for key in sorted(groups | tags | {"small_grain", "legume"})},
                **{key: (*crops.get(key, ()), *practices.get(key, ())) for key in (*crops, *practices)},
            },
            "share": {**{key: _of_group(key) for key in sorted(crop_groups | {"legume"})}, **crops},
        }

    def key(self, kind: Kind, name: str) -> str | None:
        """Key of what the grower means, None if nothing goes by that name."""
        return words.find(name, self._names[kind])

    def shown(self, kind: Kind, key: str) -> str:
        """The name to suggest: the region's own word where there is one."""
        own = tuple(self._names[kind][key])
        if kind == "station":
            return key
        us, uk = own[1:3] if kind == "weed" else own[:2]
        return us if self.region == "us" else uk

    def allowed(self, kind: Kind, wanted: str = "") -> str:
        """What may stand there, for a fault; all of it by name where nothing comes near what was wanted."""
        keys = list(self._names[kind])
        if len(keys) <= _MOST_LISTED:
            return f"allowed is {self._listed(kind, keys)}"
        short = f"allowed is {_WHAT[kind]} named in the crop tables"
        if not wanted or words.nearest(wanted, self._names[kind]):
            return short
        match kind:
            case "practice":
                return f"{short}; {_ALL_PRACTICES}"
            case "grown":
                crops = [key for key in self._names["crop"] if key in self._sown]
                return f"{short}: {self._listed('crop', crops)}; {_ALL_PRACTICES}"
            case "ban" | "share":
                groups = self._listed(kind, [key for key in keys if key not in self._names["grown"]])
                return f"{short}: {groups}; or {self._listed('crop', list(self._names['crop']))}"
            case _:
                return f"{short}: {self._listed(kind, keys)}"

    def _listed(self, kind: Kind, keys: Sequence[str]) -> str:
        names = list(dict.fromkeys(self.shown(kind, key) for key in keys))
        return words.listed([f'"{name}"' for name in names] if any("," in name for name in names) else names)

    def hint(self, kind: Kind, name: str, *, without_commas: bool = False) -> str:
        """Nearest spelling as a question, empty if nothing comes near.

        With `without_commas`, where a comma would end the name, its key is told as well if it has one.
        """
        if kind == "weed":
            for other, what in words.NOT_CREEPING.items():
                if words.plain(name).removesuffix("s") == words.plain(other):
                    return what
        near = words.nearest(name, self._names[kind])
        if not near:
            return ""
        shown = self.shown(kind, near)
        short = f" Without a comma: {near}." if without_commas and "," in shown else ""
        return f'Did you mean "{shown}"?{short}'


def _of_group(key: str) -> tuple[str, str]:
    """A group of crops or a kind of practice as it is called in both regions."""
    name = key.replace("_", " ")
    return name.replace("plough", "plow"), re.sub(r"\bfall\b", "autumn", name)
