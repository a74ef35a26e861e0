"""Who may ask the page's server what.

Exact: each line is a status that the rules of the web give to such a request (RFC 9110;
421 of section 15.5.20 for a Host that is not this one), and the rules of the page.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from castsugar.page.gate import (
    HEADERS,
    LARGEST_BODY,
    POLICY,
    STILL,
    TOKEN,
    TOKEN_BYTES,
    Access,
    Request,
    refused,
)

pytestmark = pytest.mark.exact

ACCESS = Access(8123, "t0ken")
GOOD = Request(
    "POST",
    "/answer",
    {
        "host": "127.0.0.1:8123",
        "origin": "http://127.0.0.1:8123",
        TOKEN: "t0ken",
        "content-type": "application/json",
    },
    b"{}",
)


def with_headers(**own: str | None) -> Request:
    """Return the good request with headers changed, or left out where None."""
    named = {name.replace("_", "-"): value for name, value in own.items()}
    both = {**GOOD.headers, **named}
    return replace(GOOD, headers={k: v for k, v in both.items() if v is not None})


def status(request: Request) -> int:
    """Return the status of a refusal, 0 for what is let in."""
    found = refused(request, ACCESS)
    assert found is None or "\n" not in found[1]
    return 0 if found is None else found[0]


@pytest.mark.parametrize("host", ["127.0.0.1:8123", "localhost:8123", "LOCALHOST:8123"])
def test_own_page_is_let_in(host: str) -> None:
    """Both names of this machine, and the page that came from there."""
    origin = f"http://{host.lower()}"
    assert status(with_headers(host=host, origin=origin)) == 0
    typed = "application/json; charset=utf-8"
    assert status(with_headers(content_type=typed)) == 0
    assert status(Request("GET", "/", {"host": host})) == 0


@pytest.mark.parametrize(
    "host",
    [
        None,
        "",
        "evil.example",
        "evil.example:8123",
        "127.0.0.1",
        "127.0.0.1:8124",
        "127.0.0.1:8123.evil.example",
        "localhost:8123@evil.example",
        "0.0.0.0:8123",
        "[::1]:8123",
        "[",
    ],
)
@pytest.mark.parametrize("method", ["GET", "POST"])
def test_foreign_host(method: str, host: str | None) -> None:
    """A name that was pointed at this machine is not answered: 421."""
    asked = with_headers(host=host, origin=f"http://{host}")
    assert status(replace(asked, method=method)) == 421


@pytest.mark.parametrize(
    "origin",
    [
        None,
        "",
        "null",
        "http://evil.example",
        "https://127.0.0.1:8123",
        "http://127.0.0.1:8124",
        "http://localhost:8123",
        "http://127.0.0.1:8123/",
    ],
)
def test_foreign_origin(origin: str | None) -> None:
    """Another page, and one that does not say where it is from: 403."""
    assert status(with_headers(origin=origin)) == 403


@pytest.mark.parametrize(
    "token", [None, "", "t0ke", "t0kenn", "T0KEN", " t0ken", "t\u00f6ken", "\ud800"]
)
def test_wrong_token(token: str | None) -> None:
    """No word, or a wrong one, whatever its letters: 403, and what to do."""
    asked = with_headers(**{TOKEN: token})
    assert status(asked) == 403
    assert "open the link" in (refused(asked, ACCESS) or (0, ""))[1]


@pytest.mark.parametrize(
    "kind",
    [
        None,
        "",
        "text/plain",
        "text/plain;application/json",
        "application/x-www-form-urlencoded",
        "multipart/form-data",
    ],
)
def test_other_type(kind: str | None) -> None:
    """What a form of another page can send is no JSON: 415."""
    assert status(with_headers(content_type=kind)) == 415


def test_size() -> None:
    """20 kB are read, a byte more is not: 413."""
    assert status(replace(GOOD, body=b"x" * LARGEST_BODY)) == 0
    assert status(replace(GOOD, body=b"x" * (LARGEST_BODY + 1))) == 413
    assert LARGEST_BODY == 20_000


@pytest.mark.parametrize("method", ["HEAD", "PUT", "DELETE", "OPTIONS", "TRACE", "get"])
def test_other_method(method: str) -> None:
    """No other page is told that it may ask: 405 to its question."""
    assert status(replace(GOOD, method=method)) == 405


def test_token() -> None:
    """24 random bytes, behind the # and not where it is printed."""
    assert TOKEN_BYTES == 24
    assert ACCESS.address == "http://127.0.0.1:8123/#t0ken"
    assert "t0ken" not in repr(ACCESS)


def test_policies() -> None:
    """The page runs its own script alone; a document that was made runs none."""
    for policy in (POLICY, STILL):
        assert policy.startswith("default-src 'none'; ")
        for ends in ("frame-ancestors", "base-uri", "form-action"):
            assert f"{ends} 'none'" in policy
    assert "script-src 'self'; style-src 'self';" in POLICY
    assert "unsafe" not in POLICY
    assert "script-src" not in STILL
    assert "connect-src" not in STILL
    assert HEADERS == {
        "x-content-type-options": "nosniff",
        "referrer-policy": "no-referrer",
        "cache-control": "no-store",
        "cross-origin-resource-policy": "same-origin",
    }
