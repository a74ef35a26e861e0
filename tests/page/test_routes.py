"""From a request to a response, without sockets.

Exact: statuses, headers and words are known; what is computed is a stand-in here.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Callable
from importlib import resources
from pathlib import Path
from typing import Any, cast

import pytest
from starlette.responses import Response

from castsugar.errors import InputError
from castsugar.page import serve
from castsugar.page.desk import BoxError, Page
from castsugar.page.gate import POLICY, STILL, TOKEN, Access, Request
from castsugar.page.serve import MADE, STATICS, Site

pytestmark = pytest.mark.exact

ACCESS = Access(8123, "t0ken")
POSTED = {
    "host": "127.0.0.1:8123",
    "origin": "http://127.0.0.1:8123",
    TOKEN: "t0ken",
    "content-type": "application/json",
}
WRITING = ("/save", "/undo")
ASKING = ("/bench", "/reload", "/answer", "/rest", "/region", "/deed")
ROUTES = (*ASKING, *WRITING)


class Stand:
    """A page that computes nothing."""

    path, hash, changed, base = Path("bench.toml"), "h1", "", "base"

    def __init__(self, *, read_only: bool = False) -> None:
        self.read_only = read_only
        self.act: Callable[..., Any] = lambda: {"said": "so"}

    def bench(self, units: Any = None) -> Any:
        """Answer."""
        return self.act()

    def reload(self, units: Any = None) -> Any:
        """Answer."""
        return self.act()


class Held:
    """A site on a stand, and the faults that it told the terminal."""

    def __init__(self, *, read_only: bool = False) -> None:
        self.page, self.faults = Stand(read_only=read_only), list[Exception]()
        told = self.faults.append
        self.site = Site(ACCESS, cast(Page, self.page), told)

    def post(self, path: str, asked: Any = None, **more: str) -> Response:
        """Ask as the script asks; bytes go as they are."""
        body = asked if isinstance(asked, bytes) else json.dumps(asked or {}).encode()
        return self.site.respond(Request("POST", path, POSTED | more, body))

    def get(self, path: str) -> Response:
        """Ask for a document."""
        return self.site.respond(Request("GET", path, {"host": POSTED["host"]}))


@pytest.fixture(autouse=True)
def _computed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the stand compute nothing."""
    monkeypatch.setattr(serve, "answered", lambda page, state, whole: {"state": state})
    monkeypatch.setattr(
        serve, "region", lambda page, state, coarse: {"state": state, "coarse": coarse}
    )


@pytest.fixture
def held() -> Held:
    """Return a site."""
    return Held()


def told(response: Response) -> Any:
    """Return what an answer says."""
    return json.loads(response.body)


# ----------------------------------------------------------------------------
# Documents


@pytest.mark.parametrize("path", STATICS)
def test_files_of_the_package(held: Held, path: str) -> None:
    """A fixed set of names, its bytes those of the package."""
    found, (kind, name) = held.get(path), STATICS[path]
    place = resources.files("castsugar").joinpath(name)
    assert (found.status_code, found.body) == (200, place.read_bytes())
    assert found.headers["content-security-policy"] == POLICY
    assert found.headers["content-type"] == f"{kind}; charset=utf-8"


def test_every_file_is_served() -> None:
    """No file lies in the folder that no path leads to."""
    folder = resources.files("castsugar.page").joinpath("static")
    known = {Path(name).name for _, name in STATICS.values()}
    assert {one.name for one in folder.iterdir()} == known - {"page.css"}


@pytest.mark.parametrize(
    "path",
    [
        "",
        "/../../etc/passwd",
        "/..%2f..%2fetc/passwd",
        "//etc/passwd",
        "/static/live.js",
        "/live.html",
        "/live.js/",
        "/./live.js",
        "/LIVE.JS",
        "/made/",
        "/made/../live.js",
        "/made/../../etc/passwd",
        "made",
        "/bench",
        "/live.js\x00.css",
    ],
)
def test_no_other_path(held: Held, path: str) -> None:
    """A path is looked up among names; none of it reaches a file system: 404."""
    assert held.get(path).status_code == 404
    if path != "/bench":
        assert held.post(path).status_code == 404


def test_made_document(held: Held) -> None:
    """A document that was made, under its name and with the policy for it."""
    held.site.deeds.made["abc"] = b"<!doctype html>"
    found = held.get(f"{MADE}abc")
    assert (found.status_code, found.body) == (200, b"<!doctype html>")
    assert found.headers["content-security-policy"] == STILL
    assert held.get("/abc").status_code == held.get("abc").status_code == 404
    assert held.post(f"{MADE}abc").status_code == 404


# ----------------------------------------------------------------------------
# Questions


def test_question(held: Held) -> None:
    """What was asked reaches the page; the answer says of which file it is."""
    state = {"parts": [["KNO3", "60"]]}
    for path in ("/answer", "/rest"):
        found = held.post(path, {"state": state})
        assert found.status_code == 200
        assert told(found) == {"hash": "h1", "state": state}
    for coarse, taken in ((True, True), (False, False), (1, False), ("yes", False)):
        asked = {"state": state, "coarse": coarse}
        assert told(held.post("/region", asked))["coarse"] is taken


@pytest.mark.parametrize("typed", ["NaN", "Infinity", "-Infinity", "1e999", "12"])
def test_no_number_counts(bench: Path, typed: str) -> None:
    """What is asked is text, read by the readers of the bench: a number is refused."""
    site = Site(ACCESS, Page(bench))
    for own in (f'"throat": {typed}', f'"parts": [["KNO3", {typed}]]', f'"x": {typed}'):
        body = f'{{"kind": "weigh", "state": {{{own}}}}}'.encode()
        found = site.respond(Request("POST", "/deed", POSTED, body))
        assert found.status_code == 422
        assert "no text of at most" in told(found)["error"]


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b"[]",
        b"1",
        b"null",
        b'"x"',
        b"\xff\xfe",
        b'{"a": "\xff"}',
        b"[" * 20_000,
        b'{"a": ' + b"9" * 10_000 + b"}",
    ],
)
def test_no_table(held: Held, body: bytes) -> None:
    """What is no table of names and values is refused in one line: 422."""
    found = held.post("/bench", body)
    assert found.status_code == 422
    assert told(found)["error"] in (
        "this is not JSON",
        "this is no table of names and values",
    )
    assert held.faults == []


# ----------------------------------------------------------------------------
# What goes wrong


def failing(error: Exception) -> Callable[[], Any]:
    """Return what fails so."""

    def act() -> Any:
        raise error

    return act


def test_error_of_the_user(held: Held) -> None:
    """One line, and the box it is about."""
    held.page.act = failing(BoxError("cook", "cook is hot;\n  say less"))
    found = held.post("/bench")
    assert found.status_code == 422
    assert told(found) == {"error": "cook is hot; say less", "key": "cook"}
    held.page.act = failing(InputError("no"))
    assert told(held.post("/reload")) == {"error": "no", "key": ""}
    assert held.faults == []


@pytest.mark.parametrize(
    "error",
    [ValueError("secret /home/anna"), KeyError("x"), OSError(28, "No space left")],
)
def test_fault(held: Held, error: Exception) -> None:
    """The terminal is told, the page is not; the next question is answered."""
    held.page.act = failing(error)
    found = held.post("/bench")
    assert found.status_code == 500
    assert told(found) == {"error": "internal error, see the terminal"}
    assert held.faults == [error]
    held.page.act = lambda: {"said": "so"}
    assert held.post("/bench").status_code == 200


def test_answer_that_is_no_json(held: Held) -> None:
    """A number that is none would stop the script: it is a fault of ours."""
    held.page.act = lambda: {"x": float("nan")}
    assert held.post("/bench").status_code == 500
    assert isinstance(held.faults[0], ValueError)


def test_letters_that_cannot_be_sent(held: Held) -> None:
    """Half a letter in an error is still an answer."""
    held.page.act = failing(InputError("no \ud800 here"))
    found = held.post("/bench")
    assert (found.status_code, told(found)["error"]) == (422, "no \ud800 here")


def test_changed_outside(held: Held) -> None:
    """Each answer says so while the file is another one; a broken one its line."""
    assert "changed" not in told(held.post("/bench"))
    for line in ("bench.toml has changed", "bench.toml, line 3: no value"):
        held.page.changed = line
        assert told(held.post("/answer"))["changed"] == line


def test_headers_on_every_answer(held: Held) -> None:
    """Whatever the status."""
    held.page.act = failing(ValueError("x"))
    answers = [
        held.get("/"),
        held.get("/nothing"),
        held.post("/answer"),
        held.post("/undo"),
        held.post("/answer", b"{"),
        held.post("/bench"),
        held.post("/answer", b"x" * 20_001),
        held.post("/bench", **{TOKEN: "wrong"}),
        held.post("/bench", host="evil.example"),
        held.post("/bench", **{"content-type": "text/plain"}),
        held.site.respond(Request("PUT", "/", POSTED)),
    ]
    statuses = [200, 404, 200, 422, 422, 500, 413, 403, 421, 415, 405]
    assert [one.status_code for one in answers] == statuses
    assert all(x.headers["content-security-policy"] == POLICY for x in answers)
    for one in answers[3:]:
        assert next(iter(told(one))) == "error"
        assert "\n" not in told(one)["error"]


@pytest.mark.parametrize("path", ROUTES)
def test_gate_is_before_every_route(held: Held, path: str) -> None:
    """Nothing is done for another page, nor by GET."""
    asked = list[str]()
    held.page.act = lambda: asked.append("acted")
    assert held.post(path, {}, **{TOKEN: ""}).status_code == 403
    assert held.post(path, {}, origin="http://evil.example").status_code == 403
    assert held.get(path).status_code == 404
    assert asked == []


# ----------------------------------------------------------------------------
# Read-only, names, one at a time


def test_read_only_has_no_route_that_writes() -> None:
    """Not only the buttons are gone."""
    held = Held(read_only=True)
    assert [held.post(path).status_code for path in WRITING] == [404, 404]
    assert held.post("/bench").status_code == 200
    free = Held()
    assert 404 not in [free.post(path).status_code for path in WRITING]


def test_name_stays_text(bench: Path) -> None:
    """A recipe that is called like a piece of HTML comes as it is, in JSON."""
    name = "<img src=x onerror=alert(1)>"
    text = bench.read_text("utf-8")
    line = f'\n[recipes]\n"{name}" = "KNO3:60 sucrose:40"\n'
    assert text.count("\n[recipes]\n") == 1
    bench.write_text(text.replace("\n[recipes]\n", line), "utf-8")
    site = Site(ACCESS, Page(bench), pytest.fail)  # type: ignore[arg-type]
    found = site.respond(Request("POST", "/bench", POSTED, b"{}"))
    assert name in told(found)["recipes"]
    assert found.headers["content-type"] == "application/json; charset=utf-8"


def test_script_writes_no_html() -> None:
    """What the server says is put on the page as text, never as HTML."""
    for _, name in STATICS.values():
        text = resources.files("castsugar").joinpath(name).read_text("utf-8")
        for way in ("innerHTML", "outerHTML", "insertAdjacent", "document.write"):
            assert way not in text, (name, way)
        assert "eval(" not in text
        assert " style=" not in text or not name.endswith(".html")


def test_one_at_a_time(held: Held) -> None:
    """Two at once: the second waits for the lock."""
    inside, most, go = [0], [0], threading.Event()

    def act() -> Any:
        inside[0] += 1
        most[0] = max(most[0], inside[0])
        go.wait(0.05)
        inside[0] -= 1
        return {}

    held.page.act = act
    both = [threading.Thread(target=held.post, args=("/bench",)) for _ in range(3)]
    for one in both:
        one.start()
    for one in both:
        one.join()
    assert most == [1]
