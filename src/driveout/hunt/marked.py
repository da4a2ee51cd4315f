"""The shown text cut into stretches, so that a page can mark the words that led to something."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Stretch:
    """Plain text, or marked words with the numbers of the items they led to (from 1)."""

    text: str
    numbers: tuple[int, ...] = ()


def stretches(shown: str, items: Sequence[Mapping[str, Any]]) -> list[list[Stretch]]:
    """Lines of the text, each as stretches; items taken out mark nothing.

    Parameters
    ----------
    shown
        The text the items point into.
    items
        Items as plain data with ``start``, ``end`` and perhaps ``taken_out``.

    Returns
    -------
    list[list[Stretch]]
        One list a line. Put together they are the text again.
    """
    wanted = [
        (item["start"], item["end"], number)
        for number, item in enumerate(items, 1)
        if not item.get("taken_out") and item["what"] != "name" and item["end"] > item["start"]
    ]
    edges = sorted({0, len(shown), *(start for start, _, _ in wanted), *(end for _, end, _ in wanted)})
    cuts: list[Stretch] = []
    for start, end in itertools.pairwise(edges):
        numbers = tuple(n for first, last, n in wanted if first <= start and end <= last)
        if cuts and cuts[-1].numbers == numbers:
            cuts[-1] = Stretch(cuts[-1].text + shown[start:end], numbers)
        else:
            cuts.append(Stretch(shown[start:end], numbers))
    return _lines(cuts)


def _lines(cuts: Sequence[Stretch]) -> list[list[Stretch]]:
    lines: list[list[Stretch]] = [[]]
    for cut in cuts:
        for k, piece in enumerate(cut.text.split("\n")):
            if k:
                lines.append([])
            if piece:
                lines[-1].append(Stretch(piece, cut.numbers))
    return lines
