"""Warnings and plain facts that an advert's wording gives: title, seller, traps, extras, bargaining."""

from __future__ import annotations

from driveout.hunt.phrase_search import Hit, Token
from driveout.hunt.plain_text import Plain
from driveout.hunt.reading import Read
from driveout.hunt.reading_symptoms import stated
from driveout.hunt.words import WordLists

_SELLER_FACTS = {
    "seller.has_title_yes": ("seller.has_title_in_hand", True),
    "seller.is_owner_yes": ("seller.is_owner", True),
    "seller.is_owner_no": ("seller.is_owner", False),
    "seller.is_trade_yes": ("seller.is_trade", True),
}
# Worse news first: a "salvage" beside a "clean title" elsewhere in the text is the one to believe.
_TITLE_ORDER = ("none", "salvage", "rebuilt", "clean")
_RUNS_ORDER = ("dead", "sick", "runner")
# Words that turn "salvage" or "rebuilt" to another thing than the title.
_NOT_TITLE = frozenset(
    {
        "engine",
        "motor",
        "transmission",
        "gearbox",
        "carb",
        "carburetor",
        "starter",
        "alternator",
        "yard",
        "head",
        "yards",
        "parts",
    }
)


def general_facts(plain: Plain, lists: WordLists) -> list[Read]:
    """Title, running state, seller facts, traps, extras and bargaining signs of a text.

    Parameters
    ----------
    plain
        The text.
    lists
        Word lists with the general phrases.

    Returns
    -------
    list[Read]
        At most one ``title`` and one ``runs``; the others once each, in order of place.
    """
    tokens = lists.general.tokens(plain)
    out: dict[tuple[str, object], Read] = {}
    for hit in lists.general.find(plain, tokens):
        read = _fact(hit, tokens, plain, lists)
        if read is not None:
            out.setdefault((read.what, read.value), read)
    reads = sorted(out.values(), key=lambda r: r.words.start)
    reads = _one_of(reads, "title", _TITLE_ORDER)
    reads = _one_of(reads, "runs", _RUNS_ORDER)
    reads = _first_only(reads, ("gearbox", "drive"))
    return _settled(reads)


def _fact(hit: Hit, tokens: list[Token], plain: Plain, lists: WordLists) -> Read | None:
    section, _, key = hit.id.partition(".")
    meant = stated(hit, tokens, lists)
    if meant.standing == "denied" or (meant.standing == "repaired" and hit.id in _MENDABLE):
        return None
    if (section, key) in _ABOUT_TITLE and _speaks_of_a_part(hit, tokens):
        return None
    words = plain.words(hit.start, hit.end)
    sure = "sure" if hit.is_exact and not meant.is_hedged else "likely"
    if section in ("title", "runs"):
        return Read(section, key, words, sure, hedged=meant.is_hedged)  # type: ignore[arg-type]
    if section == "seller":
        what, value = _SELLER_FACTS[hit.id]
        return Read(what, value, words, sure)  # type: ignore[arg-type]
    if section == "build":
        what, _, kind = key.partition("_")
        return Read(key, True, words, sure) if key == "is_turbo" else Read(what, kind, words, sure)  # type: ignore[arg-type]
    if section == "trap":
        return Read("trap", key, words, sure, note=lists.traps[key].advice)  # type: ignore[arg-type]
    if section == "extra":
        return Read("extra", lists.extra_names[key], words, sure)  # type: ignore[arg-type]
    return Read("bargaining", key, words, sure, note=lists.bargaining_notes[key])  # type: ignore[arg-type]


# Said to be mended, these warn of nothing any more ("used to overheat", "odometer was fixed").
_MENDABLE = frozenset({"runs.dead", "runs.sick", "trap.odometer", "trap.failed_inspection"})
_ABOUT_TITLE = frozenset({("title", "rebuilt"), ("title", "salvage"), ("trap", "title_brand")})


def _speaks_of_a_part(hit: Hit, tokens: list[Token]) -> bool:
    """Whether it is said of a part: "Rebuilt engine", "from a salvage yard"."""
    own = tokens[hit.first : hit.last + 1]
    if any(t.stem == "titl" for t in own) or len(own) > 2:
        return False
    after = [t.word for t in tokens[hit.last + 1 : hit.last + 2]]
    return bool(_NOT_TITLE & set(after))


def _one_of(reads: list[Read], what: str, order: tuple[str, ...]) -> list[Read]:
    found = [r for r in reads if r.what == what]
    if len(found) < 2:
        return reads
    best = min(found, key=lambda r: order.index(str(r.value)))
    return [r for r in reads if r.what != what or r is best]


def _first_only(reads: list[Read], whats: tuple[str, ...]) -> list[Read]:
    seen: set[str] = set()
    out = []
    for r in reads:
        if r.what in whats and r.what in seen:
            continue
        seen.add(r.what)
        out.append(r)
    return out


def _settled(reads: list[Read]) -> list[Read]:
    """Owner and title facts that contradict: the worse one stands."""
    worse = {(r.what, r.value) for r in reads}
    out = []
    for r in reads:
        if r.what == "seller.is_owner" and r.value is True and ("seller.is_owner", False) in worse:
            continue
        if r.what == "seller.has_title_in_hand" and ("title", "none") in worse:
            continue
        out.append(r)
    return out
