"""How much of what a seller who knew the demand would gain the asking plan gets, by simulation."""

from __future__ import annotations

import argparse
import math
import time
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from driveout.selling.asking import SaleSituation, asking_plan
from driveout.selling.asking import _worked_out as worked_out
from driveout.selling.demand import value_now
from driveout.selling.programme import Demand, Programme, Terms, solve
from driveout.units import Money

STEP = 7.0


@dataclass(frozen=True)
class Family:
    """Believed demand, terms, and how the truth differs from what is believed."""

    name: str
    demand: Demand
    terms: Terms
    true_fall: float = 1.0
    true_level: float = 1.0

    @property
    def truth(self) -> Demand:
        return replace(
            self.demand,
            enquiry_fall=self.demand.enquiry_fall * self.true_fall,
            buy_fall=self.demand.buy_fall * self.true_fall,
        )


def ode_value(a: Any, alpha: float, holding: float, fallback: float, days: float) -> float:
    """Value by solving its differential equation, another route than the closed form."""
    from scipy.integrate import solve_ivp

    def slope(left: float, v: np.ndarray) -> list[float]:
        return [float(a(np.array([days - left]))[0]) / (alpha * math.e) * math.exp(-alpha * v[0]) - holding]

    found = solve_ivp(slope, (0, days), [fallback], rtol=1e-10, atol=1e-8, method="DOP853")
    return float(found.y[0, -1])


def random_case(rng: np.random.Generator) -> tuple[Any, float, float, float, float]:
    """A sale drawn at random: interest, sensitivity, holding cost, fallback, days."""
    alpha = rng.uniform(3, 12) / 5000
    level = rng.uniform(0.005, 0.2) * math.exp(alpha * 5000)
    gain, fade, loses = rng.uniform(0, 2), rng.uniform(3, 20), rng.uniform(0, 8)
    holding, fallback, days = rng.uniform(0, 60), rng.uniform(0, 4800), rng.uniform(5, 200)

    def a(s: np.ndarray) -> np.ndarray:
        return np.asarray(level * (1 + gain * np.exp(-s / fade)) * np.exp(-alpha * loses * s))

    return a, alpha, holding, fallback, days


def families() -> list[Family]:
    def terms(days: float = 60, holding: float = 12.0, fallback: float = 3800.0, fresh: float = 0.0) -> Terms:
        whole, rest = divmod(days, STEP)
        lengths = (STEP,) * int(whole) + ((rest,) if rest else ())
        middle = np.cumsum(lengths) - np.array(lengths) / 2
        return Terms(lengths, tuple(1 + fresh * np.exp(-middle / 10)), holding, fallback)

    def demand(per_day: float = 0.35, shape: float = 1.5, loses: float = 0.0, k: float = 6.9) -> Demand:
        return Demand(shape, shape / per_day, 5000.0, k / 2, k / 2, 0.15, loses)

    return [
        Family("weak demand, dear waiting", demand(), terms(holding=37.0)),
        Family("weak demand", demand(), terms()),
        Family("brisk demand", demand(per_day=1.0), terms()),
        Family("hardly known demand", demand(shape=0.7), terms()),
        Family("well known demand", demand(shape=6.0), terms()),
        Family("high fallback", demand(per_day=0.6), terms(fallback=4400.0)),
        Family("short of time", demand(per_day=0.6), terms(days=28)),
        Family("long of time", demand(), terms(days=120)),
        Family("loses value", demand(per_day=0.6, loses=5.0), terms()),
        Family("fresh advert", demand(), terms(fresh=1.5)),
        Family("buyers more price-sensitive than believed", demand(per_day=0.6), terms(), true_fall=1.4),
        Family("buyers less price-sensitive than believed", demand(per_day=0.6), terms(), true_fall=0.7),
        Family("demand half of what is believed", demand(per_day=0.8), terms(), true_level=0.5),
    ]


class World:
    """Many owners of one family: each a true level of demand, the same draws for every policy."""

    def __init__(self, family: Family, owners: int, seed: int) -> None:
        self.family, self.owners = family, owners
        rng = np.random.default_rng(seed)
        believed = family.demand
        self.level = rng.gamma(believed.shape, 1 / believed.days, owners) * family.true_level
        self.luck = rng.random((len(family.terms.lengths), owners))
        self.seed = seed

    def sold(
        self, step: int, price: np.ndarray, here: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Whether each is sold in the step, after how many days, and how many enquired in vain."""
        truth, terms = self.family.truth, self.family.terms
        length = terms.lengths[step]
        day = sum(terms.lengths[:step]) + length / 2
        seen = truth.exposure(price, day) * terms.interest[step] * self.level
        buys = truth.buys(price, day)
        wait = -np.log(self.luck[step]) / np.maximum(seen * buys, 1e-12)
        vain = np.random.default_rng((self.seed, step)).poisson(seen * (1 - buys) * length)
        return here & (wait < length), np.minimum(wait, length), vain

    def money(self, policy: Any) -> np.ndarray:
        """Net money of each owner under a policy; the policy gives prices, NaN for selling out."""
        terms = self.family.terms
        here = np.ones(self.owners, bool)
        gained = np.zeros(self.owners)
        count, exposure = np.zeros(self.owners), np.full(self.owners, self.family.demand.days)
        last = np.full(self.owners, math.inf)
        for step in range(len(terms.lengths)):
            price = policy(step, count, exposure, last)
            out = here & np.isnan(price)
            gained[out] += terms.fallback
            here = here & ~out
            price = np.where(np.isnan(price), last, price)
            price = np.where(np.isfinite(price), price, 1e6)
            sale, days, vain = self.sold(step, price, here)
            gained[here] -= terms.holding_per_day * days[here]
            gained[sale] += terms.net(price)[sale]
            here = here & ~sale
            day = sum(terms.lengths[:step]) + terms.lengths[step] / 2
            believed = self.family.demand.exposure(price, day) * terms.interest[step] * terms.lengths[step]
            count, exposure, last = count + vain, exposure + believed, price
        gained[here] += terms.fallback
        return gained


def _ours(programme: Programme) -> Any:
    log = np.log(programme.exposures)
    stride, top = float(programme.counts[1]), len(programme.counts) - 1

    def policy(step: int, count: np.ndarray, exposure: np.ndarray, last: np.ndarray) -> np.ndarray:
        shape = programme.demand.shape
        rows = np.minimum(np.rint(count / stride), top).astype(int)
        shown = np.where(
            count > programme.counts[-1],
            exposure * (shape + programme.counts[-1]) / (shape + count),
            exposure,
        )
        at = np.interp(np.log(shown), log, np.arange(len(log)))
        highest = np.clip(
            np.searchsorted(programme.prices, last + 1e-9, side="right") - 1, 0, len(programme.prices) - 1
        )
        choice = programme.choices[step][rows, np.rint(at).astype(int), highest]
        return np.where(choice < 0, np.nan, programme.prices[np.maximum(choice, 0)])

    return policy


def _known_value(demand: Demand, terms: Terms, level: float) -> float:
    starts = np.concatenate([[0.0], np.cumsum(terms.lengths)])

    def interest(days: np.ndarray) -> np.ndarray:
        step = np.clip(np.searchsorted(starts, days, side="right") - 1, 0, len(terms.lengths) - 1)
        lift = demand.alpha * (demand.market - demand.depreciation_per_day * days)
        return np.asarray(level * demand.buy_share * np.exp(lift) * np.array(terms.interest)[step])

    return value_now(interest, demand.alpha, terms.holding_per_day, terms.fallback, float(starts[-1]))


def _prior_course(family: Family) -> np.ndarray:
    """Prices planned once with demand at its mean, from the closed form, never looking back."""
    believed, terms = family.demand, family.terms
    mean = believed.shape / believed.days
    prices = []
    for step in range(len(terms.lengths)):
        rest = replace(terms, lengths=terms.lengths[step:], interest=terms.interest[step:])
        gone = believed.depreciation_per_day * sum(terms.lengths[:step])
        alpha = believed.alpha
        later = replace(believed, market=believed.market)
        level = mean * math.exp(-alpha * gone)
        prices.append(_known_value(later, rest, level) + 1 / alpha)
    return np.minimum.accumulate(np.array(prices))


def measure(family: Family, owners: int, seed: int) -> dict[str, float]:
    """Mean gain over selling out on day 0, per policy."""
    world = World(family, owners, seed)
    fallback = family.terms.fallback
    programme = solve(family.demand, family.terms)
    levels = np.quantile(world.level, (np.arange(200) + 0.5) / 200)
    oracle = float(
        np.mean([max(_known_value(family.truth, family.terms, v) - fallback, 0.0) for v in levels])
    )

    def fixed(price: float) -> float:
        return float(np.mean(world.money(lambda _s, c, _e, _l: np.full(len(c), price)))) - fallback

    course = _prior_course(family)
    cut = family.demand.market * 1.05 * 0.95 ** (np.arange(len(family.terms.lengths)) // 2)
    return {
        "oracle": oracle,
        "ours": float(np.mean(world.money(_ours(programme)))) - fallback,
        "prior_only": float(np.mean(world.money(lambda s, c, _e, _l: np.full(len(c), course[s])))) - fallback,
        "best_fixed": max(fixed(p) for p in np.linspace(fallback, 1.3 * family.demand.market, 21)),
        "cut_5_percent": float(np.mean(world.money(lambda s, c, _e, _l: np.full(len(c), cut[s])))) - fallback,
    }


def run(argv: list[str]) -> dict[str, Any]:
    """Simulate; ``--owners`` per family, ``--seed``."""
    parser = argparse.ArgumentParser(prog="bench asking")
    parser.add_argument("--owners", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=20260)
    options = parser.parse_args(argv)
    gains = {f.name: measure(f, options.owners, options.seed + i) for i, f in enumerate(families())}
    situation = SaleSituation(
        Money(500_000, "USD"), Money(380_000, "USD"), holding_per_day=Money(1200, "USD")
    )
    seconds, busy = [], []
    for _ in range(9):
        worked_out.cache_clear()
        began, worked = time.perf_counter(), time.process_time()
        asking_plan(situation)
        seconds.append(time.perf_counter() - began)
        busy.append(time.process_time() - worked)
    shares = {name: g["ours"] / g["oracle"] for name, g in gains.items()}
    total = {key: sum(g[key] for g in gains.values()) for key in next(iter(gains.values()))}
    beaten = [
        name
        for name, g in gains.items()
        if g["ours"] >= max(g["prior_only"], g["best_fixed"], g["cut_5_percent"])
    ]
    cases = [random_case(np.random.default_rng(options.seed + i)) for i in range(200)]
    worst = max(abs(value_now(*case) - ode_value(*case)) for case in cases)
    return {
        "closed_form_cases": len(cases),
        "closed_form_worst": float(f"{worst:.2g}"),
        "owners": options.owners,
        "families": len(gains),
        "share_of_oracle": round(total["ours"] / total["oracle"], 3),
        "share_by_family": {name: round(share, 3) for name, share in shares.items()},
        "gains": {name: {key: round(v, 1) for key, v in g.items()} for name, g in gains.items()},
        "families_best": len(beaten),
        "seconds": round(float(np.median(seconds)), 4),
        "processor_seconds": round(float(np.median(busy)), 4),
    }
