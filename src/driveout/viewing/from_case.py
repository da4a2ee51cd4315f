"""A viewing of one car from the same numbers as its outlook: chances, cost book, rules."""

from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np

from driveout.faults import Check as KnownCheck
from driveout.faults import Compiled, Posterior
from driveout.outlook import Case, Ceiling, Charge, CostBook, Forecast, ceiling_from
from driveout.outlook.book import Piece, moments
from driveout.outlook.spread import FINE
from driveout.viewing.fault_draws import drawn_columns
from driveout.viewing.fault_kernel import Floats, Ints
from driveout.viewing.fault_viewing import DrawnWorth, FaultCheck, FaultViewing, SharedCost

DRAWS = 8192
SEED = 7
LOSS_PRICES = 31


def viewing_of(
    case: Case,
    posterior: Posterior,
    checks: Iterable[FaultCheck],
    *,
    minutes_available: float = float("inf"),
    points: int = FINE,
    known: tuple[Forecast, Ceiling] | None = None,
) -> FaultViewing:
    """The viewing that belongs to an outlook.

    Expected costs of faults and of work that they share are exact; that a car may be let go
    instead of mended, and the rule about losses, come from drawn fault sets, shifted so that
    both agree with the outlook for what is known now.

    Parameters
    ----------
    case
        What the outlook is made from.
    posterior
        Chances of the faults, from the same evidence.
    checks
        Checks on offer.
    minutes_available
        Time there is for checks. [min]
    points
        Grid points of the outlook whose walk-away price is to be met.
    known
        Forecast of the case and its ceiling, if they are made already.

    Returns
    -------
    FaultViewing
        With all money in minor units.
    """
    if "wage" not in case.rules.chosen:  # then own hours are worth nothing by the person's rules
        case, known = replace(case, rules=replace(case.rules, wage_per_hour=0.0)), None
    made = known[0] if known else Forecast(case, points)
    ceiling = known[1] if known else ceiling_from(made)
    prices = {rule.rule: rule.price for rule in ceiling.rules}
    by_mean = made.charged.mean / made.price_factor
    limit = prices["loss"] if "loss" in case.rules.chosen else None
    strict = [prices[name] for name in ("tail", "certain") if name in case.rules.chosen]
    charge = made.wage_charge
    costs, shared = book_costs(case.book, charge)
    faults = set(posterior.faults)
    always = moments(case.book.always, charge)[0] - case.received
    return FaultViewing(
        compiled=posterior.compiled,
        evidence=posterior.evidence,
        checks=tuple(checks),
        resale=made.resale.mean - always,
        costs={fault: cost for fault, cost in costs.items() if fault in faults},
        shared=tuple(SharedCost(s.faults & faults, s.cost) for s in shared if s.faults & faults),
        wage_per_hour=case.rules.wage_per_hour,
        minutes_available=minutes_available,
        price_factor=made.price_factor,
        drawn=_drawn(made, posterior, by_mean, limit),
        room=max([0.0, *(by_mean - price for price in strict if price is not None)]),
        ceiling_known=by_mean,
        limit_known=limit,
    )


def book_costs(book: CostBook, charge: Charge) -> tuple[dict[str, float], tuple[SharedCost, ...]]:
    """Expected cost of each fault and of each work that several faults share.

    Parameters
    ----------
    book
        The cost book. A unit that is swapped counts as shared work of the faults that force it.
    charge
        How money, hours and days turn into one amount.

    Returns
    -------
    tuple[dict[str, float], tuple[SharedCost, ...]]
        Costs by fault id, and shared costs. [minor units]
    """
    costs = {mend.fault: 0.0 if mend.forces_swap else moments(mend.pieces, charge)[0] for mend in book.mends}
    opened = [
        (frozenset(m.fault for m in book.mends if name in m.opens), piece) for name, piece in book.access
    ]
    swapped = [
        (frozenset(m.fault for m in book.mends if m.forces_swap and m.swap == name), piece)
        for name, piece in book.swaps
    ]
    shared = tuple(
        SharedCost(faults, moments((piece,), charge)[0]) for faults, piece in (*opened, *swapped) if faults
    )
    return costs, shared


def _drawn(
    made: Forecast, posterior: Posterior, ceiling_known: float | None, limit_known: float | None
) -> DrawnWorth | None:
    """Worth of letting the car go, and the chance of a loss, in each of some drawn fault sets."""
    case = made.case
    follows_losses = "loss" in case.rules.chosen
    if made.salvage is None and not follows_losses:
        return None
    rng = np.random.default_rng(SEED)
    states = posterior.sample(rng, DRAWS)
    columns = drawn_columns(posterior.compiled, posterior.evidence, states, rng)
    book, compiled = case.book, posterior.compiled
    spent = [piece for piece in book.always if piece.label in case.spent_first]
    wage, cash = made.wage_charge, made.cash_charge
    mean, variance = _draw_costs(book, wage, compiled, states)
    margin = made.resale.mean + case.received - mean
    summed, worth, slope = margin, margin, np.ones(len(states))
    if made.salvage is not None:
        let_go = made.salvage.money - case.rules.wage_per_hour * made.salvage.hours - moments(spent, wage)[0]
        worth, slope = _at_least(margin, np.sqrt(made.resale.variance + variance), let_go)
    mean, variance = _draw_costs(book, cash, compiled, states)
    margin = made.resale.mean + case.received - mean
    spread = np.sqrt(np.maximum(made.resale.variance + variance, 1e-9))
    prices = _price_grid(margin, made.price_factor, ceiling_known, limit_known)
    if made.salvage is not None:
        # Up to what letting it go brings there is no loss; just above it there may be a jump.
        sure = (made.salvage.money - moments(spent, cash)[0]) / made.price_factor
        prices = np.unique([*prices, sure, sure + 1e-6])
    loss = _normal_share((made.price_factor * prices - margin[:, None]) / spread[:, None])
    if made.salvage is not None:
        loss = loss * (prices > sure)
    return DrawnWorth(
        states, columns, summed, worth, slope, prices, loss, case.rules.loss_chance if follows_losses else 1.0
    )


def _draw_costs(book: CostBook, charge: Charge, compiled: Compiled, states: Ints) -> tuple[Floats, Floats]:
    """Mean and variance of all costs in each draw."""
    there = _present(compiled, states)
    mean, square = moments(book.always, charge)
    means = np.full(len(states), mean)
    variances = np.full(len(states), square - mean * mean)

    def add(where: Floats, pieces: tuple[Piece, ...]) -> None:
        one, squared = moments(pieces, charge)
        means[:] += where * one
        variances[:] += where * (squared - one * one)

    none = np.zeros(len(states))
    for mend in book.mends:
        if not mend.forces_swap:
            add(there.get(mend.fault, none), mend.pieces)
    for name, piece in book.access:
        add(
            np.maximum.reduce([none, *(there.get(m.fault, none) for m in book.mends if name in m.opens)]),
            (piece,),
        )
    for name, piece in book.swaps:
        forced = [there.get(m.fault, none) for m in book.mends if m.forces_swap and m.swap == name]
        add(np.maximum.reduce([none, *forced]), (piece,))
    return means, variances


def _present(compiled: Compiled, states: Ints) -> dict[str, Floats]:
    """Where each fault is there, 0 or 1 per draw."""
    return {
        cause.fault_of(state): (states[:, i] == number).astype(float)
        for i, cause in enumerate(compiled.network.causes)
        for number, state in enumerate(cause.states, start=1)
    }


def _normal_share(score: Floats) -> Floats:
    from scipy.special import ndtr

    return np.asarray(ndtr(score))


def _at_least(mean: Floats, sd: Floats, floor: float) -> tuple[Floats, Floats]:
    """Mean of the greater of a normal amount and a sure sum, and how often it is the amount."""
    score = (mean - floor) / np.maximum(sd, 1e-9)
    density = np.exp(-0.5 * score**2) / np.sqrt(2.0 * np.pi)
    taken = _normal_share(score)
    return floor + (mean - floor) * taken + sd * density, taken


def _price_grid(margin: Floats, factor: float, *known: float | None) -> Floats:
    """Prices at which the chance of a loss is looked at: around all that may matter."""
    ends = [*np.quantile(margin, [0.02, 0.98]) / factor, *(price for price in known if price is not None)]
    low, high = min(ends), max(ends)
    room = 0.25 * (high - low) + 1.0
    return np.linspace(low - room, high + room, LOSS_PRICES)


def check_on_offer(
    known: KnownCheck, findings: tuple[str, ...], after: Mapping[str, str] | None = None
) -> FaultCheck:
    """A check of the knowledge pack as one that may be planned.

    Parameters
    ----------
    known
        The check as the pack has it.
    findings
        Which of its findings are planned for.
    after
        Checks that must come before.

    Returns
    -------
    FaultCheck
        Money in minor units.
    """
    return FaultCheck(
        id=known.id,
        findings=findings,
        name=known.do,
        cost=float(known.money.minor),
        minutes=known.minutes,
        after=after or {},
        caution=known.caution,
        how=known.do,
    )
