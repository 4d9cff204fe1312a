"""The printout in a browser: whole, harmless, in order, the same every time."""

import re
import xml.etree.ElementTree as ET
from collections import Counter
from html.parser import HTMLParser
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from outside_tools import accessibility_rules, in_browser
from sample_printout import HOSTILE, printout, texts

from rotation_opt.report.blocks import Grid, Page, Printout, Section
from rotation_opt.report.html import render, style_string, words
from rotation_opt.report.plain_text import clean
from rotation_opt.report.sheet_tables import LENGTHWISE, asks_for_lengthwise, is_figure, sheet_tables

INLINE = {"a", "bdi", "wbr"}
EMPTY = {"meta", "wbr", "col", "br", "img", "link"}
TAGS = {
    "html", "head", "meta", "title", "style", "body", "a", "header", "h1", "h2", "h3", "p", "div", "nav",
    "ol", "li", "main", "article", "section", "ul", "dl", "dt", "dd", "pre", "figure", "figcaption",
    "details", "summary", "table", "colgroup", "col", "thead", "tbody", "tr", "th", "td", "bdi", "wbr",
}  # fmt: skip


class Reader(HTMLParser):
    """What a browser makes of a file: tags with their attributes, and the text outside of styles and SVG."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.open: list[str] = []
        self.feed(re.sub(r"<svg\b.*?</svg>", "", html, flags=re.DOTALL))
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in EMPTY:
            self.open.append(tag)
        if tag not in INLINE:
            self.text += " "

    def handle_endtag(self, tag):
        assert self.open.pop() == tag
        if tag not in INLINE:
            self.text += " "

    def handle_data(self, data):
        if "style" not in self.open and "title" not in self.open:
            self.text += data

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.tags if name == tag]


def wanted(made: Printout) -> Counter:
    outside_the_text = {made.foot}
    return Counter(
        word for text in texts(made) if text not in outside_the_text for word in clean(text).split()
    )


@pytest.fixture(scope="module")
def html():
    return render(printout())


def test_every_word_of_every_cell_is_there(html):
    assert not wanted(printout()) - Counter(Reader(html).text.split())


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_name_is_shown_literally_and_does_nothing(name):
    made = printout(name)
    reader = Reader(render(made))
    assert not reader.open, "every element is closed"
    assert not wanted(made) - Counter(reader.text.split())
    assert {tag for tag, _ in reader.tags} <= TAGS
    assert not any(key.startswith("on") for _, attributes in reader.tags for key in attributes)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(text=st.text(max_size=80))
def test_any_text_at_all_can_stand_anywhere(text):
    page = Page(
        title=text,
        lead=(text,),
        sections=(Section(key=text, title=text, blocks=(Grid(header=("", text), rows=((text, "1"),)),)),),
        key=text,
    )
    made = Printout(title=text, lead=(text,), foot=text, pages=(page, page))
    html = render(made)
    html.encode("utf-8")
    reader = Reader(html)
    assert not reader.open
    assert not wanted(made) - Counter(reader.text.split())
    assert {tag for tag, _ in reader.tags} <= TAGS


def test_nothing_is_fetched_from_outside(html):
    reader = Reader(html)
    assert not any("src" in attributes for _, attributes in reader.tags)
    assert all(attributes["href"].startswith("#") for attributes in reader.all("a"))
    bare = re.sub(r'xmlns(:\w+)?="[^"]*"', "", html)
    assert not re.search(r"https?:|//\w|@import|url\((?!#)", bare)
    policy = next(attributes["content"] for attributes in reader.all("meta") if "http-equiv" in attributes)
    assert "default-src 'none'" in policy


def test_the_same_printout_gives_the_same_bytes(html):
    assert render(printout()) == html


def test_headings_follow_each_other_without_a_gap_and_links_lead_somewhere(html):
    reader = Reader(html)
    levels = [int(tag[1]) for tag, _ in reader.tags if re.fullmatch(r"h\d", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert levels.count(2) == len(printout().pages)
    assert all(after - before <= 1 for before, after in pairwise(levels))
    ids = re.findall(r'\sid="([^"]*)"', html)
    assert len(ids) == len(set(ids))
    targets = {attributes["href"].removeprefix("#") for attributes in reader.all("a")}
    assert targets == {"pages", *(page.key for page in printout().pages)}
    assert targets <= set(ids)


def test_pages_of_the_same_name_can_still_be_told_apart():
    first = printout().pages[0]
    html = render(printout(pages=(first, first)))
    ids = re.findall(r'\sid="([^"]*)"', html)
    assert len(ids) == len(set(ids))
    assert {"summary", "summary-2"} <= set(ids)


def test_tables_say_what_their_rows_and_columns_are(html):
    for table in re.findall(r"<table.*?</table>", html, flags=re.DOTALL):
        reader = Reader(table)
        assert reader.all("table")[0]["aria-label"].strip()
        head, *rows = re.findall(r"<tr>.*?</tr>", table, flags=re.DOTALL)
        columns = [attributes for tag, attributes in Reader(head).tags if tag in {"th", "td"}]
        assert all(attributes.get("scope") == "col" for attributes in Reader(head).all("th"))
        for row in rows:
            cells = [tag for tag, _ in Reader(row).tags if tag in {"th", "td"}]
            assert len(cells) == len(columns)
            assert "form" in table.split(">")[0] or cells[0] == "th"
    regions = re.findall(r'role="region" aria-label="([^"]*)"', html)
    assert len(regions) == len(set(regions)), "places that can be scrolled have names of their own"


def test_columns_of_numbers_stand_to_the_right_and_others_do_not():
    sales = printout().pages[0].sections[1].blocks[0]
    assert sheet_tables(sales)[0].figures == (False, True, True, True, False)
    assert len(sheet_tables(sales)[0].bodies) == 2, "a rule goes above the second group"


@pytest.mark.parametrize(
    "text", ["12", "-3.5", "1,204", "$32,060", "12-15", "140\n(98-182)", "40%", "< 5", "0", "-", ""]
)
def test_a_number_an_amount_or_a_range_is_a_figure(text):
    assert is_figure(text)


@pytest.mark.parametrize("text", ["May 9", "12 ac", "a", "1st half", "100 *", "Home 40"])
def test_anything_with_words_is_no_figure(text):
    assert not is_figure(text)


def test_a_table_too_wide_for_any_sheet_is_split_and_keeps_the_names_of_its_rows():
    hours = printout().pages[2].sections[1].blocks[0]
    parts = sheet_tables(hours)
    assert len(parts) == 2
    assert [part.header[0] for part in parts] == ["Hours needed"] * 2
    assert sum((part.header[1:] for part in parts), ()) == hours.header[1:]
    for part in parts:
        assert [row[0] for body in part.bodies for row in body] == [row[0] for row in hours.rows]
        longest = [max(len(word) for row in (part.header, *body) for word in row[at].split())
                   for body in part.bodies for at in range(len(part.header))]  # fmt: skip
        assert sum(longest) <= LENGTHWISE


def test_only_pages_with_wide_tables_are_printed_lengthwise():
    made = printout()
    narrow, _, wide, _ = made.pages
    assert not any(
        asks_for_lengthwise(block) for block in narrow.sections[1].blocks if isinstance(block, Grid)
    )
    assert asks_for_lengthwise(wide.sections[1].blocks[0])
    lengthwise = [
        attributes.get("class") == "lengthwise" for attributes in Reader(render(made)).all("article")
    ]
    assert lengthwise == [False, False, True, False]


def test_words_that_read_from_the_right_are_kept_to_themselves():
    assert words("שדה צפוני 40") == "<bdi>שדה צפוני</bdi> 40"
    assert words("a <b> ש") == "a &lt;b&gt; <bdi>ש</bdi>"


def test_a_word_longer_than_any_of_a_language_may_be_broken():
    broken = words("a " + "ж" * 30)
    assert broken == "a " + "<wbr>".join(["ж" * 8, "ж" * 8, "ж" * 8, "ж" * 6])
    assert "<wbr>" not in words("unpronounceable-as-it-is")


def test_the_foot_cannot_leave_the_style_sheet():
    assert style_string('a"b</style>\\\n') == "a\\22 b\\3c \\2f style\\3e \\5c  "
    foot = "</style><script>alert(1)</script>"
    assert "<script" not in render(printout(foot=foot))


def test_the_foot_and_the_paper_are_those_of_the_printout():
    html = render(printout(paper="A4", language="en-GB", foot="Home 40 page foot"))
    assert 'content: "Home 40 page foot"' in html
    assert "size: A4;" in html
    assert "size: A4 landscape" in html
    assert '<html lang="en-GB">' in html


def test_pictures_are_well_formed_and_have_their_figures_beside_them(html):
    pictures = re.findall(r"<svg\b.*?</svg>", html, flags=re.DOTALL)
    assert len(pictures) == 2
    for picture in pictures:
        assert ET.fromstring(picture).tag.endswith("svg")
    figure = re.search(r"<figure>.*?</figure>", html, flags=re.DOTALL).group()
    assert (
        figure.index("<figcaption>")
        < figure.index("<svg")
        < figure.index("<details>")
        < figure.index("<table")
    )


@pytest.mark.parametrize("name", HOSTILE)
def test_pictures_with_hostile_names_are_well_formed(name):
    for picture in re.findall(r"<svg\b.*?</svg>", render(printout(name)), flags=re.DOTALL):
        assert not {element.tag.rpartition("}")[2] for element in ET.fromstring(picture).iter()} & {
            "script",
            "img",
        }


def for_scripts(html: str) -> str:
    """The page as it is, but with leave to run what the test puts into it."""
    policy = re.search(r"<meta http-equiv=[^>]*>\n", html).group()
    return html.replace(policy, "")


@pytest.mark.parametrize("width", [1280, 360])
@pytest.mark.parametrize("name", ["Home 40", '<b>"&שדה ' + "Ж" * 200])
def test_the_accessibility_rules_find_nothing(name, width):
    html = for_scripts(render(printout(name))).replace("<details>", "<details open>")
    rules = f"<script>{accessibility_rules()}</script>"
    script = """axe.run().then(found => ({
        broken: found.violations.map(rule => [rule.id, rule.nodes.map(node => node.html)]),
        kept: found.passes.length,
    }))"""
    found = in_browser(html.replace("</head>", f"{rules}</head>"), script, width)
    assert found["broken"] == []
    assert found["kept"] > 20


@pytest.mark.parametrize("name", ["Home 40", "Ж" * 200, "aא" * 100])
def test_a_phone_never_has_to_be_moved_sideways_but_for_tables(name):
    script = """Promise.resolve({
        page: document.documentElement.scrollWidth,
        tables: [...document.querySelectorAll(".scroll")].filter(s => s.scrollWidth > s.clientWidth).length,
        cut: [...document.querySelectorAll("th, td")].filter(c => c.scrollWidth > c.clientWidth + 1).length,
    })"""
    found = in_browser(for_scripts(render(printout(name))), script, 360)
    assert found["page"] <= 360
    assert found["tables"] > 0, "there are tables that a phone cannot show whole"
    assert found["cut"] == 0
