"""The words growers use: one glossary by region, other names for the same thing, nearest spelling.

Only language lives here. Which crops, weeds and machines exist is told by the crop tables; this file
knows that "lucerne" and "alfalfa" are one plant whichever of the two the tables use as key.
"""

from __future__ import annotations

import difflib
import functools
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from typing import Literal

Region = Literal["us", "uk"]

#: Glossary: term -> (North America, United Kingdom and metric Europe). Plain lower case, singular.
WORDS: Mapping[str, tuple[str, str]] = {
    "adviser": ("crop consultant", "adviser"),
    "area": ("acres", "hectares"),
    "autumn": ("fall", "autumn"),
    "autumn_sown": ("fall-sown", "autumn-sown"),
    "bare_fallow": ("summerfallow", "bare fallow"),
    "break_stand": ("break the stand", "plough out"),
    "cereals": ("small grains", "cereals"),
    "contractor": ("custom operator", "contractor"),
    "contract_work": ("custom hire", "contract work"),
    "crop_budget": ("enterprise budget", "gross margin budget"),
    "cut": ("cutting", "cut"),
    "cut_and_leave": ("chop and leave", "cut and mulch"),
    "green_manure": ("green manure", "green manure"),
    "grower": ("grower", "grower"),
    "ground_cover": ("canopy closure", "ground cover"),
    "hay_phase": ("hay phase", "ley"),
    "lease": ("lease", "tenancy"),
    "legume_hay": ("alfalfa", "lucerne"),
    "light": ("shading", "ground cover"),
    "maize": ("corn", "maize"),
    "money_left": ("net return", "net margin"),
    "mow_weeds": ("clip", "top"),
    "oilseed_rape": ("canola", "oilseed rape"),
    "patch": ("patch", "patch"),
    "plough": ("plow", "plough"),
    "ploughed": ("plowed", "ploughed"),
    "reserve": ("root reserves", "root reserves"),
    "row_width": ("row spacing", "row width"),
    "shoot": ("shoot", "shoot"),
    "shoots": ("shoots", "shoots"),
    "sowing": ("seeding", "sowing"),
    "sowing_rate": ("seeding rate", "sowing rate"),
    "standing_hay": ("standing hay", "standing crop"),
    "stubble_work": ("stubble tillage", "stubble cultivation"),
    "summer": ("summer", "summer"),
    "transition": ("transition", "conversion"),
    "undersown": ("underseeded", "undersown"),
    "weed_share": ("% of field", "% of field"),
}

MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)

#: Other names for one and the same thing: any of them is understood where one of them is known.
SAME: tuple[tuple[str, ...], ...] = (
    # creeping perennial weeds
    (
        "canada thistle", "creeping thistle", "californian thistle", "california thistle", "field thistle",
        "corn thistle", "cirsium arvense", "thistle", "thistles", "acker-kratzdistel", "ackerkratzdistel",
        "ackerdistel", "chardon des champs", "cirse des champs", "akkerdistel", "åkertistel", "agertidsel",
    ),
    (
        "field bindweed", "bindweed", "convolvulus arvensis", "creeping jenny", "small morning glory",
        "cornbind", "bellbine", "lesser bindweed", "european bindweed", "perennial morning glory",
        "ackerwinde", "acker-winde", "liseron des champs",
    ),
    (
        "quackgrass", "couch grass", "couch", "common couch", "twitch", "scutch", "quitch", "quack grass",
        "elymus repens", "elytrigia repens", "agropyron repens", "quecke", "gemeine quecke", "chiendent",
        "chiendent rampant", "kweek",
    ),
    (
        "perennial sowthistle", "perennial sow-thistle", "sow-thistle", "corn sow-thistle",
        "field sow-thistle", "creeping sow-thistle", "sonchus arvensis", "acker-gänsedistel",
        "ackergänsedistel", "laiteron des champs",
    ),
    # crops
    ("alfalfa", "lucerne", "luzerne", "medicago sativa"),
    ("alfalfa-grass", "alfalfa-grass hay", "lucerne-grass", "lucerne-grass ley"),
    ("corn", "maize", "grain corn", "grain maize", "corn for grain", "field corn", "körnermais", "maïs"),
    ("corn silage", "silage corn", "silage maize", "forage maize", "maize silage", "silomais"),
    ("soybean", "soya bean", "soy", "soya", "soybeans", "sojabohne", "soja"),
    ("canola", "oilseed rape", "rapeseed", "rape", "winter canola", "winter oilseed rape", "winterraps",
     "raps", "colza"),
    ("spring canola", "spring oilseed rape"),
    ("winter wheat", "fall wheat", "autumn wheat", "fall-sown wheat", "autumn-sown wheat", "winterweizen",
     "blé d'hiver"),
    ("spring wheat", "sommerweizen", "hard red spring wheat"),
    ("winter rye", "rye", "fall rye", "cereal rye", "grain rye", "autumn rye", "roggen", "winterroggen",
     "seigle"),
    ("winter barley", "fall barley", "autumn barley", "wintergerste"),
    ("spring barley", "barley", "malting barley", "feed barley", "sommergerste", "orge de printemps"),
    ("oat", "oats", "spring oat", "spring oats", "hafer", "avoine"),
    ("winter triticale", "triticale", "fall triticale"),
    ("spelt", "winter spelt", "dinkel", "épeautre"),
    ("field pea", "pea", "peas", "dry pea", "spring pea", "combining pea", "erbse", "körnererbse", "pois"),
    ("faba bean", "field bean", "fava bean", "spring bean", "broad bean", "ackerbohne", "féverole"),
    ("lentil", "lentils", "linse"),
    ("dry bean", "edible bean", "navy bean", "black bean", "pinto bean"),
    ("sunflower", "sunflowers", "sonnenblume", "tournesol"),
    ("flax", "linseed", "lein", "lin"),
    ("buckwheat", "buchweizen", "sarrasin"),
    ("potato", "potatoes", "kartoffel", "pomme de terre"),
    ("sugar beet", "sugarbeet", "zuckerrübe"),
    ("red clover", "rotklee", "trèfle violet", "medium red clover"),
    ("clover grass", "grass clover", "grass-clover ley", "clover-grass hay", "kleegras", "grass clover hay"),
    ("sweet clover", "sweetclover", "yellow sweet clover"),
    ("sorghum-sudangrass", "sorghum sudan", "sudangrass", "sudan grass", "sudax"),
    ("fallow", "bare fallow", "summerfallow", "summer fallow", "black fallow", "tilled fallow",
     "cultivated fallow", "schwarzbrache"),
    ("hairy vetch", "winter vetch", "zottelwicke"),
    ("mustard", "white mustard", "yellow mustard", "senf"),
    ("oilseed radish", "oil radish", "fodder radish", "tillage radish", "ölrettich"),
    # machines
    ("moldboard plow", "mouldboard plough", "plow", "plough", "turn plow", "pflug"),
    ("chisel plow", "chisel plough", "chisel"),
    ("disk", "disc", "tandem disk", "disk harrow", "disc harrow", "scheibenegge"),
    ("field cultivator", "cultivator", "grubber", "tined cultivator"),
    ("stubble cultivator", "sweep cultivator", "goose-foot cultivator", "duckfoot cultivator",
     "stubble cultivator with sweeps", "stubble cultivator with goosefeet"),
    ("wide-blade undercutter", "undercutter", "wide sweep", "wide-blade cultivator", "blade cultivator",
     "root cutter"),
    ("rotary hoe", "blind cultivator"),
    ("tine weeder", "tine harrow", "weeder harrow", "finger harrow", "flex-tine harrow", "spring tine weeder",
     "striegel", "hackstriegel"),
    ("row cultivator", "row-crop cultivator", "inter-row cultivator", "inter-row hoe", "row hoe", "hackgerät",
     "hoe"),
    ("planter", "row planter", "row-crop planter", "corn planter", "precision drill", "precision seeder"),
    ("drill", "grain drill", "seed drill", "air drill", "drillmaschine"),
    ("combine", "combine harvester", "mähdrescher"),
    ("mower", "rotary mower", "mulcher", "flail mower", "topper", "rotary cutter", "brush mower",
     "stalk chopper", "flail chopper", "mulchgerät"),
    ("mower-conditioner", "haybine", "discbine", "mower conditioner", "disc mower", "disk mower",
     "mähaufbereiter"),
    ("rake", "hay rake", "side-delivery rake", "wheel rake", "rotary rake", "swather rake", "schwader"),
    ("tedder", "hay tedder", "wender"),
    ("baler", "round baler", "large round baler", "rundballenpresse"),
    ("windrower", "swather"),
    ("cultipacker", "roller", "packer", "roller-packer", "cambridge roller"),
    ("manure spreader", "muck spreader"),
)  # fmt: skip

#: Plants taken for a creeping weed, and what they are: to be told instead of a nearest spelling.
NOT_CREEPING: Mapping[str, str] = {
    "bull thistle": "Bull thistle lives two years and does not creep: a cut below the crown ends it.",
    "spear thistle": "Spear thistle lives two years and does not creep: a cut below the crown ends it.",
    "musk thistle": "Musk thistle lives one or two years and does not creep.",
    "annual sowthistle": "Annual sowthistle does not creep; the perennial one has roots that do.",
    "wild buckwheat": "Wild buckwheat climbs like bindweed but is an annual that does not creep.",
    "black bindweed": "Black-bindweed climbs like field bindweed but is an annual that does not creep.",
    "hedge bindweed": "Hedge bindweed is another plant than field bindweed; nothing is known of it here.",
    "dock": "Docks have tap roots and do not creep; they are not planned for here.",
    "curly dock": "Docks have tap roots and do not creep; they are not planned for here.",
    "broadleaf dock": "Docks have tap roots and do not creep; they are not planned for here.",
}

#: Words that have no place on a grower's page; a test reads the printed pages for them.
AVOID: tuple[str, ...] = (
    "ramet",
    "objective value",
    "objective function",
    "mip",
    "mip gap",
    "solver",
    "infeasible",
    "optimal",
    "optimum",
    "node",
    "dominated",
    "pareto",
    "column generation",
    "lp bound",
    "carbohydrate pool",
    "par fraction",
    "eradicate",
    "eradication",
    "risk-free",
    "guaranteed",
    "bush-hog",
    "nan",
    "traceback",
)


def word(term: str, region: Region) -> str:
    """The word for a term where the farm lies.

    Raises
    ------
    KeyError
        If the glossary has no such term: a defect of the caller, not of the farm file.

    Examples
    --------
    >>> word("hay_phase", "us"), word("hay_phase", "uk")
    ('hay phase', 'ley')
    """
    us, uk = WORDS[term]
    return us if region == "us" else uk


def plain(text: str) -> str:
    """A name reduced to what counts in comparing: lower case, no accents, single blanks.

    Examples
    --------
    >>> plain("Acker-Gänsedistel"), plain("winter_wheat")
    ('acker gansedistel', 'winter wheat')
    """
    bare = "".join(part for part in unicodedata.normalize("NFKD", text) if not unicodedata.combining(part))
    return " ".join(re.sub(r"[^0-9a-z]+", " ", bare.casefold().replace("ø", "o")).split())


def _singular(name: str) -> str:
    """The last word without a plural ending; good enough for names of crops and weeds."""
    for ending, instead in (("ies", "y"), ("toes", "to"), ("s", "")):
        if name.endswith(ending) and len(name) > len(ending) + 2 and not name.endswith("ss"):
            return name[: -len(ending)] + instead
    return name


@functools.cache
def _forms(name: str) -> frozenset[str]:
    first = plain(name)
    return frozenset({first, _singular(first), first.replace(" ", "")} - {""})


_GROUPS: tuple[frozenset[str], ...] = tuple(
    frozenset(form for name in group for form in _forms(name)) for group in SAME
)


def find(wanted: str, names: Mapping[str, Iterable[str]]) -> str | None:
    """Key of the thing a grower means, by its own names first and by other names for it second.

    Parameters
    ----------
    wanted : str
        As written in the farm file; case, accents, hyphens and plural do not matter.
    names : mapping of key to names
        What there is; the key itself counts as a name.

    Returns
    -------
    str or None
        None if nothing bears that name. Spelling is not guessed here: see :func:`nearest`.

    Examples
    --------
    >>> find("Acker-Kratzdistel", {"creeping_thistle": ["Canada thistle"], "couch_grass": ["couch"]})
    'creeping_thistle'
    """
    if wanted in names:
        return wanted
    forms = _forms(wanted)
    known = {key: frozenset().union(*map(_forms, (key, *own))) for key, own in names.items()}
    for key, own in known.items():
        if forms & own:
            return key
    for group in _GROUPS:
        if forms & group:
            for key, own in known.items():
                if own & group:
                    return key
    return None


def nearest(wanted: str, names: Mapping[str, Iterable[str]] | Sequence[str]) -> str:
    """The known name that looks most like a misspelt one; empty if none comes near.

    A name that contains the word wanted goes before a name that is merely spelt like it, and other names
    for the same thing count, so that "canada thisle" leads to creeping thistle and not to another word.

    Examples
    --------
    >>> nearest("canada thisle", {"creeping_thistle": ["creeping thistle"], "couch_grass": []})
    'creeping_thistle'
    >>> nearest("aera_acres", ["area_acres", "area_ha"])
    'area_acres'
    """
    if not isinstance(names, Mapping):
        names = dict.fromkeys(names, ())
    if not plain(wanted):
        return ""
    by_form: dict[str, str] = {}
    for key, own in names.items():
        for form in sorted(frozenset().union(*map(_forms, (key, *own)))):
            by_form.setdefault(form, key)
    for group in _GROUPS:
        target = next((by_form[form] for form in sorted(group) if form in by_form), None)
        if target is not None:
            for form in sorted(group):
                by_form.setdefault(form, target)
    sought = plain(wanted)
    close = difflib.get_close_matches(sought, list(by_form), n=1, cutoff=0.85)
    if close:
        return by_form[close[0]]
    if len(sought) > 2:
        whole = [
            form for form in by_form if sought in form.split() or set(form.split()) < set(sought.split())
        ]
        if whole:
            return by_form[min(whole, key=lambda form: (len(form), form))]
    close = difflib.get_close_matches(sought, list(by_form), n=1, cutoff=0.6)
    return by_form[close[0]] if close else ""


def listed(items: Sequence[str], last: str = "or") -> str:
    """Items in a sentence: ``a, b or c``.

    Examples
    --------
    >>> listed(["own", "hire", "none"])
    'own, hire or none'
    """
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} {last} {items[-1]}"
