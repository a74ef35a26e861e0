"""The server of the live page: one person, one machine, until Ctrl-C."""

from __future__ import annotations

import contextlib
import logging
import socket
import threading
import webbrowser
from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING, Any

from castsugar.errors import CastsugarError, InputError
from castsugar.page.deeds import Deeds
from castsugar.page.gate import HEADERS, LARGEST_BODY, Access, Request, new_token
from castsugar.page.routes import Site, failed

if TYPE_CHECKING:
    from castsugar.page.live import Page

#: The only address.
HOST = "127.0.0.1"

#: Requests at once: of two browsers, six each, and some; idle seconds of a connection.
CONNECTIONS, IDLE = 16, 30


def bound(port: int) -> socket.socket:
    """Return a socket on this machine alone; port 0 lets the system choose."""
    if not 0 <= port <= 65_535:
        raise InputError(f"--port is {port}; allowed: 0 (any) to 65535")
    made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        made.bind((HOST, port))
    except OSError as error:
        made.close()
        raise InputError(
            f"--port {port} cannot be had ({error.strerror}); leave --port out, and "
            "the system takes a free one"
        ) from None
    return made


def application(site: Site) -> Callable[..., Awaitable[None]]:
    """Return what answers every request by the site."""
    from starlette.concurrency import run_in_threadpool
    from starlette.requests import Request as Asked
    from starlette.responses import Response

    under_way: set[object] = set()

    async def serve(scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] != "http":
            return
        asked = Asked(scope, receive)
        under_way.add(asked)
        try:
            if len(under_way) > CONNECTIONS:
                told = failed(503, "too much is asked at once")
            else:
                headers = {name.lower(): x for name, x in asked.headers.items()}
                body = await _body(asked)
                request = Request(asked.method, asked.url.path, headers, body)
                told = await run_in_threadpool(site.respond, request)
        finally:
            under_way.discard(asked)
        answer = Response(told.body, told.status, dict(told.headers))
        await answer(scope, receive, send)

    return serve


async def _body(asked: Any) -> bytes:
    """Return what was sent, no more than one byte too many of it."""
    found = b""
    async for piece in asked.stream():
        found += piece
        if len(found) > LARGEST_BODY:
            break
    return found[: LARGEST_BODY + 1]


def _server(site: Site) -> Any:
    """Return the server of a site: it ends its deeds, and who says nothing is cut."""
    import uvicorn
    from uvicorn.protocols.http.h11_impl import H11Protocol

    class Patient(H11Protocol):
        """A connection that has to ask something before it has waited too long."""

        def connection_made(self, transport: Any) -> None:
            super().connection_made(transport)
            self.loop.call_later(IDLE, self._silent)

        def _silent(self) -> None:
            if self.cycle is None:
                self.transport.close()

        def send_400_response(self, msg: str) -> None:
            """Answer what is no HTTP with our own headers."""
            told = {"connection": "close", "content-length": "0"} | HEADERS
            lines = "".join(f"{name}: {value}\r\n" for name, value in told.items())
            self.transport.write(f"HTTP/1.1 400 {msg}\r\n{lines}\r\n".encode())
            self.transport.close()

    class Server(uvicorn.Server):
        """Ends its deeds however it is ended."""

        async def shutdown(self, sockets: Any = None) -> None:
            site.deeds.close()
            await super().shutdown(sockets)

    return Server(
        uvicorn.Config(
            application(site),
            http=Patient,
            log_config=None,
            lifespan="off",
            ws="none",
            server_header=False,
            timeout_keep_alive=IDLE,
            timeout_graceful_shutdown=0,
        )
    )


def run(
    page: Page, own: socket.socket, *, browser: bool, say: Callable[[str], None]
) -> None:
    """Serve the page until Ctrl-C.

    Parameters
    ----------
    page : Page
    own : socket.socket
        Of :func:`bound`.
    browser : bool
        Whether the browser is asked to open the link. The token is for a moment among
        the words of its process, which others of this machine can read.
    say : callable
        Takes a line: first the link, alone.
    """
    access = Access(own.getsockname()[1], new_token())
    deeds = Deeds(read_only=page.read_only)
    site = Site(access, page, deeds, _reported, read_only=page.read_only)
    logging.getLogger("uvicorn").setLevel(logging.CRITICAL)
    own.listen()
    say(access.address)
    if browser:
        _beside(_shown, access.address, say)
    _beside(_warmed, site)
    with contextlib.suppress(KeyboardInterrupt):
        _server(site).run(sockets=[own])


def _beside(act: Callable[..., None], *given: Any) -> None:
    threading.Thread(target=act, args=given, daemon=True).start()


def _shown(address: str, say: Callable[[str], None]) -> None:
    """Open the browser; a text browser would keep the terminal."""
    if not webbrowser.open_new_tab(address):
        say("No browser was found: open the link above.")


def _warmed(site: Site) -> None:
    """Load what the first answer needs, while the browser starts."""
    with contextlib.suppress(CastsugarError), site.lock:
        site.page.warm()


def _reported(error: Exception) -> None:
    """Tell the terminal of a fault."""
    import traceback

    traceback.print_exception(error)
