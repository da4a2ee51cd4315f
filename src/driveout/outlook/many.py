"""Walk-away prices of many cars that share one fault network and one cost book.

The same exact sum as `spread`, arranged for speed: all cars on one grid, laws put on it with
mean and variance kept, and compiled inner loops where Numba is there. Without it each car goes
the general way; the answers agree to the grid's error.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from driveout.errors import CannotSay
from driveout.faults import Compiled, compile_network, infer
from driveout.faults.posterior import read_evidence
from driveout.outlook.book import Charge, CostBook, Piece, amount_on_grid, moments
from driveout.outlook.car_case import chances_or_draws
from driveout.outlook.chances import FaultChances
from driveout.outlook.forecast import Case, Forecast
from driveout.outlook.margin import Resale
from driveout.outlook.spread import shared_work
from driveout.rules import Rules

Floats = NDArray[np.float64]
Array = NDArray[Any]

#: grid points: with mean and variance kept, the resale's own spread hides the rest
POINTS = 180


@dataclass(frozen=True)
class OneOfMany:
    """One car among many.

    Parameters
    ----------
    evidence
        What was said and found, as for ``driveout.faults.infer``.
    value
        P10 and P90 of the sale price of the mended car. [minor units]
    """

    evidence: Mapping[str, str]
    value: tuple[float, float]


def loss_ceilings(
    network: Any,
    book: CostBook,
    rules: Rules,
    cars: Sequence[OneOfMany],
    *,
    largest_cost: float,
    points: int = POINTS,
) -> Floats:
    """Highest price of each car at which a cash loss is no likelier than the person accepts.

    Parameters
    ----------
    network
        Fault network, or what ``compile_network`` made of it.
    book
        What faults and lines take, the same for all cars.
    rules
        The person's own rules; the price factor leaves out the capital tied up.
    cars
        Evidence and value of each.
    largest_cost
        Cost that no car can go beyond by more than a negligible chance. [minor units]
    points
        Grid points, even.

    Returns
    -------
    Floats
        One price a car, in the order given. [minor units]

    Raises
    ------
    CannotSay
        If the evidence on a car contradicts itself.

    References
    ----------
    heckerman-1989; own-reasoning, docs/method/outlook.md, section on many cars.
    """
    compiled = network if isinstance(network, Compiled) else compile_network(network)
    try:
        from driveout.outlook import many_fast
    except ImportError:
        return np.array([_one_by_one(compiled, book, rules, car) for car in cars])
    step = largest_cost / points
    charge = Forecast(Case(FaultChances.independent({}), CostBook(), (1.0, 1.0), rules)).cash_charge
    laid = _laid_out(compiled, book, charge, step, points)
    spectra = np.empty((len(cars), points // 2 + 1), dtype=complex)
    re, im = np.empty(points // 2 + 1), np.empty(points // 2 + 1)
    # Real and imaginary parts each lie in one piece: the inner loop then runs over neighbours in memory.
    factor_parts = np.ascontiguousarray(laid.factor.real), np.ascontiguousarray(laid.factor.imag)
    table_parts = np.ascontiguousarray(laid.table.real), np.ascontiguousarray(laid.table.imag)
    for place, car in enumerate(cars):
        reading = read_evidence(compiled, car.evidence)
        allowed = laid.everything if reading.allowed is None else reading.allowed.astype(float)
        worlds = reading.worlds
        whole = many_fast.spectrum(
            reading.codes, allowed, compiled.world_weight[worlds], compiled.prior[worlds], compiled.start,
            compiled.upper, compiled.ratio, compiled.leak_upper[worlds], compiled.leak_ratio[worlds],
            compiled.two_sided, compiled.touches, laid.row, laid.tie_of, laid.tie_start,
            laid.tie_row, *factor_parts, *table_parts, re, im,
        )  # fmt: skip
        if not whole > 0:
            raise CannotSay(
                f"The findings on car {place + 1} contradict each other. Take one back.", missing="evidence"
            )
        spectra[place] = (re + 1j * im) / whole * laid.always
    pmf = np.fft.irfft(spectra, points, axis=1)
    mean = pmf @ (step * np.arange(points))
    spread = np.sqrt(np.maximum(pmf @ (step * np.arange(points)) ** 2 - mean**2, 0.0))
    factor = 1.0 + rules.purchase_tax_share
    found = np.empty(len(cars))
    for place, car in enumerate(cars):
        resale = Resale.between(*car.value, rules.sale_fee_share)
        guess = resale.mean - mean[place] - 1.3 * math.hypot(spread[place], math.sqrt(resale.variance))
        found[place] = (
            many_fast.undershot(
                pmf[place], step, 0.0, resale.median, max(resale.sigma, 1e-6), rules.loss_chance, guess
            )
            / factor
        )
    return found


@dataclass(frozen=True, eq=False)
class _Laid:
    """Everything that the inner loop reads, laid out once for all cars."""

    table: Array  # (1 + faults, F): characteristic functions; row 0 is 1
    row: NDArray[np.int64]  # (Q,): row of the table of each sub-state
    tie_of: NDArray[np.int64]  # (causes,): group of shared work, -1 for none
    tie_start: NDArray[np.int64]
    tie_row: NDArray[np.int64]  # (branches * Q,): row in that branch, -1 for a dropped state
    factor: Array  # (branches, F)
    always: Array  # (F,)
    everything: Floats


def _laid_out(compiled: Compiled, book: CostBook, charge: Charge, step: float, points: int) -> _Laid:
    network = compiled.network
    faults = [[cause.fault_of(state) for state in cause.states] for cause in network.causes]
    chances = FaultChances(tuple(c.id for c in network.causes), tuple(tuple(f) for f in faults), ())
    table = [np.ones(points // 2 + 1, dtype=complex)]
    place: dict[str, int] = {}
    mends = {mend.fault: mend for mend in book.mends}
    for names in faults:
        for fault in names:
            if fault in mends:
                place[fault] = len(table)
                table.append(_kept_spectrum(mends[fault].pieces, charge, step, points))
    fault_of_column = [""] * compiled.width
    for i, names in enumerate(faults):
        for k, fault in enumerate(names, start=1):
            fault_of_column[int(compiled.public_start[i]) + k] = fault
    public = [fault_of_column[int(c)] if c >= 0 else "" for c in compiled.public]
    row = np.array([place.get(fault, 0) for fault in public], dtype=np.int64)

    def value(pieces: tuple[Piece, ...], key: str) -> Array:
        return _kept_spectrum(pieces, charge, step, points)

    ties = shared_work(chances, book, value, np.ones(points // 2 + 1, dtype=complex))
    tie_of = np.full(compiled.start.size - 1, -1, dtype=np.int64)
    tie_start, factors, rows = [0], [], []
    for number, (causes, branches) in enumerate(ties):
        for cause in causes:
            tie_of[cause] = number
        for factor, dropped, silenced in branches:
            factors.append(factor)
            rows.append(
                [-1 if f in dropped else 0 if f in silenced else int(row[q]) for q, f in enumerate(public)]
            )
        tie_start.append(len(factors))
    always = np.ones(points // 2 + 1, dtype=complex)
    for piece in book.always:
        always = always * _kept_spectrum((piece,), charge, step, points)
    return _Laid(
        np.array(table),
        row,
        tie_of,
        np.array(tie_start, dtype=np.int64),
        np.array(rows, dtype=np.int64).ravel(),
        np.array(factors) if factors else np.ones((0, points // 2 + 1), dtype=complex),
        always,
        np.ones(compiled.upper.shape[1]),
    )


def _kept_spectrum(pieces: tuple[Piece, ...], charge: Charge, step: float, points: int) -> Array:
    """Characteristic function on the grid with mean and variance of the amount kept.

    Sharing each value between its two neighbours keeps the mean and adds a little variance; the
    factor takes just that much away again, so that what is left is of fourth order in the step.
    """
    grid = amount_on_grid(pieces, charge, step)
    mean, square = moments(pieces, charge)
    added = (grid.variance - (square - mean * mean)) / step**2
    turn = 1.0 - np.cos(2.0 * np.pi * np.arange(points // 2 + 1) / points)
    return np.asarray(grid.spectrum(points) * (1.0 + added * turn))


def _one_by_one(compiled: Compiled, book: CostBook, rules: Rules, car: OneOfMany) -> float:
    case = Case(
        chances_or_draws(infer(compiled, car.evidence)),
        book,
        car.value,
        replace(rules, capital_share_per_year=0.0),
    )
    made = Forecast(case)
    return made.cash.quantile(rules.loss_chance) / made.price_factor
