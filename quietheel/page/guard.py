"""Who may talk to the page: the right host name, the right origin, and for marks the token of this start.

The page binds to loopback unless told otherwise. A web site opened in the same browser must neither read the day nor
add a mark: a foreign host name is turned away (DNS rebinding), a foreign origin is turned away, and a mark needs a
header that no form of another site can send, carrying a secret made anew at each start. Source for the measures:
OWASP cross-site request forgery prevention (custom header, origin check); W3C Content Security Policy Level 3.
"""

from __future__ import annotations

import hmac
import ipaddress
import secrets
import socket
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass
from typing import Any

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

TOKEN_HEADER = b"x-quietheel-token"
LARGEST_BODY = 16_384
"""Bytes of one mark; a roll call of a hundred people fits."""

HEADERS = (
    (
        b"content-security-policy",
        b"default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
        b"base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    ),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), microphone=(), geolocation=()"),
    (b"cache-control", b"no-store"),
)


def new_token() -> str:
    """Make the secret of this start: 128 random bits, safe in a URL."""
    return secrets.token_urlsafe(16)


def token_matches(given: str | bytes, wanted: str | None) -> bool:
    """Compare in constant time; without a wanted token nothing matches.

    >>> token_matches("a", "a"), token_matches("a", "b"), token_matches("", None)
    (True, False, False)
    """
    if not wanted:
        return False
    raw = given if isinstance(given, bytes) else given.encode("utf-8", "replace")
    return hmac.compare_digest(raw, wanted.encode("utf-8"))


def host_of(header: str) -> str:
    """Host part of a ``Host`` header or an origin's authority, lower case, without port and brackets.

    >>> host_of("[::1]:8730"), host_of("Localhost:8730"), host_of("10.0.0.4")
    ('::1', 'localhost', '10.0.0.4')
    """
    text = header.strip().lower()
    if text.startswith("["):
        return text[1:].partition("]")[0]
    return text.partition(":")[0]


@dataclass(frozen=True)
class Guard:
    """Decides on each request before anything else sees it."""

    host: str
    """Address the page is bound to."""
    token: str | None
    """Secret for marks; None: nobody may mark."""

    @property
    def loopback(self) -> bool:
        """Whether only this machine can reach the page."""
        return _is_loopback(self.host)

    def host_known(self, header: str) -> bool:
        """Accept loopback names, and bound beyond loopback: any address, and this machine's own name.

        A rebinding attack always arrives under a name of the attacker's, never under a bare address.
        """
        name = host_of(header)
        if _is_loopback(name):
            return True
        if self.loopback:
            return False
        if name in {self.host.lower(), socket.gethostname().lower(), socket.gethostname().lower() + ".local"}:
            return True
        try:
            ipaddress.ip_address(name)
        except ValueError:
            return False
        return True

    def refusal(self, method: str, headers: dict[bytes, bytes]) -> tuple[int, str] | None:
        """Return status and words of a refusal, or None to let the request pass."""
        host = headers.get(b"host", b"").decode("latin-1")
        if not host or not self.host_known(host):
            return 421, "this page does not answer to that host name"
        if method in ("GET", "HEAD"):
            return None
        if method != "POST":
            return 405, "only GET and POST"
        origin = headers.get(b"origin", b"").decode("latin-1")
        if origin and origin.lower() != f"http://{host}".lower():
            return 403, "marks come from this page only"
        if headers.get(b"sec-fetch-site", b"same-origin") not in (b"same-origin", b"none"):
            return 403, "marks come from this page only"
        if not headers.get(b"content-type", b"").startswith(b"application/json"):
            return 415, "marks come as JSON"
        if not _short_enough(headers.get(b"content-length", b"")):
            return 413, f"a mark has a stated length of at most {LARGEST_BODY} bytes"
        if self.token is None:
            return 403, "this page only shows; it takes no marks"
        if not token_matches(headers.get(TOKEN_HEADER, b""), self.token):
            return 403, "the token is missing or not the one of this start; open the address with the token again"
        return None

    def around(self, app: App) -> App:
        """Wrap an ASGI application."""

        async def guarded(scope: Scope, receive: Receive, send: Send) -> None:
            if scope["type"] != "http":
                await app(scope, receive, send)
                return

            async def with_headers(message: Message) -> None:
                if message["type"] == "http.response.start":
                    message["headers"] = [*message.get("headers", ()), *HEADERS]
                await send(message)

            refused = self.refusal(scope["method"], dict(scope["headers"]))
            if refused is None:
                await app(scope, receive, with_headers)
                return
            status, words = refused
            body = words.encode()
            await with_headers(
                {
                    "type": "http.response.start",
                    "status": status,
                    "headers": [(b"content-type", b"text/plain; charset=utf-8"), (b"connection", b"close")],
                }
            )
            await with_headers({"type": "http.response.body", "body": body})

        return guarded


def _is_loopback(name: str) -> bool:
    if name == "localhost":
        return True
    try:
        return ipaddress.ip_address(name).is_loopback
    except ValueError:
        return False


def _short_enough(length: bytes) -> bool:
    return length.isdigit() and int(length) <= LARGEST_BODY
