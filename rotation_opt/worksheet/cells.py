"""The cells of a filled workbook that hold something, and what they show."""

from __future__ import annotations

import io
import warnings
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from openpyxl import load_workbook
from openpyxl.utils import get_column_letter
from openpyxl.workbook.workbook import Workbook

from rotation_opt.errors import Fault, InputError
from rotation_opt.farm.text import show
from rotation_opt.words import listed
from rotation_opt.worksheet.layout import NAMES

LARGEST_BYTES, LARGEST_INSIDE = 5_000_000, 100_000_000
_LAST_ROW, _LAST_COLUMN = 2000, 60  # no farm has more of anything; cells beyond are not looked for


@dataclass(frozen=True, slots=True)
class Cell:
    sheet: str
    row: int
    column: int
    raw: Any
    formula: bool = False
    percent: bool = False  # shown as per cent: "35%" typed into a cell is kept as 0.35

    @property
    def name(self) -> str:
        return f"{self.sheet}!{get_column_letter(self.column)}{self.row}"

    @property
    def order(self) -> tuple[int, int, int]:
        return NAMES.index(self.sheet), self.row, self.column

    @property
    def empty(self) -> bool:
        return not self.formula and (self.raw is None or (isinstance(self.raw, str) and not bare(self.raw)))


def opened(path: Path) -> tuple[Workbook, Workbook]:
    """The workbook with its formulas, and with what was worked out from them when it was saved."""
    what = "allowed is an Excel workbook (.xlsx) written by rotation-opt worksheet"

    def refuse(found: str, hint: str = "") -> InputError:
        return InputError([Fault(str(path), found, what, hint)])

    try:
        if path.is_dir():
            raise refuse("a folder")
        if path.stat().st_size > LARGEST_BYTES:
            raise refuse("more than 5 MB")
        raw = path.read_bytes()
    except OSError as fault:
        raise refuse(f"a file that cannot be opened ({fault.strerror})") from None
    hint = "In the spreadsheet program choose: Save as, Excel workbook (.xlsx)."
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as packed:
            inside = sum(entry.file_size for entry in packed.infolist())
    except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError):
        raise refuse("a file that is not an .xlsx workbook", hint) from None
    if inside > LARGEST_INSIDE:
        raise refuse("more than 100 MB once unpacked")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of parts of a workbook that are of no use here
            books = tuple(load_workbook(io.BytesIO(raw), data_only=only) for only in (False, True))
    except Exception:  # the library words a broken workbook in dozens of ways
        raise refuse("a workbook that cannot be read", hint) from None
    there = [page.title for page in books[0].worksheets]
    missing = [name for name in NAMES if name not in there]
    if missing:
        raise InputError(
            [
                Fault(
                    path.name,
                    f"no sheet {listed([repr(name) for name in missing], 'and')}",
                    f"a worksheet has the sheets {listed(list(NAMES), 'and')}",
                    "Do not rename or remove sheets.",
                )
            ]
        )
    return books[0], books[1]


def filled_rows(name: str, formulas: Workbook, values: Workbook) -> list[list[Cell]]:
    """Rows of cells that hold something."""
    rows: list[list[Cell]] = []
    said = values[name]
    page = formulas[name]
    for line in page.iter_rows(
        max_row=min(page.max_row, _LAST_ROW), max_col=min(page.max_column, _LAST_COLUMN)
    ):
        row = []
        for cell in line:
            if cell.value is None:
                continue
            raw: Any = cell.value
            formula = False
            if cell.data_type == "f":
                raw = said.cell(row=cell.row, column=cell.column).value
                formula = raw is None
            found = Cell(
                name, cell.row, int(cell.column or 1), raw, formula, "%" in (cell.number_format or "")
            )
            if not found.empty:
                row.append(found)
        if row:
            rows.append(row)
    return rows


def bare(said: str) -> str:
    """Without stray blanks, hard blanks and signs that cannot be seen."""
    return " ".join("".join(sign if sign.isprintable() else " " for sign in said).split())


def typed(raw: Any) -> str:
    if isinstance(raw, float) and raw.is_integer() and abs(raw) < 1e15:
        return str(int(raw))
    return bare(str(raw))


def shown(raw: Any) -> str:
    if raw is None:
        return "a formula"
    if isinstance(raw, bool):
        return "yes" if raw else "no"
    return show(bare(raw) if isinstance(raw, str) else raw)
