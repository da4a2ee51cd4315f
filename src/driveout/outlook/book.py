"""What each fault would cost in money, own hours and days, and what repairs share.

A cost book knows no advert, no evidence and no particular knowledge file. It holds one
`Mend` a fault, the lines that come anyway, and three kinds of togetherness: access opened
once for several faults, a unit swapped once for all its faults, and a common choice of words
for the lines that a screen opens.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from driveout.errors import BadEntry
from driveout.uncertain import Fixed, Lattice, Law, Scaled, on_lattice

NOTHING = Fixed(0.0)
Spectrum = NDArray[np.complex128]
#: a charge under this moves no amount that anybody could see
LEAST_FACTOR = 1e-9


@dataclass(frozen=True)
class Charge:
    """How money, own hours and days turn into one amount.

    ``amount = money_share * money + per_hour * hours + per_day * days``.
    """

    money_share: float = 1.0
    per_hour: float = 0.0
    per_day: float = 0.0


@dataclass(frozen=True)
class Piece:
    """One bit of work or spending that happens with a chance.

    Parameters
    ----------
    label
        What a person reads.
    money
        What goes out. [minor units]
    hours
        The person's own hours. [hours]
    days
        Days of waiting it adds. [days]
    chance
        Chance that it is needed at all, given that its fault is there.
    also
        Further sums paid with it, independent of each other. [minor units]
    key
        Short name that receipts and hours point to; empty when nothing is booked on it.
    """

    label: str
    money: Law = NOTHING
    hours: Law = NOTHING
    days: Law = NOTHING
    chance: float = 1.0
    also: tuple[Law, ...] = ()
    key: str = ""

    def __hash__(self) -> int:
        return self._hash

    @cached_property
    def _hash(self) -> int:
        return hash((self.label, self.money, self.hours, self.days, self.chance, self.also, self.key))

    @cached_property
    def _sums(self) -> tuple[float, float, float, float, float, float]:
        """Mean and variance of money, hours and days when it happens."""
        money = (self.money, *self.also)
        return (
            sum(law.mean for law in money),
            sum(law.variance for law in money),
            self.hours.mean,
            self.hours.variance,
            self.days.mean,
            self.days.variance,
        )

    def moments(self, charge: Charge) -> tuple[float, float]:
        """Mean and mean square of its amount, the chance that it happens at all counted in."""
        money, money_var, hours, hours_var, days, days_var = self._sums
        share, per_hour, per_day = charge.money_share, charge.per_hour, charge.per_day
        mean = share * money + per_hour * hours + per_day * days
        variance = share**2 * money_var + per_hour**2 * hours_var + per_day**2 * days_var
        return self.chance * mean, self.chance * (variance + mean * mean)

    def __post_init__(self) -> None:
        if not 0.0 <= self.chance <= 1.0:
            raise BadEntry(
                f"{self.label}: the chance is {self.chance!r}; a number from 0 to 1 was expected.",
                field="chance",
                value=self.chance,
                allowed="0 to 1",
            )
        if min(law.least for law in (self.money, self.hours, self.days, *self.also)) < 0.0:
            raise BadEntry(
                f"{self.label}: money, hours and days out are counted from 0 up; one of them can "
                "fall under 0. Book money that comes in as resale or salvage.",
                field=self.label,
                allowed="0 or more",
            )


@dataclass(frozen=True)
class Mend:
    """What curing one fault takes (or what leaving it and saying so costs).

    Parameters
    ----------
    fault
        Fault id.
    label
        What a person reads.
    pieces
        The work and spending, independent of each other.
    opens
        Shared work it needs: access, or a repair that cures other faults too; paid once by all.
    swap
        Unit whose swap would cure the fault as well; empty for none.
    forces_swap
        Whether this fault makes the swap of the unit necessary (a hard fault).
    repair
        Repair id; empty when the fault is left and said.
    """

    fault: str
    label: str
    pieces: tuple[Piece, ...]
    opens: tuple[str, ...] = ()
    swap: str = ""
    forces_swap: bool = False
    repair: str = ""


@dataclass(frozen=True)
class CostBook:
    """All that money and hours may go to, before it is known which faults are there.

    Parameters
    ----------
    mends
        One entry a fault.
    access
        Work that several mends need, done once, by group id.
    swaps
        Whole unit by group id; its piece already holds the access it needs.
    always
        Lines that come whatever is wrong: fees, trips, hours of search and sale.
    """

    mends: tuple[Mend, ...] = ()
    access: tuple[tuple[str, Piece], ...] = ()
    swaps: tuple[tuple[str, Piece], ...] = ()
    always: tuple[Piece, ...] = field(default=())

    def __post_init__(self) -> None:
        _each_once("mend", [m.fault for m in self.mends])
        _each_once("access group", [k for k, _ in self.access])
        _each_once("swap", [k for k, _ in self.swaps])
        groups, units = dict(self.access), dict(self.swaps)
        for mend in self.mends:
            for name in mend.opens:
                if name not in groups:
                    raise _unknown(mend.fault, "access group", name, groups)
            if mend.swap and mend.swap not in units:
                raise _unknown(mend.fault, "swap", mend.swap, units)
            if mend.forces_swap and not mend.swap:
                raise BadEntry(
                    f"{mend.fault} forces a swap but names no unit. Name the unit to swap.",
                    field="forces_swap",
                    value=mend.fault,
                )

    @cached_property
    def opened_by(self) -> dict[str, frozenset[str]]:
        """For each access group the faults whose mend needs it."""
        found: dict[str, set[str]] = {}
        for mend in self.mends:
            for name in mend.opens:
                found.setdefault(name, set()).add(mend.fault)
        return {name: frozenset(faults) for name, faults in found.items()}

    def plus(self, extra: Iterable[Piece]) -> CostBook:
        """The same book with more lines that come anyway."""
        return CostBook(self.mends, self.access, self.swaps, (*self.always, *extra))


@lru_cache(maxsize=16384)
def amount_on_grid(pieces: tuple[Piece, ...], charge: Charge, step: float) -> Lattice:
    """Distribution of the summed amount of some independent pieces, from grid point 0 up."""
    total = Lattice(0.0, step, np.ones(1))
    for piece in pieces:
        total = total.plus(_piece_on_grid(piece, charge, step))
    pmf = total.pmf
    first = round(total.origin / step)
    if first > 0:
        pmf = np.concatenate([np.zeros(first), pmf])
    return Lattice(0.0, step, pmf)


def spectrum_on_grid(pieces: tuple[Piece, ...], charge: Charge, step: float, points: int) -> Spectrum:
    """What `Lattice.spectrum` gives for `amount_on_grid`, from the spectra of the single laws."""
    total = np.ones(points // 2 + 1, dtype=complex)
    for piece in pieces:
        inner = None
        for law, factor in _charged(piece, charge):
            one = _law_spectrum(law, factor, step, points)
            inner = one if inner is None else inner * one
        if inner is None:
            continue
        total *= inner if piece.chance == 1.0 else (1.0 - piece.chance) + piece.chance * inner
    return total


@lru_cache(maxsize=2048)
def _law_spectrum(law: Law, factor: float, step: float, points: int) -> Spectrum:
    grid = _law_on_grid(law, factor, step)
    first = round(grid.origin / step)
    pmf = np.concatenate([np.zeros(first), grid.pmf]) if first > 0 else grid.pmf
    return Lattice(0.0, step, pmf).spectrum(points)


def moments(pieces: Iterable[Piece], charge: Charge) -> tuple[float, float]:
    """Mean and mean square of the summed amount of some independent pieces."""
    mean, variance = 0.0, 0.0
    for piece in pieces:
        one, square = piece.moments(charge)
        mean += one
        variance += square - one * one
    return mean, variance + mean * mean


def exponential_mean(pieces: Iterable[Piece], charge: Charge, rate: float) -> float:
    """Mean of ``exp(rate * amount)``; infinite when a tail is too heavy."""
    result = 1.0
    for piece in pieces:
        inner = 1.0
        for law, factor in _charged(piece, charge):
            inner *= law.exponential_mean(rate * factor)
        result *= 1.0 - piece.chance + piece.chance * inner
    return result


def _charged(piece: Piece, charge: Charge) -> list[tuple[Law, float]]:
    """The laws that count under a charge, with their factors."""
    each = (
        *((law, charge.money_share) for law in (piece.money, *piece.also)),
        (piece.hours, charge.per_hour),
        (piece.days, charge.per_day),
    )
    return [(law, factor) for law, factor in each if factor > LEAST_FACTOR and law != NOTHING]


@lru_cache(maxsize=16384)
def _law_on_grid(law: Law, factor: float, step: float) -> Lattice:
    return on_lattice(law if factor == 1.0 else Scaled(law, factor), step)


def _piece_on_grid(piece: Piece, charge: Charge, step: float) -> Lattice:
    grid = Lattice(0.0, step, np.ones(1))
    for law, factor in _charged(piece, charge):
        grid = grid.plus(_law_on_grid(law, factor, step))
    if piece.chance == 1.0:
        return grid
    first = round(grid.origin / step)
    pmf = np.zeros(first + grid.pmf.size)
    pmf[first:] = piece.chance * grid.pmf
    pmf[0] += 1.0 - piece.chance
    return Lattice(0.0, step, pmf)


def _each_once(what: str, names: list[str]) -> None:
    double = sorted({name for name in names if names.count(name) > 1})
    if double:
        raise BadEntry(
            f"There are two entries for the {what} {double[0]!r}; one was expected. Join them.",
            field=what,
            value=double[0],
        )


def _unknown(fault: str, what: str, name: str, known: dict[str, Piece]) -> BadEntry:
    return BadEntry(
        f"{fault} needs the {what} {name!r}, which the cost book does not hold. "
        f"Known: {', '.join(known) or 'none'}.",
        field=what,
        value=name,
        allowed=", ".join(known),
    )
