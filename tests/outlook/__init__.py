"""Makers of small cases for the tests of the outlook."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from types import SimpleNamespace
from typing import Any

import numpy as np

from driveout.outlook import Case, Charge, CostBook, FaultChances, Mend, Piece, Rules
from driveout.uncertain import Fixed

FAULTS = (("slip",), ("knock", "tick"), ("leak",), ("drain",), ("dent",))


def some_chances(seed: int = 1, terms: int = 3) -> FaultChances:
    """Five causes, one with two states that exclude each other, as a signed sum with one term below 0."""
    rng = np.random.default_rng(seed)
    factors = []
    for names in FAULTS:
        rows = rng.random((terms, 1 + len(names)))
        rows[1] = rows[0] * rng.uniform(0.3, 1.0, 1 + len(names))  # so that no set has a chance below 0
        factors.append(rows)
    weight = np.array([1.0, -0.7, 0.4][:terms])
    ids = tuple(names[0] for names in FAULTS)
    block = SimpleNamespace(causes=ids, weight=weight, factors=tuple(factors))
    return FaultChances.of_terms(ids, FAULTS, [(1.0, [block])])


def some_book() -> CostBook:
    """Shared access twice, a swap with a hard and a soft fault, lines that come anyway."""
    return CostBook(
        mends=(
            Mend("slip", "Slip", (Piece("kit", Fixed(100.0), Fixed(2.0)),), opens=("gearbox out",)),
            Mend(
                "knock",
                "Knock",
                (Piece("shells", Fixed(70.0), Fixed(1.0)), Piece("shaft", Fixed(40.0), chance=0.3)),
                opens=("gearbox out",),
                swap="engine",
                forces_swap=True,
            ),
            Mend("tick", "Tick", (Piece("plate", Fixed(30.0), Fixed(1.0)),), opens=("head off",)),
            Mend(
                "leak",
                "Leak",
                (Piece("gasket", Fixed(50.0), Fixed(3.0)),),
                opens=("head off",),
                swap="engine",
            ),
            Mend("drain", "Drain", (Piece("relay", Fixed(20.0), Fixed(3.0)),)),
        ),
        access=(
            ("gearbox out", Piece("Gearbox out", Fixed(0.0), Fixed(5.0))),
            ("head off", Piece("Head off", Fixed(10.0), Fixed(4.0))),
        ),
        swaps=(("engine", Piece("Used engine", Fixed(500.0), Fixed(9.0))),),
        always=(Piece("Papers", Fixed(15.0)), Piece("Tow", Fixed(20.0), chance=0.5)),
    )


def by_hand(chances: FaultChances, book: CostBook, charge: Charge) -> dict[float, float]:
    """Chance of every summed amount, by listing every set of faults and every chance piece."""
    mends = {m.fault: m for m in book.mends}
    found: dict[float, float] = {}
    for states in itertools.product(*(range(1 + len(names)) for names in chances.faults)):
        here = [chances.faults[i][k - 1] for i, k in enumerate(states) if k]
        weight = _chance_of(chances, states)
        swapped = any(f in mends and mends[f].forces_swap for f in here)
        pieces = list(book.always)
        if swapped:
            pieces += [piece for _, piece in book.swaps]
        opened: set[str] = set()
        for fault in here:
            mend = mends.get(fault)
            if mend is None or (swapped and mend.swap):
                continue
            pieces += mend.pieces
            opened.update(mend.opens)
        pieces += [piece for name, piece in book.access if name in opened]
        for happens in itertools.product((True, False), repeat=len(pieces)):
            share, amount = weight, 0.0
            for piece, yes in zip(pieces, happens, strict=True):
                share *= piece.chance if yes else 1.0 - piece.chance
                if yes:
                    amount += charge.money_share * piece.money.mean + charge.per_hour * piece.hours.mean
            if share != 0.0:
                found[amount] = found.get(amount, 0.0) + share
    return found


def _chance_of(chances: FaultChances, states: Sequence[int]) -> float:
    total = 0.0
    for world, blocks in chances.worlds:
        product = world
        for block in blocks:
            terms = block.weight.copy()
            for i, share in zip(block.causes, block.shares, strict=True):
                terms = terms * share[:, states[i]]
            product *= float(terms.sum())
        total += product
    return total


def a_case(price: float | None = 900.0, **rules: float) -> Case:
    """A plain car: one likely dear fault, one cheap one, hours outside the work."""
    from driveout.uncertain import ThreePoint, fitted

    book = CostBook(
        mends=(
            Mend(
                "slip",
                "Clutch: kit",
                (Piece("kit", fitted(ThreePoint(120, 160, 300)), fitted(ThreePoint(12, 18, 30))),),
            ),
            Mend(
                "leak",
                "Leak: hose",
                (Piece("hose", fitted(ThreePoint(20, 40, 90)), fitted(ThreePoint(1, 2, 4))),),
            ),
        ),
        always=(
            Piece("Papers", fitted(ThreePoint(30, 105, 295)), key="papers"),
            Piece("Search and selling", hours=fitted(ThreePoint(43, 52, 60)), key="outside-work"),
        ),
    )
    settings: dict[str, Any] = {"holding_per_day": 2.0, "wage_per_hour": 15.0, **rules}
    return Case(
        FaultChances.independent({"slip": 0.8, "leak": 0.4}), book, (3400.0, 4500.0), Rules(**settings), price
    )
