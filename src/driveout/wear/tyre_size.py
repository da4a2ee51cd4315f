"""The code on a tyre's side: size, construction, load index, speed symbol, load class."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from functools import cache
from math import pi

from driveout.errors import BadEntry
from driveout.files import shipped, yaml_document

_INCH = 25.4
SERVICES = {
    "P": "passenger (P metric)",
    "LT": "light truck",
    "T": "temporary spare",
    "ST": "trailer",
    "": "metric",
}


@cache
def load_table() -> dict[int, float]:
    """Load in kg per load index 0 to 119, as printed; index 62 corrected (printed 165, the row must rise)."""
    rows = csv.DictReader(shipped("driveout.wear", "data/load_index.csv").decode().splitlines())
    return {int(row["li"]): float(row["kg"]) for row in rows}


@cache
def speed_table() -> dict[str, int]:
    """Speed in km/h per symbol."""
    data = yaml_document(shipped("driveout.wear", "data/speed_symbols.yaml"), "speed_symbols.yaml").data
    return {str(symbol): int(speed) for symbol, speed in data["km_h"].items()}


@dataclass(frozen=True)
class TyreSize:
    """What the code on a tyre says.

    Parameters
    ----------
    service
        ``P``, ``LT``, ``T``, ``ST`` or empty for plain metric.
    width_mm
        Section width. [mm]
    aspect_percent
        Height of the side wall in percent of the width.
    construction
        ``R`` radial, ``ZR`` radial for high speed, ``D`` or ``B`` cross ply, belted.
    rim_in
        Rim diameter. [in]
    load_index, load_index_dual
        Load index single and, where printed, dual.
    speed_symbol
        Letter, or ``(Y)`` for above 300 km/h; empty when not printed.
    extra_load
        Whether XL, extra load or reinforced is printed.
    run_flat
        Whether the construction is marked run flat.
    load_range
        Letter of an LT or ST load range, or ``commercial`` for a C behind the rim.
    """

    service: str
    width_mm: float
    aspect_percent: float
    construction: str
    rim_in: float
    load_index: int | None = None
    load_index_dual: int | None = None
    speed_symbol: str = ""
    extra_load: bool = False
    run_flat: bool = False
    load_range: str = ""

    @property
    def diameter_mm(self) -> float:
        """Overall diameter: rim plus twice the side wall. [mm]."""
        return _INCH * self.rim_in + 2.0 * self.width_mm * self.aspect_percent / 100.0

    @property
    def circumference_mm(self) -> float:
        """Circumference of the unloaded tyre; rolling it is 0.96 to 0.97 of that (from memory). [mm]."""
        return pi * self.diameter_mm

    @property
    def load_kg(self) -> float | None:
        """Load of one single tyre, None when the index is missing or beyond the table. [kg]."""
        return None if self.load_index is None else load_table().get(self.load_index)

    @property
    def speed_km_h(self) -> int | None:
        """Highest speed; for ``(Y)`` and a bare ZR the speed it is good beyond. [km/h]."""
        if self.speed_symbol == "(Y)":
            return 300
        if self.speed_symbol:
            return speed_table()[self.speed_symbol]
        return 240 if self.construction == "ZR" else None

    def text(self) -> str:
        """Write it as a tyre's side does."""
        if self.aspect_percent:
            size = f"{self.service}{self.width_mm:g}/{self.aspect_percent:g}{self.construction}"
        else:  # pragma: no cover - every reading has an aspect
            size = f"{self.service}{self.width_mm:g}{self.construction}"
        size += "F" if self.run_flat else ""
        text = f"{size}{self.rim_in:g}" + ("C" if self.load_range == "commercial" else "")
        if self.load_index is not None:
            dual = f"/{self.load_index_dual}" if self.load_index_dual is not None else ""
            index = f"{self.load_index}{dual}"
            text += f" ({index}Y)" if self.speed_symbol == "(Y)" else f" {index}{self.speed_symbol}"
        return text + (" XL" if self.extra_load else "")


_PATTERN = re.compile(
    r"""^(?P<service>P|LT|ST|T)?\s*
    (?P<width>\d{3})\s*/\s*(?P<aspect>\d{2,3})\s*
    (?P<construction>ZR|R|D|B|-)\s*(?P<runflat>F)?\s*
    (?P<rim>\d{2}(?:\.5)?)\s*(?P<commercial>C(?![A-Z]))?\s*(?P<lt>LT)?\s*
    (?P<rest>.*)$""",
    re.VERBOSE,
)
_FLOTATION = re.compile(
    r"^(?P<diameter>\d{2}(?:\.\d+)?)\s*X\s*(?P<width>\d{1,2}\.\d{1,2})\s*(?P<construction>R|D|-)\s*(?P<rim>\d{2})\s*(?P<service>LT)?\s*(?P<rest>.*)$"
)
_SERVICE = re.compile(
    r"^(?P<open>\()?\s*(?P<index>\d{2,3})(?:\s*/\s*(?P<dual>\d{2,3}))?\s*(?P<speed>[A-Z])?\s*(?P<close>\))?(?P<rest>.*)$"
)


def read_tyre_size(text: str, field: str = "tyre_size") -> TyreSize:
    """Read the size code of a tyre.

    Parameters
    ----------
    text
        For example ``205/55R16 91V``, ``P225/45 R17 91W``, ``LT235/75R15 104/101R``,
        ``205/55ZR16 (91Y)``, ``225/45R17 94W XL``, ``31x10.50R15LT``.
    field
        Form field, for the message.

    Returns
    -------
    TyreSize
        What it says.

    Raises
    ------
    BadEntry
        If it is no tyre size, or one that no tyre has; with a suggestion when one slip explains it.

    References
    ----------
    etrto-load-index, load table; tyre-speed-symbols, speed table.

    Examples
    --------
    >>> round(read_tyre_size("205/55R16 91V").diameter_mm, 1)
    631.9
    """
    plain = re.sub(r"\s+", " ", text.strip().upper().replace("×", "X").replace("\\", "/"))
    flotation = _FLOTATION.match(plain)
    if flotation:
        return _flotation(flotation, text, field)
    match = _PATTERN.match(plain)
    if not match:
        raise _refuse(f"{text.strip()[:40]!r} is not a tyre size.", text, plain, field)
    service = match["service"] or ("LT" if match["lt"] else "")
    size = TyreSize(
        service,
        float(match["width"]),
        float(match["aspect"]),
        match["construction"].replace("-", "D"),
        float(match["rim"]),
        run_flat=bool(match["runflat"]),
        load_range="commercial" if match["commercial"] else "",
    )
    _demand_possible(size, text, plain, field)
    return _with_service(size, match["rest"].strip(), text, field)


def _flotation(match: re.Match[str], text: str, field: str) -> TyreSize:
    diameter, width, rim = float(match["diameter"]), float(match["width"]), float(match["rim"])
    aspect = (diameter - rim) / 2 / width * 100
    if not (24 <= diameter <= 44 and 7 <= width <= 16 and 13 <= rim <= 24 and 30 <= aspect <= 110):
        raise BadEntry(f"{text.strip()[:40]!r} is a size that no tyre has.", field=field, value=text[:40])
    size = TyreSize("LT", width * _INCH, aspect, match["construction"].replace("-", "D"), rim)
    return _with_service(size, match["rest"].strip(), text, field)


def _demand_possible(size: TyreSize, text: str, plain: str, field: str) -> None:
    if not 105 <= size.width_mm <= 405 or size.width_mm % 10 != 5:
        low = size.width_mm - size.width_mm % 10 + 5
        raise BadEntry(
            f"A section width of {size.width_mm:g} mm is on no metric tyre: widths end in 5. Did you mean {low - 10:g} or {low:g}?",
            field=field,
            value=text[:40],
            allowed="105 to 405 mm, ending in 5",
        )
    if not 20 <= size.aspect_percent <= 95 or size.aspect_percent % 5:
        raise BadEntry(
            f"An aspect ratio of {size.aspect_percent:g} is on no tyre: it runs in fives from 20 to 95.",
            field=field,
            value=text[:40],
            allowed="20 to 95 in steps of 5",
        )
    if not 10 <= size.rim_in <= 30:
        raise BadEntry(
            f"A rim of {size.rim_in:g} in is on no car.", field=field, value=text[:40], allowed="10 to 30 in"
        )
    if not 400 <= size.diameter_mm <= 1100:
        raise _refuse(
            f"{text.strip()[:40]} would stand {size.diameter_mm:.0f} mm high; no car's tyre does.",
            text,
            plain,
            field,
        )


def _with_service(size: TyreSize, rest: str, text: str, field: str) -> TyreSize:
    changes: dict[str, object] = {}
    match = _SERVICE.match(rest) if rest and (rest[0].isdigit() or rest[0] == "(") else None
    if match:
        index, symbol = int(match["index"]), match["speed"] or ""
        if bool(match["open"]) != bool(match["close"]):
            raise BadEntry("A bracket is open. Write (91Y) or 91Y.", field=field, value=text[:40])
        if match["open"] and (symbol != "Y" or size.construction != "ZR"):
            raise BadEntry(
                "Brackets stand round a load index with Y on a ZR tyre only: above 300 km/h.",
                field=field,
                value=text[:40],
            )
        for value in (index, int(match["dual"] or index)):
            if not 50 <= value <= 150:
                raise BadEntry(
                    f"A load index of {value} is on no car's tyre.",
                    field=field,
                    value=text[:40],
                    allowed="50 to 150",
                )
        if match["dual"] and int(match["dual"]) > index:
            raise BadEntry(
                f"The dual load index {match['dual']} is above the single one {index}; in pairs a tyre carries less.",
                field=field,
                value=text[:40],
            )
        if symbol and symbol not in speed_table():
            raise BadEntry(
                f"{symbol} is not a speed symbol of a car's tyre.",
                field=field,
                value=text[:40],
                allowed=", ".join(speed_table()),
            )
        changes = {
            "load_index": index,
            "load_index_dual": int(match["dual"]) if match["dual"] else None,
            "speed_symbol": "(Y)" if match["open"] else symbol,
        }
        rest = match["rest"].strip()
    for word in re.split(
        r"[ ,;]+", rest.replace("EXTRA LOAD", "XL").replace("LOAD RANGE ", "LR").replace("M + S", "M+S")
    ):
        if not word or word in {"M+S", "3PMSF", "TL", "TUBELESS", "SL", "RADIAL", "DOT"}:
            continue
        if word in {"XL", "RF", "REINF", "REINFORCED"}:
            changes["extra_load"] = True
        elif word in {"RFT", "ROF", "SSR", "EMT", "ZP", "RUNFLAT"}:
            changes["run_flat"] = True
        elif re.fullmatch(r"(LR)?[B-N]1?", word):
            changes["load_range"] = word.removeprefix("LR")
        else:
            raise BadEntry(
                f"{word!r} behind the size is not understood.",
                field=field,
                value=text[:40],
                allowed="load index and speed symbol, XL, M+S",
            )
    return TyreSize(**{**size.__dict__, **changes})


_DIGIT_FOR = str.maketrans({"O": "0", "Q": "0", "I": "1", "L": "1", "S": "5", "G": "6"})


def suggestion(text: str) -> str:
    """A size that one ordinary slip would turn into what was typed; empty when none is found.

    Parameters
    ----------
    text
        What was typed.

    Returns
    -------
    str
        The size to ask about, or nothing.
    """
    plain = text.upper().strip()
    numbers = re.findall(
        r"\d+",
        re.sub(r"(?<=\d)[OQIS](?=\d)|(?<=\d)[OQ](?=[/\-])", lambda m: m[0].translate(_DIGIT_FOR), plain),
    )
    joined = "".join(numbers[:3]) if len(numbers) >= 3 else "".join(numbers)
    if len(joined) < 7:
        return ""
    width, aspect, rim = joined[:3], joined[3:5], joined[5:7]
    candidate = f"{width}/{aspect}R{rim}"
    fits = (
        int(width) % 10 == 5 and 105 <= int(width) <= 405 and int(aspect) % 5 == 0 and 20 <= int(aspect) <= 95
    )
    return candidate if fits and 12 <= int(rim) <= 24 else ""


def _refuse(message: str, text: str, plain: str, field: str) -> BadEntry:
    guess = suggestion(plain)
    ask = f" Did you mean {guess}?" if guess else " Write it as on the side, for example 205/55R16 91V."
    return BadEntry(
        message + ask, field=field, value=text[:40], allowed="width/aspect R rim, load index, speed symbol"
    )
