"""The live page in a real browser, its server a process of its own.

Exact: what stands on the page is compared with what the command says of the same mix;
the rest is whether a hand, a finger, a key and a broken line do what they should.
"""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from page_checks.axe import kept_out

pytestmark = [pytest.mark.exact, pytest.mark.slow]

#: Milliseconds that a browser waits for the server.
PATIENCE = 30_000


@dataclass
class Server:
    """A running `castsugar open`."""

    process: subprocess.Popen[str]
    link: str
    folder: Path

    @property
    def place(self) -> str:
        """The address without its token."""
        return self.link.partition("#")[0]

    def stop(self) -> int:
        """End it as Ctrl-C does and return its exit code."""
        self.process.send_signal(signal.SIGINT)
        code = self.process.wait(timeout=20)
        for stream in (self.process.stdout, self.process.stderr):
            assert stream is not None
            stream.close()
        return code


def command(*words: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Run castsugar to its end."""
    return subprocess.run(
        [sys.executable, "-m", "castsugar", *words],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )


def serve(folder: Path, *words: str) -> Server:
    """Open the bench of a folder; the first line is the link."""
    process = subprocess.Popen(
        [sys.executable, "-m", "castsugar", "open", "--no-browser", *words],
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    assert process.stdout is not None
    return Server(process, process.stdout.readline().strip(), folder)


def example(folder: Path) -> Iterator[Server]:
    """Serve the example bench from a folder."""
    assert command("init", folder=folder).returncode == 0
    running = serve(folder)
    yield running
    if running.process.poll() is None:
        running.stop()


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """Serve a bench that nobody changes."""
    yield from example(tmp_path_factory.mktemp("bench"))


@pytest.fixture
def own(tmp_path: Path) -> Iterator[Server]:
    """Serve a bench that a test may change or end."""
    yield from example(tmp_path)


@pytest.fixture(autouse=True)
def closed(browser: Any) -> Iterator[None]:
    """Close what a test opened: a tab holds connections."""
    yield
    for context in browser.contexts:
        context.close()


@dataclass
class Tab:
    """One tab on the page."""

    page: Any
    asked: list[str]
    said: list[str]

    def rest(self, deed: Any = None) -> None:
        """Do something, and wait until the page has said all of it."""
        before = self.page.evaluate("document.body.dataset.rest ?? ''")
        if deed is not None:
            deed()
        self.page.wait_for_function(
            "before => (document.body.dataset.rest ?? '') !== before",
            arg=before,
            timeout=PATIENCE,
        )

    def asked_before(self, deed: Any, *answers: str | None) -> list[str]:
        """Do something that asks first, answer (None: no), return what was asked."""
        said, left = list[str](), list(answers)

        def answered(dialog: Any) -> None:
            said.append(dialog.message)
            answer = left.pop(0)
            dialog.dismiss() if answer is None else dialog.accept(answer)

        self.page.on("dialog", answered)
        with self.page.expect_event("dialog", lambda _: not left, timeout=60_000):
            deed()
        self.page.remove_listener("dialog", answered)
        return said

    def text(self, place: str) -> str:
        """Return what a reader reads."""
        return str(self.page.locator(place).inner_text())

    def parts(self) -> list[str]:
        """Return the amounts in the boxes."""
        boxes = self.page.locator("#parts [data-box]")
        return [box.input_value() for box in boxes.all()]

    def type_amount(self, place: int, amount: str) -> None:
        """Type an amount into a box of the recipe."""
        self.page.locator("#parts [data-box]").nth(place).fill(amount)


def tab(browser: Any, link: str, *, ready: bool = True, **how: Any) -> Tab:
    """Open the page in a context of its own, the net cut off but for the server."""
    size = how.pop("size", (1280, 800))
    viewport = {"width": size[0], "height": size[1]}
    page = browser.new_context(viewport=viewport, **how).new_page()
    made = Tab(page, [], [])
    page.on("request", lambda one: made.asked.append(one.url))
    page.on("console", lambda one: made.said.append(one.text))
    page.on("pageerror", lambda one: made.said.append(str(one)))
    page.route(re.compile(r"^(?!http://127\.0\.0\.1:|data:)"), lambda one: one.abort())
    page.goto(link)
    if ready:
        page.wait_for_selector("body[data-rest]", timeout=PATIENCE)
        page.wait_for_selector("body[data-region]", timeout=PATIENCE)
    return made


def centre(page: Any, place: str) -> tuple[float, float]:
    """Return where the middle of something is."""
    box = page.locator(place).bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


# ----------------------------------------------------------------------------
# The point: by mouse, by touch, by keys, typed.


def test_the_point_is_dragged_and_typed(browser: Any, server: Server) -> None:
    """Mouse, keys and boxes move one point; what is shown is for that point."""
    one = tab(browser, server.link)
    assert one.parts() == ["60", "20", "20"]
    assert "60/20/20" in one.text("#for")
    x, y = centre(one.page, "#ring")

    def drag() -> None:
        one.page.mouse.move(x, y)
        one.page.mouse.down()
        for i in range(1, 11):
            one.page.mouse.move(x + 6 * i, y)
        one.page.mouse.up()

    one.rest(drag)
    nitrate, sugar, syrup = map(float, one.parts())
    assert nitrate == pytest.approx(60, abs=0.3)
    assert syrup > 22
    assert nitrate + sugar + syrup == pytest.approx(100, abs=1e-6)
    told = one.page.locator("#point").get_attribute("aria-valuetext")
    assert f"corn syrup {syrup:g}" in told

    def keys() -> None:
        one.page.locator("#point").focus()
        one.page.keyboard.press("ArrowUp")
        one.page.keyboard.press("Shift+ArrowLeft")

    one.rest(keys)
    up, _, left = map(float, one.parts())
    assert (up - nitrate, left - syrup) == pytest.approx((0.5, -0.1), abs=0.06)

    def typed() -> None:
        for i, amount in enumerate(("58", "14", "28")):
            one.type_amount(i, amount)

    one.rest(typed)
    assert "58/14/28" in one.text("#for")
    one.rest(one.page.locator("#undo").click)
    assert list(map(float, one.parts())) == pytest.approx([up, 100 - up - left, left])
    one.rest(one.page.locator("#redo").click)
    assert one.parts() == ["58", "14", "28"]
    one.rest(one.page.locator("#base").click)
    assert one.parts() == ["60", "20", "20"]
    assert one.said == []


def test_a_finger_drags_it(browser: Any, server: Server) -> None:
    """On a phone the point has 44 px, and follows a finger."""
    one = tab(browser, server.link, size=(360, 740), has_touch=True, is_mobile=True)
    one.page.locator("#triangle").scroll_into_view_if_needed()
    box = one.page.locator("#touch").bounding_box()
    assert min(box["width"], box["height"]) >= 44
    x, y = centre(one.page, "#touch")
    reach = one.page.context.new_cdp_session(one.page)

    def touch(kind: str, *points: tuple[float, float]) -> None:
        given = [{"x": u, "y": v} for u, v in points]
        reach.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": given})

    def drag() -> None:
        touch("touchStart", (x, y))
        for i in range(1, 9):
            touch("touchMove", (x + 4 * i, y))
        touch("touchEnd")

    one.rest(drag)
    assert float(one.parts()[2]) > 22


def test_the_numbers_are_those_of_the_command(browser: Any, server: Server) -> None:
    """The findings of the page are those of `evaluate --json`, word for word."""
    one = tab(browser, server.link)
    one.rest(lambda: one.type_amount(2, "26"))
    words = ("evaluate", "KNO3:60 powdered sugar:20 corn syrup:26", "--json")
    told = json.loads(command(*words, folder=server.folder).stdout)
    said = {f"{x['status']} {x['text']}" for x in told["findings"]}
    lines = one.page.locator("#findings li").all_inner_texts()
    shown = {" ".join(x.split()) for x in lines}
    assert shown == {" ".join(x.split()) for x in said}


# ----------------------------------------------------------------------------
# Wrong input, other hands, a server that goes.


@pytest.mark.parametrize(
    ("place", "typed", "said"),
    [
        ("#parts [data-box] >> nth=1", "-3", "-3"),
        ("#parts [data-box] >> nth=1", "1e9x", "1e9x"),
        ("#take", "sugr", "sugr"),
        ("[data-box=throat]", "NaN", "NaN"),
        ("[data-box=throat]", "1e9 mm", "1e+09"),
        ("[data-box=grains]", "2.5", "2.5"),
        ("[data-box^=pour]", "10,5", "10,5"),
    ],
)
def test_a_wrong_box(
    browser: Any, server: Server, place: str, typed: str, said: str
) -> None:
    """The box is marked, one line says why, the last good answer stays."""
    one = tab(browser, server.link)
    before = one.text("#head")
    one.page.locator(place).fill(typed)
    one.page.locator(place).blur()
    one.page.wait_for_selector('[aria-invalid="true"]', timeout=PATIENCE)
    line = one.page.locator("#fault-line").inner_text()
    assert said in line
    assert "60/20/20" in line
    assert "\n" not in line
    assert one.text("#head") == before
    assert one.text("#stale").startswith("OLD")
    # It asks once, and not again until somebody types.
    one.page.wait_for_timeout(700)
    asked = len(one.asked)
    one.page.wait_for_timeout(500)
    assert len(one.asked) == asked
    one.rest(one.page.locator("#undo").click)
    assert (one.parts(), one.text("#head")) == (["60", "20", "20"], before)
    assert not one.page.locator("#stale").is_visible()


def test_boxes_hold_what_is_computed(browser: Any, server: Server) -> None:
    """An emptied part leaves, a limit is the bench's again, back changes the box."""
    one = tab(browser, server.link)
    one.rest(lambda: (one.type_amount(1, ""), one.page.locator("#take").focus()))
    assert one.parts() == ["60", "20"]
    one.rest(one.page.locator("#undo").click)
    assert one.parts() == ["60", "20", "20"]
    throat = one.page.locator("[data-box=throat]")
    one.rest(lambda: throat.fill("9 mm"))
    one.rest(one.page.go_back)
    assert throat.input_value() == "8 mm"
    one.rest(lambda: throat.fill("5/16 in"))
    assert one.page.get_by_label("throat, slider 1").is_disabled()
    one.rest(lambda: throat.fill(""))
    assert "not as in the bench" not in one.text("[data-text=conditions]")
    assert throat.get_attribute("placeholder") == "8 mm"
    take = one.page.locator("#take")
    one.rest(lambda: (take.fill("RED"), take.blur()))
    assert one.parts() == ["60", "19", "20", "1"]
    take.fill("KNO3")
    take.blur()
    assert one.parts() == ["60", "19", "20", "1"]


def test_a_killed_server(browser: Any, own: Server) -> None:
    """The page says that its server has gone, and that its numbers are old."""
    one = tab(browser, own.link)
    assert own.stop() == 0
    one.page.locator("#point").focus()
    one.page.keyboard.press("ArrowUp")
    one.page.wait_for_selector("#banner:not([hidden])", timeout=PATIENCE)
    assert "has gone" in one.text("#banner")
    assert one.page.locator("#undo").is_disabled()
    assert one.parts()[0] == "60.5"
    one.page.wait_for_function("() => location.hash.includes('60.5')")


def test_without_the_token(browser: Any, server: Server) -> None:
    """A tab without the key of the terminal, or with a wrong one, gets nothing."""
    for link in (server.place, server.place + "#" + "x" * 32):
        one = tab(browser, link, ready=False)
        one.page.wait_for_selector("#banner:not([hidden])", timeout=PATIENCE)
        assert "the link that the terminal shows" in one.text("#banner")
        assert one.page.locator("#cards li").count() == 0


def test_the_token_leaves_the_address(browser: Any, server: Server) -> None:
    """It moves to the storage of the tab; a second tab of the same link works too."""
    token = server.link.partition("#")[2]
    one, two = tab(browser, server.link), tab(browser, server.link)
    for each in (one, two):
        assert token not in each.page.url
        assert not any(token in url for url in each.asked)
    one.rest(lambda: one.type_amount(1, "25"))
    assert two.parts() == ["60", "20", "20"]


def test_save_and_undo(browser: Any, own: Server) -> None:
    """What is written is shown first; undo puts the old bytes back; a name is text."""
    bench = own.folder / "bench.toml"
    before = bench.read_bytes()
    one, two = tab(browser, own.link), tab(browser, own.link)
    one.rest(lambda: one.type_amount(1, "17"))
    save, name = (
        one.page.locator('[data-save="recipe"]'),
        "<img src=x onerror=alert(1)>",
    )
    said = one.asked_before(save.click, name, None)
    assert "powdered sugar:17" in said[1]
    assert bench.read_bytes() == before
    one.rest(lambda: one.asked_before(save.click, name, ""))
    assert b"onerror" in bench.read_bytes()
    assert b"# INVENTED" in bench.read_bytes()
    assert one.page.locator("img:not(#thick)").count() == 0
    two.page.wait_for_timeout(50)
    two.rest(lambda: two.type_amount(1, "19"))
    assert "has changed" in two.text("#banner")
    undo = one.page.locator("#unsave")
    assert "- " in one.asked_before(undo.click, None)[0]
    assert b"onerror" in bench.read_bytes()
    one.rest(lambda: one.asked_before(undo.click, ""))
    assert bench.read_bytes() == before


def test_a_bench_changed_outside(browser: Any, own: Server) -> None:
    """A change is said with a button; a broken file says its line, the page stays."""
    bench = own.folder / "bench.toml"
    good = bench.read_text(encoding="utf-8")
    one = tab(browser, own.link)
    bench.write_text(good.replace('"red" =', '"rust" ='), encoding="utf-8")
    one.rest(lambda: one.type_amount(1, "21"))
    assert "bench.toml has changed" in one.text("#banner")
    old = "OLD, from the bench as it was"
    assert one.text("#stale") == old
    one.rest(one.page.locator("#reload").click)
    assert not one.page.locator("#stale").is_visible()
    assert one.page.locator("#names option[value=rust]").count() == 1
    broken = good.replace('throat = "8 mm"', 'throat = "8 mn"')
    bench.write_text(broken, encoding="utf-8")
    one.rest(lambda: one.type_amount(1, "22"))
    assert "line" in one.text("#banner")
    assert "'mn'" in one.text("#banner")
    assert one.text("#stale") == old


def test_weigh_sheet_and_search(browser: Any, server: Server) -> None:
    """A sheet of the mix that is advised; a search runs beside, and moves the point."""
    one = tab(browser, server.link)
    assert "Then: weigh it" in one.text("#next-line")
    one.rest(one.page.locator("#weigh").click)
    assert one.page.locator("#head.kept").count() == 1
    link = one.page.wait_for_selector("#done a", timeout=60_000)
    with one.page.context.expect_page() as opened:
        link.click()
    assert "Weigh sheet" in opened.value.inner_text("body")
    one.page.locator('[data-deed="search"]').click()
    take = one.page.wait_for_selector("#done button", timeout=60_000)
    one.rest(take.click)
    assert one.page.locator("#head.kept").count() == 1


def test_a_batch_is_asked_for_its_mass(browser: Any, own: Server) -> None:
    """Nothing is kept without an answer; then the record has the mass."""
    one = tab(browser, own.link)
    new, kept = one.page.locator("#batch"), own.folder / "batches"
    (asked,) = one.asked_before(new.click, None)
    assert "60/20/20" in asked
    assert not kept.exists()
    one.asked_before(new.click, "300 g")
    one.page.wait_for_function(
        "() => document.getElementById('done').textContent.includes('Batch')",
        timeout=60_000,
    )
    (record,) = kept.iterdir()
    shown = command("batch", "show", record.stem, folder=own.folder).stdout
    assert re.search(r"together +300\.0", shown)


def test_a_deed_is_stopped(browser: Any, own: Server) -> None:
    """The process ends, the page says so, and the next one may begin."""
    one = tab(browser, own.link)
    search = one.page.locator("[data-deed=search]")
    for _ in range(2):
        search.click()
        one.page.locator("#stop").click()
        one.page.wait_for_function(
            "() => document.getElementById('done').textContent.includes('stopped')"
        )


def test_other_units(browser: Any, server: Server) -> None:
    """Boxes, sliders and both charts change; what was typed keeps its meaning."""
    one = tab(browser, server.link)
    pressure = one.page.locator("[data-box^=peak]")
    one.rest(lambda: (pressure.fill("5"), pressure.blur()))
    one.rest(lambda: one.page.locator("#units").select_option("us"))
    assert pressure.input_value() == "5"  # MPa, the unit of the column
    assert one.page.locator("[data-box=throat]").input_value() == "8 mm"
    assert "pressure, psi" in one.page.locator("#course").inner_html()
    assert "725" in one.text("#head")  # 5 MPa are 725 psi
    one.rest(lambda: pressure.fill("case"))
    assert "1000 psi" in one.text("#cards")


def test_a_bare_bench(browser: Any, tmp_path: Path) -> None:
    """Without kitchen, motor and limits there are no empty charts."""
    (tmp_path / "bench.toml").write_text(
        '[recipes]\nplain = "KNO3:65 sucrose:35"\n', encoding="utf-8"
    )
    server = serve(tmp_path)
    one = tab(browser, server.link)
    for place in ("#course-section", "#thick-section", "#boxes input"):
        assert one.page.locator(f"{place} >> visible=true").count() == 0, place
    assert "add [motor]" in one.text("#cards")
    assert one.said == []
    one.page.context.close()
    server.stop()


# ----------------------------------------------------------------------------
# How it looks: sizes, colours, paper.


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("size", "bottom"), [((1280, 800), 300), ((360, 740), 740)])
def test_it_fits_and_keeps_nobody_out(
    browser: Any, server: Server, scheme: str, size: tuple[int, int], bottom: float
) -> None:
    """The verdict stands high, nothing scrolls sideways, axe-core finds nothing."""
    one = tab(browser, server.link, size=size, color_scheme=scheme)
    box = one.page.locator("#next-line").bounding_box()  # the last of the answer
    assert box["y"] + box["height"] < bottom
    assert one.page.evaluate("document.documentElement.scrollWidth") <= size[0]
    assert kept_out(one.page) == {}
    assert one.said == []
    assert all(url.startswith(server.place) for url in one.asked)


@pytest.mark.parametrize("width", [1280, 360])
def test_labels_lie_on_no_mark(browser: Any, server: Server, width: int) -> None:
    """The names of the limits stand clear of base, measured and best mixes."""
    one = tab(browser, server.link, size=(width, 800))
    boxes = """place => [...document.querySelectorAll(place)].map(one => {
        const box = one.getBoundingClientRect();
        return [box.left, box.top, box.right, box.bottom];
    })"""
    names = one.page.evaluate(boxes, "#regions text")
    marks = one.page.evaluate(boxes, "#marks > *")
    assert len(names) == 3
    assert len(marks) >= 3
    for a in names:
        for b in marks:
            apart = a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]
            assert apart, (a, b)


def test_one_sheet_of_paper(browser: Any, server: Server, tmp_path: Path) -> None:
    """It prints on one page of A4, without the settings."""
    one = tab(browser, server.link)
    file = tmp_path / "page.pdf"
    one.page.pdf(path=file, prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", file.read_bytes())) == 1
    one.page.emulate_media(media="print")
    assert not one.page.locator("#boxes").is_visible()
    assert one.page.locator("#stamp").is_visible()


def test_the_first_page_is_small(browser: Any, server: Server) -> None:
    """What has to come before the first number is below 60 kB."""
    one = tab(browser, server.link)
    sizes = one.page.evaluate(
        "performance.getEntriesByType('resource').filter(e => !e.name.match("
        "'bench|answer|rest|region')).reduce((s, e) => s + e.decodedBodySize, 0)"
    )
    assert 0 < sizes < 60_000
