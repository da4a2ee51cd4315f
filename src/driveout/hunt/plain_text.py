"""Pasted text made plain: first what the person sees, then a folded copy to search in.

The *shown* text is the advert without mark-up, control characters and direction
overrides. The *folded* text is the shown text in lower case, without accents, with
every digit of every script as 0-9; each folded letter remembers which shown letter it
came from, so that anything found can be pointed at in the words the seller wrote.
"""

from __future__ import annotations

import html
import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache

from driveout.errors import BadEntry
from driveout.hunt.advert import LONGEST_TEXT

MOST_PASTED = 200_000  # letters with mark-up; a saved web page is larger, an advert is not
_DROPPED_BLOCKS = (("<script", "</script"), ("<style", "</style"), ("<head", "</head"), ("<!--", "--"))
_BREAK = re.compile(r"<(?:br|/?p|/?div|/?li|/?tr|/?h[1-6]|/?ul|/?table)\b[^<>]{0,400}>", re.IGNORECASE)
_TAG = re.compile(r"</?[a-zA-Z][^<>]{0,400}>")
_SPACES = re.compile(r"[^\S\n]{3,}")
_LINES = re.compile(r"\n{3,}")

_SAME_AS = {
    "’": "'",
    "‘": "'",
    "´": "'",
    "`": "'",
    "ʼ": "'",
    "“": '"',
    "”": '"',
    "„": '"',
    "×": "x",
    "⁄": "/",
    "−": "-",
}
# Letters that carry a stroke instead of an accent do not come apart on their own.
_STROKES = {"ł": "l", "ø": "o", "đ": "d", "ß": "ss", "æ": "ae", "œ": "oe", "ı": "i"}


@dataclass(frozen=True, slots=True)
class Words:
    """A stretch of the shown text: where it starts and ends, and the words themselves."""

    start: int
    end: int
    text: str


@dataclass(frozen=True, slots=True)
class Plain:
    """An advert text as shown and as searched.

    Attributes
    ----------
    shown
        What the person sees.
    folded
        Lower case, no accents, plain digits; searched by every reading.
    origin
        For each letter of ``folded`` its place in ``shown``.
    """

    shown: str
    folded: str
    origin: tuple[int, ...]

    def words(self, start: int, end: int) -> Words:
        """The shown words behind ``folded[start:end]``."""
        if start >= end:
            return Words(0, 0, "")
        first, last = self.origin[start], self.origin[end - 1] + 1
        return Words(first, last, self.shown[first:last])

    def clause_before(self, start: int, longest: int = 60) -> str:
        """Folded text before ``start``, back to the last sentence or line end."""
        return _AFTER_STOP.split(self.folded[max(0, start - longest) : start])[-1]

    def clause_after(self, end: int, longest: int = 60) -> str:
        """Folded text after ``end``, up to the next sentence or line end."""
        return _AFTER_STOP.split(self.folded[end : end + longest])[0]


_AFTER_STOP = re.compile(r"\n|[!?;]|\.(?=\s)|[。！？；]")


def plain_text(text: str) -> Plain:
    """Shown and folded form of a pasted text, in time proportional to its length.

    Parameters
    ----------
    text
        What was pasted: plain text or mark-up in any script.

    Returns
    -------
    Plain
        Both forms and the way back.

    Raises
    ------
    BadEntry
        If the text is longer than an advert can be.
    """
    if len(text) > MOST_PASTED:
        raise _too_long(len(text), MOST_PASTED)
    shown = shown_text(text)
    if len(shown) > LONGEST_TEXT:
        raise _too_long(len(shown), LONGEST_TEXT)
    folded: list[str] = []
    origin: list[int] = []
    for place, letter in enumerate(shown):
        for piece in _folded_letter(letter):
            folded.append(piece)
            origin.append(place)
    return Plain(shown, "".join(folded), tuple(origin))


def shown_text(text: str) -> str:
    """The text without mark-up, control characters, direction overrides and half letters."""
    if "<" in text:
        for opening, closing in _DROPPED_BLOCKS:
            text = _without_blocks(text, opening, closing)
        text = _BREAK.sub("\n", text)
        text = _TAG.sub(" ", text)
    if "&" in text:
        text = html.unescape(text)
    text = text.replace("\r\n", "\n").replace("\r", "\n").replace("\u2028", "\n").replace("\u2029", "\n")
    text = "".join(
        letter for letter in text if letter in "\n\t" or unicodedata.category(letter) not in _UNSEEN
    )
    return _LINES.sub("\n\n", _SPACES.sub("  ", text)).strip()


def _too_long(letters: int, most: int) -> BadEntry:
    return BadEntry(
        f"The text has {letters:,} letters; at most {most:,} can be read. "
        "Paste only the advert, not the whole page.",
        field="text",
        value=letters,
        allowed=f"up to {most:,} letters",
        fix="Paste only the advert, not the whole page.",
    )


def _without_blocks(text: str, opening: str, closing: str) -> str:
    """Cut every ``opening ... closing>`` out in one pass; an unclosed one stays."""
    low = text.lower()
    if len(low) != len(text):  # a few letters change length in lower case: then places do not match
        return text
    kept: list[str] = []
    place = 0
    while (start := low.find(opening, place)) >= 0:
        end = low.find(closing, start + len(opening))
        stop = low.find(">", end) if end >= 0 else -1
        if stop < 0:
            break
        kept.append(text[place:start])
        place = stop + 1
    kept.append(text[place:])
    return " ".join(kept)


_UNSEEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn"})


def folded(text: str) -> str:
    """A phrase folded the same way as the adverts it is looked for in."""
    return "".join(_folded_letter(letter) for letter in text).strip()


@lru_cache(maxsize=8192)
def _folded_letter(letter: str) -> str:
    if letter in _SAME_AS:
        return _SAME_AS[letter]
    if letter == "\n" or "\uac00" <= letter <= "\ud7a3":  # a Korean syllable stays whole
        return letter
    pieces: list[str] = []
    for piece in unicodedata.normalize("NFKD", letter):
        kind = unicodedata.category(piece)
        if kind == "Nd":
            pieces.append(str(unicodedata.decimal(piece)))
        elif kind.startswith("M"):
            continue
        elif kind == "Pd":
            pieces.append("-")
        elif kind in ("Zs", "Zl", "Zp", "So", "Cc"):
            pieces.append(" ")
        else:
            low = piece.casefold()
            pieces.append(_SAME_AS.get(low) or _STROKES.get(low) or low)
    return "".join(pieces)
