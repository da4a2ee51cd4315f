"""Which check next when what is hidden is a set of faults: exact over up to 14 checks.

The faults are those of a `faults` network; a check shows one of its findings. Chance and
expected worth of every position come from 2^K products over the causes (`fault_kernel`), the
plan from a dynamic programme over all positions. The expected worth of a set of faults is
additive: what the car brings when all is well, less the expected cost of each fault, less
labour that faults of one group share.
"""

from bisect import bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache, cached_property
from itertools import pairwise
from math import inf, isfinite
from typing import Any

import numpy as np
from numpy.typing import NDArray

from driveout.errors import BadEntry, CannotSay
from driveout.faults.recursion import Folded, fold, solve
from driveout.viewing import fault_kernel as plain
from driveout.viewing.decide import CheckWorth
from driveout.viewing.fault_draws import drawn_sums, limits
from driveout.viewing.fault_kernel import BUY, WALK, Floats, Ints, Sums
from driveout.viewing.fault_sums import Prepared, fault_columns, prepare, signed_sums
from driveout.viewing.fault_viewing import DrawnWorth, FaultCheck, FaultViewing
from driveout.viewing.policy import DIGITS, UNDONE, Node, Policy

# Steps kept at once, one byte each; past this the price grid is thinned.
MOST_STEPS = 100_000_000
ANY_PRICE = np.array([inf])


@cache
def _compiled() -> Any:
    """The sums of the extra ``fast``, None without it; loading the compiler takes longer than many a page."""
    try:
        from driveout.viewing import fault_kernel_fast
    except ImportError:  # pragma: no cover - both are tested by asking for the plain kernel
        return None
    return fault_kernel_fast


@dataclass(frozen=True, eq=False)
class FaultPlan:
    """The plan of a viewing over faults; ask it for any price.

    Parameters
    ----------
    prepared
        Arrays of the viewing.
    compiled_kernel
        Use the compiled sums if they are there; the answers are the same.
    """

    prepared: Prepared
    compiled_kernel: bool = True

    @property
    def viewing(self) -> FaultViewing:
        """The viewing that was planned."""
        return self.prepared.viewing

    @property
    def _fast(self) -> bool:
        return self.compiled_kernel and _compiled() is not None

    @cached_property
    def _tables(self) -> tuple[Floats, Floats, Floats]:
        """Chance, expected worth and highest permitted price of every position.

        Worth is what the price may be at most: money over the price factor.
        """
        viewing = self.viewing
        chance, spent = self._negatives(self.prepared.sums, self.prepared.folded)
        if chance[-1] <= 0.0:
            raise CannotSay(
                "What was found cannot all be true with these faults. Look again at one of the findings.",
                missing="findings that agree",
            )
        for group in viewing.shared:
            spent = spent + group.cost * (chance - self._without(group.faults))
        most = np.array([inf])
        if viewing.serious and viewing.most_serious_chance < 1.0:
            sound = self._spread(self._without(viewing.serious))
            whole = self._spread(chance)
            most = np.where(whole - sound <= viewing.most_serious_chance * whole + 1e-15, inf, -inf)
        chance, spent = self._spread(chance), self._spread(spent)
        worth = viewing.resale * chance - spent
        if viewing.drawn is not None:
            worth, limit = self._from_draws(viewing.drawn, chance, worth)
            most = np.minimum(most, limit)
        if viewing.ceiling_known is not None:
            worth = worth + (viewing.ceiling_known * viewing.price_factor - worth[0] / chance[0]) * chance
        worth = worth / viewing.price_factor
        if viewing.room > 0.0:
            fair = np.divide(worth, chance, out=np.full_like(worth, -inf), where=chance > 0.0)
            most = np.minimum(most, fair - viewing.room)
        return chance, worth, most

    def _from_draws(self, drawn: DrawnWorth, chance: Floats, summed: Floats) -> tuple[Floats, Floats]:
        """Worth of every position, and the price limit of the rule about losses there."""
        columns = np.stack([np.ones(len(drawn.worth)), drawn.summed, drawn.worth, drawn.slope], axis=1)
        share, *means = self._spread(drawn_sums(self.viewing, drawn, columns).ravel(), 4).reshape(-1, 4).T
        share = np.maximum(share, 1e-300)
        drawn_sum, drawn_worth, slope = (mean / share for mean in means)
        worth = (drawn_worth - slope * drawn_sum) * chance + slope * summed
        if drawn.most_loss >= 1.0:
            return worth, np.array([inf])
        width = len(drawn.prices)
        loss = self._spread(drawn_sums(self.viewing, drawn, drawn.loss).ravel(), width).reshape(-1, width)
        loss = loss / share[:, None]
        most = drawn.most_loss
        if self.viewing.limit_known is not None:
            # What the draws take for the permitted chance at the limit that is known exactly.
            most = float(np.interp(self.viewing.limit_known, drawn.prices, loss[0]))
        return worth, limits(loss, drawn.prices, most)

    def _negatives(self, sums: Sums, folded: Folded) -> tuple[Floats, Floats]:
        if not self.prepared.signed:
            return self._by_recursion(folded)
        if self._fast:
            return _compiled().negatives(  # type: ignore[no-any-return]
                sums.weight, sums.cost_so_far, sums.base, sums.cost, sums.start, sums.open_before,
                sums.factor, sums.leak, sums.levels,
            )  # fmt: skip
        return plain.negatives(sums)

    def _by_recursion(self, folded: Folded) -> tuple[Floats, Floats]:
        """The same sums without cancellation, for many positive findings: one row per position."""
        prepared = self.prepared
        shape = tuple(int(n) for n in prepared.sums.levels)
        rows = np.array(list(np.ndindex(shape)), dtype=np.int64).reshape(-1, len(shape))
        base, scale, leak = [], [], []
        for row in rows:
            inside, outside = folded.base, folded.scale
            for k, x in enumerate(row):
                inside = inside * prepared.factor[k, x]
                outside = outside * prepared.leak[:, k, x]
            base.append(inside)
            scale.append(outside)
            leak.append(folded.leak)
        again = fold(
            np.concatenate(base), np.concatenate(scale), folded.start, np.concatenate(leak), folded.ratio
        )
        total, conditional = solve(again)
        spent = total * (conditional @ prepared.column_cost)
        worlds = len(folded.scale)
        return total.reshape(-1, worlds).sum(axis=1), spent.reshape(-1, worlds).sum(axis=1)

    def _without(self, faults: frozenset[str]) -> Floats:
        """Chance of every cumulative outcome together with none of these faults."""
        names = fault_columns(self.viewing.compiled)
        banned = np.isin(
            self.viewing.compiled.public, [column for column, name in names.items() if name in faults]
        )
        folded = Folded(
            **{**self.prepared.folded.__dict__, "base": np.where(banned, 0.0, self.prepared.folded.base)}
        )
        sums = signed_sums(
            folded, self.prepared.factor, self.prepared.leak, self.prepared.column_cost, self.prepared.sums.levels,
            self.prepared.signed,
        )  # fmt: skip
        return self._negatives(sums, folded)[0]

    def _spread(self, cumulative: Floats, width: int = 1) -> Floats:
        """Positions from cumulative outcomes; findings of one check are joined to one digit."""
        axes = self.prepared.sums.levels
        if self._fast and width == 1:
            table: Floats = _compiled().spread(cumulative, axes)
        else:
            table = plain.spread(cumulative, axes, width)
        if self.prepared.is_plain:
            return table
        first = 0
        before = 1
        for check, count in zip(self.viewing.checks, self.prepared.levels, strict=True):
            shape = tuple(int(n) + 1 for n in axes[first : first + len(check.findings)])
            done = np.ravel_multi_index(np.indices([n - 1 for n in shape]).reshape(len(shape), -1) + 1, shape)
            table = table.reshape(before, int(np.prod(shape)), -1)[:, np.append(0, done)]
            first += len(shape)
            before *= int(count) + 1
        return np.ascontiguousarray(table).ravel()

    def _best(self, price: float) -> tuple[Floats, NDArray[np.int8]]:
        chance, worth, most = self._tables
        rules, levels = self.prepared.rules, self.prepared.levels
        if self._fast:
            return _compiled().best_from(  # type: ignore[no-any-return]
                chance, worth, price, levels, rules.price_of_check, rules.lose_deal, rules.open_after,
                rules.needs, most,
            )  # fmt: skip
        return plain.best_from(chance, worth, price, levels, rules, most)

    @property
    def chance_of_evidence(self) -> float:
        """Chance of all that is known already."""
        return float(self._tables[0][0])

    @property
    def ceiling_without_checks(self) -> float:
        """Walk-away price when no check is done any more: expected worth, or the limit of a rule, in money."""
        return min(float(self._tables[1][0] / self._tables[0][0]), float(self._tables[2][0]))

    def value(self, price: float) -> float:
        """Expected profit of the best plan at a price, in money."""
        return self.viewing.price_factor * float(self._best(price)[0][0] / self._tables[0][0])

    def value_of_doing(self, check_id: str, price: float) -> float:
        """Expected profit of doing one check first and following the best plan after it.

        Parameters
        ----------
        check_id
            The check.
        price
            Price asked. [money]

        Returns
        -------
        float
            Expected profit. [money]
        """
        k = [check.id for check in self.viewing.checks].index(check_id)
        value, _ = self._best(price)
        share = 1.0 - float(self.prepared.rules.lose_deal[k])
        after = share * sum(float(value[child]) for child in self._children(0, k))
        paid = float(self.prepared.rules.price_of_check[k])
        return self.viewing.price_factor * (after / float(self._tables[0][0]) - paid)

    def value_without_checks(self, price: float) -> float:
        """Expected profit of buying or walking away now, in money."""
        if price > self._tables[2][0]:
            return 0.0
        return self.viewing.price_factor * max(0.0, float(self._tables[1][0] / self._tables[0][0]) - price)

    def first_step(self, price: float) -> str:
        """Id of the check to do first, or ``buy`` or ``walk``."""
        return self.step_name(int(self._best(price)[1][0]))

    def step_name(self, step: int) -> str:
        """Id behind a step number."""
        return "buy" if step == BUY else "walk" if step == WALK else self.viewing.checks[step].id

    @cached_property
    def ceiling(self) -> float:
        """Walk-away price when checks may still be done; exact, by following the plan's own line.

        At any price the plan is worth ``a - b * price`` for as long as it stays the best plan;
        where that line reaches 0 the plan is made again. The value is convex in the price, so
        the prices rise to the ceiling and reach it after finitely many plans. With a rule about
        losses or serious faults the value may drop at a limit; then the range is halved instead.
        """
        chance, worth, most = self._tables
        price = float(worth[0] / chance[0])
        if len(most) > 1:
            return self._halved(price)
        for _ in range(60):
            value, step = self._best(price)
            line = self._line(0, step, {})
            reached = line[0] / line[1] if value[0] > 0.0 and line[1] > 0.0 else price
            if reached <= price + 1e-9 * (1.0 + abs(price)):
                return reached
            price = reached
        return price

    def _halved(self, now: float) -> float:
        """Highest price with anything to gain, to a thousandth of a unit of money or better."""
        chance, worth, most = self._tables
        seen = chance > 1e-12 * chance[0]
        high = float(np.max(np.minimum(worth[seen] / chance[seen], most[seen])))
        low = min(now, float(most[0]))
        if not high > low:
            return low
        if not isfinite(low):
            low = high - 1.0
            while self._best(low)[0][0] <= 0.0 and high - low < 1e9:
                low = high - 4.0 * (high - low)
        while high - low > 1e-10 * (1.0 + abs(high)):
            middle = 0.5 * (low + high)
            if self._best(middle)[0][0] > 0.0:
                low = middle
            else:
                high = middle
        return low

    def _line(
        self, position: int, step: NDArray[np.int8], known: dict[int, tuple[float, float]]
    ) -> tuple[float, float]:
        """Worth at price 0 and fall of following these steps from a position on."""
        if position in known:
            return known[position]
        chance, worth, _ = self._tables
        k = int(step[position])
        if k == BUY:
            line = (float(worth[position]), float(chance[position]))
        elif k == WALK:
            line = (0.0, 0.0)
        else:
            rules = self.prepared.rules
            children = [self._line(child, step, known) for child in self._children(position, k)]
            share = 1.0 - float(rules.lose_deal[k])
            line = (
                share * sum(a for a, _ in children) - float(rules.price_of_check[k] * chance[position]),
                share * sum(b for _, b in children),
            )
        known[position] = line
        return line

    @cached_property
    def _strides(self) -> Ints:
        return plain.strides(self.prepared.levels)

    def _children(self, position: int, check: int) -> list[int]:
        return [
            position + x * int(self._strides[check]) for x in range(1, int(self.prepared.levels[check]) + 1)
        ]

    def worth_alone(self, price: float) -> tuple[CheckWorth, ...]:
        """Worth of each check if it were the only one.

        Parameters
        ----------
        price
            Price asked. [money]

        Returns
        -------
        tuple[CheckWorth, ...]
            In the order of the checks.
        """
        chance, worth, most = self._tables
        total = float(chance[0])
        now = self.value_without_checks(price)
        rows = []
        for k, check in enumerate(self.viewing.checks):
            informed = 0.0
            for child in self._children(0, k):
                if price <= most[child if len(most) > 1 else 0]:
                    informed += max(0.0, float(worth[child] - price * chance[child]))
            informed *= self.viewing.price_factor / total
            why_not = self._why_not(check)
            rows.append(
                CheckWorth(
                    name=check.id,
                    gross=max(0.0, informed - now),
                    cost=self.viewing.cost_of(check) + check.lose_deal * informed,
                    allowed=not why_not,
                    why_not=why_not,
                )
            )
        return tuple(rows)

    def _why_not(self, check: FaultCheck) -> str:
        for earlier, outcome in check.after.items():
            return f"only after {earlier}" + (f" with outcome {outcome}" if outcome else "")
        return "not enough time" if check.minutes > self.viewing.minutes_available + 1e-9 else ""

    def without(self, check_id: str) -> "FaultPlan":
        """The plan when one of the checks cannot be done; positions and chances stay the same.

        Parameters
        ----------
        check_id
            The check.

        Returns
        -------
        FaultPlan
            A plan that never advises it, nor what may only follow it.
        """
        number = [check.id for check in self.viewing.checks].index(check_id)
        rules = self.prepared.rules
        rules = replace(rules, open_after=rules.open_after & ~(1 << number))
        plan = FaultPlan(replace(self.prepared, rules=rules), self.compiled_kernel)
        plan.__dict__["_tables"] = self._tables  # the same car: only what may be done differs
        return plan

    def policy(
        self,
        prices: Iterable[float],
        seller_may_ask_more: bool = False,
        starts: Mapping[str, float] | None = None,
    ) -> Policy:
        """Advice for every position that can be reached at some of these prices.

        Parameters
        ----------
        prices
            Rising prices to plan for. Which check comes next changes at one of them; the
            ceiling lies between two of them, where the plan's own line reaches 0. [money]
        seller_may_ask_more
            True to keep the advice for prices above those at which a position is reached.
            A seller who is being shown faults hardly asks for more, and the table is several
            times smaller without; the ceiling of each position stays exact either way.
        starts
            Positions to begin from, each with the highest price at which it is stood at; the
            present one at any price if left out. [money]

        Returns
        -------
        Policy
            Final actions are ``buy`` and ``walk``.

        Raises
        ------
        BadEntry
            If the prices do not rise or are not finite.
        """
        grid = [float(price) for price in prices]
        if not grid or not all(isfinite(p) for p in grid) or any(a >= b for a, b in pairwise(grid)):
            raise BadEntry("Prices must be finite and rise.", field="prices", value=grid)
        grid = grid[:: -(-len(grid) * len(self._tables[0]) // MOST_STEPS)]
        steps = np.stack([self._best(price)[1] for price in grid])
        known: list[dict[int, tuple[float, float]]] = [{} for _ in grid]
        begun = {
            self._place(sign): max(0, bisect_right(grid, price) - 1) for sign, price in (starts or {}).items()
        }
        reached = self._reached(steps, seller_may_ask_more, begun or {0: len(grid) - 1})
        return Policy(
            actions=("buy", "walk"),
            checks=tuple(check.id for check in self.viewing.checks),
            outcomes=tuple(self.viewing.outcomes(check) for check in self.viewing.checks),
            nodes={
                self._sign(position): self._node(position, top, grid, steps, known)
                for position, top in reached.items()
            },
            price_range=(grid[0], grid[-1]),
        )

    def _reached(self, steps: NDArray[np.int8], may_rise: bool, starts: dict[int, int]) -> dict[int, int]:
        """Positions that can be reached, each with the highest price at which it is (its place in the grid)."""
        last = len(steps) - 1
        chance = self._tables[0]
        reached = dict(starts)
        waiting = list(starts)
        while waiting:
            position = waiting.pop()
            mine = steps[: reached[position] + 1, position]
            for k in np.unique(mine[mine >= 0]):
                top = last if may_rise else int(np.flatnonzero(mine == k)[-1])
                for child in self._children(position, int(k)):
                    if reached.get(child, -1) < top and chance[child] > 1e-12 * chance[0]:
                        reached[child] = top
                        waiting.append(child)
        return reached

    def _node(
        self,
        position: int,
        top: int,
        grid: list[float],
        steps: NDArray[np.int8],
        known: list[dict[int, tuple[float, float]]],
    ) -> Node:
        """Where the advice at one position changes, and its ceiling."""
        mine = steps[:, position]
        rows = [(grid[0], int(mine[0]))]
        ceiling: float | None = None if mine[0] == WALK else grid[-1]
        for g in range(1, len(grid)):
            if mine[g] == mine[g - 1]:
                continue
            if mine[g] == WALK:
                ceiling = self._edge(position, steps[g - 1], known[g - 1], grid[g - 1], grid[g])
                rows.append((ceiling, WALK))
            elif g <= top:
                rows.append((grid[g], int(mine[g])))
        return Node(ceiling, tuple(rows), self._limit(position))

    def limit_at(self, position: str) -> float:
        """Highest price for buying at a position, written as in a policy, without any further check. [money]."""
        return self._limit(self._place(position))

    def _limit(self, position: int) -> float:
        chance, worth, most = self._tables
        return min(float(worth[position] / chance[position]), float(most[position if len(most) > 1 else 0]))

    def _edge(
        self,
        position: int,
        step: NDArray[np.int8],
        known: dict[int, tuple[float, float]],
        low: float,
        high: float,
    ) -> float:
        """Price between two of the grid where a step stops being worth anything; never too high."""
        most = self._tables[2]
        at_nought, fall = self._line(position, step, known)
        edge = at_nought / fall if fall > 0.0 else high
        if len(most) > 1:  # a limit may end a step before its value is used up
            edge = min(edge, float(most[position])) if step[position] == BUY else edge
            edge = edge if edge <= high else low
        return min(max(edge, low), high)

    def _sign(self, position: int) -> str:
        """Position as text, one sign per check."""
        signs = []
        for stride, count in zip(self._strides, self.prepared.levels, strict=True):
            digit = position // int(stride) % (int(count) + 1)
            signs.append(DIGITS[digit - 1] if digit else UNDONE)
        return "".join(signs)

    def _place(self, sign: str) -> int:
        """Number of a position written as text."""
        digits = [0 if one == UNDONE else DIGITS.index(one) + 1 for one in sign]
        return sum(digit * int(stride) for digit, stride in zip(digits, self._strides, strict=True))


def plan_faults(viewing: FaultViewing) -> FaultPlan:
    """Exact plan over the checks of a viewing.

    Parameters
    ----------
    viewing
        The viewing; at most 14 checks (`plan_many` takes more).

    Returns
    -------
    FaultPlan
        Value, ceiling, first step, worth of each check, policy.

    References
    ----------
    own-reasoning, docs/method/viewing.md.
    """
    return FaultPlan(prepare(viewing))


def best_now(prepared: Prepared, price: float) -> tuple[float, int]:
    """Value and first step at one price, and nothing else; the quickest way to ask.

    Parameters
    ----------
    prepared
        Arrays of the viewing.
    price
        Price asked. [money]

    Returns
    -------
    tuple[float, int]
        Expected profit of the best plan [money], and the number of the first check, or a
        number below 0 for buying (-1) or walking away (-2).
    """
    plan = FaultPlan(prepared)
    if (
        _compiled() is None
        or not prepared.signed
        or not prepared.is_plain
        or plan.viewing.shared
        or plan.viewing.serious
    ):
        value, step = plan._best(price)
        return float(value[0] / plan._tables[0][0]), int(step[0])
    sums, rules = prepared.sums, prepared.rules
    return _compiled().value_at_start(  # type: ignore[no-any-return]
        sums.weight, sums.cost_so_far, sums.base, sums.cost, sums.start, sums.open_before, sums.factor,
        sums.leak, sums.levels, rules.price_of_check, rules.lose_deal, rules.open_after, rules.needs,
        ANY_PRICE, prepared.viewing.resale, price,
    )  # fmt: skip
