"""Our own drawing of a car from above, panel by panel: where each lies and where its value is written."""

from __future__ import annotations

from dataclasses import dataclass

from driveout.wear.verdict import FAILS, HOLDS, OPEN

WIDTH, HEIGHT = 340, 620


@dataclass(frozen=True)
class PanelShape:
    """Outline of one panel and where its value is written, in drawing units."""

    panel: str
    points: str
    x: int
    y: int


# Nose up; the sides are folded outward so that doors and wings can be seen.
SHAPES: tuple[PanelShape, ...] = (
    PanelShape("bonnet", "110,60 170,46 230,60 240,190 100,190", 170, 130),
    PanelShape("roof", "112,262 228,262 222,430 118,430", 170, 350),
    PanelShape("tailgate", "112,492 228,492 218,572 122,572", 170, 536),
    PanelShape("left wing", "30,80 94,72 90,196 30,206", 60, 140),
    PanelShape("right wing", "310,80 246,72 250,196 310,206", 280, 140),
    PanelShape("left front door", "24,212 88,204 88,322 24,326", 56, 268),
    PanelShape("right front door", "316,212 252,204 252,322 316,326", 284, 268),
    PanelShape("left rear door", "24,332 88,328 88,432 24,428", 56, 382),
    PanelShape("right rear door", "316,332 252,328 252,432 316,428", 284, 382),
    PanelShape("left quarter", "30,436 92,440 104,560 40,546", 64, 500),
    PanelShape("right quarter", "310,436 248,440 236,560 300,546", 276, 500),
    PanelShape("left sill", "4,214 18,214 18,428 4,428", 11, 320),
    PanelShape("right sill", "336,214 322,214 322,428 336,428", 329, 320),
)
# Glass is drawn but never measured.
GLASS: tuple[str, ...] = ("100,196 240,196 226,256 114,256", "118,436 222,436 230,486 110,486")
# A mark beside the value says the outcome without any colour.
MARKS = {HOLDS: "", FAILS: "✕", OPEN: "?"}


def mark(outcome: str) -> str:
    """Mark of an outcome: nothing when it holds, a cross past the limit, ? when open, ! when close."""
    return MARKS.get(outcome, "!")
