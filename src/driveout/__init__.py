"""driveout: one used car from advert to sale, with one living outlook.

The four questions can be asked without any record: `weigh` an advert, plan how to `strip` an
assembly, `appraise` a car from comparables, make an `asking_plan`.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__all__ = ["appraise", "asking_plan", "strip", "weigh"]

_HOMES = {
    "appraise": "driveout.market",
    "asking_plan": "driveout.selling",
    "strip": "driveout.workshop",
    "weigh": "driveout.hunt",
}


def __getattr__(name: str) -> Any:
    # Looked up when first asked for: importing the package alone must stay quick.
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'driveout' has no attribute {name!r}")
