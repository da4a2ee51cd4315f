"""Who may do what: the one list of every form that driveout takes, and the role it needs.

A form that is not in the list can be sent by the owner only.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache

from driveout.errors import DriveoutError

ROLES = {
    "owner": "everything: rules, prices, buying and selling, books, people and phones",
    "hand": "books hours, steps, readings, photos, findings and receipts; takes back what the same phone has just booked",
}
"""The roles and what each is for."""

ANYONE, HAND, OWN, OWNER = "anyone", "hand", "own", "owner"

_CAR = "/cars/{car_id}"
_WORK = f"{_CAR}/work/{{job_id}}"

POSTS: dict[str, str] = {
    # Pairing is the one thing that a stranger may try; the secret decides.
    "/pair": ANYONE,
    "/settings": HAND,
    "/crew/leave": HAND,
    "/crew/keep": HAND,
    "/crew/person": OWNER,
    "/crew/role": OWNER,
    "/crew/part": OWNER,
    "/crew/invite": OWNER,
    "/crew/take-away": OWNER,
    # Findings and readings.
    f"{_CAR}/faults/finding": HAND,
    f"{_CAR}/faults/proved": HAND,
    f"{_CAR}/faults/take-back": OWN,
    f"{_CAR}/viewing/found": HAND,
    f"{_CAR}/viewing/record": HAND,
    f"{_CAR}/wear/{{key}}": HAND,
    f"{_CAR}/wear/paint": HAND,
    f"{_CAR}/wear/corner/{{spot}}": HAND,
    f"{_CAR}/wear/paint/{{spot}}": HAND,
    f"{_CAR}/wear/limits": OWNER,
    f"{_CAR}/wear/seller-rule": OWNER,
    "/knowledge": OWNER,
    # Work.
    f"{_CAR}/work/start": HAND,
    f"{_CAR}/work/brought": HAND,
    f"{_WORK}/task": HAND,
    f"{_WORK}/hold": HAND,
    f"{_WORK}/photo": HAND,
    f"{_WORK}/torque": HAND,
    f"{_WORK}/timer": HAND,
    f"{_WORK}/file": OWNER,
    f"{_CAR}/repairs/choose": OWNER,
    f"{_CAR}/repairs/undo": OWNER,
    f"{_CAR}/repairs/done": HAND,
    f"{_CAR}/repairs/means": OWNER,
    f"{_CAR}/plan/hours": OWNER,
    f"{_CAR}/outlook/delay": HAND,
    f"{_CAR}/stop": OWNER,
    # Parts: a hand says what is needed, what a shop asks, what came and whether it fits.
    f"{_CAR}/parts/need": HAND,
    f"{_CAR}/parts/offer": HAND,
    f"{_CAR}/parts/receive": HAND,
    f"{_CAR}/parts/fit": HAND,
    f"{_CAR}/parts/later": HAND,
    f"{_CAR}/parts/order": OWNER,
    f"{_CAR}/parts/back": OWNER,
    f"{_CAR}/parts/state": OWNER,
    # Money: receipts, hours and trips; everything else is the owner's.
    f"{_CAR}/money/receipt": HAND,
    f"{_CAR}/money/hours": HAND,
    f"{_CAR}/money/travel": HAND,
    f"{_CAR}/money/supplies": HAND,
    f"{_CAR}/money/tool": HAND,
    f"{_CAR}/money/core": HAND,
    f"{_CAR}/money/refund": HAND,
    f"{_CAR}/money/reverse": OWN,
    f"{_CAR}/money/purchase": OWNER,
    f"{_CAR}/money/sold": OWNER,
    f"{_CAR}/money/deposit": OWNER,
    f"{_CAR}/money/deposit/settle": OWNER,
    f"{_CAR}/money/leftover": OWNER,
    f"{_CAR}/money/let-go": OWNER,
    "/money/supplies": HAND,
    "/money/tool": HAND,
    "/money/own": OWNER,
    "/money/close": OWNER,
    "/money/import": OWNER,
    "/money/bank": OWNER,
    "/money/bank/forget": OWNER,
    "/money/bank/book": OWNER,
    "/money/forecast": OWNER,
    "/money/forecast/sale": OWNER,
    "/money/forecast/drop": OWNER,
    # Adverts, buying, value, selling, looking back, rules.
    "/adverts/read": OWNER,
    "/adverts": OWNER,
    "/adverts/order/wage": OWNER,
    f"{_CAR}/advert/facts": OWNER,
    f"{_CAR}/advert/item": OWNER,
    f"{_CAR}/advert/buy": OWNER,
    f"{_CAR}/advert/let-go": OWNER,
    f"{_CAR}/advert/again": OWNER,
    f"{_CAR}/value/comparables": OWNER,
    f"{_CAR}/value/one": OWNER,
    f"{_CAR}/value/appraise": OWNER,
    f"{_CAR}/value/seen": OWNER,
    f"{_CAR}/sale/photo": HAND,
    f"{_CAR}/sale/photo/from-work": HAND,
    f"{_CAR}/sale/photo/out": OWNER,
    f"{_CAR}/sale/handover": OWNER,
    f"{_CAR}/sale/plan": OWNER,
    f"{_CAR}/sale/ask": OWNER,
    f"{_CAR}/sale/enquiry": OWNER,
    f"{_CAR}/sale/offer": OWNER,
    f"{_CAR}/sale/reply": OWNER,
    f"{_CAR}/sale/sold": OWNER,
    f"{_CAR}/lookback/close": OWNER,
    f"{_CAR}/lookback/reopen": OWNER,
    f"{_CAR}/identity": OWNER,
    f"{_CAR}/identity/take": OWNER,
    "/money/exchange": OWNER,
    f"{_CAR}/value/take-back": OWNER,
    f"{_CAR}/sale/after": OWNER,
    f"{_CAR}/wear/limits/drop": OWNER,
    f"{_CAR}/wear/limits/file": OWNER,
    "/lessons/count": OWNER,
    "/lessons/faults": OWNER,
    "/lessons/take-in": OWNER,
    "/lessons/shared": OWNER,
    "/rules": OWNER,
    # Questions with the caller's own model; they change nothing.
    "/api/posterior": HAND,
    "/api/weigh": HAND,
    "/api/read-advert": HAND,
    "/api/plan": HAND,
    "/api/choose": HAND,
    "/api/outlook": HAND,
    "/api/strip": HAND,
    "/api/torque-check": HAND,
    "/api/wear": HAND,
    "/api/asking": HAND,
    "/api/offer": HAND,
    "/api/sale-papers": HAND,
    "/api/sale-papers.pdf": HAND,
    "/api/decide": HAND,
    "/api/appraise": HAND,
    "/api/lessons": HAND,
    "/api/journal": HAND,
}
"""Role that each form needs, by the path of its route."""

WITH_FIELD: dict[tuple[str, str, str], str] = {
    (f"{_WORK}/task", "action", "back"): OWN,
    (f"{_WORK}/timer", "action", "discard"): HAND,
}
"""Forms that need another role when a field holds a certain value: (path, field, value)."""

OWNER_PAGES = ("/crew",)
"""Pages that only the owner reads."""


class NotYours(DriveoutError):
    """The role of the person does not reach as far as this."""

    kind = "not yours"
    status = 403


def needed_role(path: str, fields: Mapping[str, str] | None = None) -> str:
    """Role that a form needs: ``anyone``, ``hand``, ``own`` (one's own act only) or ``owner``."""
    for (at, field, value), role in WITH_FIELD.items():
        if at == path and fields is not None and fields.get(field) == value:
            return role
    return POSTS.get(path, OWNER)


@cache
def _declared() -> tuple[tuple[re.Pattern[str], str], ...]:
    """Paths of the list as patterns, the more exact ones first."""
    exact_first = sorted(POSTS, key=lambda path: path.count("{"))
    return tuple((re.compile(re.sub(r"\{\w+\}", "[^/]+", path) + r"\Z"), POSTS[path]) for path in exact_first)


def role_at(address: str) -> str:
    """Role that the form at an address needs, such as ``/cars/3/sale/ask``; what is not declared is the owner's."""
    path = address.partition("?")[0]
    return next((role for pattern, role in _declared() if pattern.match(path)), OWNER)


def demand_role(held: str, needed: str, is_own: bool = False) -> None:
    """Refuse what the role does not reach.

    Parameters
    ----------
    held
        Role of the person, ``owner`` or ``hand``.
    needed
        What `needed_role` answered.
    is_own
        Whether it takes back what the same phone has just done.

    Raises
    ------
    NotYours
        If it is not allowed; nothing has been done.
    """
    if needed == ANYONE or held == OWNER:
        return
    if held == HAND and (needed == HAND or (needed == OWN and is_own)):
        return
    if needed == OWN:
        raise NotYours(
            "A hand takes back only what the same phone has just booked. Ask the owner to take this back. "
            "Nothing was changed."
        )
    raise NotYours("This is for the owner. A hand " + ROLES["hand"] + ". Nothing was changed.")
