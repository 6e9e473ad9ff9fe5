"""Access to a desk: only from this machine, with the token of its address, from its own page."""

from __future__ import annotations

from hmac import compare_digest

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

MOST_BODY = 8_000_000
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "form-action 'none'; frame-ancestors 'none'; base-uri 'none'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}
"""Headers of every answer; an answer with a header of its own keeps it."""


class Guard:
    """Lets a request through only if host, token, origin and kind of content are those of the desk's own page.

    Parameters
    ----------
    app
        The application that is guarded; it sees paths without the token.
    token
        The first part of every path.
    open_paths
        Paths that may be requested without the token, because they reveal nothing.
    """

    def __init__(self, app: ASGIApp, token: str, open_paths: frozenset[str] = frozenset()) -> None:
        self._app, self._token, self._open = app, token, open_paths
        self.port = 0
        """The port on which the desk listens; known once it listens."""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it."""
        if scope["type"] != "http":
            return
        status = self._refused(scope)
        path = str(scope["path"])
        if status is not None:
            await PlainTextResponse(f"{status}\n", status_code=status, headers=HEADERS)(scope, receive, send)
            return
        if path not in self._open:
            scope = {**scope, "path": path[len(self._token) + 1 :], "raw_path": b""}
        await self._app(scope, receive, _with_headers(send))

    def _refused(self, scope: Scope) -> int | None:
        """Return the status with which a request is refused; None if it is let through."""
        headers, path = Headers(scope=scope), str(scope["path"])
        hosts = {f"127.0.0.1:{self.port}", f"localhost:{self.port}"}
        if headers.get("host") not in hosts:
            return 421
        if path in self._open:
            return None if scope["method"] == "GET" else 405
        token, slash, _ = path.removeprefix("/").partition("/")
        if not slash or not compare_digest(token.encode(), self._token.encode()):
            return 404
        if headers.get("sec-fetch-site", "none") not in {"same-origin", "none"}:
            return 403
        if scope["method"] in {"GET", "HEAD"}:
            return None
        if headers.get("origin") not in {f"http://{host}" for host in hosts}:
            return 403
        if headers.get("content-type", "").partition(";")[0] != "application/json":
            return 415
        length = headers.get("content-length", "")
        return None if length.isascii() and length.isdigit() and int(length) <= MOST_BODY else 413


def _with_headers(send: Send) -> Send:
    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return sent
