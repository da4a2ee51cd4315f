"""The advice as the sheet carries it: nothing is lost, unusual positions included, and it stays small."""

import gzip
import json
from math import inf

import numpy as np
import pytest

from driveout.faults import Beta, Cause, Finding, Link, Network, compile_network
from driveout.viewing import FaultCheck, FaultViewing, Node, Policy, as_table, from_table, plan_faults
from driveout.viewing.car_plan import asked_at
from driveout.viewing.packed import packed, unpacked


def back(policy: Policy, starts: tuple[str, ...] = ()) -> dict[str, Node]:
    table = json.loads(json.dumps(packed(policy, starts)))
    return unpacked(table, policy.outcomes, starts or (policy.start,), policy.price_range[0])


def a_viewing(without: int | None = None) -> FaultViewing:
    """Five faults and five checks of 6 each; one check may be missing."""
    rng = np.random.default_rng(5)
    causes = tuple(Cause(f"c{i}", f"c{i}", Beta.of(0.1 + 0.05 * i)) for i in range(5))
    findings = tuple(
        Finding(
            f"f{k}", f"f{k}", tuple(Link(f"c{i}", (Beta.of(float(rng.uniform(0.3, 0.9))),)) for i in range(5)),
            (Beta.of(0.05),),
        )
        for k in range(5)
    )  # fmt: skip
    checks = tuple(FaultCheck(f"k{k}", (f"f{k}",), cost=6.0) for k in range(5) if k != without)
    costs = {f"c{i}": 150.0 * (i + 1) for i in range(5)}
    return FaultViewing(
        compiled=compile_network(Network(causes, findings)), evidence={}, checks=checks, resale=2000.0, costs=costs
    )  # fmt: skip


PRICES = np.linspace(600.0, 1900.0, 27)


def test_a_plan_over_faults_comes_back_as_its_readable_table_gives_it() -> None:
    policy = plan_faults(a_viewing()).policy(PRICES)
    readable = from_table(json.loads(json.dumps(as_table(policy))))

    again = back(policy)

    assert len(again) > 20
    assert {place: (n.ceiling, n.steps) for place, n in again.items()} == {
        place: (n.ceiling, n.steps) for place, n in readable.nodes.items()
    }
    stops = {place: n.stop for place, n in policy.nodes.items() if any(step >= 0 for _, step in n.steps)}
    assert {place: again[place].stop for place in stops} == pytest.approx(
        {place: max(0.0, stop or 0.0) for place, stop in stops.items()}, abs=1.0
    )


def test_positions_that_are_nowhere_usual_come_back_as_they_were() -> None:
    nodes = {
        "..": Node(900.0, ((0.0, 0), (300.0, -1), (400.0, 1), (900.0, -2)), 700.0),
        "0.": Node(inf, ((0.0, -1),), 0.0),
        "1.": Node(None, ((0.0, -2),)),
        ".0": Node(950.0, ((0.0, -1), (950.0, -2))),
        ".1": Node(300.0, ((0.0, -1), (200.0, 0), (300.0, -2)), 250.0),
        "01": Node(10.0, ((0.0, -1), (10.0, -2))),
    }
    policy = Policy(("buy", "walk"), ("look", "drive"), (("a", "b", "never"), ("a", "b")), nodes, (0.0, inf))

    assert back(policy) == nodes


def test_the_packed_plan_is_far_smaller_than_the_readable_one() -> None:
    policy = plan_faults(a_viewing()).policy(PRICES)

    def size(table: object) -> int:
        return len(gzip.compress(json.dumps(table, separators=(",", ":")).encode(), 9))

    assert size(packed(policy)) < size(as_table(policy))


@pytest.mark.parametrize("compiled", [True, False])
def test_the_plan_without_a_check_is_that_of_a_viewing_that_never_had_it(compiled: bool) -> None:
    plan = plan_faults(a_viewing())
    plan = type(plan)(plan.prepared, compiled)
    for price in (1100.0, 1350.0, 1500.0):
        assert plan.without("k4").value(price) == pytest.approx(
            plan_faults(a_viewing(4)).value(price), rel=1e-12
        )
    assert plan.without("k4").value(1350.0) <= plan.value(1350.0)


def test_advice_without_a_check_begins_wherever_the_plan_asks_for_it() -> None:
    plan = plan_faults(a_viewing())
    policy = plan.policy(PRICES)
    check, asked = next(iter(asked_at(policy).items()))

    other = plan.without(check).policy(PRICES, starts=asked)

    assert set(asked) <= set(other.nodes)
    assert check not in {other.checks[step] for n in other.nodes.values() for _, step in n.steps if step >= 0}
    again = back(other, tuple(asked))
    for place in asked:
        assert again[place].ceiling == pytest.approx(other.nodes[place].ceiling, abs=0.5)
