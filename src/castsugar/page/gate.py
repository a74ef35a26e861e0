"""Who may ask the page's server what: pure, from a request to "allowed" or a status.

The server is for one person at one machine. Its port can be reached by whatever runs
there, other people's pages in the browser among them; the token, the Host and the
Origin keep these out.
"""

from __future__ import annotations

import hmac
from collections.abc import Mapping
from dataclasses import field

from castsugar.frozen import dataclass

#: Length of the token [bytes], and of what may be asked.
TOKEN_BYTES, LARGEST_BODY = 24, 20_000

#: The header that carries the token.
TOKEN = "x-castsugar-token"

#: Headers of every answer.
HEADERS = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cache-control": "no-store",
    "cross-origin-resource-policy": "same-origin",
}

#: The page runs its own script and style, and speaks to its own server only. A document
#: that was made runs nothing; its style is inside it.
_CLOSED = "frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src data:; "
    f"connect-src 'self'; {_CLOSED}"
)
STILL = f"default-src 'none'; style-src 'unsafe-inline'; img-src data:; {_CLOSED}"


@dataclass(frozen=True, slots=True)
class Request:
    """What is asked; names of headers in small letters."""

    method: str
    path: str
    headers: Mapping[str, str] = field(default_factory=dict)
    body: bytes = b""


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


def refused(request: Request, access: Access) -> tuple[int, str] | None:
    """Return status and line for a request that is not allowed; None if it is."""
    headers, host = request.headers, request.headers.get("host", "").lower()
    given = headers.get(TOKEN, "").encode("utf-8", "replace")
    known = hmac.compare_digest(given, access.token.encode())
    kind = headers.get("content-type", "").partition(";")[0].strip()
    here = "this server answers to 127.0.0.1 and localhost only"
    rules = [(host in access.hosts, 421, here)]
    if request.method != "GET":
        own = headers.get("origin", "") == f"http://{host}"
        small = len(request.body) <= LARGEST_BODY
        rules += [
            (request.method == "POST", 405, "only GET and POST"),
            (own, 403, "asked by another page"),
            (known, 403, "open the link that the terminal shows"),
            (kind == "application/json", 415, "only JSON"),
            (small, 413, f"at most {LARGEST_BODY:,} bytes"),
        ]
    return next(((status, no) for allowed, status, no in rules if not allowed), None)
