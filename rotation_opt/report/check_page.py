"""What was understood of a farm file, before anything is planned."""

from __future__ import annotations

from rotation_opt.records import Farm, Field
from rotation_opt.report.blocks import Bullets, Grid, Page, Section
from rotation_opt.report.limits import limits_in_words
from rotation_opt.report.wording import Wording
from rotation_opt.tables import Tables
from rotation_opt.units import density_text


def check_page(farm: Farm, tables: Tables) -> Page:
    """Fields, weeds and limits of a farm file without faults."""
    words = Wording(farm, tables)
    lead = [
        f"{farm.file}: nothing to put right.",
        f"{words.land} Harvests of {farm.first_year} to {farm.first_year + farm.years - 1}.",
    ]
    if farm.invented:
        lead.append("This is an invented demo farm: its people, fields and figures are made up.")
    header = ("Field", words.area_unit, "Last crop", "Weeds, shoots per m2")
    fields = Grid(header=header, rows=tuple(_row(field, words) for field in farm.fields))
    return Page(
        title=farm.name,
        lead=tuple(lead),
        sections=(
            Section(key="fields", title="Fields", blocks=(fields,)),
            Section(
                key="limits",
                title="Limits that the plans have to keep",
                blocks=(Bullets(items=limits_in_words(farm, words)),),
            ),
        ),
    )


def _row(field: Field, words: Wording) -> tuple[str, ...]:
    weeds = "\n".join(
        f"{words.weed(patch.weed)}: {density_text(patch.shoots_per_m2)} on {words.area(patch.area_ha)}"
        for patch in field.patches
    )
    last = words.practice(field.history[-1]) if field.history else "not known"
    return (field.name, words.area_figure(field.area_ha), last, weeds or "none counted")
