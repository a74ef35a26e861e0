"""Files of strands: what is tolerated, and one line for what is not."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from castsugar import DataError, InputError, plausible
from castsugar.cli.main import main
from castsugar.readings.strand_files import read_strand_files, read_strands, stated

# Exact: sizes of units by definition (see test_units); an invented set of strands.
pytestmark = pytest.mark.exact

PLAIN = "length (mm),time (s),pressure (MPa)\n50.8,6.35,1.5\n25.4,12.7,ambient\n"


@pytest.fixture
def write(tmp_path: Path):
    """Return a function that writes a file and returns its path."""

    def written(text: str | bytes, name: str = "strands.csv") -> Path:
        path = tmp_path / name
        data = text if isinstance(text, bytes) else text.encode("utf-8")
        path.write_bytes(data)
        return path

    return written


def test_plain_file(write) -> None:
    one, two = read_strands(write(PLAIN), ambient=1.0e5)
    assert (one.length, one.time, one.pressure) == (0.0508, 6.35, 1.5e6)
    assert one.rate == pytest.approx(8e-3)
    assert (two.pressure, two.temperature, two.mix, two.note) == (1.0e5, None, "", "")
    assert (one.line, two.line) == (2, 3)
    assert read_strands(write(PLAIN))[1].pressure == 101325.0


SAME = [
    "length_mm,time_s,pressure_MPa\n50.8,6.35,1.5\n",
    "Length [in] , Burn time [s] , Pressure [bar]\n2, 6.35, 15\n",
    "length,time,pressure\n50.8 mm,6.35 s,1.5 MPa\n",
    'length,time,pressure\n"2""",6.35 s,15 bar\n',
    "pressure (kPa);length (cm);burn time, s\n1500;5,08;6,35\n",
    "pressure kPa(a)\tlength mm\ttime ms\n1500\t50,8\t6350,0\n",
    "\ufefflength_mm,time_s,pressure_MPa\r\n50.8,6.35,1.5\r\n",
    "# made up\n\nlength_mm,time_s,pressure_MPa\n# first\n\n50.8,6.35,1.5\n,,\n",
    "length_mm,time_s,pressure_MPa,,\n50.8,6.35,1.5,,\n",
    '"burn time, s","length, mm","pressure, MPa"\n6.35,50.8,1.5\n',
    "length_mm,time_s,pressure (bar(g))\n50.8 mm,6.35,13.98675 barg\n",
    "length (mm);time (s);pressure (kPa)\n50,8;6,35;1500,000\n",
    "length,time,pressure,note,\nmm,s,MPa,,\n50.8,6.35,1.5,,\n",
    "length;time (s);pressure\n(mm);[s];bar\n\n50,8;6,35;15,0\n",
    PLAIN.split("25.4")[0].encode("utf-16"),
    "L\xe4nge (mm);Dur\xe9e (s);Druck (MPa)\n50,8;6,35;1,5\n".encode("cp1252"),
]


@pytest.mark.parametrize("text", SAME)
def test_the_same_strand_in_many_dialects(write, text: str | bytes) -> None:
    """15 bar = 1.5 MPa = 13.98675 bar gauge; 2 in = 50.8 mm: the same three floats."""
    (found,) = read_strands(write(text))
    assert found.length == pytest.approx(0.0508, rel=1e-15)
    assert found.time == 6.35
    assert found.pressure == pytest.approx(1.5e6, rel=1e-15)


def test_optional_columns(write) -> None:
    text = (
        "mix,length_mm,time_s,pressure_psig,temperature (C),note\n"
        "A,50,20,0,20,\n"
        "B,50,20,Ambient,,a bubble\n"
    )
    one, two = read_strands(write(text), ambient=9.0e4)
    assert (one.mix, one.temperature, one.pressure) == ("A", 293.15, 101325.0)
    assert (two.mix, two.temperature, two.note) == ("B", None, "a bubble")
    assert two.pressure == 9.0e4
    assert [s.line for s in (one, two)] == [2, 3]


def test_batch_process_degraded_and_date(write) -> None:
    """Each in a column of its own; 2 % is a share of 0.02."""
    text = (
        "recipe,batch,process,degraded (%),date,length_mm,time_s,pressure_MPa\n"
        "A,pot 1,Melted Dry,2,2026-05-02,50,6,1\n"
        "A,pot 2,,,,50,6,1\n"
    )
    one, two = read_strands(write(text))
    assert (one.mix, one.batch, one.process) == ("A", "pot 1", "melted dry")
    assert (one.degraded, one.date) == (pytest.approx(0.02), "2026-05-02")
    assert (two.batch, two.process, two.degraded, two.date) == ("pot 2", "", 0.0, "")
    plain = read_strands(write(PLAIN))[0]
    assert (plain.batch, plain.process, plain.degraded, plain.date) == ("", "", 0, "")


def test_what_is_stated_of_all_strands(write) -> None:
    """It fills what the file leaves out, and may not say otherwise."""
    plain, own = HEAD + "50,6,1\n", "batch," + HEAD + "A,50,6,1\nA,50,6,2\n"
    (one,) = stated(read_strands(write(plain)), batch="B", degraded=0.03, process="")
    assert (one.batch, one.degraded, one.process) == ("B", 0.03, "")
    two, _ = stated(read_strands(write(own)), batch="A", date="2026-05-02")
    assert (two.batch, two.date) == ("A", "2026-05-02")
    words = r"^batch is 'B', and strands\.csv line 2, column 'batch', says 'A'; leave "
    with pytest.raises(InputError, match=words):
        stated(read_strands(write(own)), batch="B")


def test_a_batch_is_one_pot_in_all_files(write) -> None:
    one = write("mix,batch," + HEAD + "A,1,50,6,1\n", "one.csv")
    two = write("mix,batch," + HEAD + "B,1,50,7,1\n", "two.csv")
    words = (
        "^two.csv line 2, column 'batch': '1' has mix 'B', and 'A' in one.csv line 2"
    )
    with pytest.raises(DataError, match=words):
        read_strand_files([one, two])
    assert main(["burnrate", str(one), str(two)]) == 2


def test_a_column_of_batches_is_none_of_mixes(write) -> None:
    """It was once: several batches and no mix are remarked on."""
    text = "{}batch," + HEAD + "{}1,50,6,1\n{}{},50,6,1\n"
    for values, count in (
        (("", "", "", 2), 1),
        (("", "", "", 1), 0),
        (
            ("mix,", "A,", "A,", 2),
            0,
        ),
    ):
        with plausible.collected() as told:
            read_strands(write(text.format(*values)))
        assert [one.code for one in told] == [plausible.OLD_NAME] * count


HEAD = "length (mm),time (s),pressure (MPa)\n"

# text, line, column as it is titled (None: no column), further words
BAD = [
    ("", 1, None, ["empty", "length, time, pressure"]),
    ("# only a comment\n\n", 1, None, ["empty"]),
    (HEAD, 1, None, ["no row of data"]),
    (HEAD + "# all\n\n", 1, None, ["no row of data"]),
    ("length (mm),tiem (s),pressure (MPa)\n1,1,1\n", 1, "time",
     ["missing", "'tiem (s)' looks like it"]),
    ("length (mm),pressure (MPa)\n1,1\n", 1, "time", ["missing"]),
    ("length (mm),time (s),pressure (MPa),mis\n1,1,1,A\n", 1, "mis",
     ["did you mean 'mix'"]),
    ("length (mm),time (s),pressure (MPa),colour\n1,1,1,red\n", 1, "colour",
     ["not known", "note (optional)"]),
    ("length (mm),length_in,time (s),pressure (MPa)\n1,1,1,1\n", 1, "length_in",
     ["twice", "'length (mm)'"]),
    ("length (furlong),time (s),pressure (MPa)\n1,1,1\n", 1, "length (furlong)",
     ["'furlong'", "accepted: mm"]),
    ("length 100 mm,time (s),pressure (MPa)\n1,1,1\n", 1, "length 100 mm",
     ["'100 mm'", "accepted: mm"]),
    ("length (mm),time (s),pressure (mpa)\n1,1,1\n", 1, "pressure (mpa)",
     ["'mpa'", "MPa"]),
    ("length (mm),time (s),pressure\nin,s,MPa\n2,6,1\n", 1, "length (mm)",
     ["the row of units below says 'in'", "or the same one twice"]),
    ("length,time,pressure\nmm,s,furlong\n50,6,1\n", 1, "pressure (furlong)",
     ["'furlong'", "accepted: Pa"]),
    ("length (mm),time (s),pressure (MPa)\n50;6;1\n", 2, None,
     ["if rows are separated by semicolon"]),
    (HEAD + "50,6,1\n2 in,6,1\n", 3, "length (mm)", ["'2 in'", "header says mm"]),
    ("length,time (s),pressure (MPa)\n50 mm,6,1\n50,6,1\n", 3, "length",
     ["'50'", "no unit"]),
    ("length,time (s),pressure (MPa)\n50,6,1\n50 mm,6,1\n", 2, "length",
     ["'50'", "no unit"]),
    ("length,time (s),pressure (MPa)\n50 mm,6,1\n2 in,6,1\n", 3, "length",
     ["'2 in'", "first cell says mm"]),
    ("length_mm,time_s,pressure\n50,6,10 psig\n50,6,10 psi\n", 3, "pressure",
     ["psi absolute", "psi gauge"]),
    (HEAD + "50,-6,1\n", 2, "time (s)", ["-6", "below zero"]),
    (HEAD + "50,0,1\n", 2, "time (s)", ["'0'", "allowed 0.01 to 36000 s"]),
    (HEAD + "-50,6,1\n", 2, "length (mm)", ["-50", "below zero"]),
    (HEAD + "0,6,1\n", 2, "length (mm)", ["'0'", "allowed 1 to 1000 mm"]),
    (HEAD + "50,6,-1\n", 2, "pressure (MPa)", ["-1", "below absolute zero"]),
    (HEAD + "50,6,0\n49,6,0.0\n", 2, "pressure (MPa)",
     ["'0'", "every pressure", "'ambient'", "psig"]),
    (HEAD + "50,6,1\n49,6,0\n", 3, "pressure (MPa)", ["'0'", "write psig"]),
    (HEAD + "50,six,1\n", 2, "time (s)", ["'six'", "no number"]),
    (HEAD + "50,6x,1\n", 2, "time (s)", ["'x'", "time unit"]),
    (HEAD + "50,nan,1\n", 2, "time (s)", ["nan", "finite"]),
    (HEAD + "50,inf,1\n", 2, "time (s)", ["inf", "finite"]),
    (HEAD + "50,,1\n", 2, "time (s)", ["empty"]),
    (HEAD + "50,6,1\n50,6\n", 3, None, ["2 cells", "header has 3"]),
    (HEAD + "50,8,6,35,1,5\n", 2, None, ["6 cells", "decimal comma"]),
    (HEAD + '50,"6,3",1\n', 2, "time (s)", ["6,3", "decimal comma"]),
    ("length (mm);time (s);pressure (psi)\n50;6;1,000\n", 2, "pressure (psi)",
     ["'1,000'", "thousands"]),
    ("length (mm);time (s);pressure (psi)\n50;6.5;1,000\n", 2, "pressure (psi)",
     ["'1,000'", "one decimal mark"]),
    (HEAD + '50,"6,1\n50,6,1\n', 2, None, ["quotation mark"]),
    (HEAD + f"50,{'9' * 3000},1\n", 2, "time (s)", ["too long"]),
    ("length (mm),time (s),pressure (MPa),temperature (C)\n1,1,1,-300\n", 2,
     "temperature (C)", ["below absolute zero"]),
    ("mix,batch," + HEAD + "A,1,50,6,1\nA,2,50,6,1\nB,1,50,6,1\n", 4, "batch",
     ["'1' has mix 'B'", "'A' in strands.csv line 2", "a batch name of its own"]),
    ("process,batch," + HEAD + "pressed,1,50,6,1\n,1,50,6,1\n", 3, "batch",
     ["'1' has process ''", "'pressed' in strands.csv line 2"]),
    ("batch," + HEAD + ",50,6,1\n1,50,6,1\n", 2, "batch",
     ["'' is empty", "line 3 names one", "or of none"]),
    ("process," + HEAD + "presed,50,6,1\n", 2, "process",
     ["'presed'", "did you mean 'pressed'", "allowed: cooked syrup, boiled down"]),
    ("degraded (%)," + HEAD + "101,50,6,1\n", 2, "degraded (%)",
     ["'101 %'", "is above 1, that is 100 %"]),
    ("degraded (%)," + HEAD + "-1,50,6,1\n", 2, "degraded (%)", ["below zero"]),
    ("degraded," + HEAD + "2,50,6,1\n", 2, "degraded", ["'2'", "no unit"]),
    ("date," + HEAD + "2026-02-30,50,6,1\n", 2, "date",
     ["'2026-02-30' is no day", "2026-05-02"]),
]  # fmt: skip


@pytest.mark.parametrize(("text", "line", "column", "words"), BAD)
def test_bad_input_is_one_line_with_its_place(
    write, text, line, column, words, tmp_path, monkeypatch, capsys
) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(DataError) as caught:
        read_strands(write(text))
    message = str(caught.value)
    assert main(["burnrate", "strands.csv"]) == 2
    assert capsys.readouterr().err == f"castsugar: {message}\n"
    assert "\n" not in message
    assert len(message) < 400
    place = f"strands.csv line {line}"
    assert message.startswith(place)
    if column is not None:
        assert re.search(rf"column {re.escape(repr(column))}", message)
    for word in words:
        assert word in message


def test_lines_are_counted_as_in_the_file(write) -> None:
    """Comments and blank lines count."""
    text = "# a\n\n" + HEAD + "# b\n50,6,1\n\n50,-1,1\n"
    with pytest.raises(DataError, match="line 7, column 'time"):
        read_strands(write(text))


def test_files_that_cannot_be_read(write, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"gone\.csv cannot be read"):
        read_strands(tmp_path / "gone.csv")
    with pytest.raises(InputError, match="ambient"):
        read_strands(write(PLAIN), ambient=0.0)


FRAMED = "length_mm,first_frame,last_frame,frame_rate (1/s),pressure_MPa\n"


@pytest.mark.parametrize(
    "text",
    [
        f"{FRAMED}50.8,10,391,60,1.5\n",
        "Length [mm],first frame,Last Frame,fps,Pressure [bar]\n50.8,0,381,60,15\n",
        "length_mm;start frame;end frame;fps;pressure_MPa\n50,8;1;382;60;1,5\n",
        f"{FRAMED}50.8,10,391,60 fps,1.5\n",
    ],
)
def test_a_filmed_strand_has_the_time_of_its_frames(write, text: str) -> None:
    """381 frames at 60 a second are 6.35 s."""
    (strand,) = read_strands(write(text))
    assert strand.time == pytest.approx(6.35, rel=1e-12)
    assert strand.rate == pytest.approx(8e-3, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (f"{FRAMED}50.8,391,10,60,1.5\n", "line 2: first frame is 391, last 10"),
        (f"{FRAMED}50.8,10,x,60,1.5\n", "line 2: last=x; a frame is a whole number"),
        (f"{FRAMED}50.8,10,391,,1.5\n", "line 2: 'rate='"),
        (f"{FRAMED}50.8,10,391,2,1.5\n", "line 2: rate is 2 frames a second"),
        (FRAMED.replace("1/s", "kg") + "50.8,1,9,6,1\n", "unit 'kg' is not a frame"),
        (
            FRAMED.replace("frame_rate (1/s)", "time_s") + "50.8,10,391,6,1.5\n",
            "has a column of times and one of first frame",
        ),
        (FRAMED.replace("last", "lst") + "50,1,99,9,1\n", "column 'time' is missing"),
    ],
)
def test_a_film_that_cannot_be_is_one_line(write, text: str, said: str) -> None:
    with pytest.raises(DataError, match=re.escape(said)) as caught:
        read_strands(write(text))
    assert "\n" not in str(caught.value)


def test_few_frames_are_remarked_on(write) -> None:
    """60 frames: u = sqrt(2/3) / 60 = 1.4 %; 30 of them 2.7 %."""
    with plausible.collected() as remarks:
        read_strands(write(f"{FRAMED}50,0,60,30,1.5\n"))
        assert remarks == []
        read_strands(write(f"{FRAMED}25,0,30,30,1.5\n"))
    assert "30 frames tell its time to 2.7 % only" in remarks[0].text


def test_unusual_rows_are_one_remark_a_column(write) -> None:
    """The first, how many more, and where; each kind apart."""
    head, *_ = PLAIN.splitlines()
    rows = [f"{400 + n},60,1.5" for n in range(6)] + ["50,7,1.5"] * 2
    with plausible.collected() as found:
        read_strands(write("\n".join([head, *rows]) + "\n"))
    (one,) = found
    assert one.text.endswith(
        "line 2, column 'length (mm)': '400' is 400 mm; usual is 10 to 300 mm: look "
        "again (5 more: line 3, 4, 5, ...)"
    )
