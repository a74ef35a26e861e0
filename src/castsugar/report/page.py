"""A screen as one page of HTML: sheet 1 answers, annexes follow; nothing from outside.

jinja2 escapes every string; a picture, which is our own SVG, is the only thing that
passes as it is, once it was looked through for what would run or load something.
"""

from __future__ import annotations

from functools import cache
from importlib import resources
from typing import Any
from xml.etree import ElementTree

from jinja2 import Environment, FunctionLoader, StrictUndefined
from markupsafe import Markup

from castsugar.errors import InputError
from castsugar.report.screen import (
    STATUSES,
    Screen,
    closing,
    in_order,
)

#: Elements that no picture may hold.
_LIVE = {"script", "foreignobject", "iframe", "image"}


def to_page(screen: Screen) -> str:
    """Return a page, ending with a line feed.

    Returns
    -------
    str
        HTML that loads nothing and runs nothing, by its own content security policy.
        The same screen gives the same bytes.

    Raises
    ------
    InputError
        If a picture holds what would run or load something else.
    """
    page = _templates().get_template("page.html")
    return (
        page.render(
            screen=screen,
            findings=in_order(screen.findings),
            colours=STATUSES,
            closing=closing(len(screen.cautions), screen.cautions_count),
            style=Markup(_text("page.css")),
        )
        + "\n"
    )


@cache
def _templates() -> Environment:
    """Return the templates, which a person can read."""
    made = Environment(
        loader=FunctionLoader(_text),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["kind"] = lambda block: type(block).__name__
    made.filters["picture"] = _picture
    made.filters["lines"] = lambda text: text.split("\n")
    return made


@cache
def _text(name: str) -> str:
    """Return a file beside this one's templates."""
    folder = resources.files("castsugar.report").joinpath("templates")
    return folder.joinpath(name).read_text(encoding="utf-8")


def _picture(svg: str) -> Any:
    """Return the SVG of a figure, looked through."""
    if any(_is_live(one) for one in ElementTree.fromstring(svg).iter()):
        raise InputError("a picture holds what would run or load something else")
    return Markup(svg[svg.index("<svg") :])


def _is_live(one: ElementTree.Element) -> bool:
    """Say whether an element of a picture would run or load something."""
    names = {key.rpartition("}")[2].lower(): value for key, value in one.items()}
    loads = (value for key, value in names.items() if key in ("href", "src"))
    return (
        one.tag.rpartition("}")[2].lower() in _LIVE
        or any(key.startswith("on") for key in names)
        or any(not value.startswith("#") for value in loads)
    )
