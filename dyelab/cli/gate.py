"""Who may speak to the served panels: this machine, with the token, from the panels' own pages.

The server listens on the loopback address, yet other users of the machine can reach that, and a
web page can have a name of its own resolved to it. So every request must carry the token that
was printed (once, in the address; then as a cookie), name a loopback host, and come from no
other page.
"""

import hmac
import secrets
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

LOOPBACK = {"localhost", "127.0.0.1", "::1"}


def loopback(address: str, port: int) -> bool:
    """Whether a Host header, or an origin without its scheme, is this server on this machine."""
    try:
        parts = urlsplit(f"//{address}")
        return parts.hostname in LOOPBACK and (parts.port or 80) == port and not parts.username
    except ValueError:
        return False


class Gate:
    """Answers for one server: lets a request through, sends it on with a cookie, or refuses it."""

    def __init__(self, port: int, token: str, first: str = "/") -> None:
        self.port, self.token, self.first = port, token, first
        self.pass_key = secrets.token_urlsafe(32)
        self.cookie = f"dyelab-{port}"

    def refusal(self, request: Any) -> str:
        """Return why a request isn't answered, nothing where host and origin are in order."""
        if not loopback(request.headers.get("Host", ""), self.port):
            return "host"
        origin = request.headers.get("Origin")
        if origin is not None:
            scheme, _, address = origin.partition("://")
            if scheme != "http" or not loopback(address, self.port):
                return "origin"
        if request.headers.get("Sec-Fetch-Site") == "cross-site" and request.method != "GET":
            return "origin"
        return ""

    def is_known(self, request: Any) -> bool:
        """Whether the request's cookie is the one this gate gave."""
        held = request.cookies.get(self.cookie)
        return held is not None and _same(held.value, self.pass_key)

    def onward(self, request: Any) -> str | None:
        """Return the address without the token, where the token is there and right."""
        asked = parse_qs(request.query, keep_blank_values=True)
        given = asked.pop("token", [""])[0]
        if not _same(given, self.token):
            return None
        rest = urlencode(asked, doseq=True)
        path = "/" + request.path.lstrip("/\\")  # a second slash would name another host
        path = self.first if path == "/" else path
        return f"{path}?{rest}" if rest else path


def _same(given: str, wanted: str) -> bool:
    return hmac.compare_digest(given.encode(), wanted.encode())


def guard(app: Any, gate: Gate) -> None:
    """Put the gate before every handler of a Tornado application, sockets and files included."""
    from tornado.web import RequestHandler

    from dyelab import words

    class _Refuse(RequestHandler):
        def prepare(self) -> None:
            reason = gate.refusal(self.request) or "token"
            self.set_status(403)
            self.set_header("Content-Type", "text/plain; charset=utf-8")
            self.finish(words.say(f"cli.refused_{reason}"))

    class _Onward(RequestHandler):
        def prepare(self) -> None:
            self.set_header(
                "Set-Cookie", f"{gate.cookie}={gate.pass_key}; Path=/; HttpOnly; SameSite=Strict"
            )
            self.redirect(gate.onward(self.request) or "/")

    inner = app.find_handler

    def find_handler(request: Any, **more: Any) -> Any:
        if gate.refusal(request):
            return app.get_handler_delegate(request, _Refuse)
        if request.method == "GET" and gate.onward(request) is not None:
            return app.get_handler_delegate(request, _Onward)
        if not gate.is_known(request):
            return app.get_handler_delegate(request, _Refuse)
        return inner(request, **more)

    app.find_handler = find_handler
