"""Own network and pack files: the documented examples work, and complaints name file, line and key."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from driveout.errors import BadEntry, BadRows
from driveout.faults import infer, knowledge, read_findings, read_network, shipped_network

DOC = Path(__file__).parents[2] / "docs" / "formats" / "network.md"
BLOCKS = re.findall(r"```yaml\n(.*?)```", DOC.read_text(), re.S)


def test_the_documented_example_gives_the_documented_answer() -> None:
    answer = infer(read_network(BLOCKS[0], "own.yaml"), read_findings(BLOCKS[1], "found.yaml"))

    printed = re.search(
        r"clutch worn ([\d.]+), hose or pump ([\d.]+), head gasket ([\d.]+)\.\n", DOC.read_text()
    )
    assert printed is not None
    found = [answer.faults[f] for f in ("clutch", "overheating.hose", "eng_head_gasket")]
    assert [f"{p:.2f}" for p in found] == list(printed.groups())


def test_the_same_network_may_be_json() -> None:
    text = """{"schema": "driveout-network/1", "causes": {"a": {"prior": 0.2}},
               "findings": {"x": {"shows": {"a": 0.5}, "false_alarm": 0.1}}}"""

    answer = infer(read_network(text), {"x": "yes"})

    assert answer.marginals["a"]["present"] == pytest.approx(0.2 * 0.55 / (0.2 * 0.55 + 0.8 * 0.1))


def test_all_complaints_come_at_once_with_file_line_and_key() -> None:
    text = """schema: driveout-network/1
causes:
  a: {prior: 1.4}
  b: {prior: 0.1}
findings:
  x: {shows: {bb: 0.5}, false_alarm: 0.1}
  y: {shows: {b: 0.5}, false_alarm: 0.1, colour: red}
"""

    with pytest.raises(BadRows, match="3 entries of own") as refused:
        read_network(text, "own.yaml")

    places = [entry.place for entry in refused.value.entries]
    assert places == [
        "own.yaml:3 causes.a.prior",
        "own.yaml:6 findings.x.shows.bb",
        "own.yaml:7 findings.y.colour",
    ]


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ("causes: {}", "no causes"),
        ("causes: {a: {}}", "no prior"),
        ("causes: {a: {prior: maybe}}", "must be a number from 0 to 1"),
        ("causes: {a: {prior: {mean: 0.5, weight: 0}}}", "weight"),
        ("causes: {a: {prior: {a: 0, b: 0}}}", "not both 0"),
        ("causes: {a: {prior: 0.1, states: {absent: 1}}}", "both words are taken"),
        ("causes: {a: {prior: 0.1, odds: {care: {poor: 2}}}}", "is not a root"),
        ("roots: {r: {states: {x: 0.5, y: 0.4}}}\ncauses: {a: {prior: 0.1}}", "add up to 1"),
        (
            "causes: {a: {prior: 0.1}}\nfindings: {x: {outcomes: [even, low, bad], shows: {a: 0.5}}}",
            "needs 2",
        ),
        (
            "causes: {a: {prior: 0.1}}\nfindings: {x: {outcomes: [even, low, bad], shows: {a: [0.7, 0.6]}, false_alarm: [0, 0]}}",
            "more than 1",
        ),
        ("causes: {a: {prior: 0.1}}\nfindings: {x: {kind: rumour}}", "kind is 'rumour'"),
        ("causes: {a: {prior: 0.1}}\narcs: [{from: a, to: b, chance: 0.1}]", "not a cause"),
        (
            "causes: {a: {prior: 0.1}, b: {prior: 0.1}}\narcs: [{from: a, to: b, chance: 0.1}, {from: b, to: a, chance: 0.1}]",
            "circle",
        ),
        (
            "causes: {a: {prior: 0.1}, b: {prior: 0.1}}\ntables: [{child: a, parents: [b], rows: [{when: [absent], then: 0.2}]}]",
            "2 combinations",
        ),
        ("causes: {a: {prior: 0.1}}\nfindings: {a: {}}", "stands twice"),
        (
            "causes: {a: {prior: 0.1, states: {x: 1, y: 1}}}\nfindings: {f: {shows: {a: {z: 0.3}}}}",
            "no state 'z'",
        ),
    ],
)
def test_what_does_not_hold_together_is_refused(body: str, words: str) -> None:
    with pytest.raises(BadEntry, match=words) as refused:
        read_network(f"schema: driveout-network/1\n{body}\n", "own.yaml")

    assert "own.yaml" in str(refused.value)


def test_another_schema_is_refused() -> None:
    with pytest.raises(BadEntry, match="driveout-network/1"):
        read_network("schema: something/2\ncauses: {a: {prior: 0.1}}\n", "own.yaml")


def test_bare_yes_and_no_are_outcomes_not_truth_values() -> None:
    assert read_findings("a: yes\nb: no\n") == {"a": "yes", "b": "no"}


def test_evidence_must_be_lines_of_finding_and_outcome() -> None:
    with pytest.raises(BadEntry, match=r"found\.yaml:1 a.*one outcome"):
        read_findings("a: [yes, no]\n", "found.yaml")
    with pytest.raises(BadEntry, match="lines of"):
        read_findings("- a\n", "found.yaml")


def test_an_unknown_finding_is_answered_with_the_nearest_known_ones() -> None:
    with pytest.raises(BadEntry, match="d_clutch_hold"):
        infer(shipped_network("runner"), {"d_clutch_hol": "yes"})


def test_an_unknown_outcome_is_answered_with_the_possible_ones() -> None:
    with pytest.raises(BadEntry, match="even, low, very low, silent"):
        infer(shipped_network("runner"), {"b_compression": "yes"})


def test_an_own_pack_overrides_adds_and_removes() -> None:
    own = knowledge(BLOCKS[2], "own.yaml")
    shipped = knowledge()

    assert own.faults["drv_clutch_worn"].prior["runner"].mean == pytest.approx(0.2)
    assert own.faults["drv_clutch_worn"].prior["runner"].origin == "my own cars"
    assert own.faults["drv_clutch_worn"].wear == shipped.faults["drv_clutch_worn"].wear
    assert "int_smell" not in own.faults
    assert "int_smell" not in own.signs["w_smell_smoke"].shows
    assert own.checks["own_tow_socket"].findings == ("own_tow_socket",)
    more = infer(shipped_network("runner", BLOCKS[2]), {"own_tow_socket": "yes"}).faults
    assert more["own_tow_bar_wiring"] > 0.5
    assert more["drv_clutch_worn"] > infer(shipped_network("runner"), {}).faults["drv_clutch_worn"]


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ("faults: {drv_clutch_worn: {prior: {runner: 2}}}", r"own.yaml:2 faults.drv_clutch_worn.prior"),
        ("faults: {nothing: {remove: true}}", "not there to be removed"),
        ("faults: {new: {name: New}}", "needs a prior for runner, sick, dead"),
        (
            "faults: {new: {system: brakes, prior: {runner: 0.1, sick: 0.1, dead: 0.1}}}",
            "No finding shows 'new'",
        ),
        ("findings: {d_clutch_hold: {shows: {drv_cluch: 0.5}}}", "not a fault of the pack"),
        ("findings: {new: {shows: {drv_clutch_worn: 0.5}}}", "'new' is not a check"),
        ("checks: {new: {do: look, minutes: 1}}", "yields no finding"),
        ("checks: {new: {do: look}}\nfindings: {new: {false_alarm: 0.1}}", "tells nothing"),
        ("competing: {more: {faults: [eng_head_gasket, exh_leak]}}", "competes in"),
        ("faults: {drv_clutch_worn: {safety: red}}", "none, minor, major, critical"),
        ("rubbish: 3", "not a known key"),
    ],
)
def test_an_own_pack_that_does_not_hold_together_is_refused(body: str, words: str) -> None:
    with pytest.raises(BadEntry) as refused:
        knowledge(f"schema: driveout-pack/1\n{body}\n", "own.yaml")

    assert re.search(words, str(refused.value)), str(refused.value)
