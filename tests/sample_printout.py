"""An invented printout with every kind of block, to test what prints it. No figure means anything."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from typing import Any

from rotation_opt.report.blocks import (
    Bullets,
    Chart,
    Drawing,
    Entries,
    Entry,
    Form,
    Grid,
    Page,
    Panel,
    Paragraph,
    Printout,
    Section,
    Series,
)

YEARS = (2027.0, 2028.0, 2029.0, 2030.0, 2031.0)

HOSTILE = (
    "<b>North</b> & [/x] {{ 7*7 }} {% raw %}",
    "</style></title><script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "=HYPERLINK(0)",
    "שדה צפוני 40",
    "العربية 12",
    "Ж" * 200,
    "aא" * 100,
)


def printout(name: str = "Home 40", **changes: Any) -> Printout:
    """The printout of a made-up farm; ``name`` is put wherever a grower's words may stand."""
    made = Printout(
        title=f"Rotation plans for {name}",
        lead=(
            f"A demo farm, invented. Adviser: {name}. Worked out on 2027-01-15.",
            "All figures are invented.",
        ),
        foot=f"{name}, demo farm - adviser A. Example - 2027-01-15 - plan Balanced",
        pages=(_summary(name), _course(name), _calendar(name), _scouting(name)),
    )
    return dataclasses.replace(made, **changes)


def _summary(name: str) -> Page:
    compared = Grid(
        header=("", "As now", "Balanced", "Least weeds", name),
        rows=(
            (
                "What sets it apart",
                "nothing changes",
                "alfalfa on the two worst fields, wheat elsewhere",
                "three years of hay first",
                f"buys a rotary mower for {name}",
            ),
            ("Net return, $/ac a year", "148", "131", "96", "118"),
            (
                "Weed roots at the end, %\n(low to high)",
                "140\n(98-182)",
                "31\n(18-64)",
                "12\n(4-30)",
                "0\n(0-9)",
            ),
            ("Hours in the busiest half-month", "61", "58", "40", "-"),
            (
                "Choose this if",
                "you can live with what is there",
                "you want weeds down without a lean year",
                "certification depends on it",
                "somebody has time to mow",
            ),
        ),
        groups=frozenset({1, 4}),
        even=True,
        name_share=0.24,
    )
    sales = Grid(
        header=("Crop", "Sold, t", "Price, $/t", "Sales, $", "Note"),
        rows=(
            ("Spring wheat", "112.5", "285", "32,060", "usual price"),
            ("Alfalfa hay", "88", "190", "16,720", "big bales, delivered"),
            ("Oats", "0", "210", "0", "-"),
            (name, "1,204.2", "-", "-12", "a name from the farm file"),
        ),
        groups=frozenset({2}),
    )
    return Page(
        key="summary",
        title="Plans side by side",
        lead=("Four ways to go on from here.", "Figures are means of the plan years."),
        sections=(
            Section(
                key="compare",
                title="What does each plan bring?",
                blocks=(compared, Paragraph(text=f"Patches on {name} stay where they are.\nA second line.")),
            ),
            Section(
                key="sales",
                title=f"What is sold from {name}?",
                blocks=(
                    sales,
                    Bullets(items=("Hay goes out in big bales.", f"Nothing is sold standing on {name}.")),
                    Entries(
                        items=(
                            Entry(
                                label="Spring wheat", text="Sown as early as the ground carries the drill."
                            ),
                            Entry(label=name, text=f"Hay for three years because {name} has the most roots."),
                        )
                    ),
                ),
            ),
        ),
    )


def _course(name: str) -> Page:
    roots = Panel(
        title=f"Roots on {name}",
        x_label="Year",
        y_label="Roots, % of today",
        x_ticks=tuple((year, f"{year:.0f}") for year in YEARS),
        series=(
            Series(
                label="low to high",
                kind="band",
                x=YEARS,
                low=(60, 40, 25, 15, 10),
                high=(130, 120, 90, 70, 60),
            ),
            Series(label="likely", kind="line", x=YEARS, y=(95, 78, 52, 36, 28)),
            Series(label="as now", kind="line", x=YEARS, y=(100, 108, 117, 126, 140)),
            Series(label="your count", kind="blanks", x=YEARS),
        ),
    )
    money = Panel(
        title="Money against weeds",
        x_label="Weed roots, % of today",
        y_label="Net return, $/ac",
        series=(
            Series(
                label="ground cover", kind="area", x=(10.0, 50.0, 100.0, 140.0), y=(20.0, 60.0, 90.0, 40.0)
            ),
            Series(
                label="plans",
                kind="points",
                x=(140.0, 31.0, 12.0),
                y=(148.0, 131.0, 96.0),
                names=("As now", "Balanced", name),
            ),
        ),
        y_top=200.0,
    )
    chart = Chart(
        key="roots",
        title=f"Expected course of the roots on {name}",
        alt=f"The likely course on {name} falls from 95 to 28 percent in five years; as now it rises to 140.",
        panels=(roots, money),
        table=Grid(
            header=("Year", "Low, %", "Likely, %", "High, %"),
            rows=tuple(
                (f"{year:.0f}", f"{5 * n}", f"{9 * n + 1}", f"{14 * n}") for n, year in enumerate(YEARS, 1)
            ),
        ),
    )

    def draw(width: int, plain: bool) -> tuple[str, ...]:
        bar = "#" if plain else "▁▂▃▄▅▆▇█"
        line = (bar * width)[: width - 10]
        return (
            f"light  |{line}",
            f"roots  |{line}",
            f"       |{'-' * (width - 10)}",
            f"<i>&  {name}"[:width],
        )

    return Page(
        key="weeds",
        title="Expected course of the weeds",
        lead=(),
        sections=(
            Section(key="roots", title="How fast do the roots go?", blocks=(chart,)),
            Section(key="drawing", title="One season of thistle", blocks=(Drawing(draw=draw),)),
        ),
    )


def _calendar(name: str) -> Page:
    months = ("April", "May", "June", "July", "August", "September", "October", "November")
    halves = tuple(f"{month}, {half} half" for month in months for half in ("1st", "2nd"))
    hours = Grid(
        header=("Hours needed", *halves),
        rows=tuple(
            (field, *(str((n * 7 + m * 3) % 40) for m in range(len(halves))))
            for n, field in enumerate((name, "River bottom", "Section line"))
        ),
    )
    jobs = Grid(
        header=("Done", "Window", "Field", "Work", "Stage to look for", "Machine", "Hours"),
        rows=tuple(
            (
                "[ ]",
                f"{month} 1-15",
                name if number % 3 else "River bottom",
                "mow the thistle with the rotary mower, high enough to spare the new hay below it",
                "first buds show, before any flower opens",
                "rotary mower 3 m, hired from the neighbor",
                f"{number * 1.5:.1f}",
            )
            for number, month in enumerate(months * 5)
        ),
    )
    return Page(
        key="calendar",
        title="Calendar of work",
        lead=("By half-month. Tick what is done.",),
        sections=(
            Section(key="jobs", title="What is to be done when?", blocks=(jobs,)),
            Section(key="hours", title="How many hours is that?", blocks=(hours,)),
        ),
    )


def _scouting(name: str) -> Page:
    return Page(
        key="scouting",
        title="Scouting sheet",
        lead=(f"Take it along to {name}. A frame of 0.25 m2: shoots times 4 are shoots per m2.",),
        sections=(
            Section(
                key="counts",
                title="Counts",
                blocks=(
                    Form(
                        header=("Field", "Date", "Stage", "Shoots in frame", "Remarks"),
                        shares=(0.25, 0.15, 0.15, 0.15, 0.3),
                        rows=14,
                    ),
                ),
            ),
        ),
    )


def texts(made: Printout) -> Iterator[str]:
    """Every text that a printout holds, cell by cell, but for drawings."""
    yield made.title
    yield made.foot
    yield from made.lead
    for page in made.pages:
        yield page.title
        yield from page.lead
        for section in page.sections:
            yield section.title
            for block in section.blocks:
                yield from _block(block)


def _block(block: object) -> Iterator[str]:
    match block:
        case Paragraph():
            yield block.text
        case Bullets():
            yield from block.items
        case Entries():
            for entry in block.items:
                yield from (entry.label, entry.text)
        case Grid():
            for row in (block.header, *block.rows):
                yield from row
        case Chart():
            yield block.title
            yield from _block(block.table)
        case Form():
            yield from block.header
