"""Canopy figures of a crop, read from the crop tables."""

from __future__ import annotations

from dataclasses import dataclass

from rotation_opt.tables import Tables

_NEVER = 1e9  # heat that is never reached


@dataclass(frozen=True, slots=True, kw_only=True)
class CanopyParameters:
    """Canopy figures of one crop, named as in table ``crop``.

    Heat sums are in °C d above ``base_temperature``; covers are shares of the ground.
    """

    crop: str
    life: str
    base_temperature: float
    upper_temperature: float
    plants_per_m2: float
    cover_per_plant_cm2: float
    canopy_growth: float
    canopy_max: float
    canopy_decline: float
    heat_emergence: float
    heat_senescence: float
    heat_maturity: float
    height_m: float
    usual_row_spacing_m: float
    winter_cover_kept: float
    frost_kill_c: float | None
    stubble_cover: float
    thin_after_year: float
    thin_per_year: float

    @classmethod
    def of(cls, tables: Tables, crop_key: str) -> CanopyParameters:
        """Read the canopy figures of a crop.

        Raises
        ------
        TableError
            If a figure every crop needs is missing.
        """

        def need(quantity: str) -> float:
            return tables.number("crop", crop_key, quantity)

        def maybe(quantity: str, default: float) -> float:
            return tables.number_or("crop", crop_key, quantity, default)

        life = tables.crops[crop_key].life
        ripens = life in ("annual", "winter annual")
        return cls(
            crop=crop_key,
            life=life,
            base_temperature=need("base_temperature"),
            upper_temperature=need("upper_temperature"),
            plants_per_m2=need("plants_per_m2"),
            cover_per_plant_cm2=need("cover_per_plant_cm2"),
            canopy_growth=need("canopy_growth"),
            canopy_max=need("canopy_max"),
            canopy_decline=need("canopy_decline") if ripens else maybe("canopy_decline", 0.0),
            heat_emergence=need("heat_emergence"),
            heat_senescence=need("heat_senescence") if ripens else maybe("heat_senescence", _NEVER),
            heat_maturity=need("heat_maturity") if ripens else maybe("heat_maturity", _NEVER),
            height_m=need("height_m"),
            usual_row_spacing_m=need("usual_row_spacing_m"),
            winter_cover_kept=maybe("winter_cover_kept", 0.0),
            frost_kill_c=need("frost_kill_c") if tables.has("crop", crop_key, "frost_kill_c") else None,
            stubble_cover=maybe("stubble_cover", 0.0),
            thin_after_year=maybe("thin_after_year", 0.0),
            thin_per_year=maybe("thin_per_year", 0.0),
        )

    @property
    def first_cover(self) -> float:
        """Cover at emergence of the usual stand: plants per area times cover of one seedling."""
        return self.plants_per_m2 * self.cover_per_plant_cm2 / 1e4

    def most_cover(self, stand_year: int = 0) -> float:
        """Largest cover of a stand in its ``stand_year``, thinned once it is old."""
        lost = self.thin_per_year * max(0.0, stand_year - self.thin_after_year)
        return self.canopy_max * max(0.0, 1 - lost)
