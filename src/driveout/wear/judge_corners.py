"""Readings of the corners: each handed to the function that knows it, then compared across axles."""

from __future__ import annotations

from typing import Any

from driveout.errors import BadEntry
from driveout.wear import brakes, steering, tyres, wheels
from driveout.wear.reading import Given, amount
from driveout.wear.topics import read_entries
from driveout.wear.tyre_size import read_tyre_size
from driveout.wear.verdict import FAILS, HOLDS, OPEN, Verdict


def corner_verdicts(given: Given, corner: str, got: dict[str, Any]) -> list[Verdict]:
    """Judge one corner: pads, disc, pipe, hose, tyre, play, suspension, rim and nuts."""
    found: list[Verdict] = []
    limits, place = given.limits, given.place
    if "pad_inner" in got or "pad_outer" in got:
        _demand_not_over_new(corner, got)
        found.append(
            brakes.lining(
                corner,
                got.get("pad_inner"),
                got.get("pad_outer"),
                limits,
                place=place,
                earlier=_earlier_pad(given, corner, got),
                riveted=bool(got.get("riveted")),
            )
        )
    if "disc" in got:
        found += brakes.disc(
            corner,
            got["disc"],
            limits,
            place=place,
            resolution_mm=got.get("micrometer", 0.001),
            new_mm=got.get("disc_new"),
            earlier=_earlier_disc(given, corner),
        )
    singles = {
        "runout": brakes.runout,
        "scores": brakes.scoring,
        "drum": brakes.drum,
    }
    found += [one(corner, got[name], limits, place) for name, one in singles.items() if name in got]
    if "pipe_loss" in got:
        found.append(brakes.pipe(corner, got["pipe_loss"], limits, place))
    if "hose" in got or "hose_cords" in got:
        found.append(brakes.hoses(corner, got.get("hose", ()), bool(got.get("hose_cords")), place))
    found += _tyre(given, corner, got)
    if "play" in got:
        found.append(steering.play(corner, got["play"], got.get("joint", ""), limits, place))
    if "suspension" in got:
        found.append(steering.suspension(corner, got["suspension"]))
    if "rim_lateral" in got:
        found.append(wheels.rim_runout(corner, got["rim_lateral"], got.get("rim_radial"), limits, place))
    if "nuts_missing" in got or "nuts_loose" in got:
        found.append(wheels.nuts(corner, int(got.get("nuts_missing", 0)), int(got.get("nuts_loose", 0))))
    return found


def _earlier_pad(given: Given, corner: str, got: dict[str, Any]) -> brakes.Earlier | None:
    """An earlier reading of the same pads, else the thickness when new with its doubt."""
    thin_now = min(value for value in (got.get("pad_inner"), got.get("pad_outer")) if value is not None)
    seen = _thinnest(given, corner, ("pad_inner", "pad_outer"))
    if len(seen) >= 2 and seen[-1][0] > seen[0][0]:
        first_km, first_mm = seen[0]
        if thin_now > first_mm + 0.6:
            raise BadEntry(
                f"The pads {corner} read {thin_now:g} mm; at {first_km:,.0f} km they had {first_mm:g} mm. Wear only goes "
                "down. Tick that parts were renewed, or check the unit.",
                field="pad_inner",
                value=thin_now,
                allowed=f"at most {first_mm:g} mm",
            )
        return brakes.Earlier(first_mm, seen[-1][0] - first_km)
    if got.get("pad_km"):
        new = got.get("pad_new")
        if new is None:
            if thin_now >= brakes.NEW_PAD_MM:
                return None
            return brakes.Earlier(brakes.NEW_PAD_MM, got["pad_km"], brakes.NEW_PAD_SD_MM)
        return brakes.Earlier(new, got["pad_km"])
    return None


def _demand_not_over_new(corner: str, got: dict[str, Any]) -> None:
    """Refuse a pad thicker than it was when new, whether or not its distance is known."""
    new = got.get("pad_new")
    for name in ("pad_inner", "pad_outer"):
        if new is not None and got.get(name, 0.0) > new + 0.6:
            raise BadEntry(
                f"The {name.removeprefix('pad_')} pad {corner} reads {got[name]:g} mm, thicker than {new:g} mm when new. "
                "Check the unit, leave out the backing plate.",
                field=name,
                value=got[name],
                allowed=f"at most {new:g} mm",
            )


def _thinnest(given: Given, corner: str, names: tuple[str, ...]) -> list[tuple[float, float]]:
    """Odometer and thinnest value of each reading since the parts were last renewed."""
    seen: list[tuple[float, float]] = []
    for reading in given.history:
        if reading.topic != "corner" or reading.spot != corner:
            continue
        if reading.entries.get("renewed"):
            seen = []
        entries = {name: text for name, text in reading.entries.items() if name in names}
        got = read_entries("corner", corner, entries)
        values = [v for value in got.values() for v in (value if isinstance(value, tuple) else (value,))]
        if values and reading.km is not None:
            seen.append((reading.km, min(values)))
    return seen


def _earlier_disc(given: Given, corner: str) -> brakes.Earlier | None:
    """An earlier thickness of the same disc."""
    seen = _thinnest(given, corner, ("disc",))
    if len(seen) < 2 or seen[-1][0] <= seen[0][0]:
        return None
    (first_km, first_mm), (last_km, last_mm) = seen[0], seen[-1]
    if last_mm > first_mm + 0.1:
        raise BadEntry(
            f"The disc {corner} reads {last_mm:g} mm; at {first_km:,.0f} km it had {first_mm:g} mm. It cannot have "
            "grown. Tick that parts were renewed, or check the unit.",
            field="disc",
            value=last_mm,
            allowed=f"at most {first_mm:g} mm",
        )
    return brakes.Earlier(first_mm, last_km - first_km, brakes.DISC_SD_MM)


def _tyre(given: Given, corner: str, got: dict[str, Any]) -> list[Verdict]:
    found: list[Verdict] = []
    treads = [got.get(f"tread_{where}") for where in ("inner", "middle", "outer")]
    known = [value for value in treads if value is not None]
    if known:
        if len(known) < 3:
            missing = [w for w, v in zip(("inner", "middle", "outer"), treads, strict=True) if v is None]
            raise BadEntry(
                f"Tread {corner}: {' and '.join(missing)} missing. Measure three places across; one alone hides edge wear.",
                field=f"tread_{missing[0]}",
            )
        tread = tyres.Tread(known[0], known[1], known[2], bool(got.get("cupped")), bool(got.get("feathered")))
        found.append(
            tyres.tread_verdict(
                corner,
                tread,
                given.limits,
                place=given.place,
                km_driven=got.get("tread_km"),
                new_mm=got.get("tread_new"),
            )
        )
    if "tyre_seen" in got:
        found.append(tyres.condition(corner, got["tyre_seen"]))
    if "date_code" in got:
        found.append(tyres.age_verdict(corner, got["date_code"], given.facts.on, given.limits, given.place))
    if "tyre_size" in got:
        size = read_tyre_size(got["tyre_size"])
        if "maker_size" in given.setup:
            found.append(
                tyres.fitment(size, read_tyre_size(given.setup["maker_size"], "maker_size"), given.limits)
            )
        else:
            found.append(
                Verdict(
                    f"Tyre size {corner}",
                    OPEN,
                    size.diameter_mm,
                    "mm",
                    words=f"{size.text()}: {size.diameter_mm:.1f} mm high. Enter the maker's size to judge the fit.",
                )
            )
    if "grading" in got:
        found.append(Verdict(f"Grading {corner}", HOLDS, words=tyres.grading_words(got["grading"])))
    return found


def axle_verdicts(given: Given, corners: dict[str, dict[str, Any]]) -> list[Verdict]:
    """What only shows when corners are compared."""
    found: list[Verdict] = []
    thin: dict[str, float] = {}
    treads: dict[str, float] = {}
    for corner, got in corners.items():
        pads = [got[name] for name in ("pad_inner", "pad_outer") if name in got]
        if pads:
            thin[corner] = min(pads)
        if all(f"tread_{where}" in got for where in ("inner", "middle", "outer")):
            treads[corner] = (got["tread_inner"] + got["tread_middle"] + got["tread_outer"]) / 3.0
    for axle in ("front", "rear"):
        if f"{axle} left" in thin and f"{axle} right" in thin:
            found.append(brakes.axle_pair(axle, thin[f"{axle} left"], thin[f"{axle} right"]))
        found += _same_size(given, axle, corners)
    if given.setup.get("drive") == "all" and len(treads) == 4:
        found.append(tyres.all_wheel_match(treads, given.limits))
    return found


def _same_size(given: Given, axle: str, corners: dict[str, dict[str, Any]]) -> list[Verdict]:
    sizes = [
        corners[f"{axle} {side}"].get("tyre_size")
        for side in ("left", "right")
        if f"{axle} {side}" in corners
    ]
    if len(sizes) < 2 or None in sizes:
        return []
    left, right = (read_tyre_size(str(size)) for size in sizes)
    same = (left.width_mm, left.aspect_percent, left.rim_in, left.construction.strip("Z")) == (
        right.width_mm,
        right.aspect_percent,
        right.rim_in,
        right.construction.strip("Z"),
    )
    words = f"{axle.capitalize()} axle: {left.text()} left, {right.text()} right."
    return [
        Verdict(
            f"Tyres of the {axle} axle",
            HOLDS if same else FAILS,
            words=words + ("" if same else " One axle carries one size and construction."),
            repairs=() if same else ("rep_tyres",),
            steps=("same size and construction on an axle: 49 CFR 570.9, from memory; read in copies",),
        )
    ]


def tyre_price_verdicts(given: Given, got: dict[str, Any]) -> list[Verdict]:
    """Price of a millimetre of tread, used against new."""
    sets = [
        tyres.TyreChoice(name, amount(given, got, f"{name}_price"), got[f"{name}_tread"])
        for name in ("used", "new")
        if f"{name}_price" in got and f"{name}_tread" in got
    ]
    priced = tyres.cost_per_mm(sets)
    lines = [
        f"{choice.name} set at {choice.price.text()} with {choice.tread_mm:g} mm: "
        + (f"{price.text()} a millimetre" if price else "nothing usable left")
        for choice, price in priced
    ]
    if not lines:
        return []
    words = (
        "; ".join(lines)
        + "."
        + (f" The {priced[0][0].name} set costs less to wear." if len(priced) > 1 else "")
    )
    return [Verdict("Price of tread", HOLDS, words=words, steps=("counted down to 1.6 mm",))]
