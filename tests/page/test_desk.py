"""The opened bench: what it states, what is seen of changes, what is kept."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path
from typing import Any

import pytest

from castsugar.errors import CastsugarError, InputError
from castsugar.page.desk import Page

# Exact: what stands in the file is what is said of it.
pytestmark = pytest.mark.exact


def edited(bench: Path, *changes: tuple[str, str]) -> Path:
    """Replace texts of a bench file, each of which must be there once."""
    text = bench.read_text("utf-8")
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    bench.write_text(text, "utf-8")
    later = bench.stat().st_mtime_ns + 10_000_000
    os.utime(bench, ns=(later, later))
    return bench


def test_start_of_the_example(page: Page) -> None:
    """The boxes hold what the file states."""
    first = page.bench()
    assert first["start"] == {
        "parts": [["KNO3", "60"], ["powdered sugar", "20"], ["corn syrup", "20"]],
        "units": "si",
    }
    assert {one["key"]: one["start"] for one in first["boxes"]} == {
        "cook": "119 C 8 min",
        "throat": "8 mm",
        "grains": "4",
        "pour_viscosity_Pa_s-at_most": "10",
        "peak_pressure_MPa-at_most": "case",
        "relative_solids_20C-at_least": "0.95",
    }
    assert first["corners"] == ["KNO3", "powdered sugar", "corn syrup"]
    assert first["bounds"][0] == (55.0, 60.0)
    assert first["view"] == [(50.0, 65.0), (0.0, 40.0), (5.0, 40.0)]
    marks = {(one["kind"], one["name"]): one["at"] for one in first["marks"]}
    assert marks["base", "base"] == [60.0, 20.0, 20.0]
    assert marks["measured", "58/14/28"] == [58.0, 14.0, 28.0]
    assert ("recipe", "red") not in marks  # its iron oxide has no corner


@pytest.mark.parametrize("units", [None, "", "imperial", ["us"], {"us": 1}, 3])
def test_units_that_are_none(page: Page, units: Any) -> None:
    """The page begins in those of the bench."""
    assert page.bench(units)["start"]["units"] == "si"


def test_the_hash_is_that_of_the_files(bench: Path) -> None:
    """SHA-256 of the bench file and behind it that of the strands it names."""
    files = (bench, bench.parent / "strands.csv")
    digests = [hashlib.sha256(one.read_bytes()).hexdigest() for one in files]
    assert Page(bench).hash == "".join(digests)


def test_a_change_on_the_disk_is_seen(bench: Path) -> None:
    """Changed bytes are said, a broken file by its line; the page stays as it was."""
    page = Page(bench)
    before, first = page.hash, page.bench()
    assert page.changed == ""
    os.utime(bench)  # touched, not changed
    assert page.changed == ""
    edited(bench, ('throat = "8 mm"', 'throat = "8.5 mm"'))
    assert page.changed == "bench.toml has changed"
    assert (page.hash, page.bench()) == (before, first)
    edited(bench, ('throat = "8.5 mm"', 'throat = "wide"'))
    assert "throat" in page.changed
    assert "line " in page.changed
    assert "\n" not in page.changed
    with pytest.raises(CastsugarError):
        page.reload()
    assert (page.hash, page.bench()) == (before, first)
    edited(bench, ('throat = "wide"', 'throat = "9 mm"'))
    page.reload()
    assert page.boxes["throat"].start == "9 mm"
    assert page.changed == ""
    assert page.hash != before


def test_changed_strands_and_a_lost_file_are_seen(bench: Path) -> None:
    """The strands count as the bench file does."""
    page = Page(bench)
    strands = bench.parent / "strands.csv"
    with strands.open("a", encoding="utf-8") as file:
        file.write("\n")
    assert page.changed == "bench.toml has changed"
    bench.unlink()
    assert "bench.toml" in page.changed


def test_a_bench_that_is_none_is_one_line(bench: Path, tmp_path: Path) -> None:
    """Missing and broken files are refused when they are opened."""
    with pytest.raises(InputError):
        Page(tmp_path / "nothing.toml")
    with pytest.raises(InputError, match="line "):
        Page(edited(bench, ('throat = "8 mm"', "throat = 8 mm")))


def test_the_last_64_settings_are_kept(bench: Path) -> None:
    """The same object for the same settings; the oldest of 65 is made anew."""
    desk = Page(bench)
    made = [desk.asked((("pour_viscosity_Pa_s-at_most", 5.0 + i),)) for i in range(64)]
    assert desk.asked((("pour_viscosity_Pa_s-at_most", 5.0),)) is made[0]
    desk.asked(())
    assert desk.asked((("pour_viscosity_Pa_s-at_most", 6.0),)) is not made[1]
    assert desk.asked((("pour_viscosity_Pa_s-at_most", 5.0),)) is made[0]


def test_a_limit_above_the_case_leaves_the_case(page: Page) -> None:
    """Whoever allows more than the rating is held against the rating all the same."""
    higher = page.asked((("peak_pressure_MPa-at_most", 9.0),))
    pressures = [x for x in higher.limits if x.key == "peak_pressure_MPa"]
    assert [(round(x.value, 3), x.whose) for x in pressures] == [
        (9.0, "your limit"),
        (6.895, "your rating"),
    ]


def test_a_throat_is_that_of_a_file_which_states_it(bench: Path) -> None:
    """Also its uncertainty, which the file states in mm and not in per cent."""
    asked = Page(bench).asked((("grains", 3), ("throat", "8.5 mm")))
    edited(
        bench,
        ('throat = "8 mm"', 'throat = "8.5 mm"'),
        ("segments = 4", "segments = 3"),
    )
    stated = Page(bench).world.motor
    found = asked.question.motor
    assert found is not None
    assert stated is not None
    assert (found.grain, found.throat_diameter, found.spread) == (
        stated.grain,
        stated.throat_diameter,
        stated.spread,
    )


def test_two_hundred_recipes(bench: Path) -> None:
    """All recipes are listed, the 50 nearest to base are marked."""
    more = "\n".join(
        f'"mix {i}" = "KNO3:{55 + 0.05 * i:.2f} powdered sugar:{25 - 0.05 * i:.2f} '
        f'corn syrup:20"'
        for i in range(200)
    )
    first = Page(edited(bench, ("[recipes]\n", f"[recipes]\n{more}\n"))).bench()
    assert len(first["recipes"]) == 202
    assert len(first["marks"]) == 50
    away = [abs(mark["at"][0] - 60.0) for mark in first["marks"]]
    assert max(away) < 1.5
    assert first["marks"][0]["kind"] == "base"


def test_a_recipe_may_have_any_name(bench: Path) -> None:
    """A name that looks like markup comes through as it is typed."""
    name = "<img onerror=alert(1)>"
    line = f'[recipes]\n"{name}" = "KNO3:61 powdered sugar:19 corn syrup:20"\n'
    first: dict[str, Any] = Page(edited(bench, ("[recipes]\n", line))).bench()
    assert name in first["recipes"]
