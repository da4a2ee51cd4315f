"""All readings of one car judged together: verdicts by spot, findings for the fault network, repairs proposed."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from driveout.cars.odometer import OdometerReading, odometer_series
from driveout.cars.papers import brand, disclosure_duty, paper_checks
from driveout.errors import BadEntry, CannotSay
from driveout.units import Money, money_from_text
from driveout.wear import (
    battery,
    brakes,
    compression,
    coolant,
    paint,
    paint_plan,
    steering,
    trouble_codes,
    tyres,
    wheels,
)
from driveout.wear.brake_fluid import fluid_verdict
from driveout.wear.drive_sheets import drive_verdicts
from driveout.wear.limits import Limit, limits_of, shipped_limits
from driveout.wear.topics import CORNERS, read_entries
from driveout.wear.typed import read_quantity
from driveout.wear.tyre_size import read_tyre_size
from driveout.wear.verdict import CLOSE, FAILS, HOLDS, OPEN, Finding, LifeLeft, Verdict, judge

# A negative answer to such a check counts only when it was looked at in that many places.
_PLACES_NEEDED = {
    "w_brake_visual": 4,
    "w_tyre_pattern": 4,
    "w_tyre_age": 4,
    "w_paint_gauge": 8,
    "u_rock_3_9": 4,
    "u_rock_12_6": 4,
    "u_bush_pry": 4,
}


@dataclass(frozen=True)
class Reading:
    """What was entered at one spot on one day.

    Parameters
    ----------
    topic, spot
        Where it belongs.
    entries
        As typed, by field.
    day
        When.
    km
        Odometer then, if known. [km]
    """

    topic: str
    spot: str
    entries: dict[str, str]
    day: date
    km: float | None = None


@dataclass(frozen=True)
class CarFacts:
    """What the verdicts need to know of the car besides its readings."""

    on: date
    mileage_km: float | None = None
    made_year: int | None = None
    currency: str = "USD"


@dataclass(frozen=True)
class Report:
    """Verdicts of one car.

    Parameters
    ----------
    verdicts
        By topic and spot, in order.
    """

    verdicts: tuple[tuple[str, str, Verdict], ...]
    notes: tuple[str, ...] = field(default=())

    def of(self, topic: str, spot: str | None = None) -> tuple[Verdict, ...]:
        """Verdicts of a topic, or of one spot of it."""
        return tuple(v for t, s, v in self.verdicts if t == topic and (spot is None or s == spot))

    @property
    def findings(self) -> dict[str, Finding]:
        """One finding per check: positive as soon as one spot says so, negative when looked at everywhere."""
        gathered: dict[str, list[tuple[str, Finding]]] = {}
        for _, spot, verdict in self.verdicts:
            for finding in verdict.findings:
                gathered.setdefault(finding.check, []).append((spot, finding))
        result: dict[str, Finding] = {}
        for check, said in gathered.items():
            positive = [finding for _, finding in said if finding.positive]
            if positive:
                points = tuple(dict.fromkeys(fault for finding in positive for fault in finding.points_at))
                why = "; ".join(dict.fromkeys(finding.why for finding in positive))
                worst = max(positive, key=lambda finding: finding.rank)
                result[check] = Finding(check, True, why, points, worst.grade)
            elif len({spot for spot, _ in said}) >= _PLACES_NEEDED.get(check, 1):
                result[check] = max((finding for _, finding in said), key=lambda finding: finding.rank)
        return result

    @property
    def repairs(self) -> tuple[str, ...]:
        """Repairs proposed, each once."""
        return tuple(dict.fromkeys(repair for _, _, verdict in self.verdicts for repair in verdict.repairs))

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON answers."""
        return {
            "verdicts": [{"topic": t, "spot": s, **v.as_dict()} for t, s, v in self.verdicts],
            "findings": {
                check: {
                    "outcome": f.outcome,
                    "positive": f.positive,
                    "why": f.why,
                    "points_at": list(f.points_at),
                }
                for check, f in self.findings.items()
            },
            "repairs": list(self.repairs),
            "notes": list(self.notes),
        }


def report(
    readings: Iterable[Reading],
    facts: CarFacts,
    maker_limits: Sequence[Limit] = (),
    *,
    use_shipped: bool = True,
) -> Report:
    """Judge all readings of one car.

    Later readings of a spot replace earlier ones field by field; earlier thicknesses give the
    rate of wear.

    Parameters
    ----------
    readings
        In any order.
    facts
        The car.
    maker_limits
        Limits that the person entered.
    use_shipped
        Whether the shipped limits take part.

    Returns
    -------
    Report
        Verdicts, findings and repairs.

    Raises
    ------
    BadEntry
        If a reading cannot be read or cannot be right.

    References
    ----------
    own-reasoning, docs/method/brakes.md.
    """
    ordered = sorted(readings, key=lambda reading: reading.day)
    for reading in ordered:
        if reading.day > facts.on:
            raise BadEntry(
                f"A reading is dated {reading.day}, which is in the future.",
                field="day",
                value=str(reading.day),
                allowed=f"until {facts.on}",
            )
    typed: dict[tuple[str, str], dict[str, str]] = {}
    for reading in ordered:
        typed.setdefault((reading.topic, reading.spot), {}).update(reading.entries)
    values = {key: read_entries(*key, entries) for key, entries in typed.items()}
    limits = (*maker_limits, *(shipped_limits() if use_shipped else ()))
    desk = _Judge(facts, values.get(("setup", "car"), {}), limits, ordered)
    found: list[tuple[str, str, Verdict]] = []
    for corner in CORNERS:
        if ("corner", corner) in values:
            found += [("corner", corner, v) for v in desk.corner(corner, values[("corner", corner)])]
    corners = {spot: entries for (topic, spot), entries in values.items() if topic == "corner"}
    found += [("corner", "axles", verdict) for verdict in desk.across(corners)]
    panels = {spot: entries for (topic, spot), entries in values.items() if topic == "paint"}
    found += desk.panels(panels)
    for (topic, spot), entries in values.items():
        one = getattr(desk, f"one_{topic}", None)
        if one is not None:
            found += [(topic, spot, verdict) for verdict in one(entries)]
    return Report(tuple(found))


class _Judge:
    """Hands each field to the function that knows it."""

    def __init__(
        self, facts: CarFacts, setup: dict[str, Any], limits: Sequence[Limit], history: Sequence[Reading]
    ) -> None:
        self.facts = facts
        self.setup = setup
        self.limits = limits
        self.history = history
        self.place = str(setup.get("place", ""))

    # Corners ---------------------------------------------------------------------------------

    def corner(self, corner: str, got: dict[str, Any]) -> list[Verdict]:
        found: list[Verdict] = []
        limits, place = self.limits, self.place
        if "pad_inner" in got or "pad_outer" in got:
            found.append(
                brakes.lining(
                    corner,
                    got.get("pad_inner"),
                    got.get("pad_outer"),
                    limits,
                    place=place,
                    earlier=self._earlier_pad(corner, got),
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
                earlier=self._earlier_disc(corner),
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
        found += self._tyre(corner, got)
        if "play" in got:
            found.append(steering.play(corner, got["play"], got.get("joint", ""), limits, place))
        if "suspension" in got:
            found.append(steering.suspension(corner, got["suspension"]))
        if "rim_lateral" in got:
            found.append(wheels.rim_runout(corner, got["rim_lateral"], got.get("rim_radial"), limits, place))
        if "nuts_missing" in got or "nuts_loose" in got:
            found.append(wheels.nuts(corner, int(got.get("nuts_missing", 0)), int(got.get("nuts_loose", 0))))
        return found

    def _earlier_pad(self, corner: str, got: dict[str, Any]) -> brakes.Earlier | None:
        """An earlier reading of the same pads, else the thickness when new with its doubt."""
        thin_now = min(value for value in (got.get("pad_inner"), got.get("pad_outer")) if value is not None)
        seen = self._thinnest(corner, ("pad_inner", "pad_outer"))
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
            if new is not None and thin_now > new + 0.6:
                raise BadEntry(
                    f"The pads {corner} read {thin_now:g} mm, thicker than {new:g} mm when new. Check the unit, leave out the backing plate.",
                    field="pad_inner",
                    value=thin_now,
                    allowed=f"at most {new:g} mm",
                )
            if new is None:
                if thin_now >= brakes.NEW_PAD_MM:
                    return None
                return brakes.Earlier(brakes.NEW_PAD_MM, got["pad_km"], brakes.NEW_PAD_SD_MM)
            return brakes.Earlier(new, got["pad_km"])
        return None

    def _thinnest(self, corner: str, names: tuple[str, ...]) -> list[tuple[float, float]]:
        """Odometer and thinnest value of each reading since the parts were last renewed."""
        seen: list[tuple[float, float]] = []
        for reading in self.history:
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

    def _earlier_disc(self, corner: str) -> brakes.Earlier | None:
        """An earlier thickness of the same disc."""
        seen = self._thinnest(corner, ("disc",))
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

    def _tyre(self, corner: str, got: dict[str, Any]) -> list[Verdict]:
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
            tread = tyres.Tread(
                known[0], known[1], known[2], bool(got.get("cupped")), bool(got.get("feathered"))
            )
            found.append(
                tyres.tread_verdict(
                    corner,
                    tread,
                    self.limits,
                    place=self.place,
                    km_driven=got.get("tread_km"),
                    new_mm=got.get("tread_new"),
                )
            )
        if "tyre_seen" in got:
            found.append(tyres.condition(corner, got["tyre_seen"]))
        if "date_code" in got:
            found.append(tyres.age_verdict(corner, got["date_code"], self.facts.on, self.limits, self.place))
        if "tyre_size" in got:
            size = read_tyre_size(got["tyre_size"])
            if "maker_size" in self.setup:
                found.append(
                    tyres.fitment(size, read_tyre_size(self.setup["maker_size"], "maker_size"), self.limits)
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

    def across(self, corners: dict[str, dict[str, Any]]) -> list[Verdict]:
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
            found += self._same_size(axle, corners)
        if self.setup.get("drive") == "all" and len(treads) == 4:
            found.append(tyres.all_wheel_match(treads, self.limits))
        return found

    def _same_size(self, axle: str, corners: dict[str, dict[str, Any]]) -> list[Verdict]:
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

    # Paint -----------------------------------------------------------------------------------

    def panels(self, panels: dict[str, dict[str, Any]]) -> list[tuple[str, str, Verdict]]:
        films = [
            paint.PanelFilm(panel, got["film"], got.get("material", "steel"))
            for panel, got in panels.items()
            if "film" in got
        ]
        try:
            middle: float | None = paint.car_median(films)
        except CannotSay:
            middle = None
        found = [("paint", film.panel, paint.panel_verdict(film, middle, self.limits)) for film in films]
        for panel, got in panels.items():
            if got.get("material") == "plastic" and "film" not in got:
                found.append(
                    (
                        "paint",
                        panel,
                        paint.panel_verdict(paint.PanelFilm(panel, (), "plastic"), None, self.limits),
                    )
                )
            if "flaw" not in got:
                continue
            verdict = paint.defect_verdict(self._flaw(panel, got))
            found.append(("paint", panel, self._levelling(verdict, panel, got)))
            found += [("paint", panel, worth) for worth in self._worth(panel, got)]
        return found

    def _levelling(self, verdict: Verdict, panel: str, got: dict[str, Any]) -> Verdict:
        """Add the polishing plan to a flaw that may be polished."""
        if "rep_polish_panel" not in verdict.repairs or not got.get("film"):
            return verdict
        depth = got.get("depth", 2.0)
        grits: tuple[str, ...] = () if depth <= 3 else ("P2000", "P2500")
        try:
            plan = paint_plan.plan_panel(panel, got["film"], depth, grits, self.limits)
        except CannotSay as error:
            return verdict.adding(outcome=OPEN, words=f"{verdict.words} {error.message}")
        words = (
            f"{verdict.words} Takes {plan.removal_um:.1f} µm; {plan.strike:.2%} chance of striking through."
        )
        changes: dict[str, Any] = {"words": words, "steps": plan.lines, "others": plan.budget.others}
        if plan.budget.outcome == FAILS:
            changes |= {
                "outcome": FAILS,
                "words": words + " More than the budget: leave it and disclose it, or touch it in.",
                "repairs": ("rep_touch_in",),
            }
        return verdict.adding(**changes)

    def _money(self, got: dict[str, Any], name: str) -> Money:
        """Amount typed in a field; 0 when left empty."""
        if name not in got:
            return Money(0, self.facts.currency)
        try:
            amount = money_from_text(str(got[name]), self.facts.currency)
        except BadEntry as error:
            raise BadEntry(error.message, field=name, value=error.value, allowed=error.allowed) from error
        if amount.currency != self.facts.currency or amount.minor < 0:
            raise BadEntry(
                f"{amount.text()} is not an amount of 0 or more in {self.facts.currency}.",
                field=name,
                value=got[name],
                allowed=self.facts.currency,
            )
        return amount

    def _worth(self, panel: str, got: dict[str, Any]) -> list[Verdict]:
        """Polish, paint, or leave and disclose, in money."""
        if "uplift" not in got or "flaw" not in got:
            return []
        plan = None
        if "rep_polish_panel" in paint.defect_verdict(self._flaw(panel, got)).repairs and got.get("film"):
            depth = got.get("depth", 2.0)
            try:
                plan = paint_plan.plan_panel(
                    panel, got["film"], depth, () if depth <= 3 else ("P2000", "P2500"), self.limits
                )
            except CannotSay:
                plan = None
        choices = paint_plan.choose_treatment(
            plan,
            uplift=self._money(got, "uplift"),
            discount_if_left=self._money(got, "discount"),
            hours=got.get("level_hours", 2.0),
            consumables=self._money(got, "supplies"),
            hour_worth=self._money(got, "hour_worth"),
            repaint_cost=self._money(got, "painter"),
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

    def _flaw(self, panel: str, got: dict[str, Any]) -> paint.Defect:
        answers = {"yes": True, "no": False}
        nail, wet = answers.get(got.get("nail", "")), answers.get(got.get("wet", ""))
        return paint.Defect(panel, got["flaw"], nail, wet, got.get("depth"))

    def one_tyre_sets(self, got: dict[str, Any]) -> list[Verdict]:
        """Price of a millimetre of tread, used against new."""
        sets = [
            tyres.TyreChoice(name, self._money(got, f"{name}_price"), got[f"{name}_tread"])
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

    def one_passes(self, got: dict[str, Any]) -> list[Verdict]:
        if "before" not in got or "after" not in got:
            return []
        step = got.get("step", "polish")
        measured = paint_plan.measured_removal(got["before"], got["after"])
        passes = int(got.get("passes", 1))
        words = f"{step}: {measured.mean_um:.1f} µm in {passes} passes, give or take {measured.sd_um:.1f} µm."
        if step not in ("P3000", "P5000"):
            own = paint_plan.calibrated(paint_plan.general_removal(step), [(measured, passes)])
            words += f" Yours with it from now on: {own.mean_um:.2f} µm a pass, give or take {own.sd_um:.2f}."
        outcome = OPEN if measured.mean_um < 0 else HOLDS
        if outcome == OPEN:
            words += " Paint does not grow: press at the very same spot again."
        return [Verdict(f"Own removal with {step}", outcome, measured.mean_um, "um", words=words)]

    # Single topics ---------------------------------------------------------------------------

    def one_engine(self, got: dict[str, Any]) -> list[Verdict]:
        found: list[Verdict] = []
        limits = self.limits
        if "dry" in got:
            found.append(
                compression.compression(
                    got["dry"],
                    limits,
                    wet_kpa=got.get("wet"),
                    altitude_m=float(self.setup.get("altitude", 0.0)),
                )
            )
        found += [
            compression.leak_down(cylinder, percent, got.get("escape", "") if percent > 10 else "", limits)
            for cylinder, percent in got.get("leak", {}).items()
        ]
        if "oil_pressure" in got:
            found.append(compression.oil_pressure(got["oil_pressure"], got.get("oil_rpm", 800.0), limits))
        if "cooling_drop" in got:
            found.append(
                compression.cooling_pressure(got["cooling_drop"], got.get("cooling_minutes", 10.0), limits)
            )
        if "plug_hole" in got:
            found.append(compression.plug_hole_look(got["plug_hole"]))
        for name, check, what in (
            ("oil_glitter", "b_oil_glitter", "Metal glitter in the oil"),
            ("oil_cream", "b_cap_emulsion", "Cream under the oil cap"),
        ):
            found += _seen(got, name, check, what)
        if "codes" in got or "reply" in got or "not_ready" in got:
            found.append(self._codes(got))
        return found

    def _codes(self, got: dict[str, Any]) -> Verdict:
        codes: tuple[trouble_codes.TroubleCode, ...] = ()
        text = str(got.get("codes", ""))
        if text and text.strip().lower() not in ("none", "no", "-"):
            codes = trouble_codes.read_codes(text)
        if "reply" in got:
            codes += trouble_codes.codes_from_reply(got["reply"])[1]
        return trouble_codes.codes_verdict(tuple(dict.fromkeys(codes)), bool(got.get("not_ready")))

    def one_battery(self, got: dict[str, Any]) -> list[Verdict]:
        found = list(
            battery.battery_verdict(
                got.get("rest"),
                got.get("crank"),
                got.get("charge"),
                self.limits,
                glass_mat=got.get("kind") == "glass mat",
                rested_hours=got.get("rested"),
            )
        )
        if "drain" in got:
            found.append(
                battery.sleep_current(
                    got["drain"], got.get("waited", 30.0), got.get("capacity", 60.0), self.limits
                )
            )
        return found

    def one_fluids(self, got: dict[str, Any]) -> list[Verdict]:
        found: list[Verdict] = []
        if "glycol_percent" in got:
            verdict = coolant.coolant_verdict(
                got["glycol_percent"],
                float(self.setup.get("coldest", -20.0)),
                self.limits,
                glycol=got.get("glycol", "ethylene"),
                looks_bad=got.get("coolant_bad") == "yes",
            )
            found.append(self._mixing(verdict, got))
        elif "coolant_bad" in got:
            found += _seen(got, "coolant_bad", "b_coolant_look", "Coolant low, oily, rusty or plain water")
        if "fluid" in got:
            found.append(
                fluid_verdict(
                    got["fluid"],
                    got.get("water"),
                    bool(got.get("fluid_low")),
                    bool(got.get("fluid_black")),
                    self.limits,
                    asked=str(self.setup.get("fluid_asked", "")),
                )
            )
        found += _seen(got, "steer_bad", "b_steer_fluid", "Steering fluid low, dark or foamy")
        found += _seen(got, "oil_low", "b_oil_level", "Engine oil at or below minimum")
        return found

    def _mixing(self, verdict: Verdict, got: dict[str, Any]) -> Verdict:
        now, wanted, system = got["glycol_percent"], got.get("wanted_percent"), got.get("system")
        if wanted is None or system is None or wanted <= now:
            return verdict
        litres = coolant.litres_to_replace(system, now, wanted)
        steps = [
            f"drain {litres:.2f} l and fill the same with pure glycol: {now:g} to {wanted:g} % in {system:g} l"
        ]
        if "drained" in got:
            after = coolant.after_refills(system, now, got["drained"], 50.0, 4)
            steps.append(
                f"each drain of {got['drained']:g} l refilled with 50 % mix: "
                + ", ".join(f"{c:.1f} %" for c in after)
            )
        return verdict.adding(steps=tuple(steps))

    def one_steering(self, got: dict[str, Any]) -> list[Verdict]:
        found: list[Verdict] = []
        if "lash" in got:
            found.append(
                steering.lash(
                    got["lash"],
                    got.get("wheel", 380.0),
                    engine_on=got.get("engine_on", "yes") == "yes",
                    power_assisted=got.get("power", "yes") == "yes",
                )
            )
        if "binds" in got:
            found.append(steering.free_turn(got["binds"] == "yes"))
        if "toe" in got:
            if "toe_spec" not in got:
                raise BadEntry("Toe is judged against the maker's value; enter it too.", field="toe_spec")
            found.append(steering.toe(got["toe"], got["toe_spec"], self.limits, self.place))
        if "pedal_free" in got and "pedal_pressed" in got:
            servo = {"yes": True, "no": False}.get(got.get("servo", ""))
            found.append(
                brakes.pedal(
                    got["pedal_free"],
                    got["pedal_pressed"],
                    got.get("sinks") == "yes",
                    servo,
                    self.limits,
                    self.place,
                )
            )
        for name, quantity, what in (
            ("difference", "brake_difference_percent", "Left to right brake difference"),
            ("efficiency", "brake_efficiency_percent", "Service brake efficiency"),
            ("parking", "park_efficiency_percent", "Parking brake efficiency"),
        ):
            if name in got:
                known = limits_of(quantity, self.limits)
                found.append(judge(what, got[name], "percent", known, place=self.place))
        for axle, mark in (("front", "f"), ("rear", "r")):
            left, right = got.get(f"height_{mark}l"), got.get(f"height_{mark}r")
            if left is not None and right is not None:
                found.append(steering.ride_height(left, right, axle, None))
        return found

    def one_papers(self, got: dict[str, Any]) -> list[Verdict]:
        found: list[Verdict] = []
        if "odometer" in got:
            found.append(self._odometer(read_odometer_lines(got["odometer"])))
        if "brand" in got:
            found.append(_brand(got["brand"]))
        for check in paper_checks():
            answer = got.get(f"paper_{check.key}")
            if answer:
                wrong = answer == "not true"
                found.append(
                    Verdict(
                        check.do,
                        FAILS if wrong else HOLDS,
                        words=f"{check.do}: {answer}."
                        + (" Pay nothing before this is cleared up." if wrong else ""),
                        findings=(Finding(check.check, wrong, f"{check.do}: {answer}"),),
                    )
                )
        if self.facts.made_year:
            duty = disclosure_duty(self.facts.made_year, max(self.facts.on.year, self.facts.made_year))
            found.append(
                Verdict(
                    "US odometer disclosure",
                    HOLDS,
                    words=("Owed when it is sold this year: " if duty.owed else "Not owed: ")
                    + duty.why
                    + " (49 CFR 580.17).",
                )
            )
        return found

    def _odometer(self, readings: Sequence[OdometerReading]) -> Verdict:
        series = odometer_series(readings, self.facts.on)
        rate = f"{series.km_a_year:,.0f} km a year on the whole." if series.km_a_year else ""
        words = " ".join([f"{len(readings)} odometer values.", rate, *series.lines]).strip()
        findings = (
            (Finding("p_odo_series", series.doubtful, words),)
            if series.doubtful or len(readings) >= 3
            else ()
        )
        outcome = FAILS if series.falls or series.heavy else CLOSE if series.gaps else HOLDS
        return Verdict("Odometer through the years", outcome, words=words, findings=findings)

    def one_test_drive(self, got: dict[str, Any]) -> list[Verdict]:
        return list(drive_verdicts("test_drive", got))

    def one_first_drive(self, got: dict[str, Any]) -> list[Verdict]:
        return list(drive_verdicts("first_drive", got))


def _seen(got: dict[str, Any], name: str, check: str, what: str) -> list[Verdict]:
    if name not in got:
        return []
    bad = got[name] == "yes"
    return [
        Verdict(
            what,
            FAILS if bad else HOLDS,
            words=f"{what}: {got[name]}.",
            findings=(Finding(check, bad, what if bad else f"no {what.lower()}"),),
        )
    ]


def _brand(name: str) -> Verdict:
    mark = brand(name)
    clean = mark.least == mark.most == 1.0
    words = f"Title brand {name}: " + (
        "none."
        if clean
        else f"leaves {mark.least:.0%} to {mark.most:.0%} of a clean car's value; {mark.note}."
    )
    return Verdict(
        "Title brand",
        HOLDS if clean else FAILS,
        words=words,
        findings=(Finding("p_brand_lookup", not clean, words),),
    )


def read_odometer_lines(text: str) -> tuple[OdometerReading, ...]:
    """Read dated odometer values, one a line: day, value with unit, origin.

    Parameters
    ----------
    text
        For example ``2019-05-04 61000 km inspection``.

    Returns
    -------
    tuple of OdometerReading
        In the order written.

    Raises
    ------
    BadEntry
        Naming the line that cannot be read.
    """
    found = []
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip():
            continue
        match = re.match(
            r"\s*(\d{4}-\d{2}-\d{2})[\s,;]+([\d.,']+)\s*(km|mi|miles)?\b[\s,;]*(.*)$", line, re.IGNORECASE
        )
        if not match:
            raise BadEntry(
                f"Line {number}: {line.strip()[:60]!r} is not a day, a value and a unit.",
                field="odometer",
                value=line.strip()[:60],
                allowed="2019-05-04 61000 km inspection",
            )
        if not match[3]:
            raise BadEntry(
                f"Line {number}: {match[2]} has no unit. Kilometres or miles? Write km or mi behind it.",
                field="odometer",
                value=match[2],
                allowed="km or mi",
            )
        try:
            day = date.fromisoformat(match[1])
        except ValueError as error:
            raise BadEntry(
                f"Line {number}: {match[1]} is no day.", field="odometer", value=match[1]
            ) from error
        found.append(
            OdometerReading(
                day, read_quantity(f"{match[2]} {match[3]}", "km", field="odometer"), match[4].strip()[:80]
            )
        )
    return tuple(found)


__all__ = ["CarFacts", "LifeLeft", "Reading", "Report", "read_odometer_lines", "report"]
