"""The words on the screens have been read by somebody."""

from __future__ import annotations

import re
from pathlib import Path

from tests.layout.labels import AVOIDED, LIST, ROOT, labels, listed


def test_every_label_stands_in_the_list_that_was_read() -> None:
    assert LIST.read_text("utf-8") == listed(), "read the new labels, then: python -m tests.layout.labels"


def test_no_label_rings_of_a_program() -> None:
    found = [
        f"{folder}: {word}"
        for folder, words in labels().items()
        for word in words
        if re.search(AVOIDED, word, re.I)
    ]
    assert not found


def test_the_extraction_sees_fields_columns_and_chapters() -> None:
    every = {word for words in labels().values() for word in words}

    assert {"My rules", "Walk-away price"} & every
    assert len(every) > 400


def test_every_installed_package_stands_in_the_list_of_licences() -> None:
    locked = re.findall(r"^([a-z0-9][\w.-]*)==", Path(ROOT / "requirements.lock").read_text(), re.M | re.I)
    told = re.findall(r"^\| `([^`]+)` \| ([^|]+) \|", (ROOT / "docs/licences.md").read_text(), re.M)

    assert {name.lower() for name in locked} == {name for name, _ in told}
    assert all(licence.strip() for _, licence in told)
