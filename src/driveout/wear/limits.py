"""Limits as data: value as published, where it comes from, and whether it may decide."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from driveout.errors import BadEntry
from driveout.files import Document, shipped, yaml_document
from driveout.wear.typed import read_quantity

SCHEMA = "driveout-limits/1"
KIND_ORDER = ("maker", "regulation", "generic")
HOW_KNOWN = ("read", "computed", "recalled", "entered")
WEIGHTS = ("fail", "warn")
# Codes of the places whose rules ship, as people write them.
PLACES: dict[str, str] = {
    "us": "United States",
    "us-md": "Maryland",
    "us-ut": "Utah",
    "us-wa": "Washington",
    "eu": "European Union",
    "gb": "Great Britain",
}


def place_name(code: str) -> str:
    """Name of a place whose rules ship; an own code is written as it was typed, a plain country code in capitals."""
    return PLACES.get(code, code.upper() if len(code) <= 3 or code[2:3] == "-" else code)


def _in_words(code: str) -> str:
    name = place_name(code)
    return f"the {name}" if name in ("United States", "European Union") else name


@dataclass(frozen=True)
class Limit:
    """One limit of one quantity.

    Parameters
    ----------
    key
        Its own name.
    quantity
        What it limits, for example ``tread_mm``; the unit ends the name.
    value
        Value in that unit.
    as_published
        Value and unit as the source prints them.
    side
        ``least`` or ``most`` that a reading may be.
    kind
        ``maker``, ``regulation`` or ``generic``.
    jurisdiction
        Where a regulation holds; empty elsewhere.
    source, place, edition
        Shelf key (or the person's origin), place in it, edition.
    how_known
        ``read``, ``computed``, ``recalled`` or ``entered`` by the person.
    weight
        ``fail`` or ``warn``.
    decides
        False for rules of other vehicles and for figures that are shown as a contrast only.
    note
        Where sources differ.
    """

    key: str
    quantity: str
    value: float
    as_published: str
    side: str
    kind: str
    jurisdiction: str = ""
    source: str = ""
    place: str = ""
    edition: str = ""
    how_known: str = "read"
    weight: str = "fail"
    decides: bool = True
    note: str = ""

    @property
    def verified(self) -> bool:
        """Whether it may decide: a recalled figure may not."""
        return self.how_known != "recalled"

    @property
    def unit(self) -> str:
        """Unit of the value, from the end of the quantity's name."""
        return self.quantity.rpartition("_")[2]

    def short(self) -> str:
        """Name it in a few words."""
        side = "at least" if self.side == "least" else "at most"
        who = {
            "maker": "maker",
            "regulation": f"rule in {_in_words(self.jurisdiction)}" if self.jurisdiction else "rule",
            "generic": "general",
        }[self.kind]
        doubt = "" if self.verified else ", unverified"
        if not self.decides:
            doubt += ", other vehicles" if self.kind == "regulation" else ", for comparison"
        return f"{who}: {side} {self.as_published.replace(' um', ' µm')}{doubt}"

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON answers."""
        return {
            "key": self.key,
            "value": self.value,
            "unit": self.unit,
            "as_published": self.as_published,
            "side": self.side,
            "kind": self.kind,
            "jurisdiction": self.jurisdiction,
            "source": self.source,
            "place": self.place,
            "edition": self.edition,
            "how_known": self.how_known,
            "verified": self.verified,
            "note": self.note,
        }


_UNIT_WORDS = {
    "mm": "mm",
    "um": "µm",
    "kpa": "kPa",
    "percent": "%",
    "v": "V",
    "ma": "mA",
    "c": "°C",
    "years": "years",
    "km": "km",
    "ratio": "",
    "deg": "°",
    "n": "N",
    "m": "m",
    "times": "times",
    "minutes": "min",
}
QUANTITIES: dict[str, str] = {
    "lining_mm": "Brake lining or pad thickness",
    "lining_riveted_mm": "Lining over the rivet head",
    "disc_mm": "Disc thickness",
    "thickness_variation_mm": "Disc thickness variation",
    "disc_runout_mm": "Disc runout on the car",
    "scoring_mm": "Depth of scores in a disc",
    "drum_mm": "Drum diameter",
    "pedal_travel_percent": "Brake pedal travel of its free height",
    "brake_difference_percent": "Left to right brake difference",
    "brake_efficiency_percent": "Service brake efficiency",
    "park_efficiency_percent": "Parking brake efficiency",
    "stopping_distance_m": "Stop from 20 mph",
    "lining_difference_mm": "Inner to outer pad difference",
    "pipe_loss_mm": "Steel brake pipe wall lost",
    "tread_mm": "Tread depth",
    "tyre_age_years": "Tyre age",
    "circumference_difference_mm": "All-wheel drive: difference of circumference",
    "tread_difference_mm": "All-wheel drive: difference of tread",
    "diameter_difference_percent": "Tyre diameter against the maker's size",
    "lash_mm": "Steering lash at the rim",
    "play_mm": "Steering linkage play at the tread",
    "toe_times": "Toe in multiples of the maker's value",
    "wheel_runout_mm": "Wheel rim runout at the bead",
    "compression_ratio": "Lowest to highest compression",
    "compression_kpa": "Compression of a cylinder",
    "leak_percent": "Leak-down",
    "oil_pressure_kpa": "Oil pressure, hot",
    "cooling_drop_kpa": "Cooling system pressure drop in 10 minutes",
    "coolant_percent": "Glycol in the coolant",
    "moisture_percent": "Water in the brake fluid",
    "rest_v": "Battery at rest",
    "crank_v": "Battery while cranking",
    "charge_v": "Charging voltage",
    "sleep_ma": "Current drawn asleep",
    "film_um": "Paint film total",
    "clear_removal_um": "Clear coat removed in the car's life",
}


def unit_words(value: float, unit: str) -> str:
    """Write a reading with its unit; lengths and pressures in both systems."""
    digits = {"um": 0, "kpa": 0, "ma": 0, "percent": 1, "ratio": 3, "times": 2}.get(unit, 2)
    if unit == "mm" and abs(value) < 0.2:
        digits = 3
    text = f"{value:,.{digits}f} {_UNIT_WORDS.get(unit, unit)}".strip()
    if unit == "mm":
        text += f" ({value / 25.4:.{4 if digits == 3 else 3}f} in)"
    if unit == "kpa":
        text += f" ({value / 6.894757293168361:,.0f} psi)"
    return text


def shipped_limits() -> tuple[Limit, ...]:
    """Every limit that comes with driveout."""
    return _shipped()


@cache
def _shipped() -> tuple[Limit, ...]:
    document = yaml_document(shipped("driveout.wear", "data/limits.yaml"), "limits.yaml", SCHEMA)
    return read_limits(document)


def read_limits(document: Document, path: tuple[str, ...] = ("limits",)) -> tuple[Limit, ...]:
    """Read the limits of a ``driveout-limits/1`` file.

    Parameters
    ----------
    document
        The file.
    path
        Where the list stands.

    Returns
    -------
    tuple of Limit
        In file order.

    Raises
    ------
    BadEntry
        With ``file:line key.path`` of the first row that cannot be used.
    """
    rows = document.data
    for step in path:
        rows = (rows.get(step) or []) if isinstance(rows, Mapping) else []
    if not isinstance(rows, list):
        raise document.bad(
            path, "The limits must be a list of rows.", allowed="- {quantity: ..., least: ...}"
        )
    limits = tuple(_limit(document, (*path, number), row) for number, row in enumerate(rows))
    seen: set[str] = set()
    for number, limit in enumerate(limits):
        if limit.key in seen:
            raise document.bad(
                (*path, number, "key"), f"Two limits are called {limit.key!r}.", value=limit.key
            )
        seen.add(limit.key)
    return limits


_KEYS = frozenset(
    [
        "key",
        "quantity",
        "least",
        "most",
        "kind",
        "jurisdiction",
        "source",
        "place",
        "edition",
        "how_known",
        "weight",
        "decides",
        "note",
        "origin",
    ]
)


def _limit(document: Document, path: tuple[Any, ...], row: Any) -> Limit:
    if not isinstance(row, Mapping):
        raise document.bad(
            path, "A limit is a row of keys.", value=str(row)[:60], allowed="quantity, least or most"
        )
    for key in row:
        if key not in _KEYS:
            raise document.bad(
                (*path, key),
                f"{key!r} is no key of a limit.",
                value=str(key),
                allowed=", ".join(sorted(_KEYS)),
            )
    quantity = row.get("quantity")
    if quantity not in QUANTITIES:
        raise document.bad(
            (*path, "quantity"),
            f"{quantity!r} is not a quantity that readings are judged by.",
            value=str(quantity),
            allowed=", ".join(sorted(QUANTITIES)),
        )
    sides = [side for side in ("least", "most") if side in row]
    if len(sides) != 1:
        raise document.bad(
            path, "A limit has either `least` or `most`, exactly one.", allowed="least or most"
        )
    published = str(row[sides[0]])
    try:
        value = read_quantity(published, str(quantity).rpartition("_")[2], field=sides[0])
    except BadEntry as error:
        raise document.bad(
            (*path, sides[0]), error.message, value=published, allowed=error.allowed
        ) from error
    kind = _one_of(document, path, row, "kind", KIND_ORDER, "maker")
    how = _one_of(document, path, row, "how_known", HOW_KNOWN, "entered")
    weight = _one_of(document, path, row, "weight", WEIGHTS, "fail")
    source = str(row.get("source") or row.get("origin") or "")
    if not source:
        raise document.bad(
            path,
            "A limit says where it comes from. Add `origin:` with the document and page.",
            allowed="origin",
        )
    if not isinstance(row.get("decides", True), bool):
        raise document.bad(
            (*path, "decides"), "Write true or false.", value=str(row["decides"]), allowed="true, false"
        )
    return Limit(
        key=str(row.get("key") or f"{quantity}-{kind}-{sides[0]}-{published}"),
        quantity=str(quantity),
        value=value,
        as_published=published,
        side=sides[0],
        kind=kind,
        jurisdiction=str(row.get("jurisdiction", "")),
        source=source,
        place=str(row.get("place", "")),
        edition=str(row.get("edition", "")),
        how_known=how,
        weight=weight,
        decides=bool(row.get("decides", True)),
        note=str(row.get("note", "")),
    )


def _one_of(
    document: Document,
    path: tuple[Any, ...],
    row: Mapping[str, Any],
    key: str,
    allowed: tuple[str, ...],
    default: str,
) -> str:
    value = str(row.get(key, default))
    if value not in allowed:
        raise document.bad(
            (*path, key), f"{value!r} is not offered for {key}.", value=value, allowed=", ".join(allowed)
        )
    return value


def maker_limit(quantity: str, side: str, text: str, origin: str, spot: str = "") -> Limit:
    """Make a maker's limit that the person types once per car.

    Parameters
    ----------
    quantity
        One of `QUANTITIES`.
    side
        ``least`` or ``most``.
    text
        Value with unit, for example ``22.0 mm`` or ``0.866 in``.
    origin
        Where the person has it from: stamped on the disc, manual and page.
    spot
        Place it holds for, for example ``front``; empty for the whole car.

    Returns
    -------
    Limit
        Ready to judge by.

    Raises
    ------
    BadEntry
        If the quantity or side is unknown, the value unreadable or the origin missing.
    """
    if quantity not in QUANTITIES:
        raise BadEntry(
            f"{quantity!r} is not a quantity that readings are judged by.",
            field="quantity",
            value=quantity,
            allowed=", ".join(sorted(QUANTITIES)),
        )
    if side not in ("least", "most"):
        raise BadEntry(f"{side!r} is not a side of a limit.", field="side", value=side, allowed="least, most")
    if not origin.strip():
        raise BadEntry(
            "A maker's value needs its origin: the document and page, or where it is stamped.",
            field="origin",
            value=origin,
        )
    value = read_quantity(text, quantity.rpartition("_")[2], field="value")
    return Limit(
        f"{quantity}-{spot or 'car'}-maker-{side}",
        quantity,
        value,
        text.strip(),
        side,
        "maker",
        source=origin.strip(),
        place=spot,
        how_known="entered",
    )


def limits_of(quantity: str, limits: Iterable[Limit], spot: str = "") -> tuple[Limit, ...]:
    """Limits of one quantity that hold at a spot; a maker's value for another axle is left out."""
    return tuple(
        limit
        for limit in limits
        if limit.quantity == quantity
        and (
            limit.kind != "maker"
            or not limit.place
            or limit.how_known != "entered"
            or spot.startswith(limit.place)
        )
    )
