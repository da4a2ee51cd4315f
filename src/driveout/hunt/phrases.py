"""Which phrases stand for which finding of the fault network in use."""

from __future__ import annotations

from functools import cache

from driveout.faults import Network, Pack, knowledge
from driveout.files import shipped, yaml_document


@cache
def more_phrases() -> dict[str, tuple[str, ...]]:
    """Slang and other languages for findings of the shipped pack."""
    data = yaml_document(
        shipped("driveout.hunt", "data/more_phrases.yaml"), "more_phrases.yaml", "driveout-phrases/1"
    ).data
    return {finding: tuple(str(p) for p in many) for finding, many in data["phrases"].items()}


@cache
def pack_phrases(overrides: bytes | str | None = None) -> tuple[tuple[str, str], ...]:
    """Pairs of finding and phrase for the knowledge pack.

    Parameters
    ----------
    overrides
        Content of the person's own pack file, or None.

    Returns
    -------
    tuple[tuple[str, str], ...]
        Phrases of the pack and the further ones for findings that the pack has.
    """
    return _phrases(knowledge(overrides))


def _phrases(pack: Pack) -> tuple[tuple[str, str], ...]:
    more = more_phrases()
    return tuple(
        (sign.id, phrase)
        for sign in pack.signs.values()
        if sign.words
        for phrase in dict.fromkeys((*sign.words, *more.get(sign.id, ())))
    )


def network_phrases(network: Network) -> tuple[tuple[str, str], ...]:
    """Pairs of finding and phrase for a caller's own network.

    A finding that the shipped pack knows keeps its phrases; another one is looked for by its
    own name.

    Parameters
    ----------
    network
        The network in use.

    Returns
    -------
    tuple[tuple[str, str], ...]
        Phrases of its advert findings.
    """
    known: dict[str, list[str]] = {}
    for name, phrase in pack_phrases():
        known.setdefault(name, []).append(phrase)
    out: list[tuple[str, str]] = []
    for finding in network.findings:
        if finding.id in known:
            out += [(finding.id, phrase) for phrase in known[finding.id]]
        elif finding.kind == "advert":
            out += [
                (finding.id, phrase)
                for phrase in dict.fromkeys((finding.name, finding.id.replace("_", " ")))
                if phrase
            ]
    return tuple(out)
