"""Pages in plain characters: no colour, no boxes, nothing cut off at any usual width.

Column widths are worked out here, from the longest word of each column, because a table library that
shrinks columns on its own breaks words while there is still room beside them.
"""

from __future__ import annotations

import io
from collections.abc import Sequence

from rich.cells import cell_len, set_cell_size
from rich.console import Console
from rich.text import Text

from rotation_opt.report.blocks import (
    SHADES,
    Block,
    Bullets,
    Chart,
    Drawing,
    Entries,
    Form,
    Grid,
    Page,
    Paragraph,
    Printout,
    Section,
)
from rotation_opt.report.plain_text import carries, clean, fit_to_encoding

NARROWEST = 40
GAP = 2  # blanks between columns: one of padding and one of the divider
FEWEST_COLUMNS = 2  # the row's name and one more


def render(shown: Page | Printout, width: int = 80, encoding: str = "utf-8") -> str:
    """A page, or all pages of a printout, as text.

    Parameters
    ----------
    shown : Page or Printout
        What to show.
    width : int, default 80
        Longest line, in character cells.
    encoding : str, default "utf-8"
        What the receiving stream can carry; other characters are replaced by near ones.

    Returns
    -------
    str
        Lines of at most ``width`` cells, ending with a line end.
    """
    sheet = _Sheet(max(width, NARROWEST), encoding)
    sheet.head(shown.title, shown.lead)
    if isinstance(shown, Page):
        sheet.sections(shown)
        return sheet.text()
    for page in shown.pages:
        sheet.line()
        sheet.line()
        sheet.head(page.title, page.lead)
        sheet.sections(page)
    return sheet.text()


class _Sheet:
    """Paper of one width that lines are put on."""

    def __init__(self, width: int, encoding: str) -> None:
        self.width = width
        self.encoding = encoding
        self.paper = io.StringIO()
        self.console = Console(
            file=self.paper,
            width=width,
            color_system=None,
            force_terminal=False,
            legacy_windows=False,
            markup=False,
            emoji=False,
            highlight=False,
        )

    def text(self) -> str:
        lines = (line.rstrip() for line in self.paper.getvalue().splitlines())
        return "\n".join(lines) + "\n"

    def words(self, text: str) -> Text:
        return Text(fit_to_encoding(clean(text), self.encoding), overflow="fold")

    def line(self, text: str = "") -> None:
        self.console.print(self.words(text), overflow="fold")

    def rule(self, letter: str, length: int) -> None:
        self.line(letter * min(length, self.width))

    def paragraph(self, text: str) -> None:
        self.line(text)

    def head(self, title: str, lead: Sequence[str]) -> None:
        self.rule("=", self.width)
        self.line(title)
        self.rule("=", self.width)
        for line in lead:
            self.paragraph(line)

    def sections(self, page: Page) -> None:
        """All sections; one that has the title of its page needs it no second time."""
        for section in page.sections:
            self.line()
            if section.title != page.title:
                self.line()
                self.line(section.title)
                self.rule("=", cell_len(section.title))
            self.section(section)

    def section(self, section: Section) -> None:
        for number, block in enumerate(section.blocks):
            if number:
                self.line()
            self.block(block)

    def block(self, block: Block) -> None:
        match block:
            case Paragraph():
                self.paragraph(block.text)
            case Bullets():
                for item in block.items:
                    self.hanging("- ", item)
            case Entries():
                for entry in block.items:
                    self.line(entry.label)
                    self.hanging("    ", entry.text)
            case Drawing():
                for line in block.draw(self.width, not carries(SHADES, self.encoding)):
                    self.console.print(self.words(line), no_wrap=True, overflow="fold", crop=False)
            case Grid():
                self.grid(block)
            case Chart():
                self.line(block.title)
                self.grid(block.table)
            case Form():
                self.form(block)

    def form(self, form: Form) -> None:
        """Empty rows, with room to write between them."""
        room = self.width - GAP * (len(form.header) - 1)
        least = [_longest_word(self.words(head)) for head in form.header]
        rest = room - sum(least)
        if rest < 0:  # words have to be folded
            least, rest = [1] * len(least), room - len(least)
        wanted = [
            max(share * room / sum(form.shares) - width, 0.0)
            for share, width in zip(form.shares, least, strict=True)
        ]
        widths = [
            width + int(rest * more / max(sum(wanted), 1.0))
            for width, more in zip(least, wanted, strict=True)
        ]
        heads = [
            self.words(head).wrap(self.console, width)
            for head, width in zip(form.header, widths, strict=True)
        ]
        for number in range(max(len(head) for head in heads)):
            cells = (head[number].plain if number < len(head) else "" for head in heads)
            self.line((" " * GAP).join(cell.ljust(width) for cell, width in zip(cells, widths, strict=True)))
        for _ in range(form.rows):
            self.line()
            self.line((" " * GAP).join("_" * width for width in widths))

    def hanging(self, lead: str, text: str) -> None:
        """Text behind a lead that stands only on its first line."""
        inner = self.words(text).wrap(self.console, self.width - len(lead), overflow="fold")
        for number, line in enumerate(inner):
            start = lead if number == 0 else " " * len(lead)
            self.console.print(Text(start) + line, overflow="fold", no_wrap=True, crop=False)

    def grid(self, grid: Grid) -> None:
        """One table, or several below each other when its longest words do not fit side by side."""
        cells = [[self.words(cell) for cell in row] for row in (grid.header, *grid.rows)]
        for number, columns in enumerate(_split(cells, self.width)):
            if number:
                self.line()
            self.table(grid, cells, columns)

    def table(self, grid: Grid, cells: list[list[Text]], columns: list[int]) -> None:
        widths = _widths([[row[column] for column in columns] for row in cells], self.width, grid)
        length = sum(widths) + GAP * (len(widths) - 1)
        self.rule("-", length)
        for number, row in enumerate(cells):
            self.row([row[column] for column in columns], widths, standing=number == 0)
            if number == 0 or number in grid.groups:  # a group starts below the row of its number
                self.rule("-", length)
        self.rule("-", length)

    def row(self, cells: Sequence[Text], widths: Sequence[int], *, standing: bool) -> None:
        """One row of a table; its cells hang from above or, as heads do, stand on the rule below."""
        lines = [_broken(self.console, cell, width) for cell, width in zip(cells, widths, strict=True)]
        high = max(len(each) for each in lines)
        if standing:
            lines = [[""] * (high - len(each)) + each for each in lines]
        for place in range(high):
            there = [each[place] if place < len(each) else "" for each in lines]
            self.paper.write((" " * GAP).join(map(set_cell_size, there, widths)) + "\n")


def _broken(console: Console, cell: Text, width: int) -> list[str]:
    """Lines of a cell, none wider than its column; most cells need no breaking, and that is quick."""
    text = cell.plain
    if "\n" not in text and cell_len(text) <= width:
        return [text]
    return [line.plain.rstrip() for line in cell.wrap(console, width, overflow="fold")]


def _longest_word(text: Text) -> int:
    return max((cell_len(word) for word in text.plain.split()), default=1)


def _longest_line(text: Text) -> int:
    return max((cell_len(line) for line in text.plain.split("\n")), default=1)


def _room(width: int, columns: int) -> int:
    return width - GAP * (columns - 1)


def _split(cells: list[list[Text]], width: int) -> list[list[int]]:
    """Groups of columns that fit side by side, each starting with the first column."""
    longest = width // 3  # a word longer than this is folded rather than given a table of its own
    least = [
        min(max(_longest_word(row[column]) for row in cells), longest) for column in range(len(cells[0]))
    ]
    groups: list[list[int]] = []
    current = [0]
    for column in range(1, len(least)):
        wanted = [*current, column]
        if len(current) >= FEWEST_COLUMNS and sum(least[i] for i in wanted) > _room(width, len(wanted)):
            groups.append(current)
            wanted = [0, column]
        current = wanted
    return [*groups, current]


def _ease(cells: list[list[Text]], column: int, width: int) -> tuple[int, float]:
    """How little a column needs another character: fewest cells broken, then most of its longest line."""
    lines = [_longest_line(row[column]) for row in cells]
    return -sum(-(-line // width) - 1 for line in lines), width / max(lines)


def _widths(cells: list[list[Text]], width: int, grid: Grid) -> list[int]:
    """Widths that keep every word whole where that is possible, and spread what is left fairly."""
    columns = range(len(cells[0]))
    least = [max(_longest_word(row[column]) for row in cells) for column in columns]
    most = [max(_longest_line(row[column]) for row in cells) for column in columns]
    room = _room(width, len(least))
    if grid.even and len(least) > FEWEST_COLUMNS:
        share = min(int(room * (1.0 - grid.name_share)) // (len(least) - 1), max(most[1:]))
        names = min(room - share * (len(least) - 1), most[0])
        if share >= max(least[1:]) and names >= least[0]:
            return [names] + [share] * (len(least) - 1)
    while sum(least) > room:  # a word longer than the paper: it has to be folded
        least[least.index(max(least))] -= 1
    while sum(least) < min(sum(most), room):
        short = [column for column in columns if least[column] < most[column]]
        least[min(short, key=lambda column: _ease(cells, column, least[column]))] += 1
    return least
