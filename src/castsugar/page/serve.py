"""The server of the live page: one person, one machine, until Ctrl-C."""

from __future__ import annotations

import contextlib
import json
import logging
import secrets
import socket
import threading
import traceback
import webbrowser
from collections.abc import Callable
from importlib import resources
from typing import Any

import uvicorn
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request as Asked
from starlette.responses import Response, StreamingResponse
from uvicorn.protocols.http.h11_impl import H11Protocol

from castsugar.errors import CastsugarError, InputError
from castsugar.page.answer import answered, region
from castsugar.page.deeds import ChangedElsewhere, Deeds, Saver
from castsugar.page.desk import Page
from castsugar.page.gate import (
    HEADERS,
    LARGEST_BODY,
    POLICY,
    STILL,
    TOKEN_BYTES,
    Access,
    Request,
    refused,
)

#: The only address.
HOST = "127.0.0.1"

#: Connections: of two browsers, six each, and some; idle seconds of one.
CONNECTIONS, IDLE = 16, 30

#: Path -> type and file of the package: all that can be had by GET but documents.
STATICS = {
    "/": ("text/html", "page/static/live.html"),
    "/page.css": ("text/css", "report/templates/page.css"),
    "/live.css": ("text/css", "page/static/live.css"),
    **{
        f"/{name}.js": ("text/javascript", f"page/static/{name}.js")
        for name in ("live", "triangle", "cards", "curves")
    },
}

#: Where documents are that a deed made.
MADE = "/made/"

Told = dict[str, Any]


class Site:
    """What the server serves, without sockets; one question at a time.

    `report` is told of a fault of castsugar: its traceback is for the terminal alone.
    """

    def __init__(
        self,
        access: Access,
        page: Page,
        report: Callable[[Exception], None] = traceback.print_exception,
    ) -> None:
        self.access, self.page, self.report = access, page, report
        self.deeds, self.lock, saver = Deeds(page), threading.Lock(), Saver(page)
        self._routes: dict[str, Callable[[Told], Any]] = {
            "/bench": lambda asked: page.bench(asked.get("units")),
            "/reload": lambda asked: page.reload(asked.get("units")),
            "/answer": lambda asked: answered(page, asked.get("state"), whole=False),
            "/rest": lambda asked: answered(page, asked.get("state"), whole=True),
            "/region": lambda asked: region(
                page, asked.get("state"), coarse=asked.get("coarse") is True
            ),
            "/deed": self.deeds.start,
        }
        if not page.read_only:
            self._routes |= {"/save": saver.save, "/undo": saver.undo}

    def respond(self, request: Request) -> Response:
        """Answer a request; whatever goes wrong is one line."""
        if no := refused(request, self.access):
            return failed(*no)
        if request.method == "GET":
            return self._document(request.path)
        act = self._routes.get(request.path)
        if act is None:
            return failed(404, "there is nothing here")
        try:
            with self.lock:
                return self._told(act(read_json(request.body)))
        except ChangedElsewhere as error:
            return failed(409, str(error))
        except CastsugarError as error:
            key = getattr(error, "key", "")
            return failed(422, " ".join(str(error).split()), key=key)
        except Exception as error:  # noqa: BLE001 a page never sees a traceback
            self.report(error)
            return failed(500, "internal error, see the terminal")

    def _told(self, told: Any) -> Response:
        """Return an answer, that of a deed as it comes."""
        if not isinstance(told, dict):
            return StreamingResponse(told, headers=_headers("application/json"))
        told = {"hash": self.page.hash} | told
        if changed := self.page.changed:
            told.setdefault("changed", changed)
        return _response(200, json.dumps(told, allow_nan=False), "application/json")

    def _document(self, path: str) -> Response:
        """Return a file of the package, or a document that a deed made."""
        if path in STATICS:
            kind, name = STATICS[path]
            found = resources.files("castsugar").joinpath(name)
            return _response(200, found.read_bytes(), kind)
        made = self.deeds.made.get(path.removeprefix(MADE))
        if not path.startswith(MADE) or made is None:
            return failed(404, "there is nothing here")
        return _response(200, made, "text/html", STILL)


def _headers(kind: str, policy: str = POLICY) -> dict[str, str]:
    kind = f"{kind}; charset=utf-8"
    return {"content-type": kind, "content-security-policy": policy}


def _response(
    status: int, body: str | bytes, kind: str, policy: str = POLICY
) -> Response:
    return Response(body, status, _headers(kind, policy))


def failed(status: int, line: str, **more: str) -> Response:
    """Return an error of one line."""
    return _response(status, json.dumps({"error": line} | more), "application/json")


def read_json(body: bytes) -> Told:
    """Read what was sent: a table of texts, lists and tables; no number counts."""
    try:
        found = json.loads(body)
    except (ValueError, RecursionError):
        raise InputError("this is not JSON") from None
    if not isinstance(found, dict):
        raise InputError("this is no table of names and values")
    return found


# ----------------------------------------------------------------------------
# Sockets.


def bound(port: int) -> socket.socket:
    """Return a socket on this machine alone; port 0 lets the system choose."""
    if not 0 <= port <= 65_535:
        raise InputError(f"--port is {port}; allowed: 0 (any) to 65535")
    try:
        return socket.create_server((HOST, port))
    except OSError as error:
        raise InputError(
            f"--port {port} cannot be had ({error.strerror}); leave --port out, and "
            "the system takes a free one"
        ) from None


def application(site: Site) -> Callable[..., Any]:
    """Return what answers every request by the site."""

    async def serve(scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] == "http":
            asked = Asked(scope, receive)
            body, path = await _body(asked), asked.url.path
            request = Request(asked.method, path, asked.headers, body)
            told = await run_in_threadpool(site.respond, request)
            await told(scope, receive, send)

    return serve


async def _body(asked: Asked) -> bytes:
    """Return what was sent, no more than one byte too many of it."""
    found = b""
    async for piece in asked.stream():
        found += piece
        if len(found) > LARGEST_BODY:
            break
    return found[: LARGEST_BODY + 1]


class Patient(H11Protocol):
    """A connection that has to ask something before it has waited too long."""

    def connection_made(self, transport: Any) -> None:
        """Give it its time."""
        super().connection_made(transport)
        self.loop.call_later(IDLE, self._silent)

    def _silent(self) -> None:
        if self.cycle is None:
            self.transport.close()


def server_of(site: Site) -> uvicorn.Server:
    """Return the server of a site; what runs ends with it."""
    config = uvicorn.Config(
        application(site),
        http=Patient,
        log_config=None,
        lifespan="off",
        ws="none",
        server_header=False,
        headers=list(HEADERS.items()),
        limit_concurrency=CONNECTIONS,
        timeout_keep_alive=IDLE,
        timeout_graceful_shutdown=0,
    )
    return uvicorn.Server(config)


def run(
    page: Page, own: socket.socket, *, browser: bool, say: Callable[[str], None]
) -> None:
    """Serve the page until Ctrl-C; `say` takes a line, first the link alone.

    A browser gets the link, token and all, among the words of its process, which others
    of this machine can read for a moment.
    """
    access = Access(own.getsockname()[1], secrets.token_urlsafe(TOKEN_BYTES))
    site = Site(access, page)
    logging.getLogger("uvicorn").setLevel(logging.CRITICAL)
    say(access.address)

    if browser:
        threading.Thread(target=_shown, args=(access.address, say), daemon=True).start()
    threading.Thread(target=_warmed, args=(site,), daemon=True).start()
    with contextlib.suppress(KeyboardInterrupt):
        server_of(site).run(sockets=[own])


def _shown(address: str, say: Callable[[str], None]) -> None:
    """Open the browser; a text browser would keep the terminal."""
    if not webbrowser.open_new_tab(address):
        say("No browser was found: open the link above.")


def _warmed(site: Site) -> None:
    """Load what the first answer needs, while the browser starts."""
    with contextlib.suppress(CastsugarError), site.lock:
        answered(site.page, site.page.start(), whole=False)
