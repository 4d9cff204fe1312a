"""The printout as PDF: the right paper, readable aloud, nothing cut off, nothing fetched."""

import builtins
import logging
import re
import sys
import zlib
from collections import Counter

import pytest
from outside_tools import miss, run
from sample_printout import printout, texts

from rotation_opt.errors import RotationOptError
from rotation_opt.report import html, pdf
from rotation_opt.report.blocks import Page, Paragraph, Section
from rotation_opt.report.plain_text import clean

LETTER, A4 = (612.0, 792.0), (595.28, 841.89)  # points
SIDE = 42.5  # 15 mm, in points
PAGES = 6
LONG_NAME = '<b>"&' + "Ж" * 200


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Sample printouts by name, each made once: file, and what was logged on the way."""
    files = {}

    def make(name="Home 40", **changes):
        key = (name, *changes.items())
        if key not in files:
            path = tmp_path_factory.mktemp("pdf") / "printout.pdf"
            path.write_bytes(rendered(html.render(printout(name, **changes))))
            files[key] = path
        return files[key]

    return make


def rendered(text: str) -> bytes:
    try:
        return pdf.render(text)
    except RotationOptError as missing:
        if str(missing) not in {pdf.NOT_THERE, pdf.NO_LIBRARIES}:
            raise
        return miss("weasyprint or a library it needs")


def facts(path, *options) -> dict[str, str]:
    lines = run("pdfinfo", *options, path).splitlines()
    return {key.strip(): value.strip() for key, _, value in (line.partition(":") for line in lines)}


def boxes(path):
    """(width of the sheet, left end, right end, word) of every word."""
    width = 0.0
    for line in run("pdftotext", "-bbox", path, "-").splitlines():
        if sheet := re.search(r'<page width="([\d.]+)"', line):
            width = float(sheet.group(1))
        if word := re.search(r'xMin="([\d.-]+)".*xMax="([\d.-]+)".*>(.*)</word>', line):
            yield width, float(word.group(1)), float(word.group(2)), word.group(3)


def test_it_is_tagged_and_says_its_title_and_page_count(made):
    told = facts(made())
    assert told["Tagged"] == "yes"
    assert told["Title"] == printout().title
    assert told["Pages"] == str(PAGES)
    assert told["JavaScript"] == "no"


@pytest.mark.parametrize(("paper", "size"), [("Letter", LETTER), ("A4", A4)])
def test_sheets_have_the_size_asked_for_and_lie_lengthwise_for_wide_tables(made, paper, size):
    told = facts(made(paper=paper), "-f", "1", "-l", "99")
    sizes = [
        tuple(float(number) for number in re.findall(r"[\d.]+", value)[:2])
        for key, value in told.items()
        if re.fullmatch(r"Page +\d+ size", key)
    ]
    upright, lengthwise = pytest.approx(size, abs=0.1), pytest.approx(size[::-1], abs=0.1)
    assert len(sizes) == int(told["Pages"])
    assert sizes[0] == upright
    assert sizes[2] == lengthwise
    assert all(found in (upright, lengthwise) for found in sizes)


def test_headings_tables_lists_and_pictures_are_there_for_a_screen_reader(made):
    kinds = Counter(re.findall(r"^\s*([A-Z]\w*)", run("pdfinfo", "-struct", made()), flags=re.MULTILINE))
    assert {"H1", "H2", "H3", "P", "L", "LI", "Table", "TR", "TH", "TD", "Figure", "Art"} <= set(kinds)
    assert kinds["H2"] >= len(printout().pages)
    assert kinds["Figure"] == 2


def test_every_word_of_every_cell_is_on_paper(made):
    shown = run("pdftotext", "-layout", made(), "-")
    wanted = " ".join(clean(text) for text in texts(printout()))
    on_paper, words = (
        Counter(re.findall(r"[^\s-]+", text.replace("[ ]", "[]"))) for text in (shown, wanted)
    )  # lines may end after a hyphen
    assert not words - on_paper


def test_every_sheet_has_the_foot_and_its_number(made):
    sheets = run("pdftotext", "-layout", made(), "-").split("\f")[:-1]
    assert len(sheets) == PAGES
    for number, sheet in enumerate(sheets, 1):
        foot = sheet.strip().splitlines()[-1]
        assert foot.startswith(printout().foot)
        assert foot.endswith(f"Page {number} of {PAGES}")


def test_each_page_starts_a_sheet_and_heads_of_tables_come_again(made):
    sheets = run("pdftotext", "-layout", made(), "-").split("\f")
    for page in printout().pages[1:]:
        assert any(sheet.strip().startswith(page.title) for sheet in sheets)
    assert sum("Stage to look for" in sheet for sheet in sheets) == 3


@pytest.mark.parametrize("changes", [{}, {"paper": "A4"}, {"name": LONG_NAME}], ids=str)
def test_nothing_is_cut_off_at_the_edge_of_the_paper(made, changes):
    name = changes.get("name", "Home 40")
    pages = printout(name).pages if name == "Home 40" else printout(name).pages[:2]
    path = made(**{**changes, "pages": pages})
    for width, left, right, word in boxes(path):
        assert left >= SIDE - 1, word
        assert right <= width - SIDE + 1, word
    if name == LONG_NAME:
        wanted = sum(text.count("Ж") for text in texts(printout(name, pages=pages)))
        assert run("pdftotext", path, "-").count("Ж") >= wanted


def test_all_letters_are_embedded(made):
    head, _, *fonts = run("pdffonts", made()).splitlines()
    assert fonts
    start = head.index("emb")
    assert all(font[start : start + 3] == "yes" for font in fonts)


def test_the_maker_has_nothing_to_complain_about(caplog):
    with caplog.at_level(logging.WARNING, logger="weasyprint"):
        rendered(html.render(printout()))
    assert [record.getMessage() for record in caplog.records] == []


def test_the_same_printout_gives_the_same_bytes(made):
    assert made().read_bytes() == rendered(html.render(printout()))


def test_nothing_is_fetched_not_even_from_the_computer_itself(caplog, tmp_path):
    secret = tmp_path / "secret.css"
    secret.write_text('p::after { content: " secret words" }', encoding="utf-8")
    text = (
        f'<html lang="en"><title>a</title><link rel="stylesheet" href="{secret.as_uri()}"><p>open words</p>'
    )
    (tmp_path / "a.pdf").write_bytes(rendered(text))
    shown = run("pdftotext", tmp_path / "a.pdf", "-")
    assert "open words" in shown
    assert "secret" not in shown
    assert "disallowed" in caplog.text


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        (ImportError("No module named 'weasyprint'"), 'pip install "rotation-opt[pdf]"'),
        (OSError("cannot load library 'libpango-1.0-0'"), "libpango-1.0-0"),
    ],
)
def test_without_its_maker_a_sentence_says_how_to_get_it_and_what_to_do_instead(
    monkeypatch, capsys, fault, said
):
    real = builtins.__import__

    def broken(name, *rest, **more):
        if name == "weasyprint":
            print("a page about libraries")
            raise fault
        return real(name, *rest, **more)

    monkeypatch.delitem(sys.modules, "weasyprint", raising=False)
    monkeypatch.setattr(builtins, "__import__", broken)
    with pytest.raises(RotationOptError, match="browser") as raised:
        pdf.render("<p>a</p>")
    assert said in str(raised.value)
    assert capsys.readouterr().out == ""


def test_a_picture_can_be_read_aloud(made):
    parts = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", made().read_bytes(), flags=re.DOTALL)
    said = [found for part in parts for found in re.findall(rb"/Alt ?\(([^)]*)\)", inflated(part))]
    assert len(said) == 2
    assert all(b"Expected course of the roots on Home 40" in text for text in said)


def inflated(part: bytes) -> bytes:
    try:
        return zlib.decompress(part)
    except zlib.error:
        return b""


def test_a_page_of_one_line_takes_one_sheet(made):
    section = Section(key="a", title="Nothing else", blocks=(Paragraph(text="One line."),))
    page = Page(key="a", title="Small", lead=(), sections=(section,))
    assert facts(made(pages=(page,)))["Pages"] == "1"
