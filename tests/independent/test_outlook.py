"""The outlook against simulation written apart from it, and the laws against another library."""

import math

import numpy as np
import pytest
import scipy.stats

from driveout.faults import Beta, Cause, Finding, Link, Network, State, infer
from driveout.outlook import (
    Case,
    CostBook,
    Forecast,
    Mend,
    Piece,
    Rules,
    Salvage,
    chances_of,
)
from driveout.uncertain import Bounded, Gamma, Lognormal, Mixture, ThreePoint, fitted

DRAWS = 1_000_000


@pytest.mark.parametrize(
    ("ours", "theirs"),
    [
        (Lognormal(5.0, 0.6, 20.0), scipy.stats.lognorm(0.6, 20.0, math.exp(5.0))),
        (Gamma(2.7, 90.0, 15.0), scipy.stats.gamma(2.7, 15.0, 90.0)),
        (Bounded(40.0, 900.0, 2.2, 3.8), scipy.stats.beta(2.2, 3.8, 40.0, 860.0)),
    ],
)
def test_each_law_agrees_with_the_statistics_library(ours, theirs) -> None:  # type: ignore[no-untyped-def]
    points = np.linspace(ours.least - 10.0, theirs.ppf(0.999), 41)

    assert ours.mean == pytest.approx(theirs.mean(), rel=1e-12)
    assert ours.variance == pytest.approx(theirs.var(), rel=1e-12)
    assert ours.cdf(points) == pytest.approx(theirs.cdf(points), abs=1e-12)
    assert [ours.quantile(p) for p in (0.01, 0.5, 0.99)] == pytest.approx(theirs.ppf([0.01, 0.5, 0.99]))
    for bar in (ours.least - 5.0, 100.0, 300.0):
        assert float(ours.excess(bar)) == pytest.approx(
            theirs.expect(lambda x, b=bar: max(x - b, 0.0)), rel=1e-5, abs=1e-6
        )


def test_the_mean_of_the_exponential_agrees_with_integration() -> None:
    for ours, theirs in (
        (Gamma(2.7, 90.0, 15.0), scipy.stats.gamma(2.7, 15.0, 90.0)),
        (Bounded(40.0, 900.0, 2.2, 3.8), scipy.stats.beta(2.2, 3.8, 40.0, 860.0)),
    ):
        for rate in (-0.002, 0.001):
            assert ours.exponential_mean(rate) == pytest.approx(
                theirs.expect(lambda x, r=rate: math.exp(r * x)), rel=1e-6
            )


def a_network(seed: int, causes: int = 14, findings: int = 10) -> tuple[Network, dict[str, str]]:
    rng = np.random.default_rng(seed)
    made = []
    for i in range(causes):
        states = (State("mild"), State("severe", share=0.5)) if i % 4 == 0 else (State("present"),)
        made.append(Cause(f"c{i}", f"Cause {i}", Beta.of(float(rng.uniform(0.05, 0.3))), states))
    signs = []
    for k in range(findings):
        parents = rng.choice(causes, size=4, replace=False)
        links = tuple(Link(f"c{i}", (Beta.of(float(rng.uniform(0.3, 0.9))),)) for i in parents)
        signs.append(Finding(f"f{k}", f"Finding {k}", links, (Beta.of(0.05),)))
    evidence = {f"f{k}": "yes" if k < 5 else "no" for k in range(8)}
    return Network(tuple(made), tuple(signs)), evidence


def a_book(network: Network, seed: int) -> CostBook:
    """Every third fault opens a shared access; three more hang on one unit, one of them hard."""
    rng = np.random.default_rng(seed + 100)
    faults = [c.fault_of(s) for c in network.causes for s in c.states]
    mends = []
    for k, fault in enumerate(faults):
        low = float(rng.uniform(20, 200))
        likely = low * float(rng.uniform(1.1, 1.5))
        money = fitted(ThreePoint(low, likely, likely * float(rng.uniform(1.8, 3.0))))
        law = Mixture((0.3, 0.7), (Lognormal(4.5, 0.5), money)) if k % 5 == 0 else money
        hours = fitted(ThreePoint(1, 2 + k % 3, 8))
        opens = ("out",) if k % 3 == 0 else ()
        swap = "unit" if fault in faults[-3:] else ""
        mends.append(
            Mend(
                fault,
                fault,
                (Piece(fault, law, hours), Piece("grows", money, chance=0.2)),
                opens,
                swap,
                fault == faults[-1],
            )
        )
    return CostBook(
        tuple(mends),
        (("out", Piece("Out", fitted(ThreePoint(0, 20, 60)), fitted(ThreePoint(6, 9, 16)))),),
        (("unit", Piece("Unit", fitted(ThreePoint(300, 500, 900)), fitted(ThreePoint(8, 12, 20)))),),
        (
            Piece("Papers", fitted(ThreePoint(30, 100, 290))),
            Piece("Search", hours=fitted(ThreePoint(43, 52, 60))),
        ),
    )


def simulated(
    network: Network, evidence: dict[str, str], book: CostBook, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Money and hours of each drawn car, by plain counting."""
    states = infer(network, evidence).sample(rng, DRAWS)
    present = {
        cause.fault_of(state): states[:, i] == k
        for i, cause in enumerate(network.causes)
        for k, state in enumerate(cause.states, start=1)
    }
    money, hours = np.zeros(DRAWS), np.zeros(DRAWS)

    def spend(here: np.ndarray, piece: Piece) -> None:
        here = here & (rng.random(DRAWS) < piece.chance)
        count = int(here.sum())
        money[here] += piece.money.sample(rng, count)
        hours[here] += piece.hours.sample(rng, count)

    swapped = np.zeros(DRAWS, dtype=bool)
    for mend in book.mends:
        if mend.forces_swap:
            swapped |= present[mend.fault]
    opened = np.zeros(DRAWS, dtype=bool)
    for mend in book.mends:
        here = present[mend.fault] & ~swapped if mend.swap else present[mend.fault]
        if mend.opens:
            opened |= here
        for piece in mend.pieces:
            spend(here, piece)
    spend(opened, book.access[0][1])
    spend(swapped, book.swaps[0][1])
    for piece in book.always:
        spend(np.ones(DRAWS, dtype=bool), piece)
    return money, hours


@pytest.mark.parametrize("seed", [1, 2])
def test_a_million_drawn_cars_agree_within_three_standard_errors(seed: int) -> None:
    network, evidence = a_network(seed)
    book = a_book(network, seed)
    rules = Rules(holding_per_day=3.0, wage_per_hour=15.0, hours_per_week=9.0)
    case = Case(
        chances_of(infer(network, evidence)), book, (2600.0, 3800.0), rules, None, (Salvage("scrap", 900.0),)
    )
    made = Forecast(case)
    outlook = made.outlook()
    rng = np.random.default_rng(seed + 1000)

    money, hours = simulated(network, evidence, book, rng)
    score = rng.standard_normal(DRAWS)
    sale = made.resale.median * np.exp(made.resale.sigma * score)
    cash = np.maximum(sale - money - 3.0 / (9.0 / 7.0) * hours, 900.0)
    charged = np.maximum(sale - money - (15.0 + 3.0 / (9.0 / 7.0)) * hours, 900.0)

    def close(ours: float, drawn: np.ndarray) -> bool:
        return bool(abs(ours - drawn.mean()) <= 3 * drawn.std() / math.sqrt(DRAWS))

    # the grid spreads each amount over half a step at most: far under one standard error
    assert close(outlook.hours.mean, hours)
    assert close(outlook.profit.mean, cash)
    assert close(made.charged.mean, charged)
    for share in (0.1, 0.5, 0.9):
        border = max(made.cash.quantile(share), 900.0 + 1e-6)
        exact = made.cash.share_below(border)
        assert abs((cash < border).mean() - exact) <= 3 * math.sqrt(exact * (1 - exact) / DRAWS)
    border = made.charged.quantile(0.25)
    tail = np.minimum(charged - border, 0.0) / 0.25 + border
    assert close(made.charged.mean_of_lowest(0.25), tail)
    assert abs(outlook.let_go_chance - (charged <= 900.0).mean()) <= 3 * math.sqrt(0.25 / DRAWS)
    inner = np.exp(-cash / 2000.0)
    drawn_equivalent = -2000.0 * math.log(inner.mean())
    error = 2000.0 * inner.std() / inner.mean() / math.sqrt(DRAWS)
    assert abs(made.cash.certainty_equivalent(2000.0) - drawn_equivalent) <= 3 * error + 0.5
