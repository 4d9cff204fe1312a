"""Text from files made harmless, and made to fit streams that take few characters."""

from __future__ import annotations

import unicodedata

PLAIN = {
    "–": "-",
    "—": "-",
    "‑": "-",
    "−": "-",
    "×": "x",
    "²": "2",
    "³": "3",
    "½": "1/2",
    "¼": "1/4",
    "°": " deg ",
    "’": "'",
    "‘": "'",
    "“": '"',
    "”": '"',
    "…": "...",
    "≤": "<=",
    "≥": ">=",
    "±": "+/-",
    "·": "*",
    "€": "EUR",
    "£": "GBP",
    "ø": "o",
    "Ø": "O",
    "ł": "l",
    "Ł": "L",
    "æ": "ae",
    "ß": "ss",
    "\u00a0": " ",
}


def clean(text: str) -> str:
    """Text without characters that move the cursor, change its direction or hide; line ends stay.

    Nor has it those that Unicode keeps for no text at all: no XML file may hold them.
    """
    if text.isprintable():  # nearly all texts; no such character is printable
        return text
    kept = []
    for letter in text:
        if letter == "\n" or not (_hidden(letter) or _no_character(letter)):
            kept.append(letter)
        elif letter in "\t\r\u2028\u2029":
            kept.append(" ")
    return "".join(kept)


def _hidden(letter: str) -> bool:
    return unicodedata.category(letter) in {"Cc", "Cf", "Cs", "Co", "Zl", "Zp"}


def _no_character(letter: str) -> bool:
    code = ord(letter)
    return 0xFDD0 <= code <= 0xFDEF or code & 0xFFFE == 0xFFFE


def fit_to_encoding(text: str, encoding: str) -> str:
    """Text that ``encoding`` can carry, with the nearest plain characters instead of what it cannot."""
    if carries(text, encoding):
        return text
    return "".join(_nearest(letter, encoding) for letter in text)


def carries(text: str, encoding: str) -> bool:
    """Whether ``text`` can be written in ``encoding``."""
    try:
        text.encode(encoding)
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def _nearest(letter: str, encoding: str) -> str:
    bare = "".join(part for part in unicodedata.normalize("NFKD", letter) if not unicodedata.combining(part))
    for attempt in (letter, PLAIN.get(letter, letter), bare):
        if carries(attempt, encoding):
            return attempt
    return "?"
