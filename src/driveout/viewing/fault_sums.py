"""From a viewing over faults to the arrays that its plan is computed from."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from driveout.errors import BadEntry, CannotSay
from driveout.faults import Compiled
from driveout.faults.posterior import folded_rows, read_evidence
from driveout.faults.recursion import Folded
from driveout.viewing.fault_kernel import Floats, Ints, Rules, Sums
from driveout.viewing.fault_viewing import FaultViewing

MOST_CHECKS = 14
MOST_POSITIONS = 5_000_000
# Signed terms lose digits with every positive finding; past this the recursion is used.
MOST_SIGNED = 10


@dataclass(frozen=True, eq=False)
class Prepared:
    """Arrays of a viewing: building them is apart from solving, as for any model.

    ``sums`` has one axis per finding, ``levels`` and ``rules`` one per check.
    """

    viewing: FaultViewing
    sums: Sums
    levels: Ints
    folded: Folded
    factor: Floats
    leak: Floats
    column_cost: Floats
    rules: Rules
    signed: bool

    @property
    def is_plain(self) -> bool:
        """True if every check shows one finding."""
        return len(self.levels) == len(self.sums.levels)


def prepare(viewing: FaultViewing) -> Prepared:
    """Turn a viewing into arrays.

    Parameters
    ----------
    viewing
        The viewing; at most 14 checks.

    Returns
    -------
    Prepared
        Its arrays.

    Raises
    ------
    BadEntry
        If a check shows a finding that is not in the network, or stands twice.
    CannotSay
        If there are too many checks to plan exactly.
    """
    compiled = viewing.compiled
    levels = np.array([len(viewing.outcomes(check)) for check in viewing.checks], dtype=np.int64)
    if len(levels) > MOST_CHECKS or np.prod(levels + 1.0) > MOST_POSITIONS:
        raise CannotSay(
            f"{len(levels)} checks with all their outcomes are too many to plan exactly; "
            f"at most {MOST_CHECKS} two-way checks can be. Use plan_many, which keeps the best of them.",
            missing="fewer checks",
        )
    findings = [finding for check in viewing.checks for finding in check.findings]
    if len(set(findings)) < len(findings):
        raise BadEntry("Two checks show the same finding. Offer one of them.", field="checks")
    outcomes = [compiled.network.finding[finding].outcomes for finding in findings]
    folded, worlds = evidence_rows(compiled, tuple(sorted(viewing.evidence.items())))
    most = max(map(len, outcomes), default=1)
    factor = np.ones((len(findings), most, compiled.upper.shape[1]))
    leak = np.ones((len(worlds), len(findings), most))
    for k, finding in enumerate(findings):
        for x, outcome in enumerate(outcomes[k]):
            code = compiled.code[finding, outcome]
            factor[k, x] = compiled.upper[code]
            leak[:, k, x] = compiled.leak_upper[worlds, code]
    axes = np.array([len(names) for names in outcomes], dtype=np.int64)
    column_cost = _column_costs(viewing)
    signed = len(folded.leak[0]) <= MOST_SIGNED if len(folded.leak) else True
    return Prepared(
        viewing=viewing,
        sums=signed_sums(folded, factor, leak, column_cost, axes, signed),
        levels=levels,
        folded=folded,
        factor=factor,
        leak=leak,
        column_cost=column_cost,
        rules=_rules(viewing, levels),
        signed=signed,
    )


@lru_cache(maxsize=64)
def evidence_rows(compiled: Compiled, evidence: tuple[tuple[str, str], ...]) -> tuple[Folded, Ints]:
    """The evidence worked in, and the worlds it leaves; asked for again for every check that is tried."""
    reading = read_evidence(compiled, dict(evidence))
    return folded_rows(reading), reading.worlds


def _column_costs(viewing: FaultViewing) -> Floats:
    """Cost of the state behind each inner column."""
    compiled = viewing.compiled
    public = np.zeros(compiled.width + 1)
    for place, fault in fault_columns(compiled).items():
        public[place] = viewing.costs.get(fault, 0.0)
    known = set(fault_columns(compiled).values())
    for fault in (*viewing.costs, *viewing.serious, *(f for group in viewing.shared for f in group.faults)):
        if fault not in known:
            raise BadEntry(f"There is no fault {fault!r} in the network.", field="costs", value=fault)
    return public[compiled.public]


@lru_cache(maxsize=32)
def fault_columns(compiled: Compiled) -> dict[int, str]:
    """Public column of every fault."""
    return {
        int(compiled.public_start[i]) + 1 + s: cause.fault_of(state)
        for i, cause in enumerate(compiled.network.causes)
        for s, state in enumerate(cause.states)
    }


def signed_sums(
    folded: Folded, factor: Floats, leak: Floats, column_cost: Floats, levels: Ints, signed: bool
) -> Sums:
    """Expand the open positive findings, fold away what no check touches, sort the rest."""
    weight, base, row_of = folded.scale, folded.base, np.arange(len(folded.scale))
    if signed:
        for f in range(folded.leak.shape[1]):
            weight = np.concatenate([weight, -weight * folded.leak[row_of, f]])
            base = np.concatenate([base, base * folded.ratio[f]])
            row_of = np.concatenate([row_of, row_of])
    starts = folded.start
    touched = np.minimum.reduceat(factor.min(axis=1, initial=1.0), starts[:-1], axis=1) < 1.0
    last = (touched * np.arange(1, len(levels) + 1)[:, None]).max(axis=0, initial=0) - 1
    mass = np.add.reduceat(base, starts[:-1], axis=1)
    money = np.add.reduceat(base * column_cost, starts[:-1], axis=1)
    alone = last < 0
    weight = weight * mass[:, alone].prod(axis=1)
    cost_so_far = np.divide(money, mass, out=np.zeros_like(money), where=mass > 0.0)[:, alone].sum(axis=1)
    order = [int(i) for i in np.argsort(-last, kind="stable") if last[i] >= 0]
    columns = np.array([q for i in order for q in range(starts[i], starts[i + 1])], dtype=np.int64)
    return Sums(
        weight=weight,
        cost_so_far=cost_so_far,
        base=np.ascontiguousarray(base[:, columns]),
        cost=np.ascontiguousarray(column_cost[columns]),
        start=np.cumsum([0, *(int(starts[i + 1] - starts[i]) for i in order)]).astype(np.int64),
        open_before=np.array([int((last >= k).sum()) for k in range(len(levels))] + [0], dtype=np.int64),
        factor=np.ascontiguousarray(factor[:, :, columns]),
        leak=np.ascontiguousarray(leak[row_of]),
        levels=levels,
    )


def _rules(viewing: FaultViewing, levels: Ints) -> Rules:
    checks = viewing.checks
    place = {check.id: k for k, check in enumerate(checks)}
    if len(place) < len(checks):
        raise BadEntry("A check is listed twice. Give each check its own id.", field="checks")
    count = len(checks)
    done = np.arange(1 << count)
    minutes = sum(
        ((done >> k & 1) * check.minutes for k, check in enumerate(checks)), start=np.zeros(1 << count)
    )
    open_after = np.zeros(1 << count, dtype=np.int64)
    for k, check in enumerate(checks):
        allowed = minutes + check.minutes <= viewing.minutes_available + 1e-9
        for names in viewing.one_of:
            if check.id in names:
                others = sum(1 << place[name] for name in names if name in place and name != check.id)
                allowed &= (done & others) == 0
        open_after |= np.where(allowed, 1 << k, 0)
    needs = np.full((count, count), -1, dtype=np.int64)
    for k, check in enumerate(checks):
        if not 0.0 <= check.lose_deal < 1.0 or check.cost < 0.0 or check.minutes < 0.0:
            raise BadEntry(
                f"Check {check.id!r} has a cost, time or risk that cannot be meant.",
                field=f"checks.{check.id}",
                allowed="cost and minutes of 0 or more, lose_deal from 0 to below 1",
            )
        for earlier, outcome in check.after.items():
            if earlier not in place:
                raise BadEntry(
                    f"Check {check.id!r} must come after {earlier!r}, which is not on offer.",
                    field=f"checks.{check.id}.after",
                    value=earlier,
                )
            j = place[earlier]
            shown = viewing.outcomes(checks[j])
            if outcome and outcome not in shown:
                raise BadEntry(f"Check {earlier!r} has no outcome {outcome!r}.", field="after", value=outcome)
            needs[k, j] = 1 << (shown.index(outcome) + 1) if outcome else ~1
    return Rules(
        price_of_check=np.array([viewing.cost_of(check) / viewing.price_factor for check in checks]),
        lose_deal=np.array([check.lose_deal for check in checks], dtype=float),
        open_after=open_after,
        needs=needs,
    )
