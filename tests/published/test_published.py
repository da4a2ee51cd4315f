"""Runs every sheet of printed values; the tolerance is half a unit of the last printed digit."""

from __future__ import annotations

import importlib
import math
import tomllib
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from driveout.sources import cite

HERE = Path(__file__).parent
_ATTRIBUTES = {"source", "place", "call", "given", "pick", "printed", "tolerance", "why", "exact", "status"}


def cases() -> Iterator[Any]:
    for sheet in sorted(HERE.glob("*.toml")):
        for number, case in enumerate(tomllib.loads(sheet.read_text())["case"], 1):
            given = ", ".join(f"{key}={value}" for key, value in case.get("given", {}).items())
            name = f"{sheet.stem} {number}: {case['source']}, {case['place']}: {given}"[:120]
            yield pytest.param(case, id=name + (f" -> {case['pick']}" if "pick" in case else ""))


def called(case: dict[str, Any]) -> Any:
    module, _, name = case["call"].partition(":")
    result = getattr(importlib.import_module(module), name)(**case.get("given", {}))
    for step in filter(None, case.get("pick", "").split(".")):
        if isinstance(result, dict):
            result = result[step] if step in result else result[int(step)]
        elif step.lstrip("-").isdigit():
            result = result[int(step)]
        else:
            result = getattr(result, step)
    return result


def tolerance(case: dict[str, Any]) -> float:
    printed = Decimal(case["printed"])
    if "tolerance" in case:
        assert case.get("why"), "a widened tolerance says why"
        text = str(case["tolerance"])
        return abs(float(printed)) * float(text[:-1]) / 100 if text.endswith("%") else float(text)
    return float(Decimal(5).scaleb(int(printed.as_tuple().exponent) - 1))


@pytest.mark.parametrize("case", list(cases()))
def test_a_printed_value_is_reproduced(case: dict[str, Any]) -> None:
    assert not set(case) - _ATTRIBUTES, "unknown key in the sheet"
    cite(case["source"])
    result = called(case)
    if case.get("exact"):
        assert str(result) == case["printed"]
        return
    assert not isinstance(result, bool)
    value = float(result)

    assert math.isclose(value, float(case["printed"]), rel_tol=0, abs_tol=tolerance(case) * (1 + 1e-9)), (
        f"{case['source']}, {case['place']}: printed {case['printed']}, computed {value!r}"
    )
