"""The person's own files: every complaint names file, line and key."""

from __future__ import annotations

import pytest

from driveout.errors import BadEntry
from driveout.files import yaml_document


def test_a_key_knows_its_line() -> None:
    document = yaml_document("schema: a/1\nfaults:\n  bent:\n    prior: 2\n", "net.yaml", "a/1")

    assert document.bad(("faults", "bent", "prior"), "too large").place == "net.yaml:4 faults.bent.prior"


def test_json_is_read_too() -> None:
    assert yaml_document('{"schema": "a/1", "x": [1, 2]}', "a.json", "a/1").data["x"] == [1, 2]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("a: [1, 2", "torn"),
        ("a: !!python/object/apply:os.system [ls]", "tag"),
        ("a: !own 1", "tag"),
        ("a: 1\na: 2", "twice"),
        ("a: .nan", "finite"),
        ("a: " + "9" * 5000, "cannot be read"),
        ("\x00", "not readable"),
        ("x: " + "[" * 60 + "]" * 60, "deeper"),
        ("? [a, b]\n: 1", "key must be plain"),
    ],
)
def test_torn_or_hostile_files_are_refused_with_a_line(text: str, words: str) -> None:
    with pytest.raises(BadEntry, match=words) as caught:
        yaml_document(text, "bad.yaml")

    assert caught.value.place.startswith("bad.yaml:")


def test_an_alias_bomb_is_refused() -> None:
    bomb = "a: &a [x, x, x, x, x, x, x, x, x]\n" + "".join(
        f"{chr(98 + i)}: &{chr(98 + i)} [{', '.join(['*' + chr(97 + i)] * 9)}]\n" for i in range(11)
    )
    with pytest.raises(BadEntry, match=r"alias|repeats"):
        yaml_document(bomb, "bomb.yaml")


def test_a_file_of_six_megabytes_is_refused() -> None:
    with pytest.raises(BadEntry, match="limit"):
        yaml_document(b"x" * 6_000_000, "big.yaml")


def test_the_schema_is_demanded_by_name() -> None:
    with pytest.raises(BadEntry, match=r"'driveout-network/1' is needed"):
        yaml_document("schema: other/1\n", "n.yaml", "driveout-network/1")


def test_words_that_yaml_takes_for_truth_stay_words_as_keys() -> None:
    assert yaml_document("on: 1\nno: 2\n", "w.yaml").data == {"on": 1, "no": 2}
