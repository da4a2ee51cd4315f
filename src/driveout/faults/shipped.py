"""The network for one car: the pack's numbers for its advert class, mileage and traits."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from math import sqrt
from typing import Any

from driveout.errors import BadEntry
from driveout.faults.network import (
    SILENT,
    Arc,
    Beta,
    Cause,
    Finding,
    Link,
    Network,
    Odds,
    Root,
    State,
)
from driveout.faults.pack import CLASSES, Fault, Pack, knowledge

GEARBOXES = ("manual", "auto", "cvt", "dct")
DRIVES = ("fwd", "rwd", "awd")


def shipped_network(
    advert_class: str,
    overrides: str | bytes | None = None,
    car: Mapping[str, Any] | None = None,
) -> Network:
    """The network of the knowledge pack for one kind of advert and, if known, one car.

    Parameters
    ----------
    advert_class
        ``runner`` (runs and drives), ``sick`` (starts, a serious running fault is named) or
        ``dead`` (does not run).
    overrides
        Content of the person's own ``driveout-pack/1`` file.
    car
        What is known of the car: ``mileage_km``; ``gearbox`` (manual, auto, cvt, dct); ``drive``
        (fwd, rwd, awd); ``turbo``, ``salt_region``, ``electric_steering`` (true or false).
        What is left out is averaged over.

    Returns
    -------
    Network
        The same object for the same arguments. The faults are its states' ``fault_of``.

    Raises
    ------
    BadEntry
        For an unknown advert class or trait, or a pack file that does not hold together.
    """
    return network_of(knowledge(overrides), advert_class, car)


def network_of(pack: Pack, advert_class: str, car: Mapping[str, Any] | None = None) -> Network:
    """The same from a pack in hand, for example one that finished cars have taught.

    Parameters
    ----------
    pack
        Faults, findings and background.
    advert_class
        ``runner``, ``sick`` or ``dead``.
    car
        What is known of the car, as for ``shipped_network``.

    Returns
    -------
    Network
        The same object for the same arguments.

    Raises
    ------
    BadEntry
        For an unknown advert class or trait.
    """
    if advert_class not in CLASSES:
        raise BadEntry(
            f"{advert_class!r} is not a class of advert. It can be: {', '.join(CLASSES)}.",
            field="advert_class",
            value=advert_class,
            allowed=", ".join(CLASSES),
        )
    return _network(pack, advert_class, _traits(pack, car or {}), _wear(pack, car or {}))


def with_silence(network: Network, evidence: Mapping[str, str]) -> dict[str, str]:
    """The evidence, with every thing that the advert does not mention added as ``silent``.

    Parameters
    ----------
    network
        The network.
    evidence
        What the advert says and what was found since.

    Returns
    -------
    dict[str, str]
        For an advert that has been read: silence is weak evidence against a fault.
    """
    quiet = {f.id: SILENT for f in network.findings if f.kind == "advert" and f.id not in evidence}
    return {**evidence, **quiet}


def title_evidence(title: str, network: Network) -> dict[str, str]:
    """What the words on the title say to the fault network, where it knows such faults."""
    told = {"rebuilt": "doc_brand", "salvage": "doc_brand", "none": "doc_no_title"}.get(title, "")
    if told in network.cause:
        return {told: network.cause[told].states[0].id}
    if title == "clean" and "say_brand" in network.finding:
        return {"say_brand": network.finding["say_brand"].outcomes[0]}
    return {}


def _traits(pack: Pack, car: Mapping[str, Any]) -> tuple[tuple[str, float], ...]:
    shares = dict(pack.background.traits)
    for key, allowed in (("gearbox", GEARBOXES), ("drive", DRIVES)):
        known = car.get(key)
        if known in (None, ""):
            continue
        if known not in allowed:
            raise BadEntry(
                f"{key} is {known!r}. It can be: {', '.join(allowed)}.",
                field=key,
                value=known,
                allowed=", ".join(allowed),
            )
        shares |= {trait: float(trait == known) for trait in allowed}
    for trait in ("turbo", "salt_region", "electric_steering"):
        if isinstance(car.get(trait), bool):
            shares[trait] = float(car[trait])
    return tuple(shares.items())


def _wear(pack: Pack, car: Mapping[str, Any]) -> float:
    """Hundreds of thousands of kilometres beyond the mileage at which the priors hold, in steps."""
    km = car.get("mileage_km")
    if km is None:
        return 0.0
    # steps of 5,000 km keep the number of different networks small
    return round((float(km) - pack.background.mileage_km) / 5_000) * 0.05


@lru_cache(maxsize=512)
def _network(pack: Pack, advert_class: str, traits: tuple[tuple[str, float], ...], wear: float) -> Network:
    shares = dict(traits)
    neglected = pack.background.neglected
    prior = {f.id: _prior(pack, f, advert_class, shares, wear) for f in pack.faults.values()}
    grouped = {fault: group.id for group in pack.competing.values() for fault in group.faults}
    causes = []
    for group in pack.competing.values():
        members = [pack.faults[f] for f in group.faults]
        total = sum(prior[f.id].mean for f in members)
        if total >= 1:
            raise BadEntry(
                f"The chances of {group.id!r} add up to {total:.2f} for {advert_class!r}; "
                "they exclude each other and must stay below 1.",
                field=f"competing.{group.id}",
                value=total,
            )
        weight = prior[members[0].id].a + prior[members[0].id].b
        reference = reference_chance(total, group.neglect, neglected)
        causes.append(
            Cause(
                group.id,
                group.name,
                Beta.of(reference, weight, prior[members[0].id].origin),
                tuple(State(f.id, f.name, prior[f.id].mean, f.id) for f in members),
                _care(group.neglect),
                members[0].system,
            )
        )
    for fault in pack.faults.values():
        if fault.id not in grouped:
            mean = reference_chance(prior[fault.id].mean, fault.neglect, neglected)
            belief = Beta.of(mean, prior[fault.id].a + prior[fault.id].b, prior[fault.id].origin)
            causes.append(
                Cause(fault.id, fault.name, belief, (State("present"),), _care(fault.neglect), fault.system)
            )
    return Network(
        tuple(causes),
        _findings(pack),
        (Root("care", "Care taken by past owners", ("cared for", "neglected"), (1 - neglected, neglected)),),
        tuple(
            Arc(
                grouped.get(b.parent, b.parent),
                grouped.get(b.child, b.child),
                b.chance,
                (b.parent,) if b.parent in grouped else (),
                b.child if b.child in grouped else "",
            )
            for b in pack.brings
        ),
        common=pack.background.common,
    )


@lru_cache(maxsize=16)
def _findings(pack: Pack) -> tuple[Finding, ...]:
    """The same for every class, mileage and trait, so that the networks share what is worked out for them."""
    grouped = {fault: group.id for group in pack.competing.values() for fault in group.faults}
    found = []
    for sign in pack.signs.values():
        whole = sum(b.mean for b in sign.false_alarm)
        scale = reference_chance(whole, sign.neglect, pack.background.neglected) / whole if whole else 1.0
        found.append(
            Finding(
                sign.id,
                sign.name,
                tuple(
                    Link(grouped.get(fault, fault), given, fault if fault in grouped else "*")
                    for fault, given in sign.shows.items()
                ),
                tuple(Beta.of(b.mean * scale, b.a + b.b, b.origin) for b in sign.false_alarm),
                sign.outcomes,
                "advert" if sign.words else "check",
                sign.mention,
                sign.group,
                sign.check,
                _care(sign.neglect),
            )
        )
    return tuple(found)


def _care(neglect: float) -> tuple[Odds, ...]:
    return () if neglect == 1.0 else (Odds("care", (1.0, neglect)),)


def _prior(pack: Pack, fault: Fault, advert_class: str, shares: Mapping[str, float], wear: float) -> Beta:
    belief = fault.prior[advert_class]
    most = pack.background.most_wear_factor
    factor = min(max(fault.wear**wear, 1 / most), most)
    mean = belief.mean * factor / (1 - belief.mean + belief.mean * factor)
    if fault.applies:
        mean *= min(1.0, sum(shares[trait] for trait in fault.applies))
    return Beta.of(mean, belief.a + belief.b, belief.origin)


def reference_chance(average: float, ratio: float, share: float) -> float:
    """Chance among the cared-for, given the average over all and the odds ratio of the neglected.

    Parameters
    ----------
    average
        Chance over all cars.
    ratio
        Odds among the neglected divided by odds among the cared-for.
    share
        Share of the neglected.

    Returns
    -------
    float
        ``x`` with ``(1 - share) x + share * ratio x / (1 - x + ratio x) = average``.
    """
    if ratio == 1.0 or average in (0.0, 1.0):
        return average
    m = ratio - 1
    a, b, c = (1 - share) * m, (1 - share) + share * ratio - average * m, -average
    root = sqrt(b * b - 4 * a * c)
    x = 2 * -c / (b + root) if b > 0 else (-b + root) / (2 * a)
    return min(max(x, 0.0), 1.0)
