"""What is foreseen of a batch, and what a record keeps of other files for that."""

from __future__ import annotations

import hashlib
import math
import os
import re
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar import plausible
from castsugar.bench.bench import Bench, check_bench, parsed, read_bench
from castsugar.bench.conditions import conditions_of
from castsugar.bench.editing import toml_text
from castsugar.bench.kitchen import learn
from castsugar.bench.lots import Lots, lots_of
from castsugar.bench.motor import hardware_of
from castsugar.bench.tables import MEASUREMENTS
from castsugar.data.load import Database
from castsugar.errors import InputError, nearest_names
from castsugar.evaluation import evaluate_columns
from castsugar.files.paths import real
from castsugar.files.reading import sha256_of
from castsugar.kitchen.heat import parse_cook
from castsugar.kitchen.parameters import Kitchen
from castsugar.kitchen.pour_table import as_cast
from castsugar.mix import weighing
from castsugar.mix.mix import Mix
from castsugar.mix.weighing import Lot
from castsugar.plausible import collected
from castsugar.records.batch import Batch
from castsugar.records.record import FrozenBench, Made
from castsugar.rows import records

if TYPE_CHECKING:
    from castsugar.motor.firing.quantities import Measured
    from castsugar.motor.hardware import Hardware
    from castsugar.static_test import StaticTest

# ----------------------------------------------------------------------------
# What a record keeps of other files: tables of the bench file, names and hashes.

#: Tables that matter for what is foreseen.
TABLES = ("kitchen", "motor", "lots", "scatter")


def relative(path: Path, folder: Path) -> str:
    """Return how a file is called from a folder, "/" between the parts.

    Of a file on another drive the whole name.
    """
    try:
        found = os.path.relpath(real(path), real(folder))
    except ValueError:
        found = str(real(path))
    return Path(found).as_posix()


def freeze(bench: Bench, folder: Path) -> FrozenBench:
    """Keep what matters of a bench file in a record of a folder.

    Parameters
    ----------
    bench : Bench
    folder : pathlib.Path
        Of the records: paths are kept relative to it.

    Returns
    -------
    FrozenBench

    Raises
    ------
    InputError
        If a file of strands that its [motor] names cannot be read.

    Examples
    --------
    >>> import tempfile
    >>> from castsugar import bench
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     _ = bench.write_example(Path(folder))
    ...     world = bench.read(Path(folder) / "bench.toml")
    ...     frozen = freeze(world.bench, Path(folder) / "batches")
    >>> frozen.file
    '../bench.toml'
    """
    raw = parsed(bench.path, bench.text)
    texts = {t: toml_text({t: raw[t]}) if t in raw else "" for t in TABLES}
    laws = bench.motor["burn_law"] if bench.motor else []
    names = [law["strands"] for law in laws if "strands" in law]
    return FrozenBench(
        file=relative(bench.path, folder),
        sha256=hashlib.sha256(bench.text.encode("utf-8")).hexdigest(),
        strands={name: sha256_of(bench.path.parent / name) for name in names},
        **texts,
    )


def keeps_motor(frozen: FrozenBench | None, path: Path, folder: Path) -> bool:
    """Whether a record keeps the motor of a bench file: its table and its strands.

    Raises
    ------
    CastsugarError
        If the bench file, or strands that it names, cannot be read.
    """
    now = freeze(read_bench(path), folder)
    if frozen is None or not now.motor:
        return False
    kept, there = tomllib.loads(frozen.motor), tomllib.loads(now.motor)
    return (kept, dict(frozen.strands)) == (there, dict(now.strands))


def thaw(frozen: FrozenBench | None, folder: Path) -> Bench | None:
    """Return the bench file as it was, from a record in a folder.

    What is unusual in it was remarked on when it was frozen.

    Raises
    ------
    InputError
        If a table is not what this version reads.
    """
    if frozen is None:
        return None
    text = "\n".join(filter(None, (getattr(frozen, table) for table in TABLES)))
    with collected():
        return check_bench(folder / frozen.file, text)


# ----------------------------------------------------------------------------
# What is to be weighed, what was weighed, and what was typed about a measurement.


def read_actual(
    typed: Iterable[str], names: Iterable[str], database: Database
) -> dict[str, float]:
    """Read masses as "KNO3=120.1 g", for the items of a recipe. [kg]

    Raises
    ------
    InputError
        Names what was typed.
    """
    known = list(names)
    found: dict[str, float] = {}
    for text in typed:
        item, equals, mass = text.rpartition("=")
        if not (equals and item.strip() and mass.strip()):
            raise InputError(
                f"--actual {text!r} is not of the form NAME=MASS; write for example "
                "'KNO3=120.1 g'"
            )
        name = weighing.item_name(database, item.strip())
        if name not in known:
            raise InputError(
                f"--actual {text!r}: {name!r} is not in the recipe ({', '.join(known)})"
            )
        if name in found:
            raise InputError(f"--actual {text!r}: {name!r} is given twice")
        where = f"--actual {text!r}"
        found[name] = plausible.read(mass, "mass on the scale", where=where).value
    return found


def words(text: str) -> list[tuple[str, str]]:
    """Split "kind=pan weight lost=1.4 g" into keys and values.

    A key is a word right before "=", its value all up to the next key.

    Examples
    --------
    >>> words("kind=pan weight  lost=1.4 g")
    [('kind', 'pan weight'), ('lost', '1.4 g')]
    """
    pieces = re.split(r"(?:^|\s)([A-Za-z][A-Za-z_-]*)\s*=", text)
    pairs = zip(pieces[1::2], pieces[2::2], strict=True)
    head = [("", pieces[0].strip())] if pieces[0].strip() else []
    return head + [(key, value.strip()) for key, value in pairs]


def measurement_of(text: str, batch: Batch, date: str) -> dict[str, Any]:
    """Return a measurement as typed, with what the batch knows filled in.

    Parameters
    ----------
    text : str
        "kind=pan-weight lost=1.4 g"; keys of
        :data:`castsugar.bench.tables.MEASUREMENTS`, "-" or "_" in them.
    batch : Batch
        Gives recipe, cook and mass where they are not typed.

    Raises
    ------
    InputError
        For a key that comes twice, or words that belong to no key.
    """
    entry: dict[str, Any] = {}
    for key, value in words(text):
        if not key:
            raise InputError(
                f"--measured {text!r}: {value!r} belongs to no key; write for example "
                "'kind=pan-weight lost=1.4 g'"
            )
        name = key.replace("-", "_")
        if name in entry:
            raise InputError(f"--measured {text!r}: {key!r} comes twice")
        entry[name] = value
    kind = _kind(str(entry.get("kind", "")), text)
    known = MEASUREMENTS[kind].KEYS
    own = {"recipe": batch.recipe_as_made(), "batch": f"{1e3 * batch.made.mass:.10g} g"}
    if batch.made.cook and "cook" not in entry:
        own["cook"] = batch.made.cook
        if batch.made.minutes is not None and "minutes" not in entry:
            entry |= {"minutes": batch.made.minutes} if "minutes" in known else {}
    own["date"] = date
    filled = {k: v for k, v in own.items() if k in known and k not in entry}
    return entry | {"kind": kind} | filled


def _kind(typed: str, text: str) -> str:
    """Return the kind of a measurement, "-" and spaces taken alike."""
    wanted = typed.replace("-", " ").casefold()
    for kind in MEASUREMENTS:
        if kind.replace("-", " ") == wanted:
            return kind
    listed = [kind.replace(" ", "-") for kind in MEASUREMENTS]
    near = nearest_names(typed, listed) if typed else []
    hint = f"did you mean {near[0]!r}? " if near else ""
    what = f"kind is {typed!r}" if typed else "no kind is given"
    raise InputError(
        f"--measured {text!r}: {what}; {hint}allowed: kind={', kind='.join(listed)}"
    )


# ----------------------------------------------------------------------------
# What is foreseen of a batch: its mix as cast, and its row of the table.


def kitchen_of(made: Made, bench: Bench | None, database: Database) -> Kitchen | None:
    """Return the kitchen that a batch was cooked in; None without a cook.

    Raises InputError.
    """
    if not made.cook:
        return None
    typed = parse_cook(made.cook, made.minutes, where="cook")
    return learn(bench, typed, database).kitchen.holding(sum(made.on_scale.values()))


def used_lots(made: Made, bench: Bench | None, database: Database) -> Lots:
    """Return the lots that a batch was weighed from, by catalogue name.

    Those that the record names; while it names none, those in use.
    """
    if bench is None:
        return {}
    wanted = [str(lot["name"]) for lot in made.lots.values()]
    return lots_of(bench, database, wanted=wanted, only=made.planned)


def _weighed(
    made: Made, bench: Bench | None, database: Database, water_lost: float | None
) -> Mix:
    """Return the mix of the masses as made, with the water loss that is stated."""
    lots: Mapping[str, Lot] = {
        item: lot for item, (lot, _) in used_lots(made, bench, database).items()
    }
    return Mix.put_together(
        made.masses,
        name=made.name or made.recipe,
        water_lost=water_lost or 0.0,
        lots=lots,
        process=made.process,
        database=database,
    )


def cast(
    made: Made,
    bench: Bench | None,
    database: Database,
    *,
    water_lost: float | None = None,
) -> Mix:
    """Return the mix of a batch as cast, of the masses as made.

    Parameters
    ----------
    water_lost : float, optional
        Share of the recipe's water that leaves; by default what the kitchen says, and
        none without a cook.

    Raises CastsugarError.
    """
    mix = _weighed(made, bench, database, water_lost)
    kitchen = kitchen_of(made, bench, database)
    if kitchen is None:
        return mix
    return as_cast(mix, kitchen.changed(water_lost=water_lost))


def foresee(
    made: Made,
    bench: Bench | None,
    database: Database,
    *,
    water_lost: float | None = None,
    motor: Hardware | None = None,
) -> tuple[dict[str, Any], float]:
    """Return the row of a batch, and the share of its water that leaves.

    Parameters
    ----------
    made : Made
        Masses, cook and pressure; what it foresees is not looked at.
    bench : Bench or None
        With kitchen, motor and lots; None without a bench file.
    database : Database
    water_lost : float, optional
        Share of the recipe's water that leaves; by default what the kitchen says, and
        none without a cook.
    motor : Hardware, optional
        By default that of the bench.

    Returns
    -------
    row : dict
        Columns of :data:`castsugar.columns.COLUMNS`.
    water_lost : float
        Share of the recipe's water.

    Raises
    ------
    CastsugarError
        For masses, a cook or a bench that cannot be used.

    Examples
    --------
    >>> import castsugar as cs
    >>> made = cs.records.Made(
    ...     date="2026-11-25",
    ...     recipe="KNO3:65 sucrose:35",
    ...     name="",
    ...     fractions={"potassium nitrate": 0.65, "sucrose": 0.35},
    ...     batch=0.2,
    ...     planned={"potassium nitrate": 0.13, "sucrose": 0.07},
    ...     pressure=3e6,
    ... )
    >>> row, lost = foresee(made, None, cs.load_database())
    >>> round(row["flame_temperature_K"]), lost
    (1688, 0.0)
    """
    kitchen = kitchen_of(made, bench, database)
    if motor is None and bench is not None and bench.motor is not None:
        motor = hardware_of(bench, database)
    columns = evaluate_columns(
        [_weighed(made, bench, database, water_lost)],
        **(conditions_of(bench).options() | {"pressure": made.pressure}),
        kitchen=kitchen.changed(water_lost=water_lost) if kitchen else None,
        motor=motor,
        confirm=True,
    )
    row = records(columns)[0]
    lost = cast(made, bench, database, water_lost=water_lost).water_lost
    return row, lost


def allowed_pressure(row: Mapping[str, Any]) -> float:
    """Return the allowed pressure of a row; NaN if it tells none. [MPa]

    The row keeps the 95 % value of the pressure and its margin to what is allowed,
    (allowed - p95) / allowed.
    """
    high = float(row.get("peak_pressure_p95_MPa", math.nan))
    margin = 0.01 * float(row.get("pressure_margin_percent", math.nan))
    if math.isfinite(high) and math.isfinite(margin) and margin < 1.0:
        return high / (1.0 - margin)
    return math.nan


def mix_of(made: Made, folder: Path, database: Database) -> Mix:
    """Return the mix of a kept batch as cast, by the bench file of that day.

    Raises CastsugarError.
    """
    bench = thaw(made.bench, folder)
    return cast(made, bench, database, water_lost=made.water_lost)


# ----------------------------------------------------------------------------
# What a record keeps of a firing: its results on the day, units in the keys.

#: Result of a reduction -> unit in its key, size of that unit.
RESULTS: Mapping[str, tuple[str, float]] = {
    "characteristic_velocity": ("m_s", 1.0),
    "specific_impulse": ("s", 1.0),
    "mean_pressure": ("MPa", 1e-6),
    "peak_pressure": ("MPa", 1e-6),
    "burn_time": ("s", 1.0),
    "total_impulse": ("N_s", 1.0),
    "mean_thrust": ("N", 1.0),
    "peak_thrust": ("N", 1.0),
    "thrust_coefficient": ("", 1.0),
    "characteristic_velocity_efficiency": ("", 1.0),
    "specific_impulse_efficiency": ("", 1.0),
    "nozzle_efficiency": ("", 1.0),
}

#: Keys of the burn rate that a firing shows, as of :class:`castsugar.static_test.Rate`.
RATE_KEYS = ("burn_rate_pressure_MPa", "burn_rate_mm_s", "burn_rate_log_uncertainty")

#: Key of the part of that uncertainty that other firings share, where there is one.
SHARED_KEY = "burn_rate_log_uncertainty_shared"

#: Of the results, what is predicted of the motor that was fired.
_EXPECTED = ("peak_pressure", "burn_time", "total_impulse")


def key_of(name: str, unit: str) -> str:
    """Return the key of a result."""
    return f"{name}_{unit}" if unit else name


def results_of(test: StaticTest) -> dict[str, Any]:
    """Return what a record keeps of a firing; what has no number is left out.

    Returns
    -------
    dict
        Of every result its value, `<name>_uncertainty` (standard) or `<name>_bound`
        ("at least", "at most": no uncertainty then), the burn rate that it shows,
        the share of the theoretical density, what was predicted as `expected_<name>`,
        the `alarms` by name, and `look_again`. Pressures are absolute.
    """
    found: dict[str, Any] = {}
    results = test.results
    for name, (unit, size) in RESULTS.items():
        if name in results:
            found |= _kept(name, unit, results[name], size)
    if (rate := test.rate) is not None:
        values = (1e-6 * rate.pressure, 1e3 * rate.value, rate.u)
        found |= dict(zip(RATE_KEYS, values, strict=True))
        found |= {SHARED_KEY: rate.shared} if rate.shared > 0.0 else {}
    found["propellant_over_grain_without_voids"] = test.density_ratio
    if test.expected is not None:
        for name in _EXPECTED:
            unit, size = RESULTS[name]
            value = size * float(getattr(test.expected.best, name))
            found[f"expected_{key_of(name, unit)}"] = value
    if test.hardware is not None and math.isfinite(test.hardware.allowable):
        found["case_may_hold_MPa"] = 1e-6 * test.hardware.allowable
    found["alarms"] = test.alarm_names
    found["look_again"] = "; ".join(test.doubts)
    return {k: v for k, v in found.items() if isinstance(v, str) or not math.isnan(v)}


def _kept(name: str, unit: str, found: Measured, size: float) -> dict[str, Any]:
    """Return value, and uncertainty or bound, of one result."""
    kept: dict[str, Any] = {key_of(name, unit): size * float(found.value)}
    if found.bound:
        return kept | {f"{name}_bound": found.bound}
    return kept | {key_of(f"{name}_uncertainty", unit): size * float(found.u)}


def bound_of(row: Mapping[str, Any], name: str) -> str:
    """Return the bound of a kept result; empty for a value with its uncertainty.

    Records of the first kind hold `<name>_at_least`, 1 for a lower limit.
    """
    older = "at least" if row.get(f"{name}_at_least") else ""
    return str(row.get(f"{name}_bound", older))
