"""The commands with real arguments and exit codes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from driveout.app import run

NETWORK = """schema: driveout-network/1
causes: {a: {prior: 0.2}}
findings: {x: {shows: {a: 0.75}, false_alarm: 0.2}}
"""


def written(folder: Path, name: str, text: str) -> str:
    (folder / name).write_text(text)
    return str(folder / name)


def test_causes_answers_from_an_own_network(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    network, found = written(tmp_path, "n.yaml", NETWORK), written(tmp_path, "e.yaml", "x: yes\n")

    code = run(["causes", "--network", network, "--evidence", found, "--json"])

    data = json.loads(capsys.readouterr().out)
    assert code == 0
    assert data["marginals"]["a"]["present"] == pytest.approx(0.2 * 0.8 / (0.2 * 0.8 + 0.8 * 0.2))
    assert data["speaks"]["a"][0]["finding"] == "x"


def test_causes_answers_from_the_shipped_pack_in_words(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    found = written(tmp_path, "e.yaml", "say_clutch: yes\n")

    assert run(["causes", "--runs", "sick", "--evidence", found, "--silence"]) == 0

    assert "Clutch worn" in capsys.readouterr().out.splitlines()[1]


@pytest.mark.parametrize(
    ("network", "evidence", "words"),
    [
        ("schema: driveout-network/1\ncauses: {a: {prior: 3}}\n", "x: yes\n", "n.yaml:2 causes.a.prior"),
        (NETWORK, "xx: yes\n", "Nearest known"),
        (NETWORK, "x: perhaps\n", "no, yes, silent"),
        ("causes: [\n", "x: yes\n", "n.yaml"),
    ],
)
def test_bad_files_are_refused_with_exit_code_1(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], network: str, evidence: str, words: str
) -> None:
    files = written(tmp_path, "n.yaml", network), written(tmp_path, "e.yaml", evidence)

    code = run(["causes", "--network", files[0], "--evidence", files[1]])

    assert code == 1
    assert words in capsys.readouterr().err


def test_a_missing_file_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["causes", "--network", "/nowhere/n.yaml"]) == 1
    assert "cannot be read" in capsys.readouterr().err


def test_pack_counts_what_it_holds(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["pack", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["faults"] >= 70

    own = written(tmp_path, "own.yaml", "schema: driveout-pack/1\nfaults: {int_smell: {remove: true}}\n")
    assert run(["pack", own]) == 0
