"""Phrases found in free text: any inflection, small misspellings, a few words in between.

Texts and phrases are cut into words and each word to its stem ("leaking" -> "leak").
A phrase is found where its main words stand in order with at most two others between
them and no sentence end. Phrases in scripts without spaces are found as written.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from rapidfuzz.distance import OSA

from driveout.hunt.plain_text import Plain, folded

_WORD = re.compile(r"[^\W_]+(?:'[^\W\d_]+)?")
_UNSPACED = re.compile(r"[\u3040-\u30ff\u3400-\u9fff\uac00-\ud7af\u0e00-\u0e7f]")
_HARD_STOP = re.compile(r"[.!?;:\n。！？；]|(?<=\s)[-/](?=\s)|[|•*]")
_MOST_WORDS = 4000
_MOST_BETWEEN = 2
_LITTLE = frozenset(
    [
        "a",
        "an",
        "the",
        "is",
        "it",
        "its",
        "it's",
        "on",
        "to",
        "for",
        "of",
        "in",
        "my",
        "your",
        "and",
        "or",
        "be",
        "was",
        "i",
        "has",
        "have",
        "this",
        "that's",
        "as",
        "at",
        "by",
        "with",
        "der",
        "die",
        "das",
        "ist",
        "le",
        "la",
        "les",
        "un",
        "une",
        "el",
        "de",
        "des",
        "du",
    ]
)
_JOINED = {
    ("will", "not"): "wont",
    ("does", "not"): "doesnt",
    ("do", "not"): "dont",
    ("is", "not"): "isnt",
    ("are", "not"): "isnt",
    ("has", "not"): "hasnt",
    ("have", "not"): "havent",
    ("did", "not"): "didnt",
    ("can", "not"): "cant",
    ("was", "not"): "wasnt",
    ("air", "con"): "ac",
    ("air", "conditioning"): "ac",
    ("air", "conditioner"): "ac",
    ("a", "c"): "ac",
    ("gear", "box"): "gearbox",
    ("over", "heats"): "overheats",
    ("over", "heating"): "overheating",
    ("over", "heat"): "overheat",
    ("anti", "freeze"): "antifreeze",
    ("mis", "fire"): "misfire",
    ("mis", "fires"): "misfires",
    ("head", "gaskets"): "head gasket",
}


@dataclass(frozen=True, slots=True)
class Token:
    """One word of a text: its stem, its letters and where it stands in the folded text."""

    stem: str
    word: str
    start: int
    end: int
    clause: int
    segment: int


@dataclass(frozen=True, slots=True)
class Hit:
    """A phrase found: which, from which token to which, and how exactly it is spelt."""

    id: str
    phrase: str
    first: int
    last: int
    start: int
    end: int
    is_exact: bool
    stems: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Spelling:
    """Words that mean the same, misspellings, and words never taken for a misspelling."""

    same: Mapping[str, str] = field(default_factory=dict)
    plain: frozenset[str] = frozenset()


# Words whose stem would be another word: "keyed" paint is not "keys", "musty" is not "must".
_UNCUT = frozenset(
    {
        "keyed",
        "musty",
        "must",
        "totaled",
        "totalled",
        "total",
        "rocker",
        "rockers",
        "tired",
        "parted",
        "timing",
        "steering",
        "wiring",
        "lining",
        "bearing",
    }
)


@lru_cache(maxsize=20_000)
def stem_of(word: str) -> str:
    """The part of a word that its inflections share; only plain Latin words are cut."""
    word = word.replace("'", "")
    if word in _UNCUT or len(word) < 4 or not word.isascii() or not word.isalpha():
        return word
    for ending in ("ing", "ies", "ed", "es", "s", "y"):
        if word.endswith(ending) and len(word) - len(ending) >= 3 and not word.endswith("ss"):
            word = word[: -len(ending)]
            break
    if len(word) > 3 and word.endswith("e"):
        word = word[:-1]
    if len(word) > 3 and word[-1] == word[-2] and word[-1] not in "aeious":
        word = word[:-1]
    return word


class PhraseBook:
    """Phrases ready to be looked for in many texts.

    Parameters
    ----------
    phrases
        Pairs of identifier and phrase; several phrases may share an identifier.
    spelling
        Same-meaning words, misspellings and protected words.
    """

    def __init__(self, phrases: Iterable[tuple[str, str]], spelling: Spelling) -> None:
        self.spelling = spelling
        self._same = {stem_of(folded(k)): stem_of(folded(v)) for k, v in spelling.same.items()}
        self._plain = frozenset(stem_of(folded(w)) for w in spelling.plain)
        self._unspaced: list[tuple[str, str, str]] = []
        self._by_first: dict[str, list[tuple[str, str, tuple[str, ...], bool]]] = {}
        for key, phrase in phrases:
            low = folded(phrase)
            if _UNSPACED.search(low):
                self._unspaced.append((key, phrase, low))
                continue
            stems = tuple(self._main(low))
            if not stems:
                continue
            self._by_first.setdefault(stems[0], []).append((key, phrase, stems, False))
            if len(stems) == 2 and stems[0] not in _FIXED_ORDER and stems[1] not in _FIXED_ORDER:
                self._by_first.setdefault(stems[1], []).append((key, phrase, (stems[1], stems[0]), True))
        self._vocabulary = sorted({s for many in self._by_first.values() for entry in many for s in entry[2]})
        self._long = [v for v in self._vocabulary if len(v) >= 5 and v.isascii() and v.isalpha()]

    def _main(self, low: str) -> list[str]:
        words = [t.word for t in tokens_of(low)]
        main = [w for w in words if w not in _LITTLE]
        if len(main) < 2:  # "on behalf of", "selling for my": the little words carry the meaning
            main = words
        return [self._stem(w) for w in main]

    def _stem(self, word: str) -> str:
        plain = word.replace("'", "")
        stem = stem_of(plain)
        return self._same.get(stem, stem)

    def stems_of(self, words: Collection[str]) -> frozenset[str]:
        """A list of words as stems of this book."""
        return frozenset(self._stem(w.word) for text in words for w in tokens_of(folded(text)))

    def tokens(self, plain: Plain) -> list[Token]:
        """Words of a text, misspellings put right towards the words of this book."""
        known = frozenset(self._vocabulary)
        out: list[Token] = []
        put_right: dict[str, str] = {}
        for token in tokens_of(plain.folded):
            stem = self._stem(token.word)
            if (
                stem not in known
                and (spoken := self._stem(token.word + "g")) in known
                and token.word.endswith("in")
            ):
                stem = spoken  # "slippin"
            if stem not in known:
                if stem not in put_right:
                    put_right[stem] = self._nearest(stem, token.word)
                stem = put_right[stem]
            out.append(Token(stem, token.word, token.start, token.end, token.clause, token.segment))
        return out

    def _nearest(self, stem: str, word: str) -> str:
        if len(word) < 5 or stem in self._plain or not word.isascii() or not word.isalpha():
            return stem
        best, least = stem, 3
        for known in self._long:
            if known[0] != stem[0] or abs(len(known) - len(stem)) > 2:
                continue
            most = 1 if min(len(known), len(stem)) < 7 else 2
            far = OSA.distance(stem, known, score_cutoff=most)
            if far <= most and far < least:
                best, least = known, far
        return best

    def find(self, plain: Plain, tokens: Sequence[Token]) -> list[Hit]:
        """Every phrase that stands in the text, longest first where several start together.

        Parameters
        ----------
        plain
            The text.
        tokens
            Its words as given by `tokens`.

        Returns
        -------
        list[Hit]
            Hits in order of place; a hit that lies wholly inside a longer one of another
            identifier is left out.
        """
        found: list[Hit] = []
        for i, token in enumerate(tokens):
            for key, phrase, stems, turned in self._by_first.get(token.stem, ()):
                last = _follow(tokens, i, stems, 1 if turned else _MOST_BETWEEN)
                if last is None:
                    continue
                exact = all(self._stem(tokens[k].word) == tokens[k].stem for k in (i, last))
                found.append(Hit(key, phrase, i, last, token.start, tokens[last].end, exact, stems))
        for key, phrase, low in self._unspaced:
            place = plain.folded.find(low)
            if place >= 0:
                at = next((k for k, t in enumerate(tokens) if t.end > place), max(len(tokens) - 1, 0))
                found.append(Hit(key, phrase, at, at, place, place + len(low), True, (low,)))
        found.sort(key=lambda h: (h.start, -len(h.stems), -(h.end - h.start)))
        return _outermost(found)


# Words that make a phrase mean something else when turned round ("no start" / "start no").
_FIXED_ORDER = frozenset(
    stem_of(w)
    for w in [
        "no",
        "not",
        "wont",
        "doesnt",
        "dont",
        "isnt",
        "cant",
        "never",
        "without",
        "need",
        "needs",
        "new",
        "ran",
        "run",
        "runs",
        "for",
        "must",
        "non",
        "ohne",
        "sin",
        "sans",
        "kein",
        "bez",
        "без",
        "не",
        "one",
        "just",
        "only",
        "all",
        "easy",
        "lost",
        "cat",
        "r",
        "1",
        "2",
        "two",
        "both",
        "vb",
        "or",
        "moving",
        "high",
        "low",
    ]
)


def tokens_of(low: str) -> list[Token]:
    """Words of a folded text with the number of the sentence part and comma part they stand in."""
    out: list[Token] = []
    clause = segment = 0
    place = 0
    for found in _WORD.finditer(low):
        between = low[place : found.start()]
        if between and _HARD_STOP.search(between) and not (between == "." and found[0].isdigit()):
            clause += 1
            segment += 1
        elif "," in between or "(" in between or ")" in between or "/" in between:
            segment += 1
        word = found[0]
        bare = word.replace("'", "")
        place = found.end()
        if out and (joined := _JOINED.get((out[-1].word, bare))) and out[-1].clause == clause:
            out[-1] = Token(joined, joined, out[-1].start, found.end(), clause, segment)
            continue
        out.append(Token(bare, bare, found.start(), found.end(), clause, segment))
        if len(out) >= _MOST_WORDS:
            break
    return out


def _follow(tokens: Sequence[Token], first: int, stems: Sequence[str], between: int) -> int | None:
    """The last token of the phrase, when its words follow in order with few others between."""
    place = first
    for stem in stems[1:]:
        others = 0
        k = place + 1
        while True:
            if k >= len(tokens) or tokens[k].segment != tokens[first].segment:
                return None
            if tokens[k].stem == stem:
                place = k
                break
            others += tokens[k].word not in _LITTLE
            if others > between or (tokens[k].word in _DENYING and tokens[k].stem not in stems):
                return None
            k += 1
    return place


_DENYING = frozenset(
    [
        "no",
        "not",
        "never",
        "without",
        "doesnt",
        "dont",
        "isnt",
        "wont",
        "cant",
        "didnt",
        "nicht",
        "kein",
        "pas",
    ]
)


def _section(key: str) -> str:
    return key.partition(".")[0] if "." in key else ""


def _outermost(found: list[Hit]) -> list[Hit]:
    """Leave out hits lying wholly inside a longer hit, and repeats of one identifier at one place."""
    kept: list[Hit] = []
    seen: set[tuple[str, int]] = set()
    for hit in found:
        if (hit.id, hit.first) in seen:
            continue
        covered = any(
            other.first <= hit.first
            and hit.last <= other.last
            and other.last - other.first > hit.last - hit.first
            and other.id != hit.id
            and _section(other.id) == _section(hit.id)
            for other in kept[-12:]
        )
        if not covered:
            seen.add((hit.id, hit.first))
            kept.append(hit)
    return kept
