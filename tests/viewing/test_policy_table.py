"""The small table of a policy: the documented example, unusual nodes, and what is refused."""

import json
import re
from math import inf
from pathlib import Path

import pytest

from driveout.errors import BadEntry
from driveout.viewing import Node, Policy, as_table, decide, from_table, read_problem
from driveout.viewing.record_file import read_record

DOCUMENT = Path(__file__).parents[2] / "docs" / "formats" / "decision.md"


def documented(schema: str) -> str:
    blocks = re.findall(r"```json\n(.*?)```", DOCUMENT.read_text(encoding="utf-8"), re.DOTALL)
    return str(next(block for block in blocks if f'"{schema}"' in block))


def test_the_documented_policy_says_what_the_page_says_of_it() -> None:
    policy = from_table(json.loads(documented("driveout-policy/1")))
    holds, slips = (policy.after(policy.start, "road test", outcome) for outcome in ("holds", "slips"))

    assert [policy.advice(".", price) for price in (0.0, 899.0, 900.0, 1099.0, 1100.0)] == [
        "buy",
        "buy",
        "road test",
        "road test",
        "walk",
    ]
    assert policy.advice(holds, 1299.0) == "buy"
    assert policy.advice(slips, 701.0) == "walk"
    assert as_table(policy) == json.loads(documented("driveout-policy/1"))


def test_the_documented_record_is_read() -> None:
    record = read_record(documented("driveout-record/1"))

    assert record.price_minor == 55_000
    assert record.steps[0].found == {"d_clutch_hold": "yes"}


def test_nodes_that_are_nowhere_usual_come_back_as_they_were() -> None:
    nodes = {
        ".": Node(900.0, ((0.0, 0), (400.0, -1), (900.0, -2))),
        "0": Node(inf, ((0.0, -1),)),
        "1": Node(None, ((0.0, -2),)),
    }
    policy = Policy(("buy", "walk"), ("look",), (("sound", "faulty", "never"),), nodes, (0.0, inf))
    again = from_table(json.loads(json.dumps(as_table(policy))))

    assert dict(again.nodes) == nodes
    assert again.price_range == (0.0, inf)


def test_a_policy_that_starts_from_what_is_known_keeps_its_start() -> None:
    text = re.search(r"```yaml\n(.*?)```", DOCUMENT.read_text(encoding="utf-8"), re.DOTALL)
    assert text
    problem, _ = read_problem(text[1])
    policy = decide(problem, {"road test": "slips"}).policy

    assert from_table(as_table(policy, 9)).from_position == "2.."
    assert set(from_table(as_table(policy, 9)).nodes) == set(policy.nodes)


def test_another_unit_of_money_scales_every_price() -> None:
    policy = from_table(json.loads(documented("driveout-policy/1"))).scaled(100.0)

    assert policy.nodes["."].ceiling == 110_000.0
    assert policy.nodes["."].step_at(89_999.0) == -1
    assert policy.price_range == (0.0, 200_000.0)


def test_another_kind_of_file_and_an_unknown_position_are_refused() -> None:
    policy = from_table(json.loads(documented("driveout-policy/1")))

    with pytest.raises(BadEntry, match="expected 'driveout-policy/1'"):
        from_table({"schema": "driveout-sheet/1"})
    with pytest.raises(BadEntry, match="never leads to"):
        policy.advice("7", 100.0)
    with pytest.raises(BadEntry, match="no check 'kick'"):
        policy.after(".", "kick", "holds")
    with pytest.raises(BadEntry, match="no outcome 'sings'"):
        policy.after(".", "road test", "sings")
