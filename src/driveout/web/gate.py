"""What every request passes before any page sees it: Host, Origin, size and the headers of the answer."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any
from urllib.parse import urlsplit

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

LARGEST_UPLOAD = 25_000_000
_DRAINED = 200_000_000
_READS = {"GET", "HEAD", "OPTIONS"}
_HEADERS = (
    (
        b"content-security-policy",
        b"default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; connect-src 'self'; "
        b"form-action 'self'; frame-ancestors 'none'; base-uri 'none'; manifest-src 'self'",
    ),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cache-control", b"no-store"),
)


class Gate:
    """ASGI layer that refuses what does not come from this machine's own pages.

    Parameters
    ----------
    app
        The application behind it.
    hosts
        Host names (without port) that may be asked for; anything else is a rebinding trick.
    refuse
        Builds the body of a refusal from status and sentence.
    """

    def __init__(
        self, app: App, hosts: frozenset[str], refuse: Callable[[int, str, bool], tuple[bytes, bytes]]
    ) -> None:
        self.app = app
        self.hosts = hosts
        self.refuse = refuse

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on, or answer it with a refusal."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = {key.lower(): value for key, value in scope["headers"]}
        trouble = self._trouble(scope, headers)
        if trouble is None and scope["method"] not in _READS:
            trouble, receive = await _whole_body(headers, receive)
        if trouble is not None:
            status, sentence = trouble
            kind, body = self.refuse(status, sentence, scope["path"].startswith("/api"))
            start = {
                "type": "http.response.start",
                "status": status,
                "headers": [(b"content-type", kind), *_HEADERS],
            }
            await send(start)
            await send({"type": "http.response.body", "body": body})
            return
        await self.app(scope, receive, _with_headers(send, scope["path"]))

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


def _name(host: str) -> str:
    return (urlsplit(f"//{host}").hostname or "") if host and "@" not in host else ""


async def _whole_body(
    headers: dict[bytes, bytes], receive: Receive
) -> tuple[tuple[int, str] | None, Receive]:
    """Read the body with a limit; a longer one is read off (so that the browser shows our words) and refused."""
    parts: list[bytes] = []
    size = 0
    declared = headers.get(b"content-length", b"0")
    if declared.isdigit() and int(declared) > _DRAINED:
        return (413, _too_large(int(declared))), receive
    more = True
    while more:
        message = await receive()
        if message["type"] == "http.disconnect":
            return (
                400,
                "The connection broke off before everything had arrived. Nothing was changed.",
            ), receive
        chunk = message.get("body", b"")
        size += len(chunk)
        if size > _DRAINED:
            break
        if size <= LARGEST_UPLOAD:
            parts.append(chunk)
        more = message.get("more_body", False)
    if size > LARGEST_UPLOAD:
        return (413, _too_large(size)), receive
    body = b"".join(parts)
    handed = False

    async def replay() -> MutableMapping[str, Any]:
        nonlocal handed
        if handed:
            return await receive()
        handed = True
        return {"type": "http.request", "body": body, "more_body": False}

    return None, replay


def _too_large(size: int) -> str:
    return (
        f"What was sent has {size / 1e6:.0f} MB; at most {LARGEST_UPLOAD / 1e6:.0f} MB is accepted. "
        "Send a smaller photo or split the file. Nothing was changed."
    )


def _with_headers(send: Send, path: str) -> Send:
    async def sending(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            present = {key.lower() for key, _ in message["headers"]}
            extra = [(key, value) for key, value in _HEADERS if key not in present]
            message["headers"] = [*message["headers"], *extra]
        await send(message)

    return sending
