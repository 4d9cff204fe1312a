"""Notes that leave a question to the certifier, the insurer or the weed authority: said, never advised."""

from __future__ import annotations

import pytest
from small_farm import TABLES, small

from rotation_opt.planning import plan

DEFERS = {
    "insurance": ("insur",),
    "law": ("authority",),
    "organic": ("certifier", "control body", "raw manure"),
    "lease": ("landlord",),
}
ADVICE = ("we advise", "we recommend", "you should", "is allowed", "is covered")


@pytest.mark.parametrize("topic", sorted(DEFERS))
def test_notes_on_rules_name_whom_to_ask_and_give_no_ruling(topic: str) -> None:
    notes = [caution for caution in TABLES.cautions if caution.topic == topic]
    assert notes
    for note in notes:
        for text in (note.text_us.lower(), note.text_uk.lower()):
            assert any(word in text for word in ("ask ", "tell ", "talk to "))
            assert any(word in text for word in DEFERS[topic])
            assert not any(word in text for word in ADVICE)


def test_each_caution_has_a_place_of_its_own_on_the_page() -> None:
    ranks = [caution.rank for caution in TABLES.cautions]
    assert len(ranks) == len(set(ranks))


def test_weed_law_speaks_of_dates_and_organic_rules_of_sod_and_tillage() -> None:
    texts = {caution.key: caution.text_us for caution in TABLES.cautions}
    assert "dates" in texts["noxious_weed_law"]
    for word in ("sod", "cover crops", "green manure"):
        assert word in texts["organic_rotation"]
    assert "tillage" in texts["organic_tillage"]


def test_hay_and_fallow_years_send_the_grower_to_the_insurance_office() -> None:
    note = next(caution.text_us for caution in TABLES.cautions if caution.key == "insurance_idle_years")
    assert "ask your insurance office" in note
    grains = ("spring_barley", "soybean", "corn_grain")
    assert note not in plan(small(keep=grains)).cautions
    assert note in plan(small(keep=(*grains, "fallow"))).cautions
