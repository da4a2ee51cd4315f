"""The word lists that the reader of adverts works with, read once from ``data/words.yaml``."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from driveout.files import shipped, yaml_document
from driveout.hunt.phrase_search import PhraseBook, Spelling
from driveout.hunt.plain_text import folded


@dataclass(frozen=True, slots=True)
class Trap:
    """A warning: what it is called and what to do about it."""

    id: str
    title: str
    advice: str


@dataclass(frozen=True)
class WordLists:
    """Everything of ``words.yaml`` in the form the reader needs."""

    spelling: Spelling
    denials_far: frozenset[str]
    denials_near: frozenset[str]
    denial_not_when: frozenset[str]
    denial_ends: frozenset[str]
    denial_after: frozenset[str]
    hedges: frozenset[str]
    repaired: frozenset[str]
    repaired_before: frozenset[str]
    still_to_do: frozenset[str]
    complaints: frozenset[str]
    part_words: frozenset[str]
    traps: Mapping[str, Trap]
    extra_names: Mapping[str, str]
    bargaining_notes: Mapping[str, str]
    general: PhraseBook


@cache
def word_lists() -> WordLists:
    """The shipped word lists."""
    data: dict[str, Any] = yaml_document(
        shipped("driveout.hunt", "data/words.yaml"), "words.yaml", "driveout-words/1"
    ).data
    same = {word: group[0] for group in data["same"] for word in group[1:]}
    same |= dict(data["misspelt"])
    spelling = Spelling(same, _words(data["plain"]))
    denials = data["denials"]
    phrases: list[tuple[str, str]] = []
    for section in ("runs", "title", "seller", "build"):
        phrases += [(f"{section}.{key}", p) for key, many in data[section].items() for p in many]
    for section, short in (("traps", "trap"), ("bargaining", "bargaining"), ("extras", "extra")):
        phrases += [(f"{short}.{key}", p) for key, entry in data[section].items() for p in entry["say"]]
    return WordLists(
        spelling=spelling,
        denials_far=_words(denials["far"]),
        denials_near=_words(denials["near"]),
        denial_not_when=_words(denials["not_when_followed_by"]),
        denial_ends=_words(denials["reach_ends_at"]),
        denial_after=_words(denials["after"]),
        hedges=_words(data["hedges"]),
        repaired=_words(data["repaired"]),
        repaired_before=_words(data["repaired_before"]),
        still_to_do=_words(data["still_to_do"]),
        complaints=_words(data["complaints"]),
        part_words=_words(data["part_words"]),
        traps={key: Trap(key, entry["title"], entry["advice"]) for key, entry in data["traps"].items()},
        extra_names={key: entry["name"] for key, entry in data["extras"].items()},
        bargaining_notes={key: entry["note"] for key, entry in data["bargaining"].items()},
        general=PhraseBook(phrases, spelling),
    )


@cache
def symptom_book(phrases: tuple[tuple[str, str], ...]) -> PhraseBook:
    """Phrases of a fault network ready to be looked for; remembered per network."""
    return PhraseBook(phrases, word_lists().spelling)


def _words(many: Iterable[object]) -> frozenset[str]:
    return frozenset(folded(str(word)).replace("'", "") for word in many)
