"""Posted forms, read field by field with messages that name the field."""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Annotated

from fastapi import Depends, Request
from starlette.datastructures import UploadFile
from starlette.formparsers import MultiPartParser

from driveout.errors import BadEntry
from driveout.units import Money, money_from_text, read_number
from driveout.web.gate import LARGEST_UPLOAD
from driveout.web.taste import TASTE_COOKIE, Taste, present, settled, taste_of

VISIT_COOKIE = "driveout_visit"


@dataclass(frozen=True)
class Upload:
    """A file that came with a form."""

    name: str
    data: bytes


class Form:
    """What the person sent, kept as typed so that a refused form can be shown again whole.

    Parameters
    ----------
    raw
        Text fields by name, last one wins.
    lists
        All values by name, for fields that repeat.
    files
        Uploads by name.
    taste
        How the person writes numbers; what the page is drawn for when left out.
    """

    def __init__(
        self,
        raw: dict[str, str],
        lists: dict[str, list[str]] | None = None,
        files: dict[str, Upload] | None = None,
        taste: Taste | None = None,
    ) -> None:
        self.taste = taste or present()
        self.raw = raw
        self.lists = lists or {key: [value] for key, value in raw.items()}
        self.files = files or {}

    def _given(self, name: str, required: bool) -> str:
        value = self.raw.get(name, "").strip()
        if not value and required:
            raise BadEntry(f"{_words(name)} is empty. Fill it in.", field=name, value="")
        return value

    def text(self, name: str, required: bool = True, longest: int = 400) -> str:
        """Text without control characters."""
        value = self._given(name, required)
        if len(value) > longest:
            raise BadEntry(
                f"{_words(name)} has {len(value):,} characters; at most {longest:,} are kept.",
                field=name,
                allowed=f"at most {longest:,} characters",
            )
        return "".join(letter for letter in value if letter in "\n\t" or letter.isprintable())

    def money(self, name: str, currency: str, least: Money | None = None, most: Money | None = None) -> Money:
        """Amount of money; refuses another currency than the car's."""
        text = self._given(name, required=True)
        try:
            # A fourth decimal keeps three of them from being taken for thousands.
            plain = re.sub(r"(\.\d{3})(?!\d)", r"\g<1>0", settled(text, self.taste))
            amount = money_from_text(plain, currency)
        except BadEntry as error:
            raise BadEntry(
                f"{_words(name)}: {error.message}", field=name, value=text, allowed=error.allowed
            ) from error
        if amount.currency != currency:
            raise BadEntry(
                f"{_words(name)} is in {amount.currency}; this car is kept in {currency}. Convert it first.",
                field=name,
                value=text,
                allowed=currency,
            )
        low = least if least is not None else Money(0, currency)
        if amount < low or (most is not None and amount > most):
            allowed = f"from {low.text()}" + (f" to {most.text()}" if most else "")
            raise BadEntry(
                f"{_words(name)} {amount.text()} is outside what can be right.",
                field=name,
                value=text,
                allowed=allowed,
            )
        return amount

    def decimal(
        self, name: str, unit: str = "", least: float | None = None, most: float | None = None
    ) -> Decimal:
        """Exact number, see `number`."""
        text = self._given(name, required=True)
        try:
            value = read_number(settled(text, self.taste), decimal_comma=False)
        except BadEntry as error:
            raise BadEntry(
                f"{_words(name)}: {error.message}", field=name, value=text, allowed=unit
            ) from error
        if (least is not None and value < Decimal(str(least))) or (
            most is not None and value > Decimal(str(most))
        ):
            ends = [
                f"from {least:g}" if least is not None else "",
                f"to {most:g}" if most is not None else "",
            ]
            allowed = " ".join(part for part in (*ends, unit) if part)
            raise BadEntry(
                f"{_words(name)} {text} {unit}".rstrip() + " is outside what can be right.",
                field=name,
                value=text,
                allowed=allowed,
            )
        return value

    def number(
        self,
        name: str,
        unit: str = "",
        least: float | None = None,
        most: float | None = None,
        required: bool = True,
    ) -> float | None:
        """Number in the unit that stands beside the field; None when left empty and not required."""
        if not required and not self.raw.get(name, "").strip():
            return None
        return float(self.decimal(name, unit, least, most))

    def whole(
        self, name: str, least: int | None = None, most: int | None = None, required: bool = True
    ) -> int | None:
        """Whole number; None when left empty and not required."""
        if not required and not self.raw.get(name, "").strip():
            return None
        value = self.decimal(name, "", least, most)
        if value != value.to_integral_value():
            raise BadEntry(f"{_words(name)} {value} is not a whole number.", field=name, value=str(value))
        return int(value)

    def plain(self, name: str, required: bool = True, longest: int = 400) -> str:
        """Text in which numbers are written with at most one decimal point, whatever marks were typed."""
        try:
            return settled(self.text(name, required, longest), self.taste)
        except BadEntry as error:
            raise BadEntry(
                f"{_words(name)}: {error.message}", field=name, value=error.value, allowed=error.allowed
            ) from error

    def choice(self, name: str, allowed: list[str] | tuple[str, ...]) -> str:
        """One of the offered values."""
        value = self._given(name, required=True)
        if value not in allowed:
            raise BadEntry(
                f"{_words(name)} {value[:60]!r} is not offered.",
                field=name,
                value=value[:60],
                allowed=", ".join(allowed),
            )
        return value

    def day(self, name: str, earliest: date | None = None, latest: date | None = None) -> date:
        """Calendar day as YYYY-MM-DD."""
        text = self._given(name, required=True)
        try:
            value = date.fromisoformat(text)
        except ValueError as error:
            raise BadEntry(
                f"{_words(name)} {text[:40]!r} is not a day. Write year-month-day, for example 2026-05-31.",
                field=name,
                value=text[:40],
                allowed="YYYY-MM-DD",
            ) from error
        if (earliest and value < earliest) or (latest and value > latest):
            raise BadEntry(
                f"{_words(name)} {value} lies outside what can be right.",
                field=name,
                value=text,
                allowed=" ".join(
                    [f"from {earliest}" if earliest else "", f"until {latest}" if latest else ""]
                ).strip(),
            )
        return value

    def ticked(self, name: str) -> bool:
        """Whether a box is ticked."""
        return bool(self.raw.get(name))

    def many(self, name: str) -> list[str]:
        """All values of a field that may repeat."""
        return [value for value in self.lists.get(name, []) if value]

    def file(self, name: str) -> Upload | None:
        """Upload, or None when none was chosen."""
        return self.files.get(name)


def _words(name: str) -> str:
    return name.replace("_", " ").capitalize()


def csrf_token(secret: bytes, visit: str) -> str:
    """Token that only a page drawn for this visit can carry."""
    return hmac.new(secret, visit.encode(), hashlib.sha256).hexdigest()


def new_visit() -> str:
    """Fresh value of the visit cookie."""
    return secrets.token_urlsafe(24)


class ForeignForm(BadEntry):
    """A form that was not drawn by this driveout for this browser."""

    kind = "foreign form"


async def form_of(request: Request) -> Form:
    """Read the posted form and prove that one of our own pages drew it."""
    # The gate has the whole body in memory and has weighed it: no photo passes through a temporary file, which
    # a full disk would refuse before the form could be shown again.
    MultiPartParser.spool_max_size = LARGEST_UPLOAD
    posted = await request.form(max_fields=3000, max_files=50)
    visit = request.cookies.get(VISIT_COOKIE, "")
    sent = str(posted.get("csrf", ""))
    if not visit or not hmac.compare_digest(
        sent.encode(errors="replace"), csrf_token(request.app.state.frame.secret, visit).encode()
    ):
        raise ForeignForm(
            "This page was opened in another browser or too long ago. Open it again and send it once more."
        )
    raw: dict[str, str] = {}
    lists: dict[str, list[str]] = {}
    files: dict[str, Upload] = {}
    for key, value in posted.multi_items():
        if isinstance(value, UploadFile):
            data = await value.read()
            if value.filename:
                files[key] = Upload(value.filename[-200:], data)
        elif key not in ("csrf", "once"):
            raw[key] = value
            lists.setdefault(key, []).append(value)
    request.state.once = str(posted.get("once", ""))
    taste = taste_of(request.cookies.get(TASTE_COOKIE, ""), request.headers.get("accept-language", ""))
    form = Form(raw, lists, files, taste)
    request.state.form = form
    request.app.state.frame.demand(request, raw)
    return form


PostedForm = Annotated[Form, Depends(form_of)]
