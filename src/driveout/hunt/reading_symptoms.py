"""What the words around a found phrase make of it: there, denied, only supposed, or repaired."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from driveout.hunt.phrase_search import Hit, PhraseBook, Token
from driveout.hunt.plain_text import Plain
from driveout.hunt.reading import Read
from driveout.hunt.words import WordLists

Standing = Literal["there", "denied", "repaired", "bare"]


@dataclass(frozen=True, slots=True)
class Stated:
    """A phrase found, and how it is meant."""

    hit: Hit
    standing: Standing
    is_hedged: bool


def stated(hit: Hit, tokens: Sequence[Token], lists: WordLists) -> Stated:
    """How a found phrase is meant.

    Parameters
    ----------
    hit
        The phrase found.
    tokens
        Words of the text.
    lists
        Words that deny, hedge, repair and complain.

    Returns
    -------
    Stated
        ``there``; ``denied`` ("no rust", "doesn't leak"); ``repaired`` ("new clutch fitted");
        or ``bare``, a part named without any complaint ("1.4 turbo").
    """
    if _is_denied(hit, tokens, lists):
        return Stated(hit, "denied", False)
    own = {t.word for t in tokens[hit.first : hit.last + 1]}
    names_part_only = all(w in lists.part_words for w in own)
    if names_part_only or not own & lists.complaints:
        if _is_repaired(hit, tokens, lists):
            return Stated(hit, "repaired", False)
        if names_part_only and not _complains(hit, tokens, lists):
            return Stated(hit, "bare", False)
    return Stated(hit, "there", _is_hedged(hit, tokens, lists))


def _is_denied(hit: Hit, tokens: Sequence[Token], lists: WordLists) -> bool:
    """A denial before it within the sentence part, or "none", "free" right after it."""
    clause = tokens[hit.first].clause
    for steps, k in enumerate(range(hit.first - 1, max(hit.first - 14, -1), -1), 1):
        token = tokens[k]
        if token.clause != clause:
            break
        near = token.word in lists.denials_near
        far = token.word in lists.denials_far
        if near or far:
            following = tokens[k + 1].word if k + 1 < len(tokens) else ""
            if following in lists.denial_not_when and k + 1 < hit.first:
                # "no time to fix the leak" is no denial, "no rust, no leaks" further left may be.
                return False
            same_part = token.segment == tokens[hit.first].segment
            if same_part and (far or steps <= 4):
                return True
            # Across commas a denial carries on only in a list: "no rust, dents or leaks".
            if _is_list(tokens[k + 1 : hit.last + 7], clause):
                return True
        if token.word in lists.denial_ends:
            break
    after = tokens[hit.last + 1 : hit.last + 2]
    return (
        bool(after)
        and after[0].clause == clause
        and after[0].segment == tokens[hit.last].segment
        and after[0].word in lists.denial_after
    ) or _none_after_colon(hit, tokens, lists)


def _none_after_colon(hit: Hit, tokens: Sequence[Token], lists: WordLists) -> bool:
    """Whether the text goes on like "Rust: none"."""
    after = tokens[hit.last + 1 : hit.last + 3]
    if (
        not after
        or after[0].clause != tokens[hit.last].clause + 1
        or after[0].start - tokens[hit.last].end > 3
    ):
        return False
    alone = len(after) == 1 or after[1].clause != after[0].clause or after[1].segment != after[0].segment
    return alone and after[0].word in lists.denial_after | {"no"}


def _is_list(following: Sequence[Token], clause: int) -> bool:
    return any(t.clause == clause and t.word in _LIST_WORDS for t in following)


_LIST_WORDS = frozenset(
    {"or", "nor", "oder", "noch", "ni", "ou", "o", "ani", "lub", "или", "ни", "eller", "of"}
)


def _is_repaired(hit: Hit, tokens: Sequence[Token], lists: WordLists) -> bool:
    clause = tokens[hit.first].clause
    around = [t for t in tokens[max(hit.first - 6, 0) : hit.last + 8] if t.clause == clause]
    before = [t.word for t in around if t.end <= hit.start][-2:]
    after = [t for t in around if t.start >= hit.end]
    upto = next(
        (k for k, t in enumerate(after) if t.word in ("but", "still", "aber", "mais", "pero", "но")),
        len(after),
    )
    following = [t.word for t in after[:upto]]
    own = [t.word for t in tokens[hit.first : hit.last + 1]]
    done = any(w in lists.repaired_before for w in before) or any(w in lists.repaired for w in following[:5])
    done = done or (own[0] in lists.repaired_before)
    if not done:
        return False
    to_do = {*[t.word for t in around if t.end <= hit.start][-4:], *following[:5]} & lists.still_to_do
    return not (to_do - {"do", "a", "to"}) and not (
        {"to", "a"} & {*before[-1:]} and "need" in " ".join(before)
    )


def _complains(hit: Hit, tokens: Sequence[Token], lists: WordLists) -> bool:
    """A complaint or a supposition in the same comma part, at most five words away."""
    segment = tokens[hit.first].segment
    near = tokens[max(hit.first - 5, 0) : hit.last + 6]
    cues = lists.complaints | lists.hedges
    return any(t.segment == segment and t.word in cues and not hit.start <= t.start < hit.end for t in near)


def _is_hedged(hit: Hit, tokens: Sequence[Token], lists: WordLists) -> bool:
    clause, segment = tokens[hit.first].clause, tokens[hit.first].segment
    near = tokens[max(hit.first - 7, 0) : hit.last + 6]
    return any(
        t.clause == clause
        and abs(t.segment - segment) <= (1 if t.start >= hit.end else 0)
        and t.word in lists.hedges
        for t in near
        if not hit.start <= t.start < hit.end
    )


def symptoms(plain: Plain, book: PhraseBook, lists: WordLists) -> list[Read]:
    """Findings of the fault network that the text names, denies or says to be repaired.

    Parameters
    ----------
    plain
        The text.
    book
        Phrases of the network, by finding.
    lists
        Word lists.

    Returns
    -------
    list[Read]
        ``symptom`` (with ``said`` and ``hedged``) and ``repaired`` items, one per finding,
        in order of place.
    """
    tokens = book.tokens(plain)
    best: dict[str, Read] = {}
    for hit in book.find(plain, tokens):
        meant = stated(hit, tokens, lists)
        if meant.standing == "bare":
            continue
        what = "repaired" if meant.standing == "repaired" else "symptom"
        read = Read(
            what,
            hit.id,
            plain.words(hit.start, hit.end),
            "likely" if not hit.is_exact or meant.is_hedged else "sure",
            said="no" if meant.standing == "denied" else "yes",
            hedged=meant.is_hedged,
        )
        # A plain statement outweighs a supposition, and both outweigh a denial or a past repair.
        if hit.id not in best or _weight(read) > _weight(best[hit.id]):
            best[hit.id] = read
    return sorted(best.values(), key=lambda r: r.words.start)


def _weight(read: Read) -> int:
    if read.what == "repaired":
        return 0
    if read.said == "no":
        return 1
    return 2 if read.hedged else 3
