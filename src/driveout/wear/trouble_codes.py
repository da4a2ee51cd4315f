"""Trouble codes: read from text or an adapter's reply, told generic from maker's, turned into findings."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from driveout.errors import BadEntry
from driveout.files import shipped, yaml_document
from driveout.wear.verdict import FAILS, HOLDS, OPEN, Finding, Verdict

_SYSTEMS = {"P": "engine and drive", "C": "chassis", "B": "body", "U": "network"}
_CODE = re.compile(r"\b([PCBU])\s?([0-3])([0-9A-F]{3})\b", re.IGNORECASE)
# Positive answers on the mode: 43 stored, 47 pending, 4A permanent (SAE J1979, from memory).
_REPLIES = {"43": "stored", "47": "pending", "4A": "permanent"}


# Groups of codes that every reader of the engine sees; silence there speaks against. Airbag, brake and
# gearbox codes need a fuller reader, so their absence says nothing.
ENGINE_GROUPS = (
    "s_codes_timing",
    "s_codes_boost",
    "s_codes_heat",
    "s_codes_start",
    "s_codes_mixture",
    "s_codes_misfire",
    "s_codes_cat",
    "s_codes_evap",
)


@dataclass(frozen=True)
class TroubleCode:
    """One code: its text, whether its meaning is generic, the meaning when known, and what it points at."""

    code: str
    system: str
    generic: bool
    meaning: str
    checks: tuple[str, ...]
    points_at: tuple[str, ...]
    repair: str


@cache
def _table() -> dict[str, TroubleCode]:
    rows = yaml_document(shipped("driveout.wear", "data/trouble_codes.yaml"), "trouble_codes.yaml").data[
        "codes"
    ]
    return {
        code: TroubleCode(code, _SYSTEMS[code[0]], True, meaning, tuple(checks), tuple(faults), repair)
        for code, (meaning, checks, faults, repair) in rows.items()
    }


def known_codes() -> tuple[TroubleCode, ...]:
    """Every code whose meaning ships."""
    return tuple(_table().values())


def is_generic(code: str) -> bool:
    """Whether the standard fixes the meaning, or the maker does.

    Second character 0 is generic, 1 the maker's; for P also 2 generic, and P3 up to P33FF the
    maker's, from P3400 generic.

    References
    ----------
    sae-j2012, code ranges, from memory.
    """
    if code[1] == "0":
        return True
    if code[0] == "P":
        return code[1] == "2" or (code[1] == "3" and code[2] >= "4")
    return code[0] == "U" and code[1] == "3"


def read_codes(text: str) -> tuple[TroubleCode, ...]:
    """Find the codes in what was typed or pasted from any reader.

    Parameters
    ----------
    text
        Anything with codes such as ``P0301`` in it.

    Returns
    -------
    tuple of TroubleCode
        Each code once, in order.

    Raises
    ------
    BadEntry
        If something looks like a code but is none, or there is none at all.

    References
    ----------
    sae-j2012, meanings from memory.

    Examples
    --------
    >>> [code.code for code in read_codes("stored: P0301, p0420")]
    ['P0301', 'P0420']
    """
    found = [f"{a}{b}{c}".upper() for a, b, c in _CODE.findall(text)]
    wrong = re.findall(r"\b[PCBU]\s?[O0-9][0-9A-FOIL]{2,4}\b", text.upper())
    for word in wrong:
        plain = word.replace(" ", "")
        if plain not in found:
            raise BadEntry(
                f"{plain} is not a code: a letter P, C, B or U, a digit 0 to 3 and three more digits.",
                field="codes",
                value=plain,
                allowed="for example P0301",
                fix="The letter O is often typed for the digit 0.",
            )
    if not found:
        raise BadEntry("There is no code in it.", field="codes", value=text[:40], allowed="for example P0301")
    return tuple(_told(code) for code in dict.fromkeys(found))


def _told(code: str) -> TroubleCode:
    known = _table().get(code)
    if known:
        return known
    generic = is_generic(code)
    meaning = (
        "generic code whose meaning is not shipped here"
        if generic
        else "the maker's own code: look it up in his manual"
    )
    return TroubleCode(code, _SYSTEMS[code[0]], generic, meaning, (), (), "")


def codes_from_reply(reply: str) -> tuple[str, tuple[TroubleCode, ...]]:
    """Decode the bytes that an adapter answers to the request for codes.

    Each code is two bytes: the first two bits name the system (P, C, B, U), the next two the
    second character, the rest three hexadecimal digits.

    Parameters
    ----------
    reply
        Hexadecimal text, for example ``43 01 33 00 00 00 00``.

    Returns
    -------
    tuple
        ``stored``, ``pending`` or ``permanent``, and the codes.

    Raises
    ------
    BadEntry
        If it is no such answer.

    References
    ----------
    sae-j1979, modes 3, 7 and 10, from memory.

    Examples
    --------
    >>> [code.code for code in codes_from_reply("43 01 33 00 00 00 00")[1]]
    ['P0133']
    """
    digits = re.sub(r"[\s>]", "", reply).upper()
    if not re.fullmatch(r"(4[37]|4A)([0-9A-F]{2})*", digits):
        raise BadEntry(
            f"{reply[:40]!r} is not an answer about codes.",
            field="reply",
            value=reply[:40],
            allowed="43, 47 or 4A and bytes",
        )
    body = digits[2:]
    if len(body) % 4 == 2:
        body = body[2:]  # on newer buses a count of codes comes first
    codes = []
    for start in range(0, len(body), 4):
        word = int(body[start : start + 4], 16)
        if word:
            codes.append(_told(f"{'PCBU'[word >> 14]}{word >> 12 & 3}{word & 0xFFF:03X}"))
    return _REPLIES[digits[:2]], tuple(codes)


def codes_verdict(codes: tuple[TroubleCode, ...], cleared_recently: bool = False) -> Verdict:
    """Turn codes into findings; a memory wiped just before the viewing is itself a finding.

    Parameters
    ----------
    codes
        Codes found; may be empty.
    cleared_recently
        Whether two or more readiness monitors are not complete.

    Returns
    -------
    Verdict
        Findings and repairs of all codes.
    """
    findings = [
        Finding(check, True, f"{code.code}: {code.meaning}", code.points_at)
        for code in codes
        for check in code.checks
    ]
    findings.append(
        Finding(
            "s_not_ready",
            cleared_recently,
            "monitors not complete" if cleared_recently else "monitors complete",
        )
    )
    told = {finding.check for finding in findings}
    findings += [
        Finding(group, False, "no such code stored or pending")
        for group in ENGINE_GROUPS
        if group not in told
    ]
    words = "; ".join(
        f"{code.code} {code.meaning}" + ("" if code.generic else " (maker's)") for code in codes
    )
    if cleared_recently:
        words = (words or "No code") + ". The memory was wiped not long ago: codes may come back."
    return Verdict(
        "Trouble codes",
        FAILS if codes else OPEN if cleared_recently else HOLDS,
        words=words or "No code stored or pending.",
        findings=tuple(findings),
        repairs=tuple(dict.fromkeys(code.repair for code in codes if code.repair)),
        cautions=("A code names a symptom of a system, not the part to buy. Meanings here are from memory.",),
    )
