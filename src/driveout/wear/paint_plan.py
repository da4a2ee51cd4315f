"""What a panel's paint allows: sanding and polishing steps, risk, calibration by one's own readings, or leaving it."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import cos, exp, pi, radians, sqrt
from statistics import median

from driveout.errors import BadEntry, CannotSay
from driveout.units import Money
from driveout.wear.limits import Limit, limits_of
from driveout.wear.paint import clear_coat, over_spots, paint_data, strike_through
from driveout.wear.verdict import FAILS, HOLDS, OtherLimit, Verdict, by_limit, judge

# The scratches of a grit are levelled with this allowance on top (our choice, docs/method/paint.md).
ALLOWANCE = 2.0
FINISH_MIN_LEFT_UM = 25.0
LEAVE = "leave it and disclose it"


def grit_d50_um(grit: str) -> float:
    """Median grain of a P grit. [um].

    Parameters
    ----------
    grit
        For example ``P1500``.

    Returns
    -------
    float
        Median grain size.

    Raises
    ------
    BadEntry
        If the grit is not in the table; P3000 and P5000 are makers' grades, not in it.

    References
    ----------
    iso-6344, from memory except P2500.
    """
    abrasives = paint_data()["abrasives"]
    name = grit.strip().upper()
    name = name if name.startswith("P") else f"P{name}"
    if name in abrasives["maker_grades"]:
        raise BadEntry(
            f"{name} is a maker's grade that the grit table does not hold. Calibrate it with your own before and after readings.",
            field="grit",
            value=grit,
            allowed=", ".join(abrasives["d50"]),
        )
    if name not in abrasives["d50"]:
        raise BadEntry(
            f"{grit!r} is not in the grit table.",
            field="grit",
            value=grit,
            allowed=", ".join(abrasives["d50"]),
        )
    return float(abrasives["d50"][name])


def scratch_depth_um(grit: str) -> float:
    """Depth of the scratches that a grit leaves, a quarter of its grain (0.15 to 0.35). [um]."""
    return float(paint_data()["abrasives"]["scratch_share"]) * grit_d50_um(grit)


def gloss_left(roughness_um: float) -> float:
    """Share of its gloss that a surface of this roughness keeps, at 20 degrees.

    ``exp[-(4 pi Rq cos(theta) / lambda)^2]``.

    Parameters
    ----------
    roughness_um
        Root-mean-square roughness. [um]

    Returns
    -------
    float
        Share of the gloss of a smooth surface.

    Raises
    ------
    BadEntry
        If the roughness is negative.

    References
    ----------
    iso-2813, geometry of 20 degrees; scalar scattering formula.

    Examples
    --------
    >>> round(gloss_left(0.02), 3)
    0.832
    """
    if roughness_um < 0:
        raise BadEntry(
            "Roughness cannot be negative.", field="roughness", value=roughness_um, allowed="0 or more"
        )
    gloss = paint_data()["gloss"]
    phase = 4.0 * pi * roughness_um * cos(radians(float(gloss["angle_deg"]))) / float(gloss["wavelength_um"])
    return exp(-(phase**2))


@dataclass(frozen=True)
class Removal:
    """Clear coat taken off per pass by this person with this abrasive, mean and standard deviation. [um]."""

    mean_um: float
    sd_um: float
    readings: int = 0


def measured_removal(
    before_um: Sequence[float], after_um: Sequence[float], repeat_sd_um: float | None = None
) -> Removal:
    """Removal from readings before and after at the same spot.

    The gauge's bias cancels; the standard deviation is ``sqrt(2) sr / sqrt(n)``.

    Parameters
    ----------
    before_um
        Presses at the same spot, equally many. [um]
    after_um
        See `before_um`.
    repeat_sd_um
        Error of one press; the shipped gauge's by default. [um]

    Returns
    -------
    Removal
        Mean removed and its standard deviation.

    Raises
    ------
    BadEntry
        If there are none, or not equally many.

    References
    ----------
    own-reasoning, docs/method/paint.md.

    Examples
    --------
    >>> round(measured_removal([110, 111, 112], [107, 108, 109]).sd_um, 2)
    1.22
    """
    if not before_um or len(before_um) != len(after_um):
        raise BadEntry(
            f"{len(before_um)} readings before and {len(after_um)} after; press equally often at the same spot.",
            field="after",
            value=len(after_um),
        )
    repeat = float(paint_data()["gauge"]["repeat_sd"]) if repeat_sd_um is None else repeat_sd_um
    n = len(before_um)
    return Removal(sum(before_um) / n - sum(after_um) / n, sqrt(2.0) * repeat / sqrt(n), n)


def calibrated(prior: Removal, measured: Sequence[tuple[Removal, int]]) -> Removal:
    """Removal per pass after one's own measurements: inverse-variance average with the general figure.

    Parameters
    ----------
    prior
        General figure per pass.
    measured
        Removal at a spot and the number of passes that made it.

    Returns
    -------
    Removal
        Mean and standard deviation per pass, never below 0.

    Raises
    ------
    BadEntry
        If a number of passes is not above 0.

    References
    ----------
    own-reasoning, docs/method/paint.md.
    """
    weight, total, count = 1.0 / prior.sd_um**2, prior.mean_um / prior.sd_um**2, 0
    for removal, passes in measured:
        if passes < 1:
            raise BadEntry("Passes must be 1 or more.", field="passes", value=passes, allowed="1 or more")
        sd = removal.sd_um / passes
        weight += 1.0 / sd**2
        total += removal.mean_um / passes / sd**2
        count += removal.readings
    return Removal(max(0.0, total / weight), sqrt(1.0 / weight), count)


def general_removal(step: str) -> Removal:
    """What a step takes off per pass before one's own readings: polish as read, sanding by the grain model.

    Parameters
    ----------
    step
        ``polish`` or a grit.

    Returns
    -------
    Removal
        Mean and standard deviation.

    References
    ----------
    paint-warranty-forum, 2.5 to 3 um for compound; iso-6344, grains from memory.
    """
    if step == "polish":
        low, high = (float(value) for value in paint_data()["polish"]["compound_um"])
        return Removal((low + high) / 2, 1.0)
    depth = scratch_depth_um(step)
    return Removal(depth, 0.4 * depth)


@dataclass(frozen=True)
class OwnPasses:
    """One measurement of one's own work: step, panel (empty when not said), what came off, in how many passes."""

    step: str
    panel: str
    removed: Removal
    passes: int


def own_removal(step: str, measured: Sequence[OwnPasses]) -> Removal | None:
    """Removal per pass of this person with this step, after every reading before and after.

    A maker's grade that the grit table does not hold has no general figure: then one's own
    readings stand alone, and without any there is nothing to say.

    Parameters
    ----------
    step
        ``polish`` or a grit.
    measured
        Own measurements of all steps.

    Returns
    -------
    Removal or None
        Per pass.

    References
    ----------
    own-reasoning, docs/method/paint.md.
    """
    own = [(one.removed, one.passes) for one in measured if one.step == step]
    if step not in paint_data()["abrasives"]["maker_grades"]:
        return calibrated(general_removal(step), own)
    return calibrated(Removal(0.0, 1e6), own) if own else None


@dataclass(frozen=True)
class PaintPlan:
    """What levelling one panel asks of its clear coat.

    Parameters
    ----------
    panel
        The panel.
    steps
        Step and what it takes off. [um]
    removal_um
        Sum over all steps. [um]
    budget
        Verdict of the removal against the budgets.
    strike
        Chance of striking through anywhere on the spots worked.
    thin
        Chance that less than 25 um stay.
    lines
        How it came about.
    """

    panel: str
    steps: tuple[tuple[str, float], ...]
    removal_um: float
    budget: Verdict
    strike: float
    thin: float
    lines: tuple[str, ...]


def sanding_removal(
    depth_um: float, grits: Sequence[str], allowance: float = 1.0
) -> tuple[tuple[str, float], ...]:
    """What levelling a flaw and each grit's own scratches takes off, step by step.

    Parameters
    ----------
    depth_um
        Depth of the flaw. [um]
    grits
        Grits from coarse to fine; empty for polishing only.
    allowance
        Factor on the scratches of each grit; 1 is the least that can be.

    Returns
    -------
    tuple of tuple
        Step and removal. [um]

    Raises
    ------
    BadEntry
        If the depth is negative or the grits do not get finer.

    Examples
    --------
    >>> round(sum(um for _, um in sanding_removal(0.0, ["P1500", "P2000", "P2500"])), 1)
    7.8
    """
    if depth_um < 0:
        raise BadEntry("Depth cannot be negative.", field="depth", value=depth_um, allowed="0 or more")
    sizes = [grit_d50_um(grit) for grit in grits]
    if any(later >= sooner for sooner, later in itertools.pairwise(sizes)):
        raise BadEntry("Grits must go from coarse to fine.", field="grits", value=" ".join(grits))
    steps: list[tuple[str, float]] = []
    remaining = depth_um
    for grit in grits:
        steps.append((grit, remaining))
        remaining = allowance * scratch_depth_um(grit)
    steps.append(("polish", remaining if grits else depth_um))
    return tuple(steps)


def plan_panel(
    panel: str,
    readings_um: Sequence[float],
    depth_um: float,
    grits: Sequence[str],
    limits: Sequence[Limit],
    *,
    already_um: float = 0.0,
    spots: int = 5,
    presses: int = 3,
    own: Sequence[OwnPasses] = (),
) -> PaintPlan:
    """Plan the levelling of one panel and say what it risks.

    Parameters
    ----------
    panel
        The panel.
    readings_um
        Film readings on it; the thinnest counts. [um]
    depth_um
        Depth of the flaw to level. [um]
    grits
        Grits from coarse to fine; empty for polishing only.
    limits
        All limits known for this car; budgets are limits of ``clear_removal_um``.
    already_um
        Clear coat known to be gone already. [um]
    spots
        Independent spots worked on.
    presses
        Presses averaged per reading.
    own
        The person's own measurements, which turn micrometres into passes.

    Returns
    -------
    PaintPlan
        Steps, removal, verdict against the budgets, risks.

    Raises
    ------
    BadEntry
        If there is no reading.
    CannotSay
        If the film is no factory finish.

    References
    ----------
    own-reasoning, docs/method/paint.md.
    """
    if not readings_um:
        raise BadEntry("The panel has no reading.", field="film")
    data = paint_data()
    spread = max(readings_um) - min(readings_um)
    if median(readings_um) > float(data["refuse"]["clear_above_um"]) or spread > float(
        data["refuse"]["clear_spread_um"]
    ):
        raise CannotSay(
            f"{panel}: median {median(readings_um):.0f} um, spread {spread:.0f} um: not an even factory finish, so the clear "
            "coat cannot be told. Do not sand it by this model.",
            missing="an even film below 180 um",
        )
    thin = min(readings_um)
    steps = sanding_removal(depth_um, grits, ALLOWANCE if grits else 1.0)
    removal = sum(um for _, um in steps)
    budget = judge(
        f"Clear coat taken off the {panel}",
        removal + already_um,
        "um",
        limits_of("clear_removal_um", limits),
        close=1.0,
    )
    strike = over_spots(strike_through(thin, removal + already_um, presses=presses), spots)
    left_thin = over_spots(
        strike_through(thin, removal + already_um, least_left_um=FINISH_MIN_LEFT_UM, presses=presses), spots
    )
    clear = clear_coat(thin, presses)
    lines = (
        f"thinnest reading {thin:.0f} um: clear coat {clear.mean_um:.0f} um, give or take {clear.sd_um:.1f} um",
        *(f"{step}: {um:.1f} um, {_in_passes(step, um, own)}" for step, um in steps),
        f"left of the budget for polish: {_in_passes('polish', max(0.0, _room(budget) - removal - already_um), own)}",
        f"sum {removal:.1f} um" + (f" and {already_um:.1f} um gone before" if already_um else ""),
        f"striking through at {spots} spots: {strike:.2%}; less than {FINISH_MIN_LEFT_UM:.0f} um left: {left_thin:.0%}",
        "total film says little about the clear coat in it; edges and body lines are thinner, stay off them",
    )
    return PaintPlan(panel, steps, removal, budget, strike, left_thin, lines)


def _in_passes(step: str, um: float, own: Sequence[OwnPasses]) -> str:
    """Micrometres as passes of this person, and whose figure that leans on."""
    removal = own_removal(step, own)
    if removal is None or removal.mean_um <= 0:
        return "passes unknown: measure before and after"
    whose = f"your {removal.readings} presses" if removal.readings else "the general figure"
    return f"about {um / removal.mean_um:.1f} passes at {removal.mean_um:.2f} um by {whose}"


def _room(budget: Verdict) -> float:
    """Budget that decided. [um]."""
    return budget.decided_by.value if budget.decided_by is not None else 0.0


@dataclass(frozen=True)
class PaintChoice:
    """One way to treat a panel: what it brings the owner after money, hours and risk; no repair when it is left."""

    name: str
    net: Money
    why: str
    repair: str


def choose_treatment(
    plan: PaintPlan | None,
    *,
    uplift: Money,
    discount_if_left: Money,
    hours: float,
    consumables: Money,
    hour_worth: Money,
    repaint_cost: Money,
    repaint_hours: float,
) -> list[PaintChoice]:
    """Weigh levelling a panel against painting it and against leaving and disclosing it, best first.

    Parameters
    ----------
    plan
        Levelling plan; None when levelling cannot work.
    uplift
        What a buyer pays more for the panel made good.
    discount_if_left
        What a buyer takes off for the flaw shown openly.
    hours
        Own hours and material of levelling.
    consumables
        See `hours`.
    hour_worth
        Worth of one own hour.
    repaint_cost
        Material or painter's bill, and own hours, of painting the panel.
    repaint_hours
        See `repaint_cost`.

    Returns
    -------
    list of PaintChoice
        Best first; a plan over the budget is not offered.

    References
    ----------
    own-reasoning, docs/method/paint.md.
    """

    def wage(for_hours: float) -> Money:
        return hour_worth.times(Decimal(str(for_hours)))

    paint_net = uplift - repaint_cost - wage(repaint_hours)
    choices = [
        PaintChoice(
            LEAVE,
            -discount_if_left,
            f"buyer takes off {discount_if_left.text()}",
            "",
        ),
        PaintChoice(
            "paint the panel",
            paint_net,
            f"{repaint_cost.text()} and {repaint_hours:g} h; never spray two-part clear at home without supplied air",
            "rep_panel_paint",
        ),
    ]
    if plan is not None and plan.budget.outcome != FAILS:
        strike = Decimal(str(plan.strike))
        # A strike-through costs the levelling and then the painting as well.
        net = uplift - consumables - wage(hours) - (repaint_cost + wage(repaint_hours)).times(strike)
        choices.append(
            PaintChoice(
                "level and polish it" if len(plan.steps) > 1 else "polish it",
                net,
                f"{consumables.text()} and {hours:g} h, {plan.strike:.2%} chance that it must be painted after all",
                "rep_polish_panel",
            )
        )
    return sorted(choices, key=lambda choice: -choice.net.minor)


def budget_rules(limits: Sequence[Limit], removal_um: float) -> list[OtherLimit]:
    """What every known rule on removal says; they disagree by a factor of two."""
    return [OtherLimit(limit, by_limit(limit, removal_um)) for limit in limits_of("clear_removal_um", limits)]


__all__ = [
    "HOLDS",
    "PaintChoice",
    "PaintPlan",
    "Removal",
    "budget_rules",
    "calibrated",
    "choose_treatment",
    "general_removal",
    "gloss_left",
    "grit_d50_um",
    "measured_removal",
    "plan_panel",
    "sanding_removal",
    "scratch_depth_um",
]
