"""From a request to a response, without sockets."""

from __future__ import annotations

import json
import math
import threading
from collections.abc import Callable, Mapping
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any, NoReturn

from castsugar.errors import CastsugarError, InputError
from castsugar.frozen import dataclass
from castsugar.page.deeds import Deeds
from castsugar.page.gate import HEADERS, STILL, Access, Request, Response, refused
from castsugar.page.save import ChangedElsewhere, Saver

if TYPE_CHECKING:
    from castsugar.page.live import Page

#: Path -> name in the package and type: all that can be had by GET but documents.
STATICS = {
    "/": ("live.html", "text/html"),
    "/live.css": ("live.css", "text/css"),
    "/live.js": ("live.js", "text/javascript"),
    "/triangle.js": ("triangle.js", "text/javascript"),
    "/cards.js": ("cards.js", "text/javascript"),
    "/curves.js": ("curves.js", "text/javascript"),
}

#: Where documents are that a deed made.
MADE = "/made/"

Told = dict[str, Any]


@dataclass(eq=False)
class Site:
    """What the server serves.

    Attributes
    ----------
    access : Access
    page : Page
    deeds : Deeds
    report : function
        Told of a fault of castsugar, whose traceback is for the terminal alone.
    read_only : bool
        No route writes.
    """

    access: Access
    page: Page
    deeds: Deeds
    report: Callable[[Exception], None]
    read_only: bool = False

    def __post_init__(self) -> None:
        """Make the table of routes; one acts at a time."""
        self.lock = threading.Lock()
        page, saver = self.page, Saver(self.page)
        self._routes: dict[str, Callable[[Told], Told]] = {
            "/bench": lambda asked: page.bench(asked.get("units")),
            "/reload": lambda asked: page.reload(asked.get("units")),
            "/answer": lambda asked: page.answer(_seq(asked), asked.get("state")),
            "/rest": lambda asked: page.rest(
                _seq(asked), asked.get("state"), narrow=asked.get("narrow") is True
            ),
            "/region": lambda asked: page.region(
                _seq(asked), asked.get("state"), coarse=asked.get("coarse") is True
            ),
            "/deed": lambda asked: self.deeds.start(page, asked),
            "/deed/state": lambda asked: self.deeds.state(_text(asked, "id")),
            "/deed/stop": lambda asked: self.deeds.stop(_text(asked, "id")),
        }
        if not self.read_only:
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
            asked = read_json(request.body)
        except InputError as error:
            return failed(400, str(error))
        return self._acted(act, asked)

    def _acted(self, act: Callable[[Told], Told], asked: Told) -> Response:
        try:
            with self.lock:
                told = {"hash": self.page.hash} | act(asked)
                if changed := self.page.changed:
                    told.setdefault("changed", changed)
            return _json(200, told)
        except ChangedElsewhere as error:
            return failed(409, str(error))
        except CastsugarError as error:
            key = getattr(error, "key", "")
            return failed(422, " ".join(str(error).split()), key=key)
        except Exception as error:  # noqa: BLE001 a page never sees a traceback
            self.report(error)
            return failed(500, "internal error, see the terminal")

    def _document(self, path: str) -> Response:
        """Return a file of the package, or a document that a deed made."""
        if path in STATICS:
            return static(path)
        made = self.deeds.made.get(path.removeprefix(MADE))
        if not path.startswith(MADE) or made is None:
            return failed(404, "there is nothing here")
        return Response(200, STILL | _typed("text/html"), made)


@cache
def static(path: str) -> Response:
    """Return one of the files of the package."""
    name, kind = STATICS[path]
    found = resources.files("castsugar.page").joinpath("static", name)
    return Response(200, HEADERS | _typed(kind), found.read_bytes())


def failed(status: int, line: str, **more: str) -> Response:
    """Return an error of one line."""
    return _json(status, {"error": line} | more)


def _json(status: int, told: Mapping[str, Any]) -> Response:
    body = json.dumps(told, ensure_ascii=False, allow_nan=False)
    return Response(
        status, HEADERS | _typed("application/json"), body.encode("utf-8", "replace")
    )


def _typed(kind: str) -> dict[str, str]:
    return {"content-type": f"{kind}; charset=utf-8"}


def read_json(body: bytes) -> Told:
    """Read what was sent: a table of finite numbers, texts, lists, tables."""
    try:
        found = json.loads(body, parse_constant=_no_number, parse_float=_finite)
    except (ValueError, RecursionError) as error:
        said = str(error) if isinstance(error, InputError) else "this is not JSON"
        raise InputError(said) from None
    if not isinstance(found, dict):
        raise InputError("this is no table of names and values")
    return found


def _no_number(typed: str) -> NoReturn:
    raise InputError(f"{typed} is no number; give a finite one")


def _finite(typed: str) -> float:
    found = float(typed)
    return found if math.isfinite(found) else _no_number(typed)


def _seq(asked: Told) -> int:
    found = asked.get("seq")
    if not isinstance(found, int) or isinstance(found, bool):
        raise InputError("seq must be a whole number")
    return found


def _text(asked: Told, key: str) -> str:
    found = asked.get(key)
    if not isinstance(found, str):
        raise InputError(f"{key} must be a text")
    return found
