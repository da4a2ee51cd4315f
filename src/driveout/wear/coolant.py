"""Coolant: freezing point by volume or by mass, how much to replace, repeated drain and fill."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any

from driveout.errors import BadEntry, CannotSay
from driveout.files import shipped, yaml_document
from driveout.wear.battery import along
from driveout.wear.limits import Limit, limits_of
from driveout.wear.verdict import CLOSE, Finding, Verdict, judge

GLYCOLS = ("ethylene", "propylene")
_DEADLY = (
    "Ethylene glycol tastes sweet and kills: a few mouthfuls a person, far less a cat or dog. Catch what you drain, "
    "wipe up spills, hand it in, never mixed with oil."
)


@cache
def _tables() -> dict[str, Any]:
    data: dict[str, Any] = yaml_document(shipped("driveout.wear", "data/coolant.yaml"), "coolant.yaml").data
    tables: dict[str, Any] = data["freeze"]
    return tables


def freezing_c(percent: float, *, glycol: str = "ethylene", by: str = "volume") -> float:
    """Freezing point of a water and glycol mix.

    Parameters
    ----------
    percent
        Share of glycol, 0 to 60. [%]
    glycol
        ``ethylene`` or ``propylene``.
    by
        ``volume`` as mixed from canisters, or ``mass``.

    Returns
    -------
    float
        Temperature. [C]

    Raises
    ------
    BadEntry
        If the share is outside 0 to 100, or a name is unknown.
    CannotSay
        Above 60 %: the tables end, and beyond 60 to 70 % protection gets worse.

    References
    ----------
    coolprop-glycols, computed; glycol-handbook for the upper end.

    Examples
    --------
    >>> freezing_c(50), freezing_c(50, by="mass")
    (-37.11, -35.99)
    """
    if glycol not in GLYCOLS:
        raise BadEntry(
            f"{glycol!r} is not a glycol.", field="glycol", value=glycol, allowed=", ".join(GLYCOLS)
        )
    if by not in ("volume", "mass"):
        raise BadEntry(f"{by!r} is not a way to give a share.", field="by", value=by, allowed="volume, mass")
    if not 0 <= percent <= 100:
        raise BadEntry(f"{percent:g} % is no share.", field="percent", value=percent, allowed="0 to 100 %")
    if percent > 60:
        raise CannotSay(
            f"{percent:g} % is beyond the tables; above 60 to 70 % the mix freezes sooner again (pure glycol at -12.9 C).",
            missing="a mix of 60 % or less",
        )
    table = _tables()[glycol][by]
    return along(percent, [float(x) for x in table], [float(y) for y in table.values()])


def share_for(freeze_c: float, *, glycol: str = "ethylene", by: str = "volume") -> float:
    """Share of glycol whose mix freezes at a temperature, as a refractometer reads it back.

    Parameters
    ----------
    freeze_c
        Freezing point. [C]
    glycol
        See `freezing_c`.
    by
        See `glycol`.

    Returns
    -------
    float
        Share. [%]

    Raises
    ------
    BadEntry
        If it is above 0 C or below the tables.
    """
    table = _tables()[glycol][by]
    points = sorted(((float(y), float(x)) for x, y in table.items()), key=lambda point: point[0])
    if not points[0][0] <= freeze_c <= 0:
        raise BadEntry(
            f"{freeze_c:g} C is outside the tables.",
            field="freeze",
            value=freeze_c,
            allowed=f"{points[0][0]:g} to 0 C",
        )
    return along(freeze_c, [y for y, _ in points], [x for _, x in points])


def litres_to_replace(
    system_l: float, now_percent: float, wanted_percent: float, added_percent: float = 100.0
) -> float:
    """Litres to drain and refill in one go, ``x = V (c* - c0) / (c1 - c0)``; drain what you add.

    Parameters
    ----------
    system_l
        Volume of the whole system. [l]
    now_percent
        Share of glycol in the system, wanted, and in what is added. [%]
    wanted_percent
        See `now_percent`.
    added_percent
        See `now_percent`.

    Returns
    -------
    float
        Litres.

    Raises
    ------
    BadEntry
        If what is added cannot bring the mix there.

    Examples
    --------
    >>> litres_to_replace(7, 30, 50)
    2.0
    """
    if system_l <= 0:
        raise BadEntry("The system must hold something.", field="system", value=system_l, allowed="above 0 l")
    if wanted_percent == now_percent:
        return 0.0
    reach = (
        (wanted_percent - now_percent) / (added_percent - now_percent)
        if added_percent != now_percent
        else 2.0
    )
    if not 0.0 <= reach <= 1.0:
        raise BadEntry(
            f"Adding {added_percent:g} % cannot turn {now_percent:g} % into {wanted_percent:g} %.",
            field="added",
            value=added_percent,
            allowed="a share beyond the wanted one",
        )
    return system_l * reach


def after_refills(
    system_l: float, now_percent: float, drained_l: float, added_percent: float, times: int
) -> tuple[float, ...]:
    """Share of glycol after each of several partial drains and refills.

    ``c_k = c1 - (c1 - c0) (1 - d/V)^k``.

    Parameters
    ----------
    system_l
        Volume of the whole system. [l]
    now_percent
        Share of glycol in it. [%]
    drained_l
        Volume of one drain. [l]
    added_percent
        Share in what is filled. [%]
    times
        How often.

    Returns
    -------
    tuple of float
        Share after each. [%]

    Raises
    ------
    BadEntry
        If more is drained than the system holds.

    Examples
    --------
    >>> [round(c, 2) for c in after_refills(7, 30, 3, 50, 3)]
    [38.57, 43.47, 46.27]
    """
    if not 0 < drained_l <= system_l:
        raise BadEntry(
            f"{drained_l:g} l cannot drain from {system_l:g} l.",
            field="drained",
            value=drained_l,
            allowed=f"up to {system_l:g} l",
        )
    kept = 1.0 - drained_l / system_l
    return tuple(added_percent - (added_percent - now_percent) * kept**k for k in range(1, times + 1))


def coolant_verdict(
    percent: float,
    coldest_c: float,
    limits: Sequence[Limit],
    *,
    glycol: str = "ethylene",
    looks_bad: bool = False,
) -> Verdict:
    """Judge the coolant mix against the coldest weather and the greatest share.

    Parameters
    ----------
    percent
        Share by volume. [%]
    coldest_c
        Coldest weather to stand. [C]
    limits
        All limits known for this car.
    glycol
        Kind.
    looks_bad
        Low, oily, rusty, plain water or crumbs.

    Returns
    -------
    Verdict
        With its freezing point.

    References
    ----------
    coolprop-glycols, by volume.
    """
    verdict = judge("Glycol in the coolant", percent, "percent", limits_of("coolant_percent", limits))
    try:
        freeze = freezing_c(percent, glycol=glycol)
    except CannotSay as error:
        words = f"{verdict.words} {error.message}"
    else:
        words = f"{verdict.words} Freezes at {freeze:.0f} °C."
        if freeze > coldest_c:
            verdict = verdict.adding(outcome=CLOSE)
            words = f"{percent:g} % glycol freezes at {freeze:.0f} °C, not enough for {coldest_c:g} °C."
    return verdict.adding(
        words=words,
        findings=(
            Finding(
                "b_coolant_look",
                looks_bad,
                "Coolant low, oily, rusty or plain water" if looks_bad else "Coolant looks right",
            ),
        ),
        cautions=(_DEADLY, "Never open a hot system."),
    )
