"""Recordings of static tests: what is tolerated, and one line for what is not."""

from __future__ import annotations

import math
import re
import subprocess
import sys
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from castsugar import DataError, InputError
from castsugar.readings import samples
from castsugar.readings.recordings import Recording, check_order, read_trace

# Exact: an invented recording whose numbers are written down beside it; sizes of units
# by definition (psi, lbf: NIST SP 811, appendix B; see test_units).
pytestmark = pytest.mark.exact

LBF = 4.4482216152605  # 0.45359237 kg x 9.80665 m/s2, all its digits
PSI = float(Fraction("4.4482216152605") / Fraction("0.0254") ** 2)  # lbf / in2
N = 25
TIMES = [i / 8 for i in range(N)]
PRESSURES = [i * 1.5 - 3.0 for i in range(N)]

Write = Callable[..., Path]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Return a function that writes a file and returns its path."""

    def written(text: str | bytes, name: str = "shot.csv") -> Path:
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
        return path

    return written


def rows(*lines: str, head: str = "time (s),pressure (bar)", count: int = N) -> str:
    """Return a file of `count` good rows, the given lines first (from line 2)."""
    good = [f"{i / 8},{i * 1.5 - 3.0}" for i in range(count)]
    return "\n".join([head, *lines, *good]) + "\n"


def test_plain_file(write: Write) -> None:
    found = read_trace(write(rows()))
    assert isinstance(found, Recording)
    assert found.file == "shot.csv"
    assert found.time.tolist() == TIMES
    assert found.pressure is not None
    # 1 bar = 1e5 Pa: every product is a whole number of Pa, hence exact.
    assert found.pressure.tolist() == [p * 1e5 for p in PRESSURES]
    assert (found.pressure_kind, found.pressure_unit) == ("unstated", "bar")
    assert found.thrust is None
    assert (found.thrust_kind, found.thrust_unit, found.not_read) == ("", "", ())
    assert [found.line(i) for i in (0, N - 1)] == [2, N + 1]
    check_order(found)


def _file(head: str, row: str, end: str = "\n") -> str:
    lines = [
        row.format(t=t, p=p, ms=t * 1000) for t, p in zip(TIMES, PRESSURES, strict=True)
    ]
    return end.join([head, *lines]) + end


SAME = [
    _file("time (s),pressure (bar)", "{t},{p}"),
    _file("\ufeffTime [s] , Chamber Pressure [bar]", " {t} , {p} ", "\r\n"),
    _file("pressure_bar,time_ms", "{p},{ms}", "\r"),
    _file("p bar\tt s", "{p}\t{t}"),
    _file("timestamp (ms);flag;pc (bar)", "{ms:.1f};armed;{p:.2f}").replace(".", ","),
    _file('"elapsed time, s","pressure, bar"', '"{t}","{p}"'),
    _file("time-stamp (s),pressure (bar),,", "{t},{p},,"),
    _file("time (s),pressure (bar)", "{t},{p},"),  # a comma after every cell
    _file("time (s),pressure (bar)", "{t:+e},{p:.3E}"),
    _file("# invented\n\ntime (s),pressure (bar)", "{t},{p}\n\n  # note, with, commas"),
    _file("time (s),pressure (bar)", "{t},{p}\n,\n,,"),  # rows of empty cells
    _file("index,time (s),pressure (bar),note", '1,{t},{p},"a, b"'),
    _file("time (s)\tpressure (bar)", "{t}\t{p}\n\t\t"),
    _file("time (s),pressure (bar)", "{t},{p}").rstrip("\n"),  # no last line end
]


@pytest.mark.parametrize("text", SAME)
def test_the_same_recording_in_many_dialects(write: Write, text: str) -> None:
    found = read_trace(write(text))
    assert found.time.tolist() == TIMES
    assert found.pressure is not None
    assert found.pressure.tolist() == [p * 1e5 for p in PRESSURES]
    assert found.pressure_kind == "unstated"
    # Each sample's line holds its own time, as the editor counts lines.
    lines = re.split("\r\n|\r|\n", text)
    for index in (0, 7, N - 1):
        line = lines[found.line(index) - 1].replace(",", ".")
        wanted = {f"{TIMES[index] * k}" for k in (1, 1000)} | {f"{TIMES[index]:+e}"}
        assert any(number in line for number in wanted)


# Pressure kinds: gauge readings stay gauge, so 10 psig is 10 psi in Pa, without 101325.
KINDS = [
    ("pressure (psi)", "unstated", "psi", PSI),
    ("pressure (PSI)", "unstated", "psi", PSI),
    ("pressure_kPa", "unstated", "kPa", 1e3),
    ("pressure (psia)", "absolute", "psi", PSI),
    ("pressure (bara)", "absolute", "bar", 1e5),
    ("pressure (kPa(a))", "absolute", "kPa", 1e3),
    ("pressure bar abs", "absolute", "bar", 1e5),
    ("pressure (Bar (A))", "absolute", "bar", 1e5),
    ("pressure (psig)", "gauge", "psi", PSI),
    ("pressure_barg", "gauge", "bar", 1e5),
    ("pressure [kPa(g)]", "gauge", "kPa", 1e3),
    ("pressure (bar gauge)", "gauge", "bar", 1e5),
    ("pressure (V)", "volts", "V", 1.0),
    ("pressure_mV", "volts", "mV", 1e-3),
]


@pytest.mark.parametrize(("title", "kind", "unit", "size"), KINDS)
def test_kind_of_pressure(write: Write, title, kind, unit, size) -> None:
    found = read_trace(write(rows(head=f"time (s),{title}")))
    assert (found.pressure_kind, found.pressure_unit) == (kind, unit)
    np.testing.assert_allclose(
        found.pressure, np.array(PRESSURES) * size, rtol=2.3e-16, atol=0
    )


@pytest.mark.parametrize(
    ("title", "kind", "unit", "size"),
    [
        ("thrust (N)", "force", "N", 1.0),
        ("Force_lbf", "force", "lbf", LBF),
        ("load cell (kgf)", "force", "kgf", 9.80665),
        ("F (kN)", "force", "kN", 1e3),
        ("load (mV)", "volts", "mV", 1e-3),
    ],
)
def test_kind_of_thrust(write: Write, title, kind, unit, size) -> None:
    found = read_trace(write(rows(head=f"time (s),{title}")))
    assert (found.thrust_kind, found.thrust_unit) == (kind, unit)
    assert (found.pressure, found.pressure_kind, found.pressure_unit) == (None, "", "")
    np.testing.assert_allclose(
        found.thrust, np.array(PRESSURES) * size, rtol=2.3e-16, atol=0
    )


def test_minutes_and_milliseconds(write: Write) -> None:
    found = read_trace(write(rows(head="t (min),p (psi)")))
    assert found.time.tolist() == [t * 60 for t in TIMES]
    found = read_trace(write(rows("1234.1,0", head="t (ms),p (psi)")))
    assert found.time[0] == 1.2341


def test_columns_that_are_left_out(write: Write) -> None:
    """A unit tells a column that is meant from one that shares its word."""
    head = "timestamp,T (C),time (s),sample,P (W),pressure (psig),,thrust raw,F (N)"
    text = head + "\n" + "12:00:01,21,0.5,7,3,-1.5,x,8041,2\n" * N
    found = read_trace(write(text))
    assert found.not_read == (
        "timestamp",
        "T (C)",
        "sample",
        "P (W)",
        "column 7",
        "thrust raw",
    )
    assert found.pressure is not None
    assert found.thrust is not None
    assert (found.time[0], found.thrust[0]) == (0.5, 2.0)
    assert found.pressure[0] == -1.5 * PSI


def test_dropouts(write: Write) -> None:
    head = "time (s),pressure (bar),thrust (N)"
    cells = ["", "  ", "nan", "NaN", "-nan", "NAN", "nAn", "+nan", '""']
    cells += ["NA", "n/a", "#N/A", "#NUM!", "null", "--", "---"]
    text = head + "\n" + "".join(f"{i},{c},1\n" for i, c in enumerate(cells))
    text += "".join(f"{i},1,\n" for i in range(50, 70))
    found = read_trace(write(text))
    assert found.pressure is not None
    assert found.thrust is not None
    assert np.isnan(found.pressure).tolist() == [True] * 16 + [False] * 20
    assert np.isnan(found.thrust).tolist() == [False] * 16 + [True] * 20


SEMI = "time (s);pressure (bar)"

# text, start of the message behind the file name, further words
BAD = [
    ("", " line 1: the file is empty", ["'time (s),pressure (psig),thrust (N)'"]),
    ("# only a comment\n\n", " line 1: the file is empty", []),
    ("0.1,2\n" * 30, " line 1: '0.1,2' is no header", ["for example 'time (s)"]),
    (rows(count=19), ": 19 rows of data follow the header in line 1", ["at least 20"]),
    ("\n" + rows(count=0), ": 0 rows of data follow the header in line 2", []),
    # The header
    (rows(head="time (s),colour"), " line 1: neither pressure nor thrust",
     ["time, pressure (optional), thrust (optional)"]),
    (rows(head="colour,pressure (bar)"), " line 1: column 'time' is missing",
     ["'time (s)'"]),
    (rows(head="time,pressure (bar)"), " line 1, column 'time': has no unit",
     ["its steps of 0.125 are probably s", "'time (s)'", "--time-unit s"]),
    (rows(head="t,p"), " line 1, column 't': has no unit", []),
    (rows(head="time (s),pressure"), " line 1, column 'pressure': has no unit",
     ["bar", "psig", "V, mV", "'pressure (psig)'"]),
    (rows(head="time (s),thrust"), " line 1, column 'thrust': has no unit",
     ["N, kN, lbf, kgf, gf, V, mV;", "'thrust (N)'"]),
    (rows(head="time (s),pressure raw"), " line 1, column 'pressure raw': unit 'raw'",
     ["no unit of pressure", "another name"]),
    (rows(head="time (s),pressure 100 psi"), " line 1, column 'pressure 100 psi': unit",
     ["'100 psi'"]),
    (rows(head="time (s),p (mpa)"), " line 1, column 'p (mpa)': unit 'mpa'", ["MPa"]),
    (rows(head="time (s),load (lb)"), " line 1, column 'load (lb)': 'lb' is",
     ["no unit of thrust but of mass", "--kilograms-are-force", "lbf"]),
    (rows(head="tiem (s),pressure (bar)"), " line 1, column 'tiem (s)': not known",
     ["did you mean 'time'", "'time (s)'", "another name"]),
    (rows(head="time (s),presure (bar)"), " line 1, column 'presure (bar)'",
     ["did you mean 'pressure'"]),
    ("time (s),pressure (psi),trust (N)\n" + "1,1,1\n" * N,
     " line 1, column 'trust (N)'", ["did you mean 'thrust'"]),
    (rows(head="time (s),t (ms)"), " line 1, column 't (ms)': time stands twice",
     ["first as 'time (s)'"]),
    # Rows
    (rows("0,1,2"), " line 2: 3 cells, but the header has 2",
     ["separated by comma", "decimal comma is read only between"]),
    (rows("0"), " line 2: 1 cells, but the header has 2", ["separated by comma"]),
    (rows("0;1;2", head=SEMI).replace(",", ";"), " line 2: 3 cells",
     ["separated by semicolon)"]),
    (rows("0,1", "# a", "", "0,1,,4"), " line 5: 4 cells", []),
    (rows('0,"1'), " line 2: a quotation mark opens", ["close it"]),
    (rows('0,"' + "1" * 140_000 + '"'), " line 2: more than 8,000 characters", []),
    # Cells
    (rows("0,1", "0,1.5 bar"), " line 3, column 'pressure (bar)': '1.5 bar' is no", []),
    (rows("x,1"), " line 2, column 'time (s)': 'x' is no number", []),
    (rows("0,inf"), " line 2, column 'pressure (bar)': 'inf' is no number", []),
    (rows("0,-Infinity"), " line 2, column 'pressure (bar)': '-Infinity' is no", []),
    (rows("0,1e999"), " line 2, column 'pressure (bar)': '1e999' is no number", []),
    (rows("0,1_000"), " line 2, column 'pressure (bar)': '1_000' is no number", []),
    (rows("0,True"), " line 2, column 'pressure (bar)': 'True' is no number", []),
    (rows("0,0x10"), " line 2, column 'pressure (bar)': '0x10' is no number", []),
    (rows("0,1 # end"), " line 2, column 'pressure (bar)': '1 # end' is no", []),
    (rows("0," + "9" * 30 + "x" * 99), " line 2, column 'pressure (bar)'", ["..."]),
    (rows('0,"1,5"'), " line 2, column 'pressure (bar)': '1,5' is no number",
     ["a decimal comma is read only between semicolons or tabs"]),
    (rows(",1"), " line 2, column 'time (s)': '' is empty; a number is needed", []),
    (rows("nan,1"), " line 2, column 'time (s)': 'nan' is no number", []),
    (rows("0,1e308"), " line 2, column 'pressure (bar)': the number is too large", []),
    # Decimal marks
    (rows("0,5;1", "1.5;1", head=SEMI).replace(",", ";"), " line 2: 3 cells", []),
    (SEMI + "\n" + "0,5;1\n" * N + "1;2.5\n", " line 27, column 'pressure (bar)'",
     ["'2.5' has another decimal mark than '0,5' in line 2", "use one"]),
    (SEMI + "\n" + "0.5;1\n" * N + "1;2,500\n", " line 27, column 'pressure (bar)'",
     ["'2,500' has another decimal mark than '0.5'", "group thousands"]),
    (SEMI + "\n" + "7;1\n" * N + "1;2,500\n", " line 27, column 'pressure (bar)'",
     ["'2,500' may have a decimal comma or group thousands", "1,0000"]),
    (SEMI + "\n" + "7;1\n" * N + "1;1,000.5\n", " line 27, column 'pressure (bar)'",
     ["'1,000.5' is no number"]),
    # Bytes
    (rows().encode() + b"9,\xff\n", " line 27, column 'pressure (bar)': '\xff' is no",
     []),
    (rows().encode() + b"\0\0\0\n", " line 27: a zero byte", ["cut"]),
]  # fmt: skip


@pytest.mark.parametrize(("text", "start", "words"), BAD)
def test_bad_input_is_one_line_with_its_place(write: Write, text, start, words) -> None:
    with pytest.raises(DataError) as caught:
        read_trace(write(text))
    message = str(caught.value)
    assert message.startswith(f"shot.csv{start}")
    assert "\n" not in message
    assert len(message) < 300
    for word in words:
        assert word in message


def test_grouped_numbers_are_told_by_their_neighbours(write: Write) -> None:
    """ "2,500" is two and a half once "0,5" stands in the file."""
    text = SEMI + "\n" + "2,500;1\n0,5;1\n" * N
    assert read_trace(write(text)).time[:2].tolist() == [2.5, 0.5]


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"gone\.csv cannot be read: No such"):
        read_trace(tmp_path / "gone.csv")
    with pytest.raises(InputError, match="cannot be read: it is a folder"):
        read_trace(tmp_path)


@pytest.mark.slow
def test_lines_across_blocks(write: Write, monkeypatch: pytest.MonkeyPatch) -> None:
    """Wherever the file is cut, samples and their lines are the same."""
    text = "# a\n\n" + rows("0,1", "", " # b", "0,2").replace("\n", "\r\n") + "9,é\n"
    bad = write(text)
    good = write(text.replace("9,é", "9,"), "good.csv")
    whole = read_trace(good)
    assert whole.lines is not None
    assert whole.lines.tolist() == [4, 7, *range(8, 8 + N), 8 + N]
    for size in (*range(1, 40), 64, 100, 150):
        monkeypatch.setattr(samples, "BLOCK", size)
        part = read_trace(good)
        assert part.lines is not None
        np.testing.assert_array_equal(part.time, whole.time)
        np.testing.assert_array_equal(part.pressure, whole.pressure)
        np.testing.assert_array_equal(part.lines, whole.lines)
        with pytest.raises(DataError, match=f"line {8 + N}, column .* 'é' is no"):
            read_trace(bad)


def test_decimal_mark_holds_across_blocks(write: Write, monkeypatch) -> None:
    monkeypatch.setattr(samples, "BLOCK", 16)
    text = SEMI + "\n" + "7;1\n" * N + "8;1,5\n" * N + "9;3\n"
    found = read_trace(write(text))
    assert found.pressure is not None
    assert found.pressure[[0, N, -1]].tolist() == [1e5, 1.5e5, 3e5]
    with pytest.raises(DataError, match=r"line 53, .*'1\.5' has another .* line 27"):
        read_trace(write(text + "9;1.5\n"))


def test_line_of_a_recording_made_by_hand() -> None:
    made = Recording(file="made", time=np.arange(3.0))
    assert [made.line(i) for i in range(3)] == [2, 3, 4]


ORDER = [
    (["1.234,1", "1.233,2"], "line 3: time goes back from 1.234 s to 1.233 s; if "),
    (["1.234,1", "# x", "1.234,1"],
     "line 4: same time 1.234 s as line 2 (the whole row is repeated); delete"),
    (["1.234,nan", "1.234,"], "(the whole row is repeated); delete"),
    (["1.234,1", "1.234,2"],
     "line 3: same time 1.234 s as line 2 (with other values); give times with more"),
    (["1.234,1", "1.234,"], "(with other values)"),
    (["1,1", "0.5,1", "0.5,1", "0.25,1"], "line 3: time goes back from 1 s to 0.5 s, "
     "the first of 3 such places; if"),
    (["1.2340000000000002,1", "1.234,2"],
     "from 1.2340000000000002 s to 1.234 s"),
]  # fmt: skip


@pytest.mark.parametrize(("lines", "words"), ORDER)
def test_order_of_times(write: Write, lines: list[str], words: str) -> None:
    """The file is read; the order is refused by its own function."""
    later = [f"{i + 5},1" for i in range(N)]
    text = "\n".join(["time (s),pressure (bar)", *lines, *later])
    found = read_trace(write(text))
    with pytest.raises(DataError) as caught:
        check_order(found)
    message = str(caught.value)
    assert message.startswith("shot.csv line ")
    assert words in message
    assert "\n" not in message


NUMBERS = st.floats(allow_nan=False, allow_infinity=False)
LOOSE = settings(
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


@pytest.mark.slow
@LOOSE
@given(
    data=st.lists(st.tuples(NUMBERS, NUMBERS), min_size=20, max_size=40),
    dialect=st.sampled_from([(",", "."), (";", "."), (";", ","), ("\t", ",")]),
)
def test_round_trip(write: Write, data: list[tuple[float, float]], dialect) -> None:
    """Numbers written with repr are read back to the last bit (V and s: factor 1)."""
    separator, mark = dialect
    lines = [f"{a!r};{b!r}".replace(".", mark) for a, b in data]
    text = "\n".join(["time (s);pressure (V)", *lines]).replace(";", separator)
    try:
        found = read_trace(write(text))
    except DataError as error:
        # Only where every comma may group thousands: 1.125 written as "1,125".
        assert "group thousands" in str(error)  # noqa: PT017
        return
    assert found.time.tolist() == [a for a, _ in data]
    assert found.pressure is not None
    assert found.pressure.tolist() == [b for _, b in data]


@LOOSE
@given(
    cells=st.lists(st.text('0123456789.,-+eEnaNif "#_x\t', max_size=8), max_size=3),
    separator=st.sampled_from([",", ";", "\t"]),
)
def test_both_ways_of_reading_agree(write: Write, cells, separator) -> None:
    """A quotation mark anywhere turns pandas off; the outcome must not change."""
    head = f"time (s){separator}pressure (bar)\n"
    odd = "".join(f"1{separator}{cell}\n" for cell in cells)
    good = f"2.5{separator}3.5\n" * 20

    def outcome(last: str) -> object:
        try:
            found = read_trace(write(head + odd + good + last))
        except DataError as error:
            return str(error)
        assert found.pressure is not None
        return [repr(p) for p in found.pressure], found.lines.tolist()  # type: ignore[union-attr]

    assert outcome(f"2.5{separator}3.5\n") == outcome(f'2.5{separator}"3.5"\n')


_MEASURE = """
import resource, sys, time
import pandas
from castsugar.readings.recordings import read_trace
scale = 1 if sys.platform == "darwin" else 1024
def peak():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * scale
before, start = peak(), time.perf_counter()
found = read_trace(sys.argv[1])
print(peak() - before, time.perf_counter() - start, len(found.time))
"""


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="no module resource")
@pytest.mark.parametrize("row", ["{:.4f},{:.3f},{:.4f}\n"])
def test_memory_for_a_file_of_50_megabytes(write: Write, row: str) -> None:
    """Below 400 MB beside the interpreter, however short the rows."""
    head = "time (s),pressure (psi),thrust (N)\n"
    block = "".join(row.format(i % 9, i % 7, i % 5) for i in range(10_000))
    path = write(head + block * math.ceil(50e6 / len(block)))
    done = subprocess.run(
        [sys.executable, "-c", _MEASURE, str(path)],
        check=True,
        capture_output=True,
        text=True,
    )
    extra, _, count = done.stdout.split()
    assert int(count) == 10_000 * math.ceil(50e6 / len(block))
    assert int(extra) < 400e6
