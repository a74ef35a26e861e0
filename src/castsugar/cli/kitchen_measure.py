"""Kitchen measurements on the command line: one command each, kept in the bench file.

The options are the keys of the bench file's measurements; what is typed is what is
written there.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar.cli.bench_option import add_bench_option
from castsugar.cli.interrupt import held_back
from castsugar.cli.output import add_output_options, deliver
from castsugar.cli.screen import remark
from castsugar.plain import to_json

if TYPE_CHECKING:
    from castsugar.bench.schema import Key

_EPILOG = {
    "pan weight": """\
Weigh to 0.1 g or better, spoon included.

examples:
  castsugar kitchen pan-weight --recipe "KNO3:60 sugar:20 corn syrup:20" \\
      --batch "200 g" --lost "2.2 g" --cook "119 C" --minutes 10
""",
    "bulk density": """\
Fill, tap 200 times, strike off, weigh. Powder of the oxidizer alone.

examples:
  castsugar kitchen bulk-density --mass "69 g" --volume "50 ml"
""",
    "ball fall": """\
A steel ball in plain syrup at a known temperature, no oxidizer. Time it well
below the surface; the ball at most a third of the cup's diameter.

examples:
  castsugar kitchen ball-fall --ball "3 mm" --cup "40 mm" --fall "50 mm" \\
      --time "12 s" --temperature "25 C" --bench bench.toml --save
""",
    "flow-out": """\
First without oxidizer: weigh the same volume of ground potassium chloride
(0.943 of the mass) instead of the nitrate, and say --salt "potassium chloride",
or write it into the recipe: KCl:56.6 for KNO3:60.

examples:
  castsugar kitchen flow-out --recipe "KNO3:60 sugar:20 corn syrup:20" \\
      --cook "119 C" --minutes 8 --tube-diameter "8 mm" --tube-length "30 mm" \\
      --head "60 mm" --volume "50 ml" --time "300 s" --salt "potassium chloride"
""",
}

#: What an option takes that is no quantity, or is one of its own.
_TAKES = {
    "recipe": "RECIPE",
    "cook": "PROFILE",
    "minutes": "N",
    "date": "DATE",
    "note": "TEXT",
}

#: The recipe on which the band is shown where the measurement has none.
_BASELINE = "KNO3:60 powdered sugar:20 corn syrup:20"


def add_parsers(inner: Any) -> None:
    """Add one sub-command a kind of measurement."""
    from castsugar.bench.schema import keys_of
    from castsugar.bench.tables import MEASUREMENTS

    for kind, table in MEASUREMENTS.items():
        text = table.__doc__ or ""
        parser = inner.add_parser(
            kind.replace(" ", "-"),
            help=text,
            description=text[0].upper() + text[1:] + ".",
            epilog=_EPILOG[kind],
            formatter_class=argparse.RawDescriptionHelpFormatter,
            allow_abbrev=False,
        )
        _add_keys(parser, dict(keys_of(table)))
        add_bench_option(parser)
        parser.add_argument(
            "--save",
            action="store_true",
            help="add the measurement to the [kitchen] table of the bench file",
        )
        add_output_options(parser, csv=False)
        parser.set_defaults(run=run, kind=kind)


def _add_keys(parser: argparse.ArgumentParser, keys: dict[str, Key]) -> None:
    """Add the keys of a measurement as options."""
    del keys["kind"]
    keys |= {name: keys.pop(name) for name in ("date", "note")}
    for name, key in keys.items():
        is_number = key.range != ""
        usual = repr(key.example) if is_number else key.default
        text = f"{key.about} (default {usual})" if key.default else key.about
        parser.add_argument(
            "--" + name.replace("_", "-"),
            dest=f"key_{name}",
            required=key.required,
            metavar=_TAKES.get(name, key.kind.upper() if is_number else "NAME"),
            help=key.wanted if key.required else text,
        )


def run(options: argparse.Namespace) -> int:
    """Use one measurement, keep it if asked, show what it changes."""
    from castsugar.bench.editing import append_measurement
    from castsugar.data.load import load_database

    database = load_database()
    entry = _entry(options)
    before, after, mix = _learn(options, entry, database)
    page = _page(options, database, before, after, mix)
    new = after.calibration.outcomes[-1]
    with held_back():
        if options.save and not new.contradicts:
            append_measurement(Path(options.bench), entry)
        deliver(options, page)
        if new.contradicts:
            remark("castsugar: not saved, it contradicts what is believed")
        elif options.save:
            remark(f"added to {options.bench}")
        elif options.bench is not None:
            remark(f"not saved; add --save to keep it in {options.bench}")
    return 1 if new.contradicts else 0


def _page(
    options: argparse.Namespace, database: Any, before: Any, after: Any, mix: Any
) -> str:
    """Return what the measurement changes, as JSON or text."""
    from castsugar import units
    from castsugar.kitchen.calibration import viscosity_band
    from castsugar.report import data, kitchen
    from castsugar.report.cautions import pan_facts

    syrup = database.syrups[after.kitchen.syrup]
    bands = viscosity_band(before.kitchen, mix), viscosity_band(after.kitchen, mix)
    hot = options.kind in ("pan weight", "flow-out")
    batch = getattr(options, "key_batch", None)
    facts = pan_facts(
        batch=None if batch is None else units.parse(batch, "mass").value,
        kitchen=after.kitchen if hot else None,
        bench=_bench(options),
    )
    cautions = database.cautions_for("kitchen" if hot else "all", facts)
    if not options.json:
        return kitchen.measurement_page(
            before, after, syrup, mix.name, bands
        ) + kitchen.caution_lines(cautions)
    return to_json(
        {
            "schema": "castsugar.kitchen_measurement/1",
            "versions": data.versions(database.version),
            **kitchen.measurement_document(before, after, syrup, mix.name, bands),
            "cautions": [c.text for c in cautions],
        }
    )


def _bench(options: argparse.Namespace) -> Any:
    """Return the bench file, if there is one."""
    from castsugar.bench.bench import read_bench

    path = None if options.bench is None else Path(options.bench)
    return read_bench(path) if path is not None and path.exists() else None


def _check_files(options: argparse.Namespace) -> None:
    """Refuse files that could not be written."""
    from castsugar.errors import InputError
    from castsugar.files.paths import real
    from castsugar.files.writing import refuse_unwritable

    if options.save and options.bench is None:
        raise InputError("--save needs --bench FILE, the bench file to keep it in")
    both = [real(Path(n)) for n in (options.bench, options.output) if n is not None]
    if len(both) > len({*both}):
        raise InputError("-o is the bench file itself; choose another name")
    if options.save:
        refuse_unwritable({"--bench": options.bench}, force=True)


def _entry(options: argparse.Namespace) -> dict[str, Any]:
    """Return the measurement as it is written in the bench file."""
    _check_files(options)
    entry: dict[str, Any] = {"kind": options.kind}
    for name, value in vars(options).items():
        if name.startswith("key_") and value is not None:
            entry[name.removeprefix("key_")] = value
    if "minutes" in entry:
        entry["minutes"] = _minutes(entry["minutes"])
    if "recipe" in entry and _is_there(options):
        entry["recipe"] = _recipe(entry["recipe"], Path(options.bench))
    return entry


def _is_there(options: argparse.Namespace) -> bool:
    """Return whether a bench file is named that exists."""
    from castsugar.files.paths import status

    return options.bench is not None and status(Path(options.bench)) is not None


def _recipe(typed: str, path: Path) -> str:
    """Return a recipe as typed, or the one that the bench file calls so."""
    from castsugar.bench.bench import read_bench

    return read_bench(path).recipe_text(typed)


def _minutes(typed: str) -> float:
    """Read a number of minutes."""
    import math

    from castsugar import plausible, units
    from castsugar.errors import InputError

    try:
        value = float(typed)
    except ValueError:
        try:
            value = units.parse(typed, "time").value / 60.0
        except InputError:
            value = math.nan
    if not math.isfinite(value):
        raise InputError(f"--minutes {typed!r} is not a number of minutes")
    return plausible.checked("minutes", value, plausible.said_at("--minutes"))


def _learn(
    options: argparse.Namespace, entry: dict[str, Any], database: Any
) -> tuple[Any, Any, Any]:
    """Return the kitchen before and after the measurement, and a mix to show it on."""
    from castsugar.bench.bench import check_bench, read_bench, read_measurement
    from castsugar.bench.kitchen import learn
    from castsugar.bench.schema import Options
    from castsugar.errors import InputError
    from castsugar.kitchen.heat import HOTTEST, parse_cook
    from castsugar.mix.mix import Mix
    from castsugar.mix.text import parse_recipe

    checked = read_measurement(entry, Options())
    typed = entry.get("cook", "119 C")
    cook = parse_cook(
        typed, entry.get("minutes", None if "," in typed else 10), where="--cook"
    )
    if cook.hottest > HOTTEST:
        raise InputError(
            "--cook goes above 150 C bulk temperature: nothing is learnt there. Switch "
            "the heat off and move away; recipes with syrup need no more than 130 C"
        )
    recipe = parse_recipe(entry.get("recipe", _BASELINE), where="--recipe")
    mix = Mix.weigh(recipe, name=recipe.text, database=database)
    path = Path("command line" if options.bench is None else options.bench)
    old = read_bench(path) if _is_there(options) else check_bench(path, "")
    new = old.with_measurement(checked)
    return learn(old, cook, database), learn(new, cook, database), mix
