"""The crop tables as they lie on disk: CSV files with a header and numbered lines, and their column list."""

from __future__ import annotations

import csv
import io
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources.abc import Traversable

from rotation_opt.errors import TableError

Row = dict[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One line of columns.csv; :mod:`rotation_opt.tables.checks` says what the allowed tokens mean."""

    kind: str
    unit: str
    allowed: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One CSV file: its header and its rows, each with its line number."""

    name: str
    header: tuple[str, ...]
    rows: tuple[tuple[int, Row], ...]


def read_sheets(where: Traversable) -> dict[str, Sheet]:
    """All CSV files of a folder, by table name (the file name without ``.csv``)."""
    try:
        entries = sorted(where.iterdir(), key=lambda entry: entry.name)
    except OSError as fault:
        raise TableError(f"{where}: not a folder of crop tables that can be read.") from fault
    sheets = {
        entry.name.removesuffix(".csv"): _sheet(entry) for entry in entries if entry.name.endswith(".csv")
    }
    if "columns" not in sheets:
        raise TableError(f"{where}: columns.csv is missing; it says what the other tables may hold.")
    return sheets


def column_list(sheet: Sheet) -> Mapping[str, Mapping[str, Column]]:
    """What columns.csv says of each column of each table; quantities stand as ``quantity:<name>``."""
    if missing := {"table", "column", "type", "unit", "allowed"} - set(sheet.header):
        raise TableError(f"columns.csv, line 1: no column {', '.join(sorted(missing))}.")
    columns: dict[str, dict[str, Column]] = defaultdict(dict)
    for _, row in sheet.rows:
        allowed = tuple(token.strip() for token in row["allowed"].split(";"))
        columns[row["table"]][row["column"]] = Column(kind=row["type"], unit=row["unit"], allowed=allowed)
    return columns


def _sheet(entry: Traversable) -> Sheet:
    try:
        text = entry.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        raise TableError(f"{entry.name}: byte {fault.start} is not UTF-8; save the file as UTF-8.") from fault
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    rows: list[tuple[int, Row]] = []
    try:
        header = tuple(next(reader, ()))
        if not header or len(set(header)) < len(header):
            found = ", ".join(header) or "nothing"
            raise TableError(f"{entry.name}, line 1: found {found}; a header names every column once.")
        for cells in reader:
            if len(cells) != len(header):
                place = f"{entry.name}, line {reader.line_num}"
                raise TableError(f"{place}: found {len(cells)} cells; the header has {len(header)} columns.")
            rows.append((reader.line_num, dict(zip(header, cells, strict=True))))
    except csv.Error as fault:
        raise TableError(
            f"{entry.name}, line {reader.line_num}: not a readable CSV line ({fault})."
        ) from fault
    return Sheet(name=entry.name.removesuffix(".csv"), header=header, rows=tuple(rows))
