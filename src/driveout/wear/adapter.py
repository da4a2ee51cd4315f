"""The dialogue with a plug-in adapter that speaks the common AT commands: it reads, and never clears or sets anything.

The line itself is handed in, so that a serial port, a pseudo-terminal or a test can stand behind it. Requests are
modes 01, 03, 07, 09 and 0A of SAE J1979; answers are put together by ISO 15765-4 on CAN and line by line on older
buses. Both standards are on the shelf as recalled (sae-j1979, iso-15765-4).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

from driveout.errors import CannotSay
from driveout.wear.trouble_codes import TroubleCode, codes_from_reply

# Every sign that may ever go out. Mode 04, which clears codes and wipes the monitors, is not among them. A bare
# return is not either: it would make the adapter repeat whatever another program asked last.
SETTING_UP = ("ATZ", "ATE0", "ATL0", "ATH1", "ATSP0", "ATDPN")
ASKED = ("0100", "0101", "03", "07", "0A", "0902")
MODES = {"03": "stored", "07": "pending", "0A": "permanent"}
PROTOCOLS = {
    "1": "SAE J1850 PWM",
    "2": "SAE J1850 VPW",
    "3": "ISO 9141-2",
    "4": "ISO 14230-4",
    "5": "ISO 14230-4",
    "6": "ISO 15765-4, 11 bit",
    "7": "ISO 15765-4, 29 bit",
    "8": "ISO 15765-4, 11 bit, slow",
    "9": "ISO 15765-4, 29 bit, slow",
}
_HEADER_DIGITS = {"6": 3, "8": 3, "7": 8, "9": 8}
# Empty reads waited for: a bus search takes many seconds, everything else a few. One read waits a quarter second.
_PATIENCE = {"0100": 80, "ATZ": 12}
_ORDINARY_PATIENCE = 24
_LONGEST = 65_536
_CAR_SILENT = "The adapter answers, the car does not ({}). Turn the ignition on, push the plug home, wait ten seconds, try again."
_REFUSALS = (
    ("UNABLE TO CONNECT", _CAR_SILENT),
    ("BUS INIT", _CAR_SILENT),
    ("CAN ERROR", _CAR_SILENT),
    ("BUS ERROR", _CAR_SILENT),
    ("FB ERROR", _CAR_SILENT),
    ("LV RESET", "The adapter lost its supply ({}). Charge the battery, push the plug home, try again."),
    ("LP ALERT", "The adapter went to sleep ({}). Try again."),
    ("ACT ALERT", "The adapter went to sleep ({}). Try again."),
    ("STOPPED", "Something else spoke to the adapter meanwhile ({}). Close other programs, try again."),
)
_AGAIN = ("DATA ERROR", "RX ERROR", "BUFFER FULL", "BUS BUSY")


class Line(Protocol):
    """What the dialogue needs of a port; reading waits briefly and returns nothing when nothing came."""

    def write(self, data: bytes, /) -> Any:
        """Send bytes."""
        ...

    def read(self, size: int, /) -> bytes:
        """Return what came, at most that many bytes."""
        ...


class NoAdapter(CannotSay):
    """Nothing on the line speaks as an adapter does: silence, or noise of another speed."""


class _Torn(Exception):
    """A line broke off or is missing; asking again may help."""


@dataclass(frozen=True)
class Told:
    """What an adapter told of one car.

    Parameters
    ----------
    adapter, protocol
        Its own name, and the bus in words.
    vin
        Number that the control unit carries; empty when it tells none.
    codes
        Codes by ``stored``, ``pending``, ``permanent``; a kind that was not answered is left out.
    lamp_on
        Whether the engine lamp is asked for; None when not told.
    open_monitors
        Monitors not complete; None when not told.
    notes
        What to know besides.
    """

    adapter: str
    protocol: str
    vin: str = ""
    codes: dict[str, tuple[TroubleCode, ...]] = field(default_factory=dict)
    lamp_on: bool | None = None
    open_monitors: int | None = None
    notes: tuple[str, ...] = ()

    @property
    def entries(self) -> dict[str, str]:
        """The same as fields of the engine's form; empty when no question about codes was answered."""
        if not self.codes:
            return {}
        listed = "; ".join(
            f"{kind}: {' '.join(code.code for code in codes)}" for kind, codes in self.codes.items() if codes
        )
        ready = (
            {} if self.open_monitors is None else {"not_ready": "yes" if self.open_monitors >= 2 else "no"}
        )
        return {"codes": listed or "none"} | ready

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON answers."""
        return {
            "adapter": self.adapter,
            "protocol": self.protocol,
            "vin": self.vin,
            "codes": {
                kind: [
                    {"code": code.code, "meaning": code.meaning, "generic": code.generic} for code in codes
                ]
                for kind, codes in self.codes.items()
            },
            "lamp_on": self.lamp_on,
            "open_monitors": self.open_monitors,
            "notes": list(self.notes),
        }


def greet(line: Line) -> str:
    """Wake the adapter and return its name.

    Parameters
    ----------
    line
        The port, open at some speed.

    Returns
    -------
    str
        For example ``ELM327 v1.5``.

    Raises
    ------
    NoAdapter
        On silence, and on noise of another speed.
    """
    named = [text for text in _exchange(line, "ATZ") if re.search("[A-Z]", text)]
    if not named:
        raise NoAdapter("Something answers, but not as an adapter does.", missing="an adapter's name")
    return named[-1][:60]


def ask(line: Line, name: str) -> Told:
    """Ask a car for its codes, its monitors and its number. Nothing is cleared.

    Parameters
    ----------
    line
        The port, after `greet`.
    name
        What the adapter called itself.

    Returns
    -------
    Told
        What came; kinds of codes that the car does not answer are left out.

    Raises
    ------
    CannotSay
        If the car is silent, the bus fails, or answers stay torn after a second try.

    References
    ----------
    sae-j1979, modes 01, 03, 07, 09, 0A, from memory; iso-15765-4, frames, from memory.
    """
    for command in SETTING_UP[1:5]:
        _exchange(line, command)
    _replies(line, "0100", "")
    bus = "".join(_exchange(line, "ATDPN")).strip()[-1:]
    if bus not in PROTOCOLS:
        raise CannotSay(
            f"The car speaks on a bus that is not read here ({bus or 'not told'}).", missing="a bus of cars"
        )
    lamp, count, open_monitors = _monitors(_replies(line, "0101", bus))
    notes: list[str] = []
    codes: dict[str, tuple[TroubleCode, ...]] = {}
    for command, kind in MODES.items():
        answered = _replies(line, command, bus)
        if answered or (kind == "stored" and count == 0):
            codes[kind] = _codes(answered)
        else:
            notes.append(f"No control unit answered about {kind} codes; that is not the same as none.")
    vin, said = _number(_replies(line, "0902", bus))
    stored = len(codes.get("stored", ()))
    if count is not None and "stored" in codes and stored < count:
        notes.append(f"The control units count {count} codes, {stored} were told. Read again.")
    return Told(name, PROTOCOLS[bus], vin, codes, lamp, open_monitors, (*notes, *said))


def _replies(line: Line, command: str, bus: str) -> dict[str, list[bytes]]:
    """Whole messages by control unit; asked a second time when the first answer was torn."""
    for attempt in (1, 2):
        try:
            lines = _exchange(line, command)
            return _of_mode(messages(lines, bus), command) if bus else _heard(lines)
        except _Torn as torn:
            if attempt == 2:
                raise CannotSay(
                    f"The answer to {command} broke off twice ({torn}). Hold the plug still and read again; "
                    "nothing was kept.",
                    missing="a whole answer",
                ) from torn
    raise AssertionError  # pragma: no cover - the second attempt returns or raises


def _heard(lines: Sequence[str]) -> dict[str, list[bytes]]:
    """The first question only tells whether the car answers at all."""
    if not lines:
        raise CannotSay(_CAR_SILENT.format("no data"), missing="an answer of the car")
    return {}


def _of_mode(answered: dict[str, list[bytes]], command: str) -> dict[str, list[bytes]]:
    """Only what answers this question: a refusal or a late answer to another one is left out."""
    mode = int(command[:2], 16) + 0x40
    kept = {unit: [one for one in said if one[0] == mode] for unit, said in answered.items()}
    return {unit: said for unit, said in kept.items() if said}


def _exchange(line: Line, command: str) -> list[str]:
    """Send one command and return the lines of its answer, without echo, prompt and chatter."""
    if command not in (*SETTING_UP, *ASKED):
        raise ValueError(f"{command!r} is not a question; this dialogue only reads")
    line.write(command.encode() + b"\r")
    raw, silent = b"", 0
    while b">" not in raw and len(raw) < _LONGEST:
        chunk = line.read(1)
        raw += chunk
        if chunk and not _readable(chunk):
            break
        silent = 0 if chunk else silent + 1
        if silent >= _PATIENCE.get(command, _ORDINARY_PATIENCE):
            if not raw:
                raise NoAdapter("Nothing answers on this port.", missing="an adapter on the port")
            break
    plain = raw.replace(b"\0", b"")
    if len(raw) >= _LONGEST or not _readable(plain):
        raise NoAdapter(
            "Only noise comes from this port; the speed does not fit.", missing="the adapter's speed"
        )
    text = plain.decode("ascii").upper()
    whole = ">" in text
    lines = [part.strip() for part in re.split(r"[\r\n>]+", text.split(">")[0]) if part.strip()]
    lines = [part for part in (_without_chatter(part) for part in lines) if part and part != command]
    _demand_answer(lines)
    if not whole and command != "ATZ":
        raise _Torn("no end of the answer")
    return [] if lines == ["NO DATA"] else [part for part in lines if part != "NO DATA"]


def _readable(data: bytes) -> bool:
    """Whether these are signs that an adapter sends; it may strew zero bytes in between."""
    return all(31 < byte < 127 or byte in (0, 9, 10, 13) for byte in data)


def _without_chatter(text: str) -> str:
    """A line without the words that the adapter puts before its answer while it looks for the bus."""
    text = re.sub(r"^SEARCHING[.\s]*", "", text)
    return re.sub(r"^BUS INIT:?[.\s]*OK$", "", text)


def _demand_answer(lines: Sequence[str]) -> None:
    for text in lines:
        for words, message in _REFUSALS:
            if words in text and not text.endswith("OK"):
                raise CannotSay(message.format(text.capitalize()), missing="an answer of the car")
        if any(words in text for words in _AGAIN):
            raise _Torn(text.lower())


def messages(lines: Sequence[str], bus: str) -> dict[str, list[bytes]]:
    """Put the lines of an answer together: by control unit, each message whole.

    Parameters
    ----------
    lines
        Lines with their headers, blanks do not matter.
    bus
        One of `PROTOCOLS`.

    Returns
    -------
    dict
        Messages by control unit, without headers, padding and check bytes.
    """
    found: dict[str, list[bytes]] = {}
    parts: dict[str, list[bytes]] = {}
    for text in lines:
        if text == "?":
            continue
        digits = text.replace(" ", "")
        header = _HEADER_DIGITS.get(bus, 6)
        body = digits[header:]
        if not re.fullmatch("[0-9A-F]+", digits) or len(body) % 2 or not body:
            raise _Torn(text[:24])
        unit, data = digits[:header], bytes.fromhex(body)
        if bus in _HEADER_DIGITS:
            parts.setdefault(unit, []).append(data)
        else:
            found.setdefault(unit[-2:], []).append(_old_bus(digits, data[:-1], bus))
    for unit, frames in parts.items():
        found[unit] = _joined(frames)
    return found


def _old_bus(digits: str, data: bytes, bus: str) -> bytes:
    """A message of an older bus: seven bytes at most, or as many as its first byte says."""
    least = {0x43: 7, 0x47: 7, 0x4A: 7, 0x41: 6, 0x49: 7}.get(data[0] if data else 0, 1)
    if bus in ("4", "5"):
        least = int(digits[:2], 16) & 0x3F or least
    if not data or len(data) < least:
        raise _Torn(digits[:24])
    return data


def _joined(frames: Sequence[bytes]) -> list[bytes]:
    """Messages of one control unit: single frames as they are, long ones joined and counted."""
    whole: list[bytes] = []
    long, wanted, step = b"", 0, 0
    for frame in frames:
        kind = frame[0] >> 4
        if kind == 0:
            length = frame[0] & 0x0F
            if not length or len(frame) < 1 + length:
                raise _Torn(frame.hex(" "))
            whole.append(frame[1 : 1 + length])
        elif kind == 1 and len(frame) == 8:
            long, wanted, step = frame[2:], (frame[0] & 0x0F) << 8 | frame[1], 1
        elif kind == 2 and wanted and frame[0] & 0x0F == step % 16:
            long, step = long + frame[1:], step + 1
            if len(long) >= wanted:
                whole.append(long[:wanted])
                wanted = 0
        else:
            raise _Torn(frame.hex(" "))
    if wanted:
        raise _Torn(f"{len(long)} of {wanted} bytes")
    return whole


def _codes(answered: dict[str, list[bytes]]) -> tuple[TroubleCode, ...]:
    codes = [code for said in answered.values() for one in said for code in codes_from_reply(one.hex())[1]]
    return tuple(dict.fromkeys(codes))


def _monitors(answered: dict[str, list[bytes]]) -> tuple[bool | None, int | None, int | None]:
    """Lamp, number of codes, and monitors that are fitted and not complete, over all control units."""
    told = [
        one[2:6] for said in answered.values() for one in said if one[:2] == b"\x41\x01" and len(one) >= 6
    ]
    if not told:
        return None, None, None
    waiting = sum(
        ((status[1] & 7) & (status[1] >> 4 & 7)).bit_count() + (status[2] & status[3]).bit_count()
        for status in told
    )
    return any(status[0] & 0x80 for status in told), sum(status[0] & 0x7F for status in told), waiting


def _number(answered: dict[str, list[bytes]]) -> tuple[str, tuple[str, ...]]:
    """The number that the first control unit carries, and a word when others carry another."""
    told: dict[str, None] = {}
    for said in answered.values():
        parts = sorted((one for one in said if one[:2] == b"\x49\x02"), key=lambda one: one[2:3])
        raw = b"".join(one[3:] for one in parts)
        text = "".join(chr(byte) for byte in raw if 48 <= byte <= 57 or 65 <= byte <= 90)
        if len(text) == 17:
            told[text] = None
    if not told:
        return "", ("The control unit tells no number.",)
    first, *others = told
    return first, tuple(
        f"Another control unit carries {other}: a unit of another car may be fitted." for other in others
    )
