"""Recipes and limits that the page writes into the bench file, and takes back.

Exact: the bytes of the file are known.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest

from castsugar.errors import InputError
from castsugar.page.deeds import ChangedElsewhere, Saver
from castsugar.page.desk import Page

pytestmark = pytest.mark.exact

RED = '"red" = "KNO3:60 powdered sugar:19 corn syrup:20 red iron oxide:1"'
NEW = 'new = "KNO3:60 powdered sugar:17 corn syrup:23"'
PARTS = [["KNO3", "60"], ["powdered sugar", "17"], ["corn syrup", "23"]]


class Hand:
    """A page and its saver, asked as the script asks."""

    def __init__(self, bench: Path) -> None:
        self.bench, self.page = bench, Page(bench)
        self.saver = Saver(self.page)

    def ask(self, kind: str = "recipe", **more: Any) -> dict[str, Any]:
        """Save; by default a new recipe, for sure."""
        limits = more.pop("limits", {})
        state = {**self.page.start(), "parts": PARTS, **limits}
        asked = {"kind": kind, "name": "new", "state": state, "sure": True}
        return self.saver.save(asked | {"hash": self.page.hash} | more)

    def undo(self) -> dict[str, Any]:
        """Take the last saving back."""
        return self.saver.undo({"hash": self.page.hash, "sure": True})

    @property
    def data(self) -> bytes:
        """What is on the disk."""
        return self.bench.read_bytes()

    @property
    def backup(self) -> bytes:
        """What is kept beside it."""
        return self.bench.with_name("bench.toml.bak").read_bytes()


@pytest.fixture
def hand(bench: Path) -> Hand:
    """Return a hand on an example bench."""
    return Hand(bench)


def names(folder: Path) -> set[str]:
    """Return what is in a folder."""
    return {one.name for one in folder.iterdir()}


def other_hand(bench: Path, data: bytes) -> None:
    """Write the file as an editor does, a while later."""
    bench.write_bytes(data)
    later = bench.stat().st_mtime_ns + 10_000_000
    os.utime(bench, ns=(later, later))


def test_shown_before_written(hand: Hand) -> None:
    """Not sure: the line that comes is shown, and nothing is written."""
    old, there = hand.data, names(hand.bench.parent)
    for sure in (False, None, 1, "yes"):
        assert hand.ask(sure=sure) == {"diff": f"+ {NEW}"}
    shown = hand.ask(name="red", sure=False)
    new = NEW.replace("new", '"red"')
    lines = [x for x in shown["diff"].splitlines() if not x.startswith("?")]
    assert lines == [f"- {RED}", f"+ {new}"]
    assert hand.data == old
    assert names(hand.bench.parent) == there


def test_recipe_lands_behind_the_last(hand: Hand) -> None:
    """Not under the comment of the next table; nothing else moves; the page knows."""
    old, hash_before = hand.data, hand.page.hash
    told = hand.ask()
    assert (told["hash"], told["undo"]) == (hand.page.hash, True)
    assert hand.page.hash != hash_before
    assert hand.data == old.replace(RED.encode(), f"{RED}\n{NEW}".encode())
    assert hand.backup == old
    assert hand.page.world.recipes["new"] == NEW.partition(' = "')[2][:-1]
    assert hand.page.changed == ""


@pytest.mark.slow
def test_undo_of_several(hand: Hand) -> None:
    """Back step by step, byte by byte; then there is nothing more."""
    kept = [hand.data]
    for name in ("one", "two", "red"):
        hand.ask(name=name)
        kept.append(hand.data)
        assert hand.backup == kept[-2]
    assert len({*kept}) == 4
    for step in (2, 1, 0):
        assert hand.undo()["undo"] is (step > 0)
        assert hand.data == kept[step]
        assert hand.page.world.bench.text.encode() == kept[step]
    with pytest.raises(InputError, match="nothing was saved"):
        hand.undo()


@pytest.mark.slow
def test_line_ends_of_the_file_stay(bench: Path) -> None:
    """A file of Windows keeps its line ends, the new line has them too."""
    bench.write_bytes(bench.read_bytes().replace(b"\n", b"\r\n"))
    hand = Hand(bench)
    old = hand.data
    hand.ask()
    red, new = RED.encode(), NEW.encode()
    assert hand.data == old.replace(red, red + b"\r\n" + new)
    hand.ask("limits", limits={"pour_viscosity_Pa_s-at_most": "12"})
    assert hand.data.count(b"\r\n") == hand.data.count(b"\n")
    hand.undo()
    hand.undo()
    assert hand.data == old


@pytest.mark.slow
def test_byte_order_mark_stays(bench: Path) -> None:
    """The mark that an editor puts first is there once, also after an undo."""
    bench.write_bytes(b"\xef\xbb\xbf" + bench.read_bytes())
    hand = Hand(bench)
    old = hand.data
    hand.ask()
    assert hand.data == old.replace(RED.encode(), f"{RED}\n{NEW}".encode())
    hand.undo()
    assert hand.data == old


@pytest.mark.parametrize("when", ["before", "after"])
def test_changed_elsewhere(hand: Hand, when: str) -> None:
    """What another hand wrote is never written over, nor taken back."""
    if when == "after":
        hand.ask()
    other = hand.data + b"# by another hand\n"
    other_hand(hand.bench, other)
    act = hand.ask if when == "before" else hand.undo
    with pytest.raises(ChangedElsewhere, match="changed elsewhere: reload"):
        act()
    assert hand.data == other


def test_changed_while_it_is_written(
    hand: Hand, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The look under the lock counts, not the look before it."""
    other = hand.data + b"# by another hand\n"
    other_hand(hand.bench, other)
    monkeypatch.setattr(type(hand.page), "changed", "")
    with pytest.raises(ChangedElsewhere):
        hand.ask()
    assert hand.data == other
    assert not hand.bench.with_name("bench.toml.bak").exists()


def test_tab_of_an_older_file(hand: Hand) -> None:
    """Two tabs: the second knows the file of before the first one's saving."""
    known = hand.page.hash
    hand.ask()
    data = hand.data
    for wrong in (known, "", None, 7):
        with pytest.raises(ChangedElsewhere):
            hand.ask(name="second", hash=wrong)
    assert hand.data == data


def test_file_that_has_gone(hand: Hand) -> None:
    """A file that was deleted is not made again."""
    hand.bench.unlink()
    with pytest.raises(InputError):
        hand.ask()
    assert not hand.bench.exists()


@pytest.mark.parametrize("name", ["", "  ", None, 5, "a\u202eb", "a\x00b"])
def test_no_name(hand: Hand, name: Any) -> None:
    """A recipe has a name that can be read."""
    old = hand.data
    with pytest.raises(InputError, match="use letters and digits"):
        hand.ask(name=name)
    assert hand.data == old


@pytest.mark.parametrize("name", ["best", "runner 1"])
def test_name_that_the_bench_refuses(hand: Hand, name: str) -> None:
    """The reader of the bench file judges the name; nothing is written."""
    old = hand.data
    with pytest.raises(InputError) as told:
        hand.ask(name=name)
    assert name in str(told.value)
    assert hand.data == old


@pytest.mark.parametrize("name", ["KNO3", "Corn Syrup", "sugar", "dry blend"])
def test_name_of_an_ingredient(hand: Hand, name: str) -> None:
    """A recipe of that name would stand in its way; premixes count, too."""
    old = hand.data
    with pytest.raises(InputError, match="is the name of an ingredient"):
        hand.ask(name=name)
    assert hand.data == old


@pytest.mark.slow
def test_name_is_a_name_only(hand: Hand) -> None:
    """It makes no path, no table and no second line."""
    there = names(hand.bench.parent)
    for name in ("../../out", '"]\n[limits', "<img src=x onerror=alert(1)>", "#"):
        hand.ask(name=name)
        assert " ".join(name.split()) in hand.page.world.recipes
    assert names(hand.bench.parent) - there <= {"bench.toml.bak", "bench.toml.lock"}
    assert len(hand.page.world.limits) == 3


def test_recipe_with_a_process(bench: Path) -> None:
    """How it is made cannot be typed on the page, so it is not lost there."""
    table = RED.replace('= "', '= { mix = "') + ', process = "melted dry" }'
    text = bench.read_text("utf-8")
    assert text.count(RED) == 1
    bench.write_text(text.replace(RED, table), "utf-8")
    hand = Hand(bench)
    old = hand.data
    with pytest.raises(InputError, match="'red' states how it is made"):
        hand.ask(name="red")
    assert hand.data == old


def test_limits_with_their_comments(hand: Hand) -> None:
    """Upper and lower ends; what is beside and behind them stays."""
    old = hand.data
    moved = {
        "pour_viscosity_Pa_s-at_most": "12",
        "relative_solids_20C-at_least": "0.97",
    }
    hand.ask("limits", limits=moved)
    expected = old.replace(b"at_most = 10,", b"at_most = 12,")
    expected = expected.replace(b"at_least = 0.95,", b"at_least = 0.97,")
    assert hand.data == expected
    assert b"# below: stays soft" in hand.data
    assert hand.page.boxes["pour_viscosity_Pa_s-at_most"].start == "12"


@pytest.mark.slow
def test_limit_of_two_ends(bench: Path) -> None:
    """Each end has its own box."""
    text = bench.read_text("utf-8")
    limit = "{ at_least = 2, at_most = 10, probability"
    bench.write_text(text.replace("{ at_most = 10, probability", limit), "utf-8")
    hand = Hand(bench)
    hand.ask("limits", limits={"pour_viscosity_Pa_s-at_least": "3.5"})
    assert b"{ at_least = 3.5, at_most = 10, probability" in hand.data
    hand.ask("limits", limits={"pour_viscosity_Pa_s-at_most": "11"})
    assert b"{ at_least = 3.5, at_most = 11, probability" in hand.data


@pytest.mark.slow
def test_limit_under_its_own_header(bench: Path) -> None:
    """A table of its own is changed where it stands."""
    text = bench.read_text("utf-8")
    line = 'pour_viscosity_Pa_s = { at_most = 10, probability = "85 %" }\n'
    own = '[limits.pour_viscosity_Pa_s]\nat_most = 10  # mine\nprobability = "85 %"\n\n'
    assert text.count(line) == text.count("\n[search]\n") == 1
    text = text.replace(line, "").replace("[search]\n", f"{own}[search]\n", 1)
    bench.write_text(text, "utf-8")
    hand = Hand(bench)
    old = hand.data
    hand.ask("limits", limits={"pour_viscosity_Pa_s-at_most": "12"})
    assert hand.data == old.replace(b"at_most = 10  #", b"at_most = 12  #")


def test_nothing_to_save(hand: Hand) -> None:
    """Limits as they stand, and what is neither recipe nor limits."""
    old = hand.data
    with pytest.raises(InputError, match="nothing to save"):
        hand.ask("limits")
    for kind in ("motor", "", None, ["recipe"]):
        with pytest.raises(InputError, match="a recipe or the limits"):
            hand.ask(kind)  # type: ignore[arg-type]
    assert hand.data == old
