"""Refuses requests that do not come from this app's own page: other hosts, other origins, other methods."""

from __future__ import annotations

from typing import Any

Scope = dict[str, Any]

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; img-src 'self' data: blob:; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}


class Guard:
    """ASGI middleware.

    A name that an attacker lets point to this computer (DNS rebinding) shows in Host; a page of another
    site shows in Origin. Both must be this server's own.
    """

    def __init__(self, app: Any, hosts: frozenset[str]) -> None:
        self.app = app
        self.hosts = hosts
        self.origins = frozenset(f"http://{host}" for host in hosts)

    async def __call__(self, scope: Scope, receive: Any, send: Any) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        if self._refused(scope):
            await _refuse(scope, receive, send)
            return

        async def with_headers(message: dict[str, Any]) -> None:
            if message["type"] == "http.response.start":
                given = {name.lower() for name, _ in message["headers"]}
                extra = [
                    (name.lower().encode(), value.encode())
                    for name, value in HEADERS.items()
                    if name.lower().encode() not in given
                ]
                message = {**message, "headers": [*message["headers"], *extra]}
            await send(message)

        await self.app(scope, receive, with_headers)

    def _refused(self, scope: Scope) -> bool:
        found: dict[bytes, list[bytes]] = {b"host": [], b"origin": []}
        for name, value in scope["headers"]:
            if name.lower() in found:
                found[name.lower()].append(value)
        hosts = [value.decode("latin-1").lower() for value in found[b"host"]]
        origins = [value.decode("latin-1").lower() for value in found[b"origin"]]
        if len(hosts) != 1 or hosts[0] not in self.hosts:
            return True
        return any(origin not in self.origins for origin in origins)


async def _refuse(scope: Scope, receive: Any, send: Any) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 4403, "reason": ""})
        return
    body = b"refused: this address is for the page that Eavewright itself opened\n"
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", b"%d" % len(body))]
    await send({"type": "http.response.start", "status": 403, "headers": headers})
    await send({"type": "http.response.body", "body": body})
