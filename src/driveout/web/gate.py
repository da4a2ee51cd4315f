"""What every request passes before any page sees it: Host, Origin, size and the headers of the answer."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass
from ipaddress import ip_address
from typing import Any
from urllib.parse import urlsplit

from anyio import move_on_after, to_thread

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

LARGEST_UPLOAD = 25_000_000
_DRAINED = 200_000_000
# All that somebody who is not paired may send is a code and a name.
STRANGERS_BODY = 20_000
_STRANGERS_DRAINED = 1_000_000
SECONDS_BETWEEN_PIECES = 60.0
_READS = {"GET", "HEAD", "OPTIONS"}
_LOOPBACK_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})
_FORWARDED = (b"forwarded", b"x-forwarded-for", b"x-real-ip", b"via")
# What somebody who is not paired may open: the page that pairs, and the looks of it. None of it is private.
_OPEN = ("/pair", "/manifest.webmanifest", "/favicon.ico")
_HEADERS = (
    (
        b"content-security-policy",
        b"default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; connect-src 'self'; "
        b"form-action 'self'; frame-ancestors 'none'; base-uri 'none'; manifest-src 'self'; worker-src 'self'",
    ),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(self), geolocation=(), microphone=()"),
    (b"cache-control", b"no-store"),
)


@dataclass(frozen=True)
class Visitor:
    """Who is asking.

    Parameters
    ----------
    name
        Name in the crew; empty for whoever sits at the machine itself.
    role
        ``owner``, ``hand``, or ``stranger`` on the page that pairs.
    device
        Number of the paired device; None at the machine itself.
    """

    name: str = ""
    role: str = "owner"
    device: int | None = None


STRANGER = Visitor("", "stranger")


class Gate:
    """ASGI layer that refuses what does not come from our own pages, or from nobody of the crew.

    Parameters
    ----------
    app
        The application behind it.
    hosts
        Host names (without port) that may be asked for; anything else is a rebinding trick.
    refuse
        Builds the body of a refusal from status and sentence.
    device_of
        Finds the paired device that a request shows; None when it shows none.
    on_lan
        Whether it listens beyond this machine. Then only a request from the machine's own loopback
        address, for a loopback name and through no other server, is the owner's without a key.
    at_desk
        Who sits at the machine itself.
    """

    def __init__(
        self,
        app: App,
        hosts: frozenset[str],
        refuse: Callable[[int, str, bool], tuple[bytes, bytes]],
        device_of: Callable[[str], Visitor | None] = lambda cookies: None,
        on_lan: bool = False,
        at_desk: Visitor = Visitor(),
    ) -> None:
        self.app = app
        self.hosts = hosts
        self.refuse = refuse
        self.device_of = device_of
        self.on_lan = on_lan
        self.at_desk = at_desk

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on, or answer it with a refusal."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = {key.lower(): value for key, value in scope["headers"]}
        trouble = self._trouble(scope, headers)
        if trouble is None:
            visitor = await self._visitor(scope, headers)
            if visitor is None:
                trouble = 401, NOT_PAIRED
            else:
                scope.setdefault("state", {})["visitor"] = visitor
        if trouble is None and scope["method"] not in _READS:
            stranger = scope["state"]["visitor"] is STRANGER
            most = (STRANGERS_BODY, _STRANGERS_DRAINED) if stranger else (LARGEST_UPLOAD, _DRAINED)
            trouble, receive = await _whole_body(headers, receive, *most)
        if trouble is not None:
            status, sentence = trouble
            await self._refused(scope, send, status, sentence)
            return
        begun = False

        async def noted(message: MutableMapping[str, Any]) -> None:
            nonlocal begun
            begun = True
            await send(message)

        try:
            await self.app(scope, receive, _with_headers(noted, scope["path"]))
        except Exception:
            # The framework's own answer to a fault would come without our headers and words.
            if not begun:
                await self._refused(scope, send, 500, _FAULT)
            raise

    async def _refused(self, scope: Scope, send: Send, status: int, sentence: str) -> None:
        kind, body = self.refuse(status, sentence, scope["path"].startswith("/api"))
        headers = [(b"content-type", kind), *_HEADERS]
        await send({"type": "http.response.start", "status": status, "headers": headers})
        await send({"type": "http.response.body", "body": body})

    def _trouble(self, scope: Scope, headers: dict[bytes, bytes]) -> tuple[int, str] | None:
        host = headers.get(b"host", b"").decode("latin-1")
        if _name(host) not in self.hosts:
            return (
                421,
                "This address is not served here. Open driveout by the address that it printed at its start.",
            )
        if scope["method"] in _READS:
            return None
        site = headers.get(b"sec-fetch-site", b"same-origin").decode("latin-1")
        origin = headers.get(b"origin", b"").decode("latin-1")
        if site not in ("same-origin", "none") or (origin and urlsplit(origin).netloc != host):
            return 403, "The request came from another site and was not carried out."
        return None

    async def _visitor(self, scope: Scope, headers: dict[bytes, bytes]) -> Visitor | None:
        if self._is_desk(scope, headers):
            return self.at_desk
        shown = headers.get(b"cookie", b"").decode("latin-1")
        known = await to_thread.run_sync(self.device_of, shown) if shown else None
        if known is not None:
            return known
        path = scope["path"]
        return STRANGER if path in _OPEN or path.startswith("/static/") else None

    def _is_desk(self, scope: Scope, headers: dict[bytes, bytes]) -> bool:
        """Whether the request comes from the machine itself."""
        address = (scope.get("client") or ("", 0))[0]
        try:
            loopback = ip_address(address.partition("%")[0]).is_loopback
        except ValueError:
            # No internet address at all: a local socket or a test, which the network cannot imitate.
            loopback = not self.on_lan
        host = _name(headers.get(b"host", b"").decode("latin-1"))
        return loopback and host in _LOOPBACK_NAMES and not any(name in headers for name in _FORWARDED)


NOT_PAIRED = (
    "This phone is not paired. On the machine that driveout runs on, open the page Crew, choose who will hold the "
    "phone and scan the code that it shows. A code pairs one phone and holds for ten minutes."
)


_FAULT = (
    "This is a fault of driveout, not of what you typed. Nothing was kept half. What went wrong stands in the window "
    "that driveout was started in."
)


def _name(host: str) -> str:
    # A name and a port only: what ends or precedes a name in an address has no place here (RFC 9110, 7.2).
    return (urlsplit(f"//{host}").hostname or "") if host and not set(host) & set("@/#?\\") else ""


async def _whole_body(
    headers: dict[bytes, bytes], receive: Receive, largest: int, drained: int
) -> tuple[tuple[int, str] | None, Receive]:
    """Read the body with a limit; a longer one is read off (so that the browser shows our words) and refused."""
    parts: list[bytes] = []
    size = 0
    declared = headers.get(b"content-length", b"0")
    if declared.isdigit() and int(declared) > drained:
        return (413, _too_large(int(declared), largest)), receive
    more = True
    while more:
        message: MutableMapping[str, Any] | None = None
        with move_on_after(SECONDS_BETWEEN_PIECES):
            message = await receive()
        if message is None:
            return (408, "Nothing more arrived for a minute. Nothing was changed; send it again."), receive
        if message["type"] == "http.disconnect":
            return (
                400,
                "The connection broke off before everything had arrived. Nothing was changed.",
            ), receive
        chunk = message.get("body", b"")
        size += len(chunk)
        if size > drained:
            break
        if size <= largest:
            parts.append(chunk)
        more = message.get("more_body", False)
    if size > largest:
        return (413, _too_large(size, largest)), receive
    body = b"".join(parts)
    handed = False

    async def replay() -> MutableMapping[str, Any]:
        nonlocal handed
        if handed:
            return await receive()
        handed = True
        return {"type": "http.request", "body": body, "more_body": False}

    return None, replay


def _too_large(size: int, largest: int) -> str:
    if largest == STRANGERS_BODY:
        return "A phone that is not paired sends a code and a name, nothing larger. Nothing was changed."
    return (
        f"What was sent has {size / 1e6:.0f} MB; at most {largest / 1e6:.0f} MB is accepted. "
        "Send a smaller photo or split the file. Nothing was changed."
    )


def _with_headers(send: Send, path: str) -> Send:
    async def sending(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            present = {key.lower() for key, _ in message["headers"]}
            if path.startswith("/static/") and b"cache-control" not in present:
                # Nothing private: may be kept, and is asked about again by its mark.
                message["headers"] = [*message["headers"], (b"cache-control", b"no-cache")]
                present.add(b"cache-control")
            extra = [(key, value) for key, value in _HEADERS if key not in present]
            message["headers"] = [*message["headers"], *extra]
        await send(message)

    return sending
