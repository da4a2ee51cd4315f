"""Tightening values: where each came from, whether it can be right, and how to apply it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from driveout.errors import BadEntry, CannotSay
from driveout.units import FACTORS, Torque, lbfft_from_nm, read_number, read_torque
from driveout.workshop.threads import CLASSES, possible_torque, read_thread

ORIGINS = {
    "recalled": "from memory",
    "copied": "copied from a document",
    "measured": "measured",
    "confirmed": "copied, and looked up a second time",
}
SPECIAL = ("plug", "hollow bolt", "soft thread", "past yield")
"""Fasteners for which the band of steel bolts does not hold."""
USUAL_STAGES = (30.0, 60.0, 100.0)
"""Percent of the final value in the stages of a round joint (asme-pcc-1)."""
HIGHEST_NM = 650.0
"""No fastener of a passenger car needs more; from memory, common-practice."""


@dataclass(frozen=True)
class Stage:
    """One round of the pattern. [N·m, degrees]."""

    number: int
    torque_nm: float
    angle_deg: float
    text: str


@dataclass(frozen=True)
class Specification:
    """A tightening value with its story.

    Parameters
    ----------
    torque
        As written, with its unit.
    origin
        ``recalled``, ``copied``, ``measured`` or ``confirmed``.
    document
        Document it was copied from; needed for copied and confirmed values.
    page
        Page in that document.
    size
        Thread, when known; with it impossible values are stopped.
    property_class
        Class on the head; it narrows the band.
    angle_deg
        Further turn after the torque. [deg]
    stages_percent
        Stages in percent of the final torque.
    remarks
        What the checks had to say.
    """

    torque: Torque
    origin: str
    document: str = ""
    page: str = ""
    size: str = ""
    property_class: str = ""
    angle_deg: float = 0.0
    stages_percent: tuple[float, ...] = (100.0,)
    remarks: tuple[str, ...] = ()

    @property
    def warning(self) -> str:
        """Empty only for a confirmed value; else what to print beside it."""
        if self.origin == "confirmed":
            return ""
        return f"Not confirmed ({ORIGINS[self.origin]}): look it up in the maker's instructions before use."

    def text(self) -> str:
        """Write value, both units, angle and the warning."""
        turn = f" + {self.angle_deg:g}°" if self.angle_deg else ""
        source = f" [{self.document}, page {self.page}]" if self.document else ""
        return " ".join(part for part in (self.torque.text() + turn + source, self.warning) if part)

    def stages(self) -> tuple[Stage, ...]:
        """Rounds to go through, in order."""
        rounds = [
            Stage(
                number,
                self.torque.nm * percent / 100,
                0.0,
                f"{percent:g} %: {self.torque.nm * percent / 100:.1f} N·m "
                f"({lbfft_from_nm(self.torque.nm * percent / 100):.1f} lbf·ft)",
            )
            for number, percent in enumerate(self.stages_percent, start=1)
        ]
        if self.angle_deg:
            rounds.append(
                Stage(len(rounds) + 1, self.torque.nm, self.angle_deg, f"turn {self.angle_deg:g}° further")
            )
        return tuple(rounds)


def specification(
    value: str,
    *,
    origin: str,
    other: str = "",
    document: str = "",
    page: str = "",
    second_look: str = "",
    size: str = "",
    property_class: str = "",
    special: str = "",
    angle_deg: float = 0.0,
    stages_percent: Sequence[float] = (100.0,),
) -> Specification:
    """Check a tightening value and keep it with its story.

    Parameters
    ----------
    value
        Value and unit as written, for example ``103 N·m``. The unit is compulsory.
    origin
        ``recalled``, ``copied``, ``measured`` or ``confirmed``.
    other
        The same value in the document's other unit, when it gives one.
    document
        Document it was copied from; needed for copied and confirmed values.
    page
        Page in that document.
    second_look
        The value as read the second time; needed for a confirmed value.
    size
        Thread, when known; with it impossible values are stopped.
    property_class
        Class on the head; it narrows the band.
    special
        One of ``SPECIAL`` when the band of steel bolts does not hold.
    angle_deg
        Further turn. [deg]
    stages_percent
        Rising stages, the last one 100.

    Returns
    -------
    Specification
        With remarks for whatever could not be checked.

    Raises
    ------
    BadEntry
        If a unit is missing, the two units disagree, the value is impossible for size and class,
        or its origin is not backed.

    References
    ----------
    vdi-2230 and iso-898-1 for the band; own-reasoning, docs/method/tightening.md.
    """
    torque = read_torque(value)
    if other:
        demand_agreement(value, other)
    _check_origin(origin, value, document, page, second_look)
    _check_stages(stages_percent)
    if not 0 <= angle_deg <= 720:
        raise BadEntry(
            f"A further turn of {angle_deg:g}° is outside 0 to 720.",
            field="angle_deg",
            value=angle_deg,
            allowed="0 to 720",
        )
    if special and special not in SPECIAL:
        raise BadEntry(
            f"{special!r} is not known.", field="special", value=special, allowed=", ".join(SPECIAL)
        )
    remarks = _possible(torque, size, property_class, special or ("past yield" if angle_deg else ""))
    return Specification(
        torque,
        origin,
        document.strip(),
        page.strip(),
        size.strip(),
        property_class.strip(),
        angle_deg,
        tuple(float(percent) for percent in stages_percent),
        remarks,
    )


def _check_origin(origin: str, value: str, document: str, page: str, second_look: str) -> None:
    if origin not in ORIGINS:
        raise BadEntry(
            f"Origin {origin!r} is not known.", field="origin", value=origin, allowed=", ".join(ORIGINS)
        )
    if origin in ("copied", "confirmed") and not (document.strip() and page.strip()):
        raise BadEntry(
            "A copied value needs the document and the page it came from.", field="document", value=document
        )
    if origin == "confirmed":
        if not second_look.strip():
            raise BadEntry(
                "A confirmed value needs a second look: type the value again as you read it there.",
                field="second_look",
                value=second_look,
            )
        demand_agreement(value, second_look, field="second_look")


def _check_stages(percents: Sequence[float]) -> None:
    rising = list(percents)
    if (
        not rising
        or rising[-1] != 100
        or any(not 0 < p <= 100 for p in rising)
        or rising != sorted(set(rising))
    ):
        raise BadEntry(
            f"Stages {', '.join(f'{p:g}' for p in rising)} % must rise and end at 100.",
            field="stages_percent",
            value=str(list(rising)),
            allowed="for example 30, 60, 100",
        )


def _step(text: str) -> tuple[Torque, float]:
    """Read a torque and half of the last digit it was written with, in N·m."""
    torque = read_torque(text)
    digits = "".join(c for c in text.strip() if c.isdigit() or c in ".,-+ ").strip()
    exponent = Decimal(str(read_number(digits))).as_tuple().exponent
    half = 0.5 * 10.0 ** (exponent if isinstance(exponent, int) and exponent < 0 else 0)
    return torque, half * torque.nm / torque.value


def demand_agreement(first: str, second: str, field: str = "other") -> None:
    """Require two writings of one torque to agree within the rounding of both.

    Parameters
    ----------
    first
        One writing, for example ``103 N·m``.
    second
        The other, for example ``76 lbf·ft``.
    field
        Form field that is blamed.

    Raises
    ------
    BadEntry
        If they do not agree, or a unit is missing.
    """
    one, half_one = _step(first)
    two, half_two = _step(second)
    if abs(one.nm - two.nm) > half_one + half_two + 1e-9:
        raise BadEntry(
            f"{one.text()} and {two.text()} do not agree: {second.strip()} is {two.nm:.1f} N·m. "
            "One of them is misread or carries the wrong unit.",
            field=field,
            value=second,
            allowed=f"{one.nm - half_one:.1f} to {one.nm + half_one:.1f} N·m",
        )


def _possible(torque: Torque, size: str, property_class: str, special: str) -> tuple[str, ...]:
    if torque.nm > HIGHEST_NM:
        raise BadEntry(
            f"{torque.text()} is more than any fastener of a passenger car takes."
            + _tenth(torque, 0, HIGHEST_NM / 3),
            field="torque",
            value=torque.value,
            allowed=f"up to {HIGHEST_NM:g} N·m",
        )
    if special and (special != "past yield" or not size.strip()):
        return (f"Size and class do not bound a {special}: only the maker's value counts.",)
    if not size.strip():
        return ("No size was given, so the value could not be checked.",)
    thread = read_thread(size)
    try:
        if property_class.strip():
            low, high = possible_torque(thread, property_class.strip())
        else:
            low = possible_torque(thread, CLASSES[0])[0]
            high = possible_torque(thread, CLASSES[-1])[1]
    except CannotSay as error:
        return (error.message,)
    if special == "past yield":
        low = 0.0  # the torque before the turn may be as low as the maker likes
    named = f"{thread.text()} {property_class.strip()}".strip()
    if not low <= torque.nm <= high:
        raise BadEntry(
            f"{torque.text()} cannot be right for {named}: a steel bolt of this size takes {low:.1f} to {high:.0f} N·m"
            f" ({lbfft_from_nm(low):.1f} to {lbfft_from_nm(high):.0f} lbf·ft)." + _tenth(torque, low, high),
            field="torque",
            value=torque.value,
            allowed=f"{low:.1f} to {high:.0f} N·m",
            fix="Check digits and unit. For a plug, a hollow bolt or a thread in soft metal say so.",
        )
    return () if property_class.strip() else ("No class was given, so the check was a wide one.",)


def _tenth(torque: Torque, low: float, high: float) -> str:
    guess = torque.value / 10
    if low <= torque.nm / 10 <= high:
        return f" Was {guess:g} {torque.unit} meant?"
    return ""


@dataclass(frozen=True)
class ReuseVerdict:
    """Whether a fastener may go back."""

    may_reuse: bool
    reason: str


def may_reuse(
    *,
    is_one_use: bool,
    has_angle: bool,
    is_waisted: bool = False,
    length_limit_mm: float | None = None,
    measured_length_mm: float | None = None,
) -> ReuseVerdict:
    """Say whether a fastener may be used again.

    Parameters
    ----------
    is_one_use
        The maker or the list says use once: locking nuts, coated bolts, crush washers, aluminium.
    has_angle
        It is tightened by an angle, so probably past yield.
    is_waisted
        It has a waist, the sign of a stretch bolt.
    length_limit_mm
        Greatest length the maker allows for reuse. [mm]
    measured_length_mm
        Measured now. [mm]

    Returns
    -------
    ReuseVerdict
        Replace unless nothing speaks against it, or the maker's limit is kept by measurement.

    References
    ----------
    common-practice: torque with angle usually, not always, means past yield.
    """
    if length_limit_mm is not None and measured_length_mm is not None:
        if measured_length_mm > length_limit_mm:
            return ReuseVerdict(
                False,
                f"Stretched to {measured_length_mm:g} mm, over the maker's {length_limit_mm:g} mm: replace.",
            )
        if not is_one_use:
            return ReuseVerdict(True, f"Measured {measured_length_mm:g} mm, within {length_limit_mm:g} mm.")
    if is_one_use:
        return ReuseVerdict(False, "Made to be used once: replace.")
    if has_angle or is_waisted:
        why = "tightened by an angle" if has_angle else "waisted"
        return ReuseVerdict(
            False,
            f"It is {why}, so it was probably stretched past yield: replace, unless the maker gives a limit and you measure it.",
        )
    return ReuseVerdict(True, "Clean thread, no stretch: it may go back.")


def both_units(nm: float) -> str:
    """Write a torque in both units."""
    return f"{nm:.1f} N·m ({nm / FACTORS['N·m per lbf·ft']:.1f} lbf·ft)"
