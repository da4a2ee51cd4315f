"""What a decoder on this machine reads out of an identification number: proposals, never facts by themselves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from importlib.metadata import version
from typing import Any

from driveout.cars.vin import read_vin
from driveout.errors import BadEntry

INSTALL = 'python -m pip install "driveout[vin]"'

# First words of the registry's values -> values of a car's facts; what begins otherwise is left out.
_GEARBOX = {
    "automatic": "auto",
    "manual/": "manual",
    "continuously variable": "cvt",
    "electronic continuously variable": "cvt",
    "dual-clutch": "dct",
}
_DRIVE = {"fwd/": "fwd", "rwd/": "rwd", "awd/": "awd", "4wd/": "awd"}
# Told, but no fact that any part of the job computes with.
_TOLD = (
    ("Make", "make"),
    ("Model", "model"),
    ("Trim", "trim"),
    ("Vehicle Type", "kind of vehicle"),
    ("Body Class", "body"),
    ("Doors", "doors"),
    ("Displacement (L)", "engine, litres"),
    ("Engine Number of Cylinders", "cylinders"),
    ("Engine Model", "engine"),
    ("Engine Brake (hp) From", "horsepower"),
    ("Fuel Type - Primary", "fuel"),
    ("Plant City", "built in"),
    ("Plant Country", "country"),
)
_NAMES = {"made_year": "model year", "gearbox": "gearbox", "drive": "driven wheels", "turbo": "turbocharger"}


@dataclass(frozen=True)
class DecodedFact:
    """One thing read out of the number.

    Parameters
    ----------
    name
        What it is, in words.
    shown
        Value in words.
    key
        Fact of a car that it may be taken over into; empty when it is only told.
    value
        Value for that fact.
    """

    name: str
    shown: str
    key: str = ""
    value: Any = None


@dataclass(frozen=True)
class Decoded:
    """What one decoder says, with the decoder's name, edition and complaints."""

    source: str
    facts: tuple[DecodedFact, ...]
    troubles: tuple[str, ...] = ()


@dataclass(frozen=True)
class Compared:
    """A decoded fact beside what the person typed; ``agrees`` is None when nothing was typed."""

    fact: DecodedFact
    typed: str
    agrees: bool | None


def decoders(vin: str, *, year: int | None = None) -> tuple[Decoded, ...]:
    """Ask every decoder that is installed on this machine; nothing is asked of the network.

    Parameters
    ----------
    vin
        The number; spaces and dashes are ignored.
    year
        Model year as typed, a hint only for numbers that leave it open.

    Returns
    -------
    tuple of Decoded
        Empty without a decoder, or when none can read it.

    References
    ----------
    vin-decoders, ultravin and vininfo.
    """
    plain = "".join(letter for letter in vin.upper() if letter not in " -")
    return tuple(said for said in (_by_registry(plain, year), _by_prefix(plain)) if said is not None)


def _by_registry(vin: str, year: int | None) -> Decoded | None:
    """The US registry's patterns, as the library ultravin carries them."""
    try:
        import ultravin
    except ImportError:
        return None
    if len(vin) != 17:
        return None
    said = ultravin.decode(vin, year=_hint(vin, year))
    got = said["attributes"]
    facts = [_model_year(said["model_year"]), _worded("gearbox", got.get("Transmission Style"), _GEARBOX)]
    facts += [_worded("drive", got.get("Drive Type"), _DRIVE), _turbo(got.get("Turbo"))]
    facts += [DecodedFact(name, _tidy(got[key])) for key, name in _TOLD if _says(got.get(key))]
    known = tuple(fact for fact in facts if fact is not None)
    troubles = tuple(
        part.strip()
        for part in str(got.get("Error Text", "")).split(";")
        if part.strip() and not part.strip().startswith("0 -")
    )
    month = ultravin.provenance()["data_month"].replace("_", "-")
    source = f"ultravin {version('ultravin')}, US registry patterns of {month}"
    return Decoded(source, known, troubles) if known or troubles else None


def _hint(vin: str, year: int | None) -> int | None:
    """The typed year where the number leaves it open; elsewhere a hint would bend the answer towards it."""
    try:
        open_years = read_vin(vin, this_year=2100).years
    except BadEntry:
        return None
    return year if len(open_years) > 1 and year in open_years else None


def _model_year(year: int | None) -> DecodedFact | None:
    return DecodedFact(_NAMES["made_year"], str(year), "made_year", year) if year else None


def _worded(key: str, text: Any, words: Mapping[str, str]) -> DecodedFact | None:
    plain = str(text or "").lower()
    value = next((value for word, value in words.items() if plain.startswith(word)), None)
    return None if value is None else DecodedFact(_NAMES[key], value, key, value)


def _turbo(text: Any) -> DecodedFact | None:
    return DecodedFact(_NAMES["turbo"], "yes", "turbo", True) if str(text or "").lower() == "yes" else None


def _says(value: Any) -> bool:
    return bool(value) and value != "Not Applicable"


def _tidy(value: Any) -> str:
    text = ", ".join(value) if isinstance(value, list) else str(value)
    try:
        return f"{float(text):g}" if "." in text else text[:80]
    except ValueError:
        return text[:80]


def _by_prefix(vin: str) -> Decoded | None:
    """Maker, country and region by the first three characters, as the library vininfo tells them."""
    try:
        from vininfo import Vin
        from vininfo.exceptions import VininfoException
    except ImportError:
        return None
    try:
        read = Vin(vin)
        told = (("maker", read.manufacturer), ("country", read.country), ("region", read.region))
    except (VininfoException, ValueError):
        return None
    facts = tuple(DecodedFact(name, str(value)) for name, value in told if value)
    return Decoded(f"vininfo {version('vininfo')}, unverified", facts)


def compared(decoded: Decoded, typed: Mapping[str, Any]) -> tuple[Compared, ...]:
    """Set what a decoder says beside what the person typed.

    Parameters
    ----------
    decoded
        What one decoder says.
    typed
        The car's facts by key: ``made_year``, ``gearbox``, ``drive``, ``turbo``.

    Returns
    -------
    tuple of Compared
        In the decoder's order; facts that are only told have nothing beside them.

    Examples
    --------
    >>> said = Decoded("a decoder", (DecodedFact("model year", "2014", "made_year", 2014),))
    >>> compared(said, {"made_year": 2013})[0].agrees
    False
    """
    rows = []
    for fact in decoded.facts:
        own = typed.get(fact.key) if fact.key else None
        shown = "" if own is None else {True: "yes", False: "no"}.get(own, str(own))
        rows.append(Compared(fact, shown, None if own is None else own == fact.value))
    return tuple(rows)


def takeable(told: tuple[Decoded, ...], wanted: tuple[str, ...]) -> tuple[dict[str, Any], str]:
    """Values by fact of what the person ticked, and which decoder said so.

    Parameters
    ----------
    told
        What the decoders say.
    wanted
        Keys that were ticked.

    Returns
    -------
    tuple
        Values by key, and the sources in words; keys that no decoder told are left out.
    """
    values: dict[str, Any] = {}
    sources: dict[str, None] = {}
    for decoded in told:
        for fact in decoded.facts:
            if fact.key in wanted and fact.key not in values:
                values[fact.key] = fact.value
                sources[decoded.source] = None
    return values, "; ".join(sources)
