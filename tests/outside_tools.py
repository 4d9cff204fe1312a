"""Programs that some tests look through.

Without one the test is skipped; where ROTATION_OPT_NO_SKIP says that all are there, it fails.
"""

from __future__ import annotations

import functools
import importlib.util
import json
import os
import shutil
import subprocess
import tempfile
from html.parser import HTMLParser
from pathlib import Path

import pytest

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
BROWSER_OPTIONS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--virtual-time-budget=60000",
    "--window-size=1400,900",
]
PATIENCE_S = 120


def miss(what: str) -> None:
    """End the test for want of ``what``: a failure where everything is said to be installed."""
    (pytest.fail if os.environ.get("ROTATION_OPT_NO_SKIP") else pytest.skip)(f"{what} is not installed here")


def program(*names: str) -> str:
    """Path of the first of these programs that is there."""
    found = next(filter(None, map(shutil.which, names)), None)
    if found is None:
        miss(names[0])
    return str(found)


def run(*command: str | Path) -> str:
    """What a program prints."""
    done = subprocess.run(
        [program(str(command[0])), *command[1:]], capture_output=True, check=True, timeout=PATIENCE_S
    )
    return done.stdout.decode("utf-8")


@functools.cache
def accessibility_rules() -> str:
    """The script of axe-core: the file that ROTATION_OPT_AXE names, or the one of the test extra."""
    named = os.environ.get("ROTATION_OPT_AXE")
    package = importlib.util.find_spec("axe_core_python")
    if named is None and (package is None or package.origin is None):
        miss("axe-core")
    path = Path(named) if named else Path(package.origin).parent / "axe.min.js"
    return path.read_text(encoding="utf-8")


def in_browser(html: str, script: str, width: int) -> object:
    """What the promise ``script`` comes to, run in the page in a window of ``width`` pixels."""
    inner = html.replace(
        "</body>",
        f"<script>window.onload = () => ({script}).then(found => "
        "parent.document.getElementById('found').textContent = JSON.stringify(found));</script></body>",
    )
    page = f"""<!DOCTYPE html><html lang="en"><body><pre id="found"></pre>
        <iframe id="window" style="width:{width}px;height:800px;border:0"></iframe>
        <script>document.getElementById("window").srcdoc = {_in_script(inner)};</script></body></html>"""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "page.html"
        path.write_text(page, encoding="utf-8")
        command = [
            program(*BROWSERS),
            *BROWSER_OPTIONS,
            f"--user-data-dir={folder}/profile",
            "--dump-dom",
            path.as_uri(),
        ]
        done = subprocess.run(command, capture_output=True, check=True, timeout=PATIENCE_S)
    reader = _Found()
    reader.feed(done.stdout.decode("utf-8"))
    assert reader.text, "the page did not come to an answer"
    return json.loads(reader.text)


def _in_script(text: str) -> str:
    return json.dumps(text).replace("<", "\\u003c")


class _Found(HTMLParser):
    """The text of the element that the answer is written to."""

    text = ""
    inside = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.inside = ("id", "found") in attrs

    def handle_endtag(self, tag: str) -> None:
        self.inside = False

    def handle_data(self, data: str) -> None:
        self.text += data if self.inside else ""
