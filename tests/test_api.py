"""The same work from Python."""

import json
import subprocess
import sys
import types
from html.parser import HTMLParser
from pathlib import Path

import fake_result
import pytest

import rotation_opt
from rotation_opt.errors import InputError

ROOT = Path(__file__).parent.parent


@pytest.fixture
def plans():
    return rotation_opt.PlanSet(fake_result.result(), fake_result.tables())


def test_every_public_name_can_be_imported_and_says_what_it_does():
    for name in rotation_opt.__all__:
        thing = getattr(rotation_opt, name)
        assert name == "__version__" or thing.__doc__
    assert set(rotation_opt.__all__) <= set(dir(rotation_opt))
    with pytest.raises(AttributeError, match="no attribute 'plann'"):
        _ = rotation_opt.plann


def test_importing_the_package_imports_nothing_heavy():
    script = (
        "import sys, rotation_opt; print(sorted({'pandas', 'numpy', 'rich', 'click'} & set(sys.modules)))"
    )
    shown = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert shown.stdout == "[]\n"


def test_the_example_farms_are_found_and_a_misspelt_one_is_answered_with_the_nearest():
    assert rotation_opt.read_farm(rotation_opt.example_farm("tamarack_hollow")).invented
    with pytest.raises(InputError, match="Did you mean tamarack_hollow"):
        rotation_opt.example_farm("tamarak_hollow")


def test_list_practices_gives_one_row_a_practice():
    frame = rotation_opt.list_practices(rotation_opt.example_farm("tamarack_hollow"))
    assert frame["practice"].is_unique
    assert {"practice", "name", "crop", "sowing_day", "harvest_day", "cuts"} == set(frame.columns)
    assert (frame["sowing_day"].dropna() < frame.loc[frame["sowing_day"].notna(), "harvest_day"]).all()


def test_plan_and_season_response_pass_on_what_was_asked(monkeypatch):
    asked = {}
    planning = types.ModuleType("rotation_opt.planning")
    planning.plan = lambda farm, tables, **options: asked.update(options) or fake_result.result()
    closer_look = types.ModuleType("rotation_opt.closer_look")
    monkeypatch.setitem(sys.modules, "rotation_opt.closer_look", closer_look)
    monkeypatch.setattr(rotation_opt, "closer_look", closer_look, raising=False)
    closer_look.season_table = lambda farm, tables, **options: (
        asked.update(options) or fake_result.season_rows()
    )
    monkeypatch.setitem(sys.modules, "rotation_opt.planning", planning)
    monkeypatch.setattr(rotation_opt, "planning", planning, raising=False)
    found = rotation_opt.plan(fake_result.farm(), years=4, tables=fake_result.tables())
    assert len(found) == 4
    frame = rotation_opt.season_response(fake_result.farm(), field="Home 40", tables=fake_result.tables())
    assert asked["years"] == 4
    assert asked["field"] == "Home 40"
    assert frame["reserve_likely"].tolist() == [0.34, 1.12]
    assert frame["head_start_days"].isna().tolist() == [False, True]


def test_the_figures_of_one_plan_are_not_listed_under_another(monkeypatch):
    planning = types.ModuleType("rotation_opt.planning")
    wanted = iter([("crop", "oats", "yield_t_ha"), ("money", "any", "fuel_per_l")])

    def plan(farm, tables, **options):
        tables.number(*next(wanted))
        return fake_result.result()

    planning.plan = plan
    monkeypatch.setitem(sys.modules, "rotation_opt.planning", planning)
    monkeypatch.setattr(rotation_opt, "planning", planning, raising=False)
    shared = fake_result.tables()
    plans = [rotation_opt.plan(fake_result.farm(), tables=shared) for _ in range(2)]
    listed = [[figure["quantity"] for figure in json.loads(each.to_json())["figures"]] for each in plans]
    assert listed == [["yield_t_ha"], ["fuel_per_l"]]


def test_to_frame_has_one_row_an_alternative_in_the_units_of_the_name(plans):
    frame = plans.to_frame()
    assert list(frame.index) == ["As now", "Most money", "Balanced", "Fastest clean-up"]
    # 310 x 46.2 + 1350 and 0.31 of today's roots: from fake_result
    assert frame.loc["As now", "net_return_a_year"] == pytest.approx(310 * 46.2 + 1350)
    assert frame.loc["Balanced", "roots_likely"] == pytest.approx(0.31)


def test_fields_gives_fields_down_and_years_across(plans):
    frame = plans.fields("balanced")
    assert list(frame.columns) == ["2027", "2028", "2029", "2030"]
    assert frame.loc["Home 40", "2028"] == "Alfalfa hay, three cuts sold or fed"
    with pytest.raises(KeyError, match="Fastest clean-up"):
        plans.fields("slowest")


def test_a_plan_set_prints_iterates_and_writes_json(plans):
    assert "Side by side" in str(plans)
    assert [plan.key for plan in plans] == ["as_now", "most_money", "balanced", "fastest"]
    assert plans["Balanced"] is plans["balanced"]
    assert plans.to_json().startswith("{")
    assert repr(plans).startswith("<PlanSet of Invented Ridge Farm")


class Tags(HTMLParser):
    def __init__(self):
        super().__init__()
        self.seen, self.scopes = [], []

    def handle_starttag(self, tag, attrs):
        self.seen.append(tag)
        self.scopes += [value for name, value in attrs if name == "scope"]


def test_the_notebook_table_escapes_names_and_marks_its_header_cells():
    fields = fake_result.farm().fields
    farm = fake_result.farm(name="<script>", fields=(fake_result.renamed(fields[0], name="<b>x"), fields[1]))
    text = rotation_opt.PlanSet(fake_result.result(farm=farm), fake_result.tables())._repr_html_()
    tags = Tags()
    tags.feed(text)
    assert set(tags.seen) == {"table", "caption", "thead", "tr", "th", "tbody", "td", "br"}
    assert set(tags.scopes) == {"col", "row"}
    assert "&lt;script&gt;" in text
