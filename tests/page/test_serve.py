"""The server: its socket, and what it does with who says nothing.

Exact: statuses and addresses are known.
"""

from __future__ import annotations

import json
import re
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, cast

import pytest

from castsugar.errors import InputError
from castsugar.page import deeds, serve
from castsugar.page.desk import Page
from castsugar.page.gate import HEADERS, LARGEST_BODY, POLICY, TOKEN, Access

pytestmark = pytest.mark.exact

#: Seconds until something has surely happened.
PATIENCE = 20.0


# ----------------------------------------------------------------------------
# The socket


def test_bound_to_this_machine_alone() -> None:
    """127.0.0.1, seen in the socket; the system chose the port."""
    with serve.bound(0) as own:
        host, port = own.getsockname()
        assert own.family == socket.AF_INET
    assert host == "127.0.0.1"
    assert port > 0


@pytest.mark.parametrize("port", [65_536, 99_999, -1])
def test_no_port(port: int) -> None:
    """One line that says what is allowed."""
    with pytest.raises(InputError, match=f"--port is {port}; allowed: 0 .* 65535"):
        serve.bound(port)


def test_port_taken() -> None:
    """One line that says what to do."""
    with serve.bound(0) as own:
        own.listen()
        port = own.getsockname()[1]
        with pytest.raises(InputError, match=f"--port {port} cannot be had .*leave"):
            serve.bound(port)


# ----------------------------------------------------------------------------
# Over sockets


class Stand:
    """A page that computes nothing."""

    path, hash, changed, base = Path("bench.toml"), "h1", "", "base"
    read_only = False

    def __init__(self) -> None:
        self.asked: list[str] = []
        self.entered, self.go = threading.Event(), threading.Event()

    def bench(self, units: Any = None) -> Any:
        """Compute until told."""
        self.asked.append("bench")
        self.entered.set()
        self.go.wait(PATIENCE)
        return {}

    def answer(self, state: Any, *, whole: bool) -> Any:
        """Answer at once."""
        self.asked.append(f"answer {state}")
        return {"said": state}


class Server:
    """A server in a thread."""

    def __init__(self, page: Any = None) -> None:
        self.page = page or Stand()
        self.own = serve.bound(0)
        self.port = self.own.getsockname()[1]
        access = Access(self.port, "t0ken")
        page = cast(Page, self.page)
        self.site = serve.Site(access, page, lambda error: None)
        self.own.listen()
        self.server = serve.server_of(self.site)
        self.thread = threading.Thread(
            target=self.server.run, kwargs={"sockets": [self.own]}, daemon=True
        )
        self.thread.start()

    def end(self) -> None:
        """End it."""
        if isinstance(self.page, Stand):
            self.page.go.set()
        self.server.should_exit = True
        self.thread.join(PATIENCE)
        assert not self.thread.is_alive()
        self.own.close()

    def connected(self) -> socket.socket:
        """Return a connection."""
        return socket.create_connection(("127.0.0.1", self.port), PATIENCE)

    def raw(self, data: bytes) -> bytes:
        """Send bytes and return all that comes back."""
        with self.connected() as one:
            one.sendall(data)
            return b"".join(iter(lambda: one.recv(65_536), b""))

    def ask(self, first: str, body: bytes = b"", **own: str | None) -> tuple[int, str]:
        """Ask once, and return status and text."""
        return answered(self.raw(self.words(first, body, **own)))

    def words(self, first: str, body: bytes = b"", **own: str | None) -> bytes:
        """Return a question; headers as the script's, changed or left out."""
        host = f"127.0.0.1:{self.port}"
        usual = {
            "host": host,
            "origin": f"http://{host}",
            TOKEN: "t0ken",
            "content-type": "application/json",
            "content-length": str(len(body)),
            "connection": "close",
        }
        both = usual | {k.replace("_", "-"): v for k, v in own.items()}
        lines = [f"{k}: {v}" for k, v in both.items() if v is not None]
        head = "\r\n".join([f"{first} HTTP/1.1", *lines, "", ""])
        return head.encode("latin-1") + body

    def later(self, first: str, body: bytes) -> threading.Thread:
        """Ask in a thread."""
        one = threading.Thread(target=self.ask, args=(first, body), daemon=True)
        one.start()
        return one


def answered(data: bytes) -> tuple[int, str]:
    """Return status and text of an answer."""
    text = data.decode()
    found = re.match(r"HTTP/1\.1 ([0-9]{3}) ", text)
    return (int(found[1]) if found else 0), text


@pytest.fixture(autouse=True)
def _computed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the stand answer."""
    monkeypatch.setattr(serve, "answered", Stand.answer)


@pytest.fixture
def server() -> Iterator[Server]:
    """Serve a stand."""
    made = Server()
    yield made
    made.end()


@pytest.mark.slow
def test_statuses_over_a_socket(server: Server) -> None:
    """The gate is before everything, with all headers on every answer."""
    big = b"x" * (LARGEST_BODY + 1)
    evil = "evil.example"
    found = {
        "page": server.ask("GET /"),
        "host": server.ask("GET /", host=evil),
        "bracket": server.ask("GET /", host="["),
        "traversal": server.ask("GET /../../etc/passwd"),
        "coded": server.ask("GET /%2e%2e/%2e%2e/etc/passwd"),
        "two slashes": server.ask("GET //etc/passwd"),
        "origin": server.ask("POST /answer", b"{}", origin=f"http://{evil}"),
        "no origin": server.ask("POST /answer", b"{}", origin=None),
        "token": server.ask("POST /answer", b"{}", **{TOKEN: None}),
        "type": server.ask("POST /answer", b"{}", content_type="text/plain"),
        "size": server.ask("POST /answer", big),
        "good": server.ask("POST /answer", b'{"state": 4}'),
    }
    assert {name: one[0] for name, one in found.items()} == {
        "page": 200,
        "host": 421,
        "bracket": 421,
        "traversal": 404,
        "coded": 404,
        "two slashes": 404,
        "origin": 403,
        "no origin": 403,
        "token": 403,
        "type": 415,
        "size": 413,
        "good": 200,
    }
    for name, (_, text) in found.items():
        head = text.partition("\r\n\r\n")[0].lower()
        for header, value in HEADERS.items():
            assert f"{header}: {value}" in head, (name, header)
        assert f"content-security-policy: {POLICY}" in head, name
        assert "\r\nserver:" not in head
    assert json.loads(found["good"][1].partition("\r\n\r\n")[2])["said"] == 4
    assert server.page.asked == ["answer 4"]


@pytest.mark.slow
def test_length_that_lies(server: Server) -> None:
    """Without a length, in pieces, no more is read than is allowed: 413."""
    piece = b"x" * 5000
    body = b"".join(b"1388\r\n" + piece + b"\r\n" for _ in range(5)) + b"0\r\n\r\n"
    more = {"content_length": None, "transfer_encoding": "chunked"}
    assert server.ask("POST /answer", body, **more)[0] == 413
    assert server.page.asked == []


@pytest.mark.slow
def test_too_much_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Connections are counted, and who is one too many is answered by a status."""
    monkeypatch.setattr(serve, "CONNECTIONS", 2)
    server = Server()
    wait_for(lambda: server.server.started)
    with server.connected():
        wait_for(lambda: len(server.server.server_state.connections) == 1)
        status, text = server.ask("GET /")
    assert status == 503
    wait_for(lambda: not server.server.server_state.connections)
    assert server.ask("GET /")[0] == 200
    for header, value in HEADERS.items():
        assert f"{header}: {value}" in text.lower(), header
    server.end()


@pytest.mark.slow
def test_one_computes_at_a_time(server: Server) -> None:
    """What is asked meanwhile waits; documents do not."""
    first = server.later("POST /bench", b"{}")
    assert server.page.entered.wait(PATIENCE)
    answer = server.later("POST /answer", b'{"state": 2}')
    wait_for(lambda: len(server.server.server_state.tasks) == 2)
    assert server.ask("GET /live.css")[0] == 200
    assert server.page.asked == ["bench"]
    server.page.go.set()
    for one in (first, answer):
        one.join(PATIENCE)
    assert server.page.asked == ["bench", "answer 2"]


def wait_for(seen: Callable[[], bool]) -> None:
    """Wait until something is so."""
    until = time.monotonic() + PATIENCE
    while not seen():
        assert time.monotonic() < until
        time.sleep(0.005)


@pytest.mark.slow
@pytest.mark.parametrize("said", [b"", b"GET / HTTP/1.1\r\nhost: "])
def test_silent_connection_is_cut(said: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    """Who asks nothing, or never ends to ask, is sent away."""
    monkeypatch.setattr(serve, "IDLE", 0.2)
    server = Server()
    began = time.monotonic()
    assert server.raw(said) == b""
    assert 0.1 < time.monotonic() - began < PATIENCE / 2
    assert server.ask("GET /")[0] == 200
    server.end()


@pytest.mark.slow
@pytest.mark.parametrize("leaves", ["server", "tab"])
def test_who_leaves_ends_a_deed(
    leaves: str, bench: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing is left of its process and its folder, and another deed may begin."""
    began: list[subprocess.Popen[bytes]] = []
    real = subprocess.Popen

    def popen(words: list[str], **more: Any) -> Any:
        waits = [sys.executable, "-c", "import time; time.sleep(60)"]
        began.append(real(waits, **more))
        rooms.append(Path(words[-1]).parent)
        return began[-1]

    rooms: list[Path] = []
    monkeypatch.setattr(deeds.subprocess, "Popen", popen)
    server = Server(Page(bench))
    wait_for(lambda: server.server.started)
    state = {"kind": "weigh", "state": server.site.page.start()}
    with server.connected() as one:
        one.sendall(server.words("POST /deed", json.dumps(state).encode()))
        wait_for(lambda: bool(rooms))
        assert rooms[0].is_dir()
        if leaves == "server":
            server.end()
    wait_for(lambda: began[0].poll() is not None)
    wait_for(lambda: not rooms[0].exists())
    assert server.site.deeds.busy is False
    if leaves == "tab":
        server.end()
