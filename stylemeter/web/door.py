"""Who may come in: this machine's own browser, with the page's own address, and nobody else.

The server listens on the loopback interface, but other pages in the same browser, other users of the machine and names
that are made to point at it (DNS rebinding) can reach that too. So every address begins with a random token, the Host
must be the loopback's own name, whatever changes something must come from the page itself (Origin), and what is sent is
bounded in size and time.

References
----------
RFC 6454 (Origin), RFC 9110 section 7.2 (Host), W3C Content Security Policy Level 3, W3C Fetch Metadata.
"""

from __future__ import annotations

import asyncio
import hmac
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

__all__ = ["BODY_BYTES_MAX", "BODY_SECONDS", "PAGE_POLICY", "Door"]

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

#: Largest body taken: an hour of recorded takes in 16-bit mono has 300 MB and is cut by the reader's own limits long
#: before; what the readers accept is less.
BODY_BYTES_MAX = 64 * 2**20
#: Seconds in which a body must be there, and the greatest pause within it.
BODY_SECONDS, PAUSE_SECONDS = 60.0, 10.0

#: What the page may do: its own modules, styles, pictures and sounds; lessons in a frame; no other place.
PAGE_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; media-src 'self' blob:; "
    "connect-src 'self'; worker-src 'self'; frame-src 'self'; frame-ancestors 'self'; base-uri 'none'; "
    "form-action 'none'"
)

_ALWAYS = [
    (b"cache-control", b"no-store"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"microphone=(self), camera=(), geolocation=()"),
    (b"referrer-policy", b"no-referrer"),
    (b"x-content-type-options", b"nosniff"),
]


class RefusedError(Exception):
    """Why a request is not let in: a status and one line."""

    def __init__(self, status: int, line: str) -> None:
        super().__init__(line)
        self.status, self.line = status, line


class Door:
    """Checks every request before the application sees it; an ASGI application around another.

    Parameters
    ----------
    app : ASGI application
        Gets paths without the token.
    token : str
        The secret the address begins with.
    port : callable
        The port the server listens on, known once it does.
    """

    def __init__(self, app: App, token: str, port: Callable[[], int]) -> None:
        self._app, self._token, self._port = app, token, port

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request in, or refuse it in one line."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        try:
            inner = self._checked(scope)
            body = await _whole_body(scope, receive)
        except RefusedError as refused:
            await _refuse(send, refused)
            return
        await self._app(inner, _replay(body, receive), _with_headers(send))

    def _checked(self, scope: Scope) -> Scope:
        """The scope without the token in its path.

        Raises
        ------
        RefusedError
        """
        headers = {name.lower(): value.decode("latin-1") for name, value in scope["headers"]}
        hosts = {f"{name}:{self._port()}" for name in ("127.0.0.1", "localhost")}
        host = headers.get(b"host", "")
        if host not in hosts:
            raise RefusedError(421, "this page is served to this machine only: open the address that was printed")
        # the whole token is compared whatever it is, so that time tells nothing of it
        token, _, rest = scope["path"].lstrip("/").partition("/")
        if not hmac.compare_digest(token.encode("utf-8", "replace"), self._token.encode()):
            raise RefusedError(404, "not found: open the address that was printed, with all its letters")
        origin = headers.get(b"origin")
        if origin is not None and origin != f"http://{host}":
            raise RefusedError(403, "another page may not ask for this")
        if headers.get(b"sec-fetch-site", "same-origin") not in ("same-origin", "none"):
            raise RefusedError(403, "another page may not ask for this")
        if scope["method"] not in ("GET", "HEAD") and origin is None:
            raise RefusedError(403, "only the page itself may change something")
        path = "/" + rest
        return {**scope, "path": path, "raw_path": path.encode("utf-8"), "root_path": ""}


async def _whole_body(scope: Scope, receive: Receive) -> bytes:
    """A request's body, bounded in size and time.

    Raises
    ------
    RefusedError
    """
    too_large = RefusedError(413, f"too large: {BODY_BYTES_MAX // 2**20} MiB is the most that is taken at once")
    for name, value in scope["headers"]:
        if name.lower() == b"content-length" and (not value.isdigit() or int(value) > BODY_BYTES_MAX):
            raise too_large
    parts: list[bytes] = []
    size = 0
    try:
        async with asyncio.timeout(BODY_SECONDS):
            while True:
                message = await asyncio.wait_for(receive(), PAUSE_SECONDS)
                if message["type"] == "http.disconnect":
                    raise RefusedError(400, "the sender went away")
                size += len(message.get("body", b""))
                if size > BODY_BYTES_MAX:
                    raise too_large
                parts.append(message.get("body", b""))
                if not message.get("more_body", False):
                    return b"".join(parts)
    except TimeoutError:
        raise RefusedError(408, "too slow: send it again") from None


def _replay(body: bytes, receive: Receive) -> Receive:
    """The body as one message; later calls wait for the sender to go away."""
    told = False

    async def once() -> Message:
        nonlocal told
        if told:
            return await receive()
        told = True
        return {"type": "http.request", "body": body, "more_body": False}

    return once


def _with_headers(send: Send) -> Send:
    """Every answer forbids what no answer needs; one that brings a policy of its own keeps it."""

    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = list(message.get("headers", []))
            if not any(name == b"content-security-policy" for name, _ in headers):
                headers.append((b"content-security-policy", PAGE_POLICY.encode()))
            message = {**message, "headers": headers + _ALWAYS}
        await send(message)

    return sent


async def _refuse(send: Send, refused: RefusedError) -> None:
    """Answer with one line and close."""
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"connection", b"close")]
    await send({"type": "http.response.start", "status": refused.status, "headers": headers + _ALWAYS})
    await send({"type": "http.response.body", "body": f"stylemeter: {refused.line}\n".encode()})
