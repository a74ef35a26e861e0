"""Files as loggers write them: each is read like its plain twin, or refused."""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from castsugar import DataError, InputError, UnknownNameError
from castsugar.readings.recordings import Recording, check_order, read_trace
from castsugar.readings.strand_files import read_strands
from castsugar.readings.tables import is_invented

# Exact: an invented recording, written in many formats; the plain one is the source.
pytestmark = pytest.mark.exact

N = 28
MS = [125 * i for i in range(N)]
BAR = [0.0] * 5 + [1.5 * i for i in range(1, N - 6)] + [0.25, 0.0]
HEAD = "time (ms),pressure (bar)"


def rows(row: str = "{ms},{bar}") -> list[str]:
    """Return the rows of data, each written as `row` says."""
    written = []
    for t, p in zip(MS, BAR, strict=True):
        late = t > 999  # past noon, past midnight
        rest = f"{(59, 0)[late]:02}:{(59 + t / 1000) % 60:06.3f}"
        night, noon = f"{(23, 0)[late]:02}:{rest}", f"{(11, 12)[late]}:{rest}"
        clocks = {"night": night, "noon": noon, "half": "AP"[late], "day": 16 + late}
        clocks["colons"] = night.replace(".", ":")
        written.append(row.format(ms=t, s=t / 1000, bar=p, **clocks))
    return written


def file(head: str, row: str = "{ms},{bar}", *, end: str = "") -> str:
    """Return a file: head, rows, what follows."""
    return "\n".join([head, *rows(row)]) + "\n" + end


Write = Callable[..., Path]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Return a function that writes a file and returns its path."""

    def written(text: str | bytes, name: str = "shot.csv") -> Path:
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
        return path

    return written


def check_twin(found: Recording) -> None:
    """Hold a recording against the numbers that the plain file holds."""
    assert found.time.tolist() == [t / 1000 for t in MS]
    assert found.pressure is not None
    assert found.pressure.tolist() == [p * 1e5 for p in BAR]
    assert (found.pressure_kind, found.pressure_unit) == ("unstated", "bar")


ENCODINGS = ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]


@pytest.mark.parametrize("encoding", [*ENCODINGS, "latin-1"])
def test_the_bytes_of_a_file(write: Write, encoding: str) -> None:
    """A byte-order mark, zero bytes or what is no UTF-8 tell the encoding."""
    text = file(f"{HEAD},T (\xb0C)", "{ms},{bar},20")
    found = read_trace(write(text.encode(encoding)))
    check_twin(found)
    assert found.not_read == ("T (\xb0C)",)
    assert bool(found.notes) == (encoding in ("cp1252", "latin-1"))


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_what_is_invented_stays_invented(write: Write, encoding: str) -> None:
    """A file that calls itself invented does so in each encoding; strands, too."""
    text = "# Invented: 20 \xb0C\nlength_mm,time_s,pressure_MPa\n50.8,6.35,1.5\n"
    path = write(text.encode(encoding))
    assert is_invented(path)
    [strand] = read_strands(path)
    assert (strand.length, strand.invented) == (0.0508, True)


SAME = {
    "plain": file(HEAD),
    "micro sign": file("time (\N{MICRO SIGN}s),pressure (bar)", "{ms}000,{bar}"),
    "micro sign, Latin-1": file("time (\xb5s);p (bar)", "{ms}000;{bar}").encode(
        "cp1252"
    ),
    "text above with an inch mark": file(f'Motor 2" long\n{HEAD}'),
    "Greek mu": file("time [\N{GREEK SMALL LETTER MU}s],p [bar]", "{ms}000,{bar}"),
    "names of units": file("time (millis);pressure (bar)", "{ms};{bar}"),
    "seconds": file("time (Seconds);pressure (bar)", "{s};{bar}"),
    "units row": file("Time,Chamber Pressure\nms,bar"),
    "units row in brackets": file("time;pressure\n[ms];[bar]", "{ms};{bar}"),
    "units row, nested": file("time,pressure\n(ms),(bar)"),
    "units row, sensor": file("time,pressure (left)\nms,bar"),
    "units in both places": file("time (ms),pressure (bar)\nms,bar"),
    "units row, one there": file("time (ms),pressure\n,bar"),
    "German": file("Zeit (ms);Brennkammerdruck (bar)", "{ms};{bar}").replace(".", ","),
    "French": file("Temps (ms);Pression de chambre (bar)", "{ms};{bar}"),
    "Spanish": file("Tiempo (ms)\tPresi\xf3n (bar)", "{ms}\t{bar}"),
    "names over units": file("t/ms;p/bar", "{ms};{bar}"),
    "date/time": file("Date/Time,p (bar)", "2026-05-16 14:03:{s:06.3f},{bar}"),
    "of the air, in German": file(
        "Zeit (ms);Druck Umgebung (bar);Druck (bar)", "{ms};1;{bar}"
    ),
    "one sensor named": file("time (ms),pressure left (bar)"),
    "one sensor, no brackets": file("time_ms,left_pressure_bar"),
    "a number names it": file("time (ms),P1 (bar)"),
    "two brackets": file("time (ms),pressure (left) [bar]"),
    "of another place": file(
        "time (ms),ambient pressure (bar),pressure (bar)", "{ms},1.01,{bar}"
    ),
    "of no name nearby": file("time (ms),temp (C),pressure (bar)", "{ms},20,{bar}"),
    "text above": file(f"Logger 7\nsep=;\nStart; 12:05, time of test\n\n{HEAD}"),
    "text above, with numbers": file(f"Serial,123\nGain,2.5\n{HEAD}"),
    "footer": file(HEAD, end="End of record\nMax,34.5\n,,\n"),
    "footer, decimal comma": file(
        "t (ms);p (bar)", "{ms};{bar}", end="Mean;1,234\n"
    ).replace(".", ","),
    "header in a comment": file("# Logger 7\n#time (ms),pressure (bar)"),
    "header and units in comments": file(
        "Logger 7\n# Time;Pressure\n# ms;bar\n# -", "{ms};{bar}"
    ),
    "a header in a comment and another": file(f"# time (s),p (psi), as wired\n{HEAD}"),
    "both separators in the header": file("time, ms;pressure, bar", "{ms};{bar}"),
    "blanks": file("time_ms pressure_bar", "{ms} {bar}"),
    "columns of blanks": file("  time (ms)   pressure (bar)", "  {ms}    {bar}"),
    "blanks, decimal comma": file("t_ms p_bar", "{ms} {bar}").replace(".", ","),
    "clock": file("Time,pressure (bar)", "14:03:{s:06.3f},{bar}"),
    "clock over midnight": file("Uhrzeit;Druck (bar)", "{night};{bar}"),
    "clock, decimal comma": file("Hora;p (bar)", "{night};{bar}").replace(".", ","),
    "clock in minutes": file("time (mm:ss.sss),p (bar)", "07:{s:06.3f},{bar}"),
    "date in a column": file("Date,Time,p (bar)", "2026-05-16,14:03:{s:06.3f},{bar}"),
    "ISO 8601": file("timestamp,p (bar)", "2026-05-16T14:03:{s:06.3f}Z,{bar}"),
    "date and time": file("time,p (bar)", "2026-05-16 14:03:{s:06.3f},{bar}"),
    "ISO 8601 with a zone": file(
        "timestamp,p (bar)", "2026-05-16T14:03:{s:06.3f}+02:00,{bar}"
    ),
    "clock of 12 hours": file("Time,p (bar)", "{noon} {half}M,{bar}"),
    "clock of 12 hours, small": file("Time;p (bar)", "{noon} {half}.m.;{bar}"),
    "clock with colons only": file("Time,p (bar)", "{colons},{bar}"),
    "day.month.year": file("Zeit;p (bar)", "16.05.2026 14:03:{s:06.3f};{bar}"),
    "day/month/year": file("Time,p (bar)", "16/05/2026 14:03:{s:06.3f},{bar}"),
    "month/day/year": file("Time,p (bar)", "5/16/2026 {noon} {half}M,{bar}"),
    "year/month/day": file("Time,p (bar)", "2026/05/16 14:03:{s:06.3f},{bar}"),
    "either, the same day": file("Time,p (bar)", "5/6/2026 14:03:{s:06.3f},{bar}"),
    "over midnight, with the day": file("Time,p (bar)", "{day}/5/2026 {night},{bar}"),
    "epoch in s": file("epoch (s),p (bar)", "17639{s:09.3f},{bar}"),
    "epoch in ms": file("timestamp (ms),p (bar)", "1763900{ms:06},{bar}"),
    "overload at rest": file(HEAD).replace("\n0,0.0", "\n0,OVF"),
}


@pytest.mark.parametrize("name", SAME)
def test_each_format_is_read_like_its_plain_twin(write: Write, name: str) -> None:
    found = read_trace(write(SAME[name]))
    check_order(found)
    if name == "overload at rest":
        assert found.pressure is not None
        assert np.isnan(found.pressure[0])
        found.pressure[0] = 0.0
    check_twin(found)


def fine(row: str) -> list[str]:
    """Return rows with stamps of a clock that is too coarse for 8 samples a second."""
    return [line.split(".", 1)[0] + "," + line.split(",")[1] for line in rows(row)]


WHOLE_SECONDS = "\n".join(["time,p (bar)", *fine("14:03:{s:06.3f},{bar}")])

STATED = {
    "time without a unit": (file("Time,p (bar)"), {"time_unit": "ms"}, ()),
    "the unit twice": (file(HEAD), {"time_unit": "ms"}, ()),
    "clock of whole seconds": (WHOLE_SECONDS, {"sampling_rate": 8.0},
        ("rows timed by count at 8 /s, which column 'time' agrees with",)),
    "equal stamps": (file(HEAD).replace("\n1000,", "\n875,"), {"sampling_rate": 8.0},
        ("rows timed by count at 8 /s, which column 'time (ms)' agrees with",)),
    "time of no unit, counted": (file("time,p (bar)"), {"sampling_rate": 8.0},
        ("rows timed by count at 8 /s",)),
    "no time": (file("p (bar);T (C)", "{bar};20"), {"sampling_rate": 8.0},
        ("rows timed by count at 8 /s",)),
    "one column": (file("pressure (bar)", "{bar}", end="end\n"),
        {"sampling_rate": 8.0},
        (f"1 line behind the last sample left out, the first line {N + 2}",
         "rows timed by count at 8 /s")),
}  # fmt: skip


@pytest.mark.parametrize("name", STATED)
def test_what_a_file_does_not_say_is_said_beside_it(write: Write, name: str) -> None:
    """The unit of the time, or the sampling rate; it is noted."""
    text, stated, notes = STATED[name]
    found = read_trace(write(text), **stated)
    check_twin(found)
    check_order(found)
    assert found.notes == notes


@pytest.mark.parametrize(
    ("title", "newton"),
    [
        ("thrust (kg)", 9.80665),  # standard gravity, exact: NIST SP 811
        ("load_cell_g", 0.00980665),
        ("Schub links [kg]", 9.80665),
        ("Fuerza (lbs)", 4.4482216152605),  # 0.45359237 kg x 9.80665 m/s2
    ],
)
def test_a_force_in_kilograms_only_where_it_is_said(
    write: Write, title: str, newton: float
) -> None:
    path = write(file(f"time (ms),{title}"))
    with pytest.raises(DataError, match=r"of mass; .* --kilograms-are-force"):
        read_trace(path)
    found = read_trace(path, mass_is_force=True)
    assert found.thrust is not None
    assert found.thrust == pytest.approx([p * newton for p in BAR], rel=1e-15)
    assert found.notes == (f"{title!r} taken as {found.thrust_unit}",)


WRONGLY_STATED = {
    "two units of time": (file(HEAD), {"time_unit": "s"},
        " line 1: the header says that the time is ms, and --time-unit s;"),
    "a clock has its own": (WHOLE_SECONDS, {"time_unit": "s"},
        " line 1: the header says that the time is a clock, and --time-unit"),
    "no kilograms": (file("time (ms),thrust (N)"), {"mass_is_force": True},
        " line 1: no column is a force in kg, g or lb, and --kilograms-are-force"),
    "another rate": (file(HEAD), {"sampling_rate": 80.0},
        ": at 80 /s its 28 rows last 0.3375 s, but column 'time (ms)' says 3.375 s;"),
}  # fmt: skip


@pytest.mark.parametrize("name", WRONGLY_STATED)
def test_what_is_said_may_not_contradict_the_file(write: Write, name: str) -> None:
    text, stated, start = WRONGLY_STATED[name]
    with pytest.raises(DataError) as caught:
        read_trace(write(text), **stated)
    assert str(caught.value).startswith(f"shot.csv{start}")


def test_a_unit_of_time_that_is_none(write: Write) -> None:
    with pytest.raises(UnknownNameError, match="'sec'; known: s, ms, us, min, h"):
        read_trace(write(file(HEAD)), time_unit="sec")


MISSING = [
    ("nan", 1, True), ("nan", 2, True), ("", 2, True), ("NaN", 3, False),
    ("", 3, False), ("OVF", 1, False),
]  # fmt: skip


@pytest.mark.parametrize(("word", "count", "read"), MISSING)
def test_what_is_missing_from_the_burning(
    write: Write, word: str, count: int, read: bool
) -> None:
    """Lone dropouts stay ones; a longer run is refused, at rest it is not."""
    lines = rows()
    for place in range(15, 15 + count):
        lines[place] = f"{MS[place]},{word}"
    path = write("\n".join([HEAD, *lines]))
    if read:
        found = read_trace(path)
        assert found.pressure is not None
        assert np.flatnonzero(np.isnan(found.pressure)).tolist() == [15, 16][:count]
        return
    words = "beyond its range" if word == "OVF" else "3 samples in a row are missing"
    with pytest.raises(DataError, match=rf"line 17, column .*: .*{words}"):
        read_trace(path)


def test_what_is_left_out_is_told(write: Write) -> None:
    """Lines above and below are counted; lines keep their numbers."""
    text = file(f"Logger 7\n\n{HEAD}", end="Max,34.5\n\nend\n")
    found = read_trace(write(text))
    assert found.notes == (
        "1 line above the header left out, the first 'Logger 7'",
        f"2 lines behind the last sample left out, the first line {N + 4}",
    )
    assert (found.line(0), found.line(N - 1)) == (4, N + 3)


NAMES = [
    ("time", "pressure", "thrust"),
    ("TIME", "Chamber-Pressure", "Force"),
    ("Zeit", "Druck", "Schub"),
    ("zeit", "Kammerdruck", "Kraft"),
    ("Temps", "Pression", "Pouss\xe9e"),
    ("TEMPS", "Pression de chambre", "Pousse\u0301e"),  # the accent a letter of its own
    ("Tiempo", "Presi\xf3n", "Empuje"),
    ("TIEMPO", "PRESI\xd3N DE C\xc1MARA", "FUERZA"),
]


@pytest.mark.parametrize("names", NAMES)
def test_names_in_four_languages(write: Write, names: tuple[str, str, str]) -> None:
    """Case and accents do not matter."""
    head = "{} (ms),{} (bar),{} (N)".format(*names)
    found = read_trace(write(file(head, "{ms},{bar},{bar}")))
    check_twin(found)
    assert found.thrust is not None
    assert found.thrust.tolist() == BAR
    assert found.not_read == ()


def test_two_sensors_are_both_kept(write: Write) -> None:
    """Words that name a sensor are no units; each column has its own unit."""
    head = "time (ms),pressure left (bar),pressure right (kPa),thrust front (N)"
    found = read_trace(write(file(head, "{ms},{bar},2,{bar}")))
    check_twin(found)
    assert found.second_pressure is not None
    assert found.second_pressure.tolist() == [2e3] * N
    assert found.thrust is not None
    assert found.thrust.tolist() == BAR
    assert found.pressure_titles == ("pressure left (bar)", "pressure right (kPa)")


STRANDS = [
    "L\xe4nge (mm);Brenndauer (s);Druck (MPa)\n50,8;6,35;1,5\n",
    "longueur (mm),dur\xe9e (s),pression (MPa)\n50.8,6.35,1.5\n",
    "longitud (mm),tiempo (s),presi\xf3n (MPa)\n50.8,6.35,1.5\n",
]


@pytest.mark.parametrize("text", STRANDS)
def test_strands_have_names_in_four_languages(write: Write, text: str) -> None:
    for encoding in ("utf-8", "latin-1"):
        [strand] = read_strands(write(text.encode(encoding)))
        assert (strand.length, strand.time, strand.pressure) == (0.0508, 6.35, 1.5e6)


OVER = file(HEAD).replace(",15.0\n", ",OVF\n")
BAD = {
    "no unit, steps of ms": (
        "\n".join(["time,p (bar)", *(f"{2 * i},1" for i in range(N))]),
        " line 1, column 'time': has no unit", "its steps of 2 are probably ms"),
    "no unit, steps of s": (file("time;p (bar)", "{s};{bar}"),
        " line 1, column 'time': has no unit", "its steps of 0.125 are probably s"),
    "units disagree": (file("time (ms),pressure (bar)\nms,psi"),
        " line 1, column 'pressure (bar)': the row of units below says 'psi'", "one"),
    "no time": (file("p (bar),thrust (N)", "{bar},1"),
        " line 1: column 'time' is missing; write for example 'time (s)', or time the",
        "--sampling-rate"),
    "units in the cells": (file("time,p (bar)", "{ms} ms,{bar}"),
        " line 1, column 'time': has no unit", "above plain numbers"),
    "a comment between the samples": (file("time,p").replace("\n1000,",
        "\n# t (s), p (bar) checked\n1000,"),
        " line 1, column 'time': has no unit", "--time-unit"),
    "no unit of pressure": (file("time,pressure\nms,counts"),
        " line 1, column 'pressure (counts)': unit 'counts' is no unit of", "psig"),
    "clock of whole seconds": (file("time,p (bar)", "14:03:{s:02.0f},{bar}"),
        " line 3: same time 0 s as line 2 (the times are too coarse), the first of",
        "to (from 7 to 14 /s by these times): --sampling-rate RATE"),
    "stamps too coarse": ("\n".join([HEAD, *(f"{i // 2},{i % 3}" for i in range(N))]),
        " line 3: same time 0 s as line 2 (the times are too coarse", "(from 1929 to "),
    "microseconds, no unit": (file("time,p (bar)", "{ms}000,{bar}"),
        " line 1, column 'time': has no unit; its steps of 125000 are probably us",
        "--time-unit us"),
    "hours and minutes": ("\n".join(["Time,p (bar)", *(["14:03,1"] * N)]),
        " line 1, column 'Time': has no unit; '14:03' may be minutes and", "00:14:03"),
    "thrust of a sensor in kg": (file("time (ms),p (bar),front load (kg)", "{ms},1,1"),
        " line 1, column 'front load (kg)': 'kg' is no unit of thrust but of mass",
        "--kilograms-are-force"),
    "thrust of a sensor without": (file("time (ms),p (bar),thrust left", "{ms},1,1"),
        " line 1, column 'thrust left': has no unit", "'thrust (N)'"),
    "two midnights": (
        file("time,p (bar)", "{night},{bar}", end="\n".join(rows("{night},{bar}"))),
        f" line {N + 10}: time goes back", "two recordings"),
    "equal stamps of ms": (file(HEAD).replace("\n1000,", "\n875,"),
        " line 10: same time 0.875 s as line 9 (with other values)", "more digits"),
    "day or month": (file("time,p (bar)", "{day}/5/2026 {night},{bar}").replace(
        "16/5", "5/6").replace("17/5", "6/6"),
        " line 10, column 'time': '6/6/2026 00:00:00.000' may be day/month or month/",
        "write dates as 2026-05-16"),
    "two recordings": (file(HEAD, end=file(HEAD)),
        f" line {N + 2}, column 'time (ms)': 'time (ms)' is no number",
        "if a second recording follows, cut the file there"),
    "footer with a number": (file(HEAD, end="9999,end\n"),
        f" line {N + 2}, column 'pressure (bar)': 'end' is no number", ""),
    "more footer than data": (
        file(HEAD, end="x,1\n" * 2 * N), f" line {N + 2}, column 'time (ms)'", "'x'"),
    "two separators": (file(HEAD, "{s};{bar}").replace(".", ","),
        " line 2: 3 cells, but the header has 2 (separated by comma)",
        "if rows are separated by semicolon"),
    "two separators, points": (file("time (ms);p (bar)"),
        " line 2: 1 cells, but the header has 2 (separated by semicolon)",
        "if rows are separated by comma"),
    "comma twice": (file("time (s),p (bar)", "{s},{bar}").replace(".", ","),
        " line 2: 4 cells, but the header has 2 (separated by comma)", "decimal"),
    "header wider than rows": (file(HEAD + ",thrust (N)"),
        " line 2: 2 cells, but the header has 3", ""),
    "blanks, no header": ("\n".join(rows("{ms} {bar}")),
        " line 1: '0 0.0' is no header", "titles"),
    "text above, no header": (file("Logger 7"), " line 1: column 'time' is missing",
        "'time (s)'"),
    "force in kg": (file("time (ms),thrust (kg)"),
        " line 1, column 'thrust (kg)': 'kg' is no unit of thrust but of mass",
        "--kilograms-are-force"),
    "three pressures": (file("time (ms),p1 (bar),p2 (bar),p3 (bar)", "{ms},1,1,1"),
        " line 1, column 'p3 (bar)': pressure stands thrice", "keep two"),
    "one pressure in two units": (file("time (ms),p (bar),pc (psi)", "{ms},1,1"),
        " line 1, column 'pc (psi)': pressure stands twice, first as 'p (bar)'", "one"),
    "two thrusts": (file("time (ms),thrust A (N),thrust B (N)", "{ms},1,1"),
        " line 1, column 'thrust B (N)': thrust stands twice", "keep one"),
    "gauge and absolute": (file("time (ms),p1 (barg),p2 (bara)", "{ms},1,1"),
        " line 1, columns 'p1 (barg)' and 'p2 (bara)': two pressures, gauge and", ""),
    "two in volts": (file("time (ms),p left (V),p right (V)", "{ms},1,1"),
        " line 1, columns 'p left (V)' and 'p right (V)': two pressures, volts", ""),
    "pressure without its name": (file("time (ms),thrust (N),port 1 (bar)", "{ms},1,1"),
        " line 1, column 'port 1 (bar)': has a unit of pressure", "nowhere else"),
    "sensor in no unit": (file("time (ms),thrust (N),pressure left (au)", "{ms},1,1"),
        " line 1, column 'pressure left (au)': unit", "psig"),
    "overload in the burning": (OVER,
        " line 16, column 'pressure (bar)': the sensor was beyond its range",
        "leave the column"),
    "damaged UTF-16": (file(HEAD).encode("utf-16")[:-1], f" line {N + 1}", "is no"),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_what_cannot_be_read_safely_is_refused(write: Write, name: str) -> None:
    """One line: file, line, what, and what to do."""
    text, start, words = BAD[name]
    with pytest.raises(DataError) as caught:
        check_order(read_trace(write(text)))
    message = str(caught.value)
    assert message.startswith(f"shot.csv{start}")
    assert words in message
    assert "\n" not in message
    assert len(message) < 300


@pytest.mark.parametrize("name", ["shot.xlsx", "shot.ods", "shot.xls", "shot.csv"])
def test_a_spreadsheet_is_told_how_to_be_saved(tmp_path: Path, name: str) -> None:
    """By its first bytes: a zip archive, or the older binary form; not by its name."""
    path = tmp_path / name
    path.write_bytes(bytes.fromhex("d0cf11e0a1b11ae1") + bytes(504))  # the older form
    if name != "shot.xls":
        with zipfile.ZipFile(path, "w") as archive:
            kind = "application/vnd.oasis.opendocument.spreadsheet"
            archive.writestr("mimetype", kind)
            archive.writestr("content.xml", "<table/>")
    for read in (read_trace, read_strands):
        with pytest.raises(InputError, match=r"is a spreadsheet .* Save as") as caught:
            read(path)
        assert "\n" not in str(caught.value)


def test_a_unit_that_is_a_whole_line_is_quoted_in_short(write: Write) -> None:
    text = f"length (mm),time (s),pressure ({'bar' * 99})\n50,6,1\n"
    with pytest.raises(DataError, match=r"unit '(bar)+b?a?\.\.\.'") as caught:
        read_strands(write(text))
    assert len(str(caught.value)) < 300
