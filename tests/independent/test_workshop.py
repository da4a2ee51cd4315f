"""Strip plans and bolts against brute force and a second implementation."""

from __future__ import annotations

import csv
import random
from itertools import permutations
from pathlib import Path

import pytest

from driveout.errors import CannotSay
from driveout.workshop import access
from driveout.workshop.access import AccessItem, least_release
from driveout.workshop.threads import assembly_preload, assembly_torque, proof_load, read_thread

HERE = Path(__file__).parent


def can_be_released(items: dict[str, AccessItem], allowed: set[str]) -> bool:
    """Whether every allowed item can be released when only allowed items may be touched."""
    done: set[str] = set()
    grew = True
    while grew:
        grew = False
        for name in allowed - done:
            if all(any(done.issuperset(way) for way in need) for need in items[name].needs):
                done.add(name)
                grew = True
    return done == allowed


def least_by_trying_all(items: dict[str, AccessItem], targets: list[str]) -> float | None:
    names = list(items)
    best: float | None = None
    for mask in range(1 << len(names)):
        allowed = {name for bit, name in enumerate(names) if mask >> bit & 1}
        if not allowed.issuperset(targets):
            continue
        cost = sum(items[name].cost for name in allowed)
        if (best is None or cost < best) and can_be_released(items, allowed):
            best = cost
    return best


def cyclic_graph(seed: int, size: int = 8) -> tuple[dict[str, AccessItem], list[str]]:
    """Small graph with circles, alternatives and alternatives of several items."""
    rng = random.Random(seed)
    names = [f"i{k}" for k in range(size)]
    items = {}
    for name in names:
        others = [other for other in names if other != name]
        needs = tuple(
            tuple(
                tuple(rng.sample(others, rng.choice([1, 1, 1, 2]))) for _ in range(rng.choice([1, 1, 2, 3]))
            )
            for _ in range(rng.choice([0, 0, 1, 1, 2]))
        )
        items[name] = AccessItem(name, rng.randint(0, 9), needs)
    return items, rng.sample(names, 2)


@pytest.mark.parametrize("branches", [1500, 0], ids=["branch by branch", "integer programme"])
def test_the_least_effort_equals_trying_every_set_on_300_cyclic_graphs(
    branches: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(access, "MOST_BRANCHES", branches)
    for seed in range(300):
        items, targets = cyclic_graph(seed)
        wanted = least_by_trying_all(items, targets)
        if wanted is None:
            with pytest.raises(CannotSay, match="cannot be got at"):
                least_release(items, targets)
            continue
        release = least_release(items, targets)

        assert release.is_proven
        assert release.cost == wanted, seed
        assert set(targets) <= set(release.order)
        assert can_be_released(items, set(release.order))


def test_no_item_of_an_answer_can_be_left_out() -> None:
    for seed in range(100):
        items, targets = cyclic_graph(seed)
        try:
            order = least_release(items, targets).order
        except CannotSay:
            continue
        for name in set(order) - set(targets):
            assert not can_be_released(items, set(order) - {name})


def test_the_order_given_is_one_that_works() -> None:
    for seed in range(100):
        items, targets = cyclic_graph(seed)
        try:
            release = least_release(items, targets)
        except CannotSay:
            continue
        done: set[str] = set()
        for name in release.order:
            assert all(any(done.issuperset(way) for way in need) for need in items[name].needs)
            assert done.issuperset(release.because[name])
            done.add(name)


def test_two_targets_with_one_order_of_work_cost_no_more_than_every_single_order() -> None:
    # Shared access: the cost of a pair is at most that of doing them in any order, one after the other.
    for seed in range(60):
        items, _ = cyclic_graph(seed)
        for pair in permutations(["i0", "i1"]):
            try:
                both = least_release(items, pair).cost
                apart = sum(least_release(items, [one]).cost for one in pair)
            except CannotSay:
                continue
            assert both <= apart


@pytest.mark.parametrize("kind", ["As_mm2", "proof_N", "VDI_FM_kN", "VDI_MA_Nm"])
def test_bolts_agree_with_a_second_implementation(kind: str) -> None:
    lines = (HERE / "bolts.csv").read_text().splitlines()
    rows = [row for row in csv.reader(line for line in lines if not line.startswith("#")) if row[0] == kind]
    allowed = {"As_mm2": 0.001, "proof_N": 0.01, "VDI_FM_kN": 0.005, "VDI_MA_Nm": 0.015}[kind]

    assert len(rows) >= 14
    for _, given, printed in rows:
        words = given.split()
        thread = read_thread(words[0])
        if kind == "As_mm2":
            found = thread.stress_area
        elif kind == "proof_N":
            found = proof_load(thread, words[1])
        elif kind == "VDI_FM_kN":
            found = assembly_preload(thread, words[1], float(words[2].removeprefix("mu="))) / 1000
        else:
            found = assembly_torque(thread, words[1], float(words[2].removeprefix("mu=")))
        assert found == pytest.approx(float(printed), rel=allowed), given
