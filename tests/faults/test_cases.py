"""The pack is held to written cases: which fault a mechanic would put first, before and after the checks."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

from driveout.faults import Posterior, infer, knowledge, shipped_network, with_silence
from driveout.hunt.reader import read_advert

CASES = yaml.safe_load((Path(__file__).parent / "cases.yaml").read_text())["cases"]
SPOKEN_FOR = 0.7  # log odds: twice as likely as before


def first(start: Posterior, answer: Posterior) -> list[str]:
    """Faults that the evidence speaks for, most probable first."""

    def odds(p: float) -> float:
        return float(np.log(max(p, 1e-12)) - np.log1p(-min(p, 1 - 1e-12)))

    raised = [f for f, p in answer.faults.items() if odds(p) - odds(start.faults[f]) > SPOKEN_FOR]
    return sorted(raised, key=lambda f: -answer.faults[f])


def test_there_are_at_least_40_cases() -> None:
    assert len(CASES) >= 40


@pytest.mark.parametrize("case", CASES, ids=[c["text"] for c in CASES])
def test_the_pack_puts_first_what_a_mechanic_would(case: dict[str, Any]) -> None:
    network = shipped_network(case["runs"], None, case["car"])
    start = infer(network, {})
    said = with_silence(network, dict.fromkeys(case["says"], "yes"))

    before = first(start, infer(network, said))
    after = first(start, infer(network, said | case["checks"]))

    assert before[:1] == [case["before"]], before[:4]
    assert after[:1] == [case["after"]], after[:4]


@pytest.mark.parametrize("case", CASES, ids=[c["text"] for c in CASES])
def test_the_words_of_the_advert_lead_to_these_findings(case: dict[str, Any]) -> None:
    phrases = tuple((finding, one) for finding, words in knowledge().words.items() for one in words)

    advert = read_advert(case["text"], phrases=phrases, today_year=2026).advert()

    assert {s.finding for s in advert.symptoms if s.said == "yes"} == set(case["says"])
