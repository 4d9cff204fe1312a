"""Files are at any moment the old ones or the new ones, whole, whoever dies; what is said of them is true."""

from __future__ import annotations

import errno
import itertools
import json
import os
import re
import signal
import subprocess
import sys
from pathlib import Path
from types import FrameType

import pytest
from broken_commands import COMMANDS
from broken_off import CTRL_C, FAIL, KILL, STEPS, files_in

from rotation_opt import whole_file
from rotation_opt.errors import RotationOptError

TESTS = Path(__file__).parent
pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="processes are forked and killed")


def child(*arguments: object) -> str:
    """What Python says in a process of its own, without threads."""
    done = subprocess.run(
        [sys.executable, *map(str, arguments)],
        capture_output=True, text=True, check=False, env={**os.environ, "PYTHONPATH": str(TESTS)},
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    return done.stdout


# ---------------------------------------------------------------- commands broken off


@pytest.fixture(scope="module")
def reports(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, object]]:
    said = child(TESTS / "broken_commands.py", tmp_path_factory.mktemp("commands"))
    return dict(json.loads(line) for line in said.splitlines())


@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_broken_off_at_any_step_leaves_whole_files_and_says_what_is_true(reports, command):
    report = reports[command]
    assert report["damage"] == []
    assert {"before write", "before fsync", "before replace", "after replace"} <= set(report["steps"])
    assert set(report["tried"]) == ({KILL, FAIL} if command == "interview" else {KILL, FAIL, CTRL_C})
    assert min(report["tried"].values()) >= 12


NAIVE = """
import json, secrets, sys
from dataclasses import asdict
from pathlib import Path
import broken_commands
from rotation_opt import whole_file

def over_it(path, content, **options):
    path.write_bytes(content)

def away_first(path, content, **options):
    new = path.with_name(path.name + ".new")
    new.write_bytes(content)
    path.unlink(missing_ok=True)
    new.replace(path)

def each_its_own_name(path, content, **options):
    new = path.with_name(f".{path.name}.{secrets.token_hex(4)}.new")
    new.write_bytes(content)
    new.chmod(path.stat().st_mode)
    new.replace(path)

whole_file.write = globals()[sys.argv[1]]
print(json.dumps(asdict(broken_commands.set_value(Path(sys.argv[2])))))
"""


@pytest.mark.parametrize(
    ("writer", "damage"),
    [
        ("over_it", "home.toml is neither old nor new"),
        ("away_first", "home.toml is lost"),
        ("each_its_own_name", "lies there after the next write"),
    ],
)
def test_a_writer_that_does_damage_is_found_out(tmp_path, writer, damage):
    report = json.loads(child("-c", NAIVE, writer, tmp_path))
    assert any(each.startswith(KILL) and damage in each for each in report["damage"]), report


def test_nobody_else_writes_files():
    package = Path(whole_file.__file__).parent
    opens = re.compile(r"write_text\(|write_bytes\(|mkstemp|NamedTemp|\bopen\([^)]*[\"'][rb]*[wax]")
    writing = {path.name for path in package.rglob("*.py") if opens.search(path.read_text(encoding="utf-8"))}
    assert writing == {"whole_file.py"}


# ---------------------------------------------------------------- killed at random, and several at a time

AT_RANDOM = """
import os, sys
from pathlib import Path
from broken_off import files_in, killed_at_random
from rotation_opt import whole_file

path = Path(sys.argv[1])
who = 0

def page(number):
    return b"%09d\\n" % number * 30_000

def pages(into):
    number = who * 1_000_000
    while True:
        number += 1
        whole_file.write(path, page(number))
        os.write(into, b"%d\\n" % number)

def whole():
    lines = path.read_bytes().splitlines()
    assert len(lines) == 30_000 and len(set(lines)) == 1, (len(lines), set(lines))
    return int(lines[0])

whole_file.write(path, page(0))
seen = {whole()}
others = []
for who in (1, 2):
    other = os.fork()
    if other == 0:
        pages(os.open(os.devnull, os.O_WRONLY))
    others.append(other)
who = 3
for told in killed_at_random(pages, 30, 0.05):
    seen.add(whole())
for other in others:
    os.kill(other, 9)
    os.waitpid(other, 0)
who = 0
for told in killed_at_random(pages, 10, 0.02):
    seen.add(whole())
    assert not told or whole() >= told[-1]
whole_file.write(path, page(0), patience_s=0.0)
assert list(files_in(path.parent)) == [path.name]
print(len(seen), len({number // 1_000_000 for number in seen}))
"""


def test_writers_killed_at_random_while_others_go_on_leave_one_whole_file(tmp_path):
    states, writers = map(int, child("-c", AT_RANDOM, tmp_path / "page.txt").split())
    assert states > 5  # how many there are depends on what else the computer does
    assert writers > 1


def written_with_another(path: Path, at: int) -> bool:
    """Write "one", and let another writer come in at a step; whether there was such a step."""
    seen = 0

    def come_between(frame: FrameType, event: str, called: object) -> None:
        nonlocal seen
        if event == "c_call" and getattr(called, "__name__", "") in STEPS:
            seen += 1
            if seen == at:
                try:
                    whole_file.write(path, b"other" * 9, patience_s=0.0)
                except RotationOptError as refused:
                    assert "another program is writing to it" in str(refused)

    before = sys.getprofile()
    sys.setprofile(come_between)
    try:
        whole_file.write(path, b"one")
    finally:
        sys.setprofile(before)
    return seen >= at


def steps_with_another(path: Path) -> int:
    """Number of steps at which another writer came in and one of the two files was there afterwards."""
    for at in itertools.count(1):
        path.write_bytes(b"old")
        if not written_with_another(path, at):
            return at - 1
        assert path.read_bytes() in (b"one", b"other" * 9)
        assert list(files_in(path.parent)) == [path.name]
    raise AssertionError("a write has an end")


def without_locks(monkeypatch: pytest.MonkeyPatch) -> None:
    def no_locks(handle: int) -> None:
        raise OSError(errno.ENOLCK, os.strerror(errno.ENOLCK))

    monkeypatch.setattr(whole_file, "_hold", no_locks)


def test_a_writer_that_comes_in_between_is_refused(tmp_path):
    assert steps_with_another(tmp_path / "file") >= 10


def test_two_writers_do_not_mix_where_the_file_system_knows_no_locks(tmp_path, monkeypatch):
    without_locks(monkeypatch)
    assert steps_with_another(tmp_path / "file") >= 10


def test_two_writers_in_one_file_beside_would_be_found_out(tmp_path, monkeypatch):
    without_locks(monkeypatch)
    monkeypatch.setattr(whole_file.secrets, "token_hex", lambda length: "same")
    with pytest.raises((RotationOptError, AssertionError)):
        steps_with_another(tmp_path / "file")


def test_a_log_is_not_added_to_without_a_lock(tmp_path, monkeypatch):
    without_locks(monkeypatch)
    with pytest.raises(RotationOptError, match="cannot be written"), whole_file.alone(tmp_path / "log.csv"):
        pass
    assert files_in(tmp_path) == {}


# ---------------------------------------------------------------- the writer itself


def test_a_file_that_is_there_keeps_its_mode_and_a_new_one_goes_by_the_umask(tmp_path):
    there, new = tmp_path / "there", tmp_path / "new"
    there.write_bytes(b"old")
    there.chmod(0o646)
    mask = os.umask(0o027)
    try:
        for path in (there, new):
            whole_file.write(path, b"new")
    finally:
        os.umask(mask)
    assert files_in(tmp_path) == {"new": (b"new", 0o640), "there": (b"new", 0o646)}


def test_a_link_stays_a_link_also_where_its_file_is_not_there_yet(tmp_path):
    (tmp_path / "far").mkdir()
    (tmp_path / "far" / "file").write_bytes(b"old")
    for name, to in (("link", "far/file"), ("chain", "link"), ("ahead", "far/later")):
        (tmp_path / name).symlink_to(to)
        whole_file.write(tmp_path / name, name.encode())
    found = files_in(tmp_path)
    assert [found[name] for name in ("link", "chain", "ahead")] == ["far/file", "link", "far/later"]
    assert [found[name][0] for name in ("far/file", "far/later")] == [b"chain", b"ahead"]


def test_what_a_dead_writer_left_is_replaced_and_never_followed(tmp_path):
    path, mine = tmp_path / "file", tmp_path / "mine"
    mine.write_bytes(b"mine")
    (tmp_path / ".file.lock").touch()
    (tmp_path / ".file.new").symlink_to(mine)
    whole_file.write(path, b"new")
    assert {name: what[0] for name, what in files_in(tmp_path).items()} == {"file": b"new", "mine": b"mine"}


def folder(path: Path) -> None:
    path.mkdir()


def ring(path: Path) -> None:
    path.symlink_to(path.name)


def pipe(path: Path) -> None:
    os.mkfifo(path)


@pytest.mark.parametrize(
    ("made", "said"),
    [(folder, "Is a directory"), (ring, "symbolic links"), (pipe, "it is no ordinary file")],
)
def test_what_is_no_file_is_refused_and_stays(tmp_path, made, said):
    path = tmp_path / "file"
    made(path)
    kind = path.lstat().st_mode
    with pytest.raises(RotationOptError, match=f"file: cannot be written .*{said}"):
        whole_file.write(path, b"new")
    assert path.lstat().st_mode == kind
    assert [each.name for each in tmp_path.iterdir()] == ["file"]


def test_a_file_that_may_not_be_written_is_not_replaced_either(tmp_path, monkeypatch):
    path = tmp_path / "file"
    path.write_bytes(b"old")
    monkeypatch.setattr(os, "access", lambda asked, mode: Path(asked) != path)
    with pytest.raises(RotationOptError, match="Permission denied"):
        whole_file.write(path, b"new")
    assert {name: what[0] for name, what in files_in(tmp_path).items()} == {"file": b"old"}


FULL = """
import resource, signal, sys
from pathlib import Path
from rotation_opt import whole_file
resource.setrlimit(resource.RLIMIT_FSIZE, (50_000, resource.RLIM_INFINITY))
if sys.argv[2] == "killed":
    signal.signal(signal.SIGXFSZ, signal.SIG_DFL)
try:
    whole_file.write(Path(sys.argv[1]), b"new" * 100_000)
except whole_file.RotationOptError as fault:
    print(fault)
"""


def test_a_disk_that_is_full_half_way_leaves_the_old_file(tmp_path):
    path = tmp_path / "file"
    path.write_bytes(b"old")
    assert child("-c", FULL, path, "told") == f"{path}: cannot be written (File too large).\n"
    assert {name: what[0] for name, what in files_in(tmp_path).items()} == {"file": b"old"}


def test_a_writer_killed_half_way_leaves_the_old_file(tmp_path):
    path = tmp_path / "file"
    path.write_bytes(b"old")
    ended = subprocess.run([sys.executable, "-c", FULL, str(path), "killed"], check=False)
    assert ended.returncode == -signal.SIGXFSZ
    found = files_in(tmp_path)
    assert found["file"][0] == b"old"
    assert len(found[".file.new"][0]) == 50_000
    whole_file.write(path, b"new")
    assert {name: what[0] for name, what in files_in(tmp_path).items()} == {"file": b"new"}
