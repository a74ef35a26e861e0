"""Every rule of the cautions fires on some input, and keeps silent on another.

What fires it is a command line of the example's world, or a change of its bench file.
The limits of mass and impulse are those of 14 CFR 101.22 and NFPA 1122, which the rules
cite; the rest are common practice, no source.
"""

from __future__ import annotations

import json
import shlex
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from castsugar import load_database
from castsugar.cli.main import main

DATABASE = load_database()
TEXTS = {caution.key: caution.text for caution in DATABASE.cautions}

MIX, OTHER = "'KNO3:65 sucrose:35'", "'KNO3:64 sucrose:36'"
MOTOR = """\
[kitchen]
[pan]
name = "enamel pan"
[recipes]
"now" = "KNO3:65 sucrose:35"
"new" = "KNO3:64 sucrose:36"
[search]
batch = "200 g"
[search.ingredients]
"KNO3" = "60 % to 66 %"
"sucrose" = "34 % to 40 %"
[motor]
throat = "8 mm"
grain_temperature = "20 C"
[motor.grain]
outer = "25 mm"
core = "12 mm"
length = "40 mm"
[motor.case]
rated_pressure = "1000 psi"
material = "aluminium tube"
[[motor.burn_law]]
recipe = "KNO3:65 sucrose:35"
rate = "10 mm/s"
pressure = "3 MPa"
exponent = 0.3
rate_spread = "5 %"
exponent_spread = 0.02
"""

ALONE = "--no-bench"
EVALUATE = f"evaluate {MIX} --no-confirm {ALONE}"
COOKED = "--cook '119 C' --minutes 8"
SYRUP = "'KNO3:60 powdered sugar:20 corn syrup:20'"
JUDGE = f"kitchen judge {SYRUP} {COOKED} {ALONE}"
WEIGH = f"weigh {MIX} --batch '200 g' {ALONE}"
JUSTIFY = f"justify {MIX} {OTHER} --no-confirm --draws 100 {ALONE}"
DRIVEN = EVALUATE.replace(ALONE, "")
FIRING = f"firing shot.csv --throat '8 mm' --propellant-mass '100 g' {ALONE}"
STRANDS = "burnrate strands.csv"
DELAY = (
    "firing --delay --strands delay.csv --delay-time '6 s' --chamber-pressure '2 MPa' "
    "--burn-time '1 s'"
)
SHOW = "batch show 2026-05-02-1"
NAMES = "ingredients KNO3"

#: Rules without a quantity: a command that shows it, and one that does not.
ALWAYS = {
    "delay-strands": (DELAY, STRANDS),
    "delay-ground-test": (DELAY, STRANDS),
    "delay-both-ends": (DELAY, STRANDS),
    "general": (EVALUATE, NAMES),
    "regulated": (EVALUATE, NAMES),
    "no-claim": (EVALUATE, JUDGE),
    "no-open-flame": (JUDGE, EVALUATE),
    "thermostat": (WEIGH, EVALUATE),
    "pan-surface": (JUDGE, EVALUATE),
    "scalding": (WEIGH, EVALUATE),
    "dry-melt": (JUDGE, WEIGH),
    "no-ignition-margin": (EVALUATE, WEIGH),
    "closed-vessel-hot": (SHOW, EVALUATE),
    "grind-alone": (WEIGH, EVALUATE),
    "no-additions": (WEIGH, EVALUATE),
    "protection": (FIRING, EVALUATE),
    "water-at-hand": (WEIGH, EVALUATE),
    "ventilation": (FIRING, WEIGH),
    "children": (FIRING, EVALUATE),
    "label-and-store": (SHOW, EVALUATE),
    "damp-grain": (FIRING, WEIGH),
    "machining": (WEIGH, EVALUATE),
    "damaged-grain": (DRIVEN, EVALUATE),
    "waste": (WEIGH, EVALUATE),
    "remote-ignition": (FIRING, WEIGH),
    "distance": (FIRING, WEIGH),
    "misfire": (FIRING, WEIGH),
    "pressurised-case": (DRIVEN, EVALUATE),
    "fragments": (DRIVEN, EVALUATE),
    "pressure-margin": (DRIVEN, STRANDS),
    "borrowed-burn-law": (DRIVEN, EVALUATE),
    "class-1-build": (JUSTIFY, FIRING),
    "model-code-scope": (JUSTIFY, EVALUATE),
    "maker-code-scope": (JUSTIFY, DRIVEN),
    "high-power-scope": (FIRING, EVALUATE),
}


def hot(celsius: int) -> str:
    return JUDGE.replace("119 C", f"{celsius} C")


def sheet(grams: int) -> str:
    return WEIGH.replace("200 g", f"{grams} g")


#: At 1.73 g/cm3. A grain of 60/12 mm, 120 mm long: 326 cm3, 560 g, at an ideal 150 s
#: 830 N s; three of them 1.7 kg. One of 300/100 mm, 1 m in all: 63 l, 109 kg, 160,000
#: N s. One of 36/12 mm, 90 mm long: 141 g; the one above it, 25/12/40 mm, 26 g.
BIG = ('outer = "25 mm"', 'outer = "60 mm"'), ('length = "40 mm"', 'length = "120 mm"')
HUGE = (
    ('outer = "25 mm"\ncore = "12 mm"', 'outer = "300 mm"\ncore = "100 mm"'),
    ('length = "40 mm"', 'length = "500 mm"\nsegments = 2'),
    ('throat = "8 mm"', 'throat = "70 mm"'),
)
LONGER = (
    ('outer = "25 mm"', 'outer = "36 mm"'),
    ('length = "40 mm"', 'length = "90 mm"'),
)
THREE = (*BIG, ("[motor.grain]", "[motor.grain]\nsegments = 3"))

Change = tuple[tuple[str, str], ...]
Told = Callable[[str, Change], set[str]]


def motor_key(line: str) -> Change:
    return (('throat = "8 mm"', f'throat = "8 mm"\n{line}'),)


NONE: Change = ()
WARM, COLD = (
    (('grain_temperature = "20 C"', f'grain_temperature = "{t} C"'),) for t in (45, -5)
)
STEEP: Change = (("exponent = 0.3", "exponent = 0.7"),)
STEEPER: Change = (("exponent = 0.3", "exponent = 0.9"),)
PIPE: Change = (("aluminium tube", "PVC pipe"),)
HEAVY, LIGHT = (motor_key(f'installed_mass = "{m} g"') for m in (1600, 1400))
SEALED: Change = (("enamel pan", "pressure cooker"),)
LID: Change = (('name = "enamel pan"', 'name = "enamel pan"\nsealed = true'),)
ASHES: Change = (
    ("[kitchen]", '[lots.a]\ningredient = "KNO3"\ninert = "2 %"\n[kitchen]'),
)


def narrow(rate: int) -> Change:
    """Return 200 g in a pan of 12 cm that warms by so many kelvin a minute."""
    keys = f'batch = "200 g"\npan_diameter = "12 cm"\nheating_rate = {rate}'
    return (("[kitchen]", f"[kitchen]\n{keys}"),)


BENCHED = JUDGE.replace(ALONE, "--bench bench.toml")

#: Rules with a quantity: command and change that fire it, and those that do not.
RULES = [
    ("bulk-above-130", hot(135), NONE, hot(119), NONE),
    ("bulk-above-130", f"{EVALUATE} --cook '135 C' --minutes 8", NONE, EVALUATE, NONE),
    ("bulk-above-150", hot(155), NONE, hot(145), NONE),
    ("wall-above-130", BENCHED, narrow(3), BENCHED, NONE),
    ("wall-above-150", BENCHED, narrow(20), BENCHED, narrow(3)),
    ("closed-vessel-declared", BENCHED, SEALED, BENCHED, NONE),
    ("closed-vessel-declared", BENCHED, LID, JUDGE, LID),
    ("closed-vessel-declared", WEIGH.replace(ALONE, ""), LID, WEIGH, LID),
    ("batch-above-250", sheet(300), NONE, sheet(200), NONE),
    ("batch-above-500", sheet(600), NONE, sheet(300), NONE),
    (
        "water-as-cast",
        "evaluate 'KNO3:60 sucrose:32 water:8' --no-confirm --no-bench",
        NONE,
        EVALUATE,
        NONE,
    ),
    ("inert-above-1", DRIVEN, ASHES, DRIVEN, NONE),
    ("plastic-case", DRIVEN, PIPE, DRIVEN, NONE),
    ("warm-grain", DRIVEN, WARM, DRIVEN, NONE),
    ("cold-grain", DRIVEN, COLD, DRIVEN, NONE),
    ("steep-burn-law", DRIVEN, STEEP, DRIVEN, NONE),
    ("steep-burn-law", DRIVEN, STEEPER, EVALUATE, STEEPER),
    ("propellant-above-125", DRIVEN, LONGER, DRIVEN, NONE),
    ("propellant-above-125", FIRING.replace("100 g", "130 g"), NONE, FIRING, NONE),
    ("mass-above-1500", DRIVEN, HEAVY, DRIVEN, LIGHT),
    ("mass-above-1500", DRIVEN, THREE, DRIVEN, NONE),
    ("mass-above-1500", FIRING.replace("100 g", "1600 g"), NONE, FIRING, NONE),
    ("impulse-above-320", DRIVEN, BIG, DRIVEN, NONE),
    ("impulse-above-40960", DRIVEN, HUGE, DRIVEN, BIG),
]

SEARCH = "search bench.toml --no-confirm"
COMPARE = "compare now new --bench bench.toml --no-confirm --draws 100"
CHANGE = COMPARE.replace("compare", "justify")
SHEET = "weigh now --bench bench.toml --grains 1 --strands 0"
KEPT = "batch new now --bench bench.toml --batch '100 g' --date 2026-05-03"

#: What each command that sees a motor or a batch says, too; all at once, for each alone
#: was tried above.
BIG_BATCH: Change = (('batch = "200 g"', 'batch = "600 g"'),)
BATCH = ("batch-above-250", "batch-above-500")
MANY: Change = (*BIG_BATCH, *BIG, *HEAVY, *PIPE, *ASHES, *WARM)
OF_MANY = (
    *BATCH,
    *("propellant-above-125", "impulse-above-320", "mass-above-1500"),
    *("plastic-case", "inert-above-1", "warm-grain"),
)
ELSEWHERE = [
    (SEARCH, OF_MANY, MANY),
    (SEARCH, ("mass-above-1500",), THREE),
    *(
        (command, ("steep-burn-law", *OF_MANY), (*MANY, *STEEP))
        for command in (COMPARE, CHANGE)
    ),
    *(
        (command, ("steep-burn-law", "mass-above-1500"), (*THREE, *STEEPER))
        for command in (COMPARE, CHANGE)
    ),
    *((command, ("propellant-above-125",), BIG) for command in (SHEET, KEPT)),
]


@pytest.fixture(scope="module")
def example(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The example's recordings and strands, with a bench file of their own."""
    folder = tmp_path_factory.mktemp("example")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        assert main(["init"]) == 0
        words = f"batch new {MIX} --batch '100 g' --date 2026-05-02"
        assert main(shlex.split(words)) == 0
    return folder


@pytest.fixture
def there(example: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    shutil.copytree(example, tmp_path, dirs_exist_ok=True)
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture(scope="module")
def known() -> dict[tuple[str, Change], set[str]]:
    """What was told already: a command on an input runs once, for all its rules."""
    return {}


@pytest.fixture
def told(
    there: Path,
    capsys: pytest.CaptureFixture[str],
    known: dict[tuple[str, Change], set[str]],
) -> Told:
    """Return the keys of the rules that a command shows."""

    def keys_of(command: str, change: Change) -> set[str]:
        if (command, change) not in known:
            known[command, change] = run(command, change, capsys)
        return known[command, change]

    return keys_of


def run(command: str, change: Change, capsys: pytest.CaptureFixture[str]) -> set[str]:
    text = MOTOR
    for old, new in change:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    Path("bench.toml").write_text(text, "utf-8")
    capsys.readouterr()
    assert main([*shlex.split(command), "--json"]) in (0, 1)
    document = json.loads(capsys.readouterr().out)
    document = document if isinstance(document, dict) else {}
    cautions = document.get("cautions", [])
    keys = {text: key for key, text in TEXTS.items()}
    return {keys[text] for text in cautions if text in keys}


@pytest.mark.exact
def test_every_rule_is_tried() -> None:
    tried = {*ALWAYS, *(rule[0] for rule in RULES)}
    assert tried == set(TEXTS)
    bare = {c.key for c in DATABASE.cautions if not c.quantity}
    assert bare == set(ALWAYS)


@pytest.mark.exact
@pytest.mark.parametrize("key", ALWAYS)
def test_a_rule_of_a_topic_stands_there_and_not_elsewhere(key: str, told: Told) -> None:
    loud, silent = ALWAYS[key]
    assert key in told(loud, NONE)
    assert key not in told(silent, NONE)


@pytest.mark.exact
@pytest.mark.parametrize(("key", "loud", "change", "silent", "other"), RULES)
def test_a_rule_with_a_limit_fires_beyond_it(
    key: str,
    loud: str,
    change: Change,
    silent: str,
    other: Change,
    told: Told,
) -> None:
    assert key in told(loud, change)
    assert key not in told(silent, other)


@pytest.mark.slow
@pytest.mark.exact
@pytest.mark.parametrize(("command", "keys", "change"), ELSEWHERE)
def test_every_command_that_knows_the_quantity_says_it(
    command: str, keys: tuple[str, ...], change: Change, told: Told
) -> None:
    assert {*keys} <= told(command, change)


@pytest.mark.slow
@pytest.mark.exact
@pytest.mark.parametrize("command", [SEARCH, COMPARE, CHANGE])
def test_commands_are_silent_about_a_small_motor(command: str, told: Told) -> None:
    limited = {c.key for c in DATABASE.cautions if c.quantity}
    assert told(command, NONE) & limited == set()


@pytest.mark.slow
@pytest.mark.exact
@pytest.mark.parametrize(
    "command",
    [
        "sweep now --bench bench.toml --vary KNO3 --from 64% --to 66% --step 1% "
        "--show pressure_margin_percent",
        "map KNO3 sucrose water --step 25% --bench bench.toml "
        "--show pressure_margin_percent",
    ],
)
def test_sweep_and_map_say_what_a_motor_raises(
    command: str, there: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def said(change: Change) -> str:
        text = MOTOR
        for old, new in change:
            text = text.replace(old, new)
        Path("bench.toml").write_text(text, "utf-8")
        assert main([*shlex.split(command), "--json"]) == 0
        return " ".join(json.loads(capsys.readouterr().out)["cautions"])

    limited = ("propellant-above-125", "impulse-above-320", "mass-above-1500")
    for key in limited:
        assert TEXTS[key] in said((*BIG, *HEAVY))
        assert TEXTS[key] not in said(NONE)
    assert TEXTS["steep-burn-law"] in said(STEEP)
