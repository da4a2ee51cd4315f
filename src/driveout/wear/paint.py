"""Paint film: readings per panel, repaint and filler likelihood, how thick the clear coat may be."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from math import erf, exp, log, pi, sqrt
from statistics import median
from typing import Any

from driveout.errors import BadEntry, CannotSay
from driveout.files import shipped, yaml_document
from driveout.wear.limits import Limit, limits_of
from driveout.wear.verdict import CLOSE, FAILS, HOLDS, OPEN, Finding, Verdict, judge

PANELS = (
    "bonnet",
    "roof",
    "tailgate",
    "left wing",
    "right wing",
    "left front door",
    "right front door",
    "left rear door",
    "right rear door",
    "left quarter",
    "right quarter",
    "left sill",
    "right sill",
)
MATERIALS = ("steel", "aluminium", "plastic")
# Chances before a panel is measured, and how far a repaint or filler lifts the film: our choice, docs/method/paint.md.
_REPAINT, _FILLER = 0.12, 0.03
_SPREAD_ORIGINAL, _LIFT_REPAINT, _SPREAD_REPAINT = 15.0, 100.0, 50.0
_FILLER_MEDIAN, _FILLER_LOG_SD = 800.0, 0.6
POINT_FINDING_UM = 300.0
OVER_CAR_FINDING_UM = 60.0


@cache
def paint_data() -> dict[str, Any]:
    """The shipped figures about paint."""
    data: dict[str, Any] = yaml_document(shipped("driveout.wear", "data/paint.yaml"), "paint.yaml").data
    return data


def normal_below(z: float) -> float:
    """Share of a standard normal below z."""
    return 0.5 * (1.0 + erf(z / sqrt(2.0)))


@dataclass(frozen=True)
class FilmModel:
    """Layers of a factory finish and the gauge that sees only their total.

    Parameters
    ----------
    total_mean, total_sd
        Total film. [um]
    clear_mean, clear_sd
        Clear coat in it. [um]
    bias_sd, repeat_sd
        Gauge: error that does not average out, and error of one press. [um]
    """

    total_mean: float
    total_sd: float
    clear_mean: float
    clear_sd: float
    bias_sd: float
    repeat_sd: float


@cache
def factory_film() -> FilmModel:
    """The model that ships: N(21,2) + N(30,5) + N(16,3) + clear N(45,6)."""
    data = paint_data()
    layers = [data["layers"][name] for name in ("e_coat", "primer", "base", "clear")]
    clear, gauge = data["layers"]["clear"], data["gauge"]
    return FilmModel(
        float(sum(layer["mean"] for layer in layers)),
        sqrt(sum(layer["sd"] ** 2 for layer in layers)),
        float(clear["mean"]),
        float(clear["sd"]),
        float(gauge["bias_sd"]),
        float(gauge["repeat_sd"]),
    )


@dataclass(frozen=True)
class ClearCoat:
    """What a total film says about the clear coat in it: mean and standard deviation. [um]."""

    mean_um: float
    sd_um: float


def clear_coat(total_um: float, presses: int = 3, model: FilmModel | None = None) -> ClearCoat:
    """Clear coat given the mean of some readings of the total at one spot.

    Linear-Gaussian: ``b = sC^2 / (sT^2 + sb^2 + sr^2/n)``, ``E = muC + b (y - muT)``,
    ``sd = sC sqrt(1 - b)``. The total says little: the doubt only falls from 6 to 4.4 um.

    Parameters
    ----------
    total_um
        Mean reading. [um]
    presses
        Number of presses averaged, at least 1.
    model
        Layers and gauge; the shipped factory finish by default.

    Returns
    -------
    ClearCoat
        Mean and standard deviation.

    Raises
    ------
    BadEntry
        If there is no press.
    CannotSay
        If the film is too thick for a factory finish.

    References
    ----------
    own-reasoning, docs/method/paint.md.

    Examples
    --------
    >>> clear = clear_coat(112.0)
    >>> round(clear.mean_um, 1), round(clear.sd_um, 2)
    (45.0, 4.38)
    """
    if presses < 1:
        raise BadEntry("At least one press is needed.", field="presses", value=presses, allowed="1 or more")
    if model is None:
        ceiling = float(paint_data()["refuse"]["clear_above_um"])
        if total_um > ceiling:
            raise CannotSay(
                f"{total_um:.0f} um is more than a factory finish; the clear coat of a repaint cannot be told from the total.",
                missing="a cross-section or the painter's word",
            )
    film = model or factory_film()
    b = film.clear_sd**2 / (film.total_sd**2 + film.bias_sd**2 + film.repeat_sd**2 / presses)
    return ClearCoat(film.clear_mean + b * (total_um - film.total_mean), film.clear_sd * sqrt(1.0 - b))


def strike_through(
    total_um: float,
    removed_um: float,
    *,
    least_left_um: float = 0.0,
    presses: int = 3,
    model: FilmModel | None = None,
) -> float:
    """Chance that taking off so much leaves less than so much clear coat at one spot.

    ``P = Phi[(r + Cmin - E) / sqrt(sd^2 + (0.35 r)^2 + 2^2)]``: the clear coat is not known, nor is
    the removal exact (35 %), nor the film even from spot to spot (2 um).

    Parameters
    ----------
    total_um
        Mean reading of the total film, at the thinnest spot. [um]
    removed_um
        Removal aimed at. [um]
    least_left_um
        Clear coat that must stay; 0 asks for striking through. [um]
    presses
        Number of presses averaged.
    model
        Layers and gauge.

    Returns
    -------
    float
        Probability at one spot.

    References
    ----------
    own-reasoning, docs/method/paint.md.
    """
    clear = clear_coat(total_um, presses, model)
    removal = paint_data()["removal"]
    spread = sqrt(
        clear.sd_um**2 + (float(removal["spread_share"]) * removed_um) ** 2 + float(removal["local_sd"]) ** 2
    )
    return normal_below((removed_um + least_left_um - clear.mean_um) / spread)


def over_spots(chance: float, spots: int) -> float:
    """Chance at any of several independent spots, ``1 - (1 - p)^k``."""
    return 1.0 - (1.0 - chance) ** spots


@dataclass(frozen=True)
class PanelFilm:
    """Readings on one panel.

    Parameters
    ----------
    panel
        One of `PANELS`.
    readings_um
        Readings at different points. [um]
    material
        ``steel``, ``aluminium`` or ``plastic``.
    """

    panel: str
    readings_um: tuple[float, ...]
    material: str = "steel"


def panel_likelihood(panel_um: float, car_um: float) -> dict[str, float]:
    """Chances that a panel is original, repainted or filled, given its median and the car's.

    Three competing causes with normal, normal and lognormal films. The chances before and the
    widths are our own choice, not a standard.

    Parameters
    ----------
    panel_um
        Median of the panel. [um]
    car_um
        Median of the car's panels. [um]

    Returns
    -------
    dict
        ``original``, ``repainted``, ``filler``; they add up to 1.

    Raises
    ------
    BadEntry
        If a reading is not above 0.

    References
    ----------
    own-reasoning, docs/method/paint.md.
    """
    if panel_um <= 0 or car_um <= 0:
        raise BadEntry("A film reading must be above 0.", field="film", value=panel_um)

    def bell(value: float, mean: float, sd: float) -> float:
        return exp(-0.5 * ((value - mean) / sd) ** 2) / (sd * sqrt(2 * pi))

    logs = {
        "original": (1 - _REPAINT - _FILLER) * bell(panel_um, car_um, _SPREAD_ORIGINAL),
        "repainted": _REPAINT * bell(panel_um, car_um + _LIFT_REPAINT, _SPREAD_REPAINT),
        "filler": _FILLER * bell(log(panel_um), log(_FILLER_MEDIAN), _FILLER_LOG_SD) / panel_um,
    }
    total = sum(logs.values())
    if total == 0.0:  # pragma: no cover - the lognormal never vanishes inside the accepted range
        return {"original": 0.0, "repainted": 0.0, "filler": 1.0}
    return {name: value / total for name, value in logs.items()}


def car_median(panels: Sequence[PanelFilm]) -> float:
    """Median of the panels' medians, plastic left out; a few repainted panels do not move it much.

    Parameters
    ----------
    panels
        Readings by panel.

    Returns
    -------
    float
        Median. [um]

    Raises
    ------
    CannotSay
        If fewer than 3 metal panels are measured.
    """
    medians = [median(film.readings_um) for film in panels if film.material != "plastic" and film.readings_um]
    if len(medians) < 3:
        raise CannotSay(
            "At least three metal panels are needed to know what this car's own paint measures.",
            missing="more panels",
        )
    return median(medians)


def panel_verdict(film: PanelFilm, car_um: float | None, limits: Sequence[Limit]) -> Verdict:
    """Judge the film of one panel.

    Parameters
    ----------
    film
        Its readings.
    car_um
        Median of this car; None when too few panels are known.
    limits
        All limits known for this car.

    Returns
    -------
    Verdict
        With chances of repaint and filler.

    Raises
    ------
    BadEntry
        If the panel or material is unknown, or there is no reading.

    References
    ----------
    paint-pages, 90 to 180 um from the factory, 200 and above likely a repaint.
    """
    if film.panel not in PANELS:
        raise BadEntry(
            f"{film.panel!r} is not a panel.", field="panel", value=film.panel, allowed=", ".join(PANELS)
        )
    if film.material not in MATERIALS:
        raise BadEntry(
            f"{film.material!r} is not a material.",
            field="material",
            value=film.material,
            allowed=", ".join(MATERIALS),
        )
    what = f"Paint on the {film.panel}"
    if film.material == "plastic":
        return Verdict(
            what, OPEN, words=f"{what}: plastic gives no or false readings; look and feel instead."
        )
    if not film.readings_um:
        raise BadEntry("The panel has no reading.", field="film")
    middle, highest = median(film.readings_um), max(film.readings_um)
    verdict = judge(what, middle, "um", limits_of("film_um", limits))
    high = highest > POINT_FINDING_UM or (car_um is not None and middle > car_um + OVER_CAR_FINDING_UM)
    verdict = verdict.adding(
        findings=(
            Finding(
                "w_paint_gauge",
                high,
                f"{what} {middle:.0f} um, highest {highest:.0f}",
                grade=2 if highest > POINT_FINDING_UM else None,
            ),
        )
    )
    if car_um is None:
        return verdict
    chances = panel_likelihood(middle, car_um)
    steps = (
        f"car's own median {car_um:.0f} um; original {chances['original']:.0%}, repainted {chances['repainted']:.0%}, "
        f"filler {chances['filler']:.0%}",
    )
    words = verdict.words
    if highest > 1000:
        words += " Filler is nearly certain under the highest point: tap it, use a magnet, look for the repair below."
    elif chances["original"] < 0.5:
        words += " Probably not the factory's paint: ask what happened there."
    return verdict.adding(
        words=words, steps=steps, outcome=CLOSE if high and verdict.outcome == HOLDS else verdict.outcome
    )


DEFECTS = ("swirls", "scratch", "scratch felt by nail", "peeling clear", "rust bubble", "stone chip", "dull")


@dataclass(frozen=True)
class Defect:
    """A flaw in the paint with the evidence for its depth.

    Parameters
    ----------
    panel
        Where.
    kind
        One of `DEFECTS`.
    nail_catches
        Whether a fingernail catches in it; None when not tried.
    gone_when_wet
        Whether water makes it vanish; None when not tried.
    depth_um
        Measured depth, if any. [um]
    """

    panel: str
    kind: str
    nail_catches: bool | None = None
    gone_when_wet: bool | None = None
    depth_um: float | None = None


def defect_verdict(defect: Defect) -> Verdict:
    """Say whether a flaw lies within the clear coat, and what cures it.

    Parameters
    ----------
    defect
        The flaw.

    Returns
    -------
    Verdict
        With findings for nail and wet test, and the repair that fits.

    Raises
    ------
    BadEntry
        If the panel or kind is unknown.

    References
    ----------
    paint-pages, a scratch that catches a nail is likely too deep to level.
    """
    if defect.panel not in PANELS:
        raise BadEntry(
            f"{defect.panel!r} is not a panel.", field="panel", value=defect.panel, allowed=", ".join(PANELS)
        )
    if defect.kind not in DEFECTS:
        raise BadEntry(
            f"{defect.kind!r} is not a flaw.", field="kind", value=defect.kind, allowed=", ".join(DEFECTS)
        )
    what = f"{defect.kind.capitalize()} on the {defect.panel}"
    if defect.kind == "peeling clear":
        return Verdict(
            what,
            FAILS,
            words=f"{what}: nothing to polish is left. Paint the panel, swap it, or leave and disclose.",
            findings=(Finding("w_clear_peel", True, what),),
            repairs=("rep_panel_paint", "rep_panel_used"),
        )
    if defect.kind == "rust bubble":
        return Verdict(
            what,
            FAILS,
            words=f"{what}: the steel rusts from below; polishing hides nothing.",
            findings=(Finding("w_bubble_rust", True, what),),
            repairs=("rep_rust_cosmetic",),
        )
    nail = (
        defect.nail_catches
        if defect.nail_catches is not None
        else (True if defect.kind == "scratch felt by nail" else None)
    )
    findings = []
    if nail is not None:
        findings.append(
            Finding("w_nail_scratch", nail, f"{what}: nail {'catches' if nail else 'glides'}", grade=1 + nail)
        )
    if defect.gone_when_wet is not None:
        findings.append(
            Finding(
                "w_wet_scratch",
                not defect.gone_when_wet,
                f"{what}: {'gone' if defect.gone_when_wet else 'seen'} when wet",
                grade=1 if defect.gone_when_wet else 2,
            )
        )
    if nail or defect.gone_when_wet is False or (defect.depth_um or 0) > 20 or defect.kind == "stone chip":
        return Verdict(
            what,
            FAILS,
            defect.depth_um,
            "um",
            words=f"{what}: too deep to level. Touch it in, paint the panel, or leave and disclose.",
            findings=tuple(findings),
            repairs=("rep_touch_in", "rep_panel_paint"),
        )
    if nail is None and defect.gone_when_wet is None and defect.kind == "scratch":
        return Verdict(
            what, OPEN, words=f"{what}: draw a nail across it and wet it; only that tells the depth."
        )
    return Verdict(
        what,
        HOLDS,
        defect.depth_um,
        "um",
        words=f"{what}: lies within the clear coat and can be polished, if the film allows.",
        findings=tuple(findings),
        repairs=("rep_polish_panel",),
    )


def thin_spread(readings_um: Mapping[str, Sequence[float]]) -> dict[str, float]:
    """Spread of the readings on each panel, highest minus lowest. [um]."""
    return {panel: max(values) - min(values) for panel, values in readings_um.items() if values}
