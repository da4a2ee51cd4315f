"""Readings of the paint: panels against the car, flaws, what pays, and one's own passes."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from driveout.errors import CannotSay
from driveout.wear import paint, paint_plan
from driveout.wear.reading import Given, Reading, amount
from driveout.wear.topics import read_entries
from driveout.wear.verdict import FAILS, HOLDS, OPEN, Verdict


def panel_verdicts(given: Given, panels: dict[str, dict[str, Any]]) -> list[tuple[str, str, Verdict]]:
    """Judge every panel against the car's own median, and each flaw with its cure."""
    films = [
        paint.PanelFilm(panel, got["film"], got.get("material", "steel"))
        for panel, got in panels.items()
        if "film" in got
    ]
    try:
        middle: float | None = paint.car_median(films)
    except CannotSay:
        middle = None
    found = [("paint", film.panel, paint.panel_verdict(film, middle, given.limits)) for film in films]
    for panel, got in panels.items():
        if got.get("material") == "plastic" and "film" not in got:
            found.append(
                (
                    "paint",
                    panel,
                    paint.panel_verdict(paint.PanelFilm(panel, (), "plastic"), None, given.limits),
                )
            )
        if "flaw" not in got:
            continue
        verdict = paint.defect_verdict(_flaw(given, panel, got))
        found.append(("paint", panel, _levelling(given, verdict, panel, got)))
        found += [("paint", panel, worth) for worth in _worth(given, panel, got)]
    return found


def _levelling(given: Given, verdict: Verdict, panel: str, got: dict[str, Any]) -> Verdict:
    """Add the polishing plan to a flaw that may be polished."""
    if "rep_polish_panel" not in verdict.repairs or not got.get("film"):
        return verdict
    try:
        plan = _plan(given, panel, got)
    except CannotSay as error:
        return verdict.adding(outcome=OPEN, words=f"{verdict.words} {error.message}")
    words = f"{verdict.words} Takes {plan.removal_um:.1f} µm; {plan.strike:.2%} chance of striking through."
    changes: dict[str, Any] = {"words": words, "steps": plan.lines, "others": plan.budget.others}
    if plan.budget.outcome == FAILS:
        changes |= {
            "outcome": FAILS,
            "words": words + " More than the budget: leave it and disclose it, or touch it in.",
            "repairs": ("rep_touch_in",),
        }
    return verdict.adding(**changes)


def _plan(given: Given, panel: str, got: dict[str, Any]) -> paint_plan.PaintPlan:
    """Plan of one panel: shallow flaws are polished, deeper ones sanded first; what is gone already counts."""
    depth = got.get("depth", 2.0)
    grits: tuple[str, ...] = () if depth <= 3 else ("P2000", "P2500")
    gone = sum(max(0.0, one.removed.mean_um) for one in own_passes(given.history) if one.panel == panel)
    return paint_plan.plan_panel(
        panel, got["film"], depth, grits, given.limits, already_um=gone, own=own_passes(given.passes)
    )


def own_passes(readings: Iterable[Reading]) -> tuple[paint_plan.OwnPasses, ...]:
    """Every reading before and after one's own passes; each stands by itself."""
    found = []
    for reading in readings:
        if reading.topic != "passes":
            continue
        got = read_entries("passes", reading.spot, reading.entries)
        if "before" in got and "after" in got:
            removed = paint_plan.measured_removal(got["before"], got["after"])
            step, panel = got.get("step", "polish"), got.get("panel", "")
            found.append(paint_plan.OwnPasses(step, panel, removed, int(got.get("passes", 1))))
    return tuple(found)


def _worth(given: Given, panel: str, got: dict[str, Any]) -> list[Verdict]:
    """Polish, paint, or leave and disclose, in money."""
    if "uplift" not in got or "flaw" not in got:
        return []
    plan = None
    if "rep_polish_panel" in paint.defect_verdict(_flaw(given, panel, got)).repairs and got.get("film"):
        try:
            plan = _plan(given, panel, got)
        except CannotSay:
            plan = None
    choices = paint_plan.choose_treatment(
        plan,
        uplift=amount(given, got, "uplift"),
        discount_if_left=amount(given, got, "discount"),
        hours=got.get("level_hours", 2.0),
        consumables=amount(given, got, "supplies"),
        hour_worth=amount(given, got, "hour_worth"),
        repaint_cost=amount(given, got, "painter"),
        repaint_hours=got.get("paint_hours", 1.0),
    )
    best = choices[0]
    return [
        Verdict(
            f"What pays on the {panel}",
            HOLDS,
            words=f"Best for the {panel}: {best.name} ({best.net.text()}; {best.why}).",
            repairs=(best.repair,) if best.repair else (),
            steps=tuple(f"{choice.name}: {choice.net.text()}; {choice.why}" for choice in choices),
        )
    ]


def _flaw(given: Given, panel: str, got: dict[str, Any]) -> paint.Defect:
    answers = {"yes": True, "no": False}
    nail, wet = answers.get(got.get("nail", "")), answers.get(got.get("wet", ""))
    return paint.Defect(panel, got["flaw"], nail, wet, got.get("depth"))


def passes_verdicts(given: Given, got: dict[str, Any]) -> list[Verdict]:
    """Say what one's own passes took off, and what they mean for the next panel."""
    if "before" not in got or "after" not in got:
        return []
    step = got.get("step", "polish")
    measured = paint_plan.measured_removal(got["before"], got["after"])
    passes = int(got.get("passes", 1))
    words = f"{step}: {measured.mean_um:.1f} µm in {passes} passes, give or take {measured.sd_um:.1f} µm."
    own = paint_plan.own_removal(step, own_passes(given.passes))
    if own is not None:
        words += f" Yours with it from now on: {own.mean_um:.2f} µm a pass, give or take {own.sd_um:.2f}, after {own.readings} presses."
    outcome = OPEN if measured.mean_um < 0 else HOLDS
    if outcome == OPEN:
        words += " Paint does not grow: press at the very same spot again."
    return [Verdict(f"Own removal with {step}", outcome, measured.mean_um, "um", words=words)]
