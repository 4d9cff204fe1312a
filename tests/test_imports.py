"""Rooms import only from the floors below them, as DEVELOPERS.md draws them."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "rotation_opt"
FILES = sorted(PACKAGE.rglob("*.py"))

# Who may import what from outside: everything else stays behind one door.
DOORS = {
    "pulp": {"solver"},
    "rich": {"report", "cli"},
    "click": {"cli"},
    "pydantic": {"farm"},
    "pandas": {"api"},
    "jinja2": {"report"},
    "weasyprint": {"report"},
    "matplotlib": {"report"},
    "openpyxl": {"report", "worksheet"},
    "icalendar": {"report"},
    "threadpoolctl": {"planning"},
    "tomlkit": {"farm_edit"},
}


def rooms() -> dict[str, tuple[int, int]]:
    """Room -> (floor, place on the floor from left to right), from the table in DEVELOPERS.md."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    table = re.findall(r"^\| (\d+) \| ([^|]+) \|", text, flags=re.MULTILINE)
    places = {}
    for floor, names in table:
        for place, name in enumerate(re.findall(r"`([a-z_]+)(?:\.py|/)`", names)):
            assert name not in places, f"{name} stands on two floors"
            places[name] = (int(floor), place)
    return places


ROOMS = rooms()


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imports(path: Path) -> set[tuple[str, str]]:
    """(outermost package, room or "") of everything a file imports, wherever in the file."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            for name in node.names:
                outer, _, rest = name.name.partition(".")
                found.add((outer, rest.partition(".")[0]))
        elif isinstance(node, ast.ImportFrom):
            outer, _, rest = _in_full(path, node).partition(".")
            if outer == "rotation_opt" and not rest:
                found |= {(outer, name.name) for name in node.names}
            else:
                found.add((outer, rest.partition(".")[0]))
    return found


def _in_full(path: Path, node: ast.ImportFrom) -> str:
    if node.level == 0:
        return node.module or ""
    package = ("rotation_opt", *path.relative_to(PACKAGE).parts)[: -node.level]
    return ".".join((*package, *filter(None, (node.module,))))


def test_the_table_of_floors_names_every_room_and_no_other():
    there = {room_of(path) for path in FILES} - {"__init__", "__main__"}
    assert there == set(ROOMS)


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_room_imports_only_from_below_or_from_its_left(path):
    room = room_of(path)
    if room in {"__init__", "__main__"}:
        assert {inner for outer, inner in imports(path) if outer == "rotation_opt"} <= {"api", "cli"}
        return
    wrong = [
        inner
        for outer, inner in imports(path)
        if outer == "rotation_opt" and inner and inner != room and ROOMS[inner] >= ROOMS[room]
    ]
    assert not wrong, f"{room} on floor {ROOMS[room][0]} imports {wrong} from the same or a higher floor"


@pytest.mark.parametrize(("library", "rooms_allowed"), DOORS.items())
def test_outside_libraries_stay_behind_their_doors(library, rooms_allowed):
    users = {room_of(path) for path in FILES if any(outer == library for outer, _ in imports(path))}
    assert users, f"nobody imports {library} any more: drop it"
    assert users <= rooms_allowed


def test_only_one_room_names_the_solver():
    naming = {room_of(path) for path in FILES if "highs" in path.read_text(encoding="utf-8").lower()}
    assert naming == {"solver"}


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_no_room_below_the_command_line_prints_or_logs(path):
    if room_of(path) == "cli":
        return
    tree = ast.parse(path.read_text(encoding="utf-8"))
    calls = {
        node.func.id
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
    }
    assert "print" not in calls
    assert not any(outer == "logging" for outer, _ in imports(path))
