"""Who may ask the page's server what: pure, from a request to "allowed" or a status.

The server is for one person at one machine. Its port can be reached by whatever runs
there, other people's pages in the browser among them; the token, the Host and the
Origin keep these out.
"""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Mapping
from dataclasses import field

from castsugar.frozen import dataclass

#: Length of the token [bytes], and of what may be asked.
TOKEN_BYTES, LARGEST_BODY = 24, 20_000

#: The header that carries the token.
TOKEN = "x-castsugar-token"

#: The page runs its own script and style, and speaks to its own server only.
_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src data:; "
    "connect-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
)

#: A document that was made runs nothing; its style is inside it.
_STILL = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; "
    "frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
)

HEADERS = {
    "content-security-policy": _POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cache-control": "no-store",
    "cross-origin-resource-policy": "same-origin",
}
STILL = HEADERS | {"content-security-policy": _STILL}


@dataclass(frozen=True, slots=True)
class Request:
    """What is asked; names of headers in small letters."""

    method: str
    path: str
    headers: Mapping[str, str] = field(default_factory=dict)
    body: bytes = b""


@dataclass(frozen=True, slots=True)
class Response:
    """What is answered."""

    status: int
    headers: Mapping[str, str]
    body: bytes


@dataclass(frozen=True, slots=True)
class Access:
    """Where the server listens, and the word that lets in."""

    port: int
    token: str = field(repr=False)

    @property
    def hosts(self) -> tuple[str, str]:
        """What the browser calls this server."""
        return f"127.0.0.1:{self.port}", f"localhost:{self.port}"

    @property
    def address(self) -> str:
        """The link that opens the page; what is behind # is never sent."""
        return f"http://{self.hosts[0]}/#{self.token}"


def new_token() -> str:
    """Return a token that nobody can guess."""
    return secrets.token_urlsafe(TOKEN_BYTES)


def refused(request: Request, access: Access) -> tuple[int, str] | None:
    """Return status and line for a request that is not allowed; None if it is."""
    host = request.headers.get("host", "").lower()
    if host not in access.hosts:
        return 421, "this server answers to 127.0.0.1 and localhost only"
    if request.method == "GET":
        return None
    if request.method != "POST":
        return 405, "only GET and POST"
    return _refused_post(request, access, host)


def _refused_post(
    request: Request, access: Access, host: str
) -> tuple[int, str] | None:
    headers = request.headers
    if headers.get("origin", "") != f"http://{host}":
        return 403, "asked by another page"
    given = headers.get(TOKEN, "").encode("utf-8", "replace")
    if not hmac.compare_digest(given, access.token.encode()):
        return 403, "open the link that the terminal shows"
    if headers.get("content-type", "").partition(";")[0].strip() != "application/json":
        return 415, "only JSON"
    if len(request.body) > LARGEST_BODY:
        return 413, f"at most {LARGEST_BODY:,} bytes"
    return None
