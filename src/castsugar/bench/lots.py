"""From the lots of a bench file to what a mix is weighed of."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from castsugar import plausible, units
from castsugar.bench.bench import Bench
from castsugar.bench.schema import Place, check_range
from castsugar.costs import Prices
from castsugar.data.load import Database
from castsugar.data.records import Syrup
from castsugar.errors import CastsugarError, InputError, nearest_names
from castsugar.frozen import dataclass
from castsugar.mix import refusals
from castsugar.mix.weighing import Lot, expand

if TYPE_CHECKING:
    from castsugar.kitchen.packing import Grind

#: Specific volume of the water in a syrup at 20 C [m3/kg], for a label in millilitres:
#: 1 / rho = w v + (1 - w) 1.0018 cm3/g, with v the specific volume of the solids that
#: the catalogue holds. Derived there; good for 0.4 %.
_WATER_VOLUME = 1.0018e-3

#: Standard uncertainty of dry solids from a label: the number is rounded to 1 g, and
#: spoons, fill and rules of labelling add to it. Estimated.
LABEL_SOLIDS_UNCERTAINTY = 0.03

_POWDER_ONLY = ("assay", "moisture")
_SYRUP_ONLY = ("solids", "dextrose_equivalent", "label_carbohydrate")


@dataclass(frozen=True, slots=True, kw_only=True)
class LotRecord:
    """What is known about a lot beside its composition."""

    name: str  # as the user calls the bag or bottle
    ingredient: str  # catalogue name
    #: Where its numbers come from and when they were read (ISO); empty: not said.
    source: str
    date: str
    #: Keys that the file states, or that follow from a label, with their values:
    #: moisture and solids of what is weighed, assay and inert of its dry matter (mass
    #: fractions); the dextrose equivalent as a number.
    stated: dict[str, float]
    #: Standard uncertainty of those that have one. [mass fraction]
    uncertainty: dict[str, float]
    #: Whether the dry solids come from the carbohydrate on a label.
    from_label: bool = False
    grind: Grind | None = None  # of nitrate, where it is stated

    def to_dict(self) -> dict[str, Any]:
        """Return plain values; shares are mass fractions, on the basis of `stated`."""
        return {
            "name": self.name,
            "ingredient": self.ingredient,
            "source": self.source,
            "date": self.date,
            "mass_fraction": {
                k: v for k, v in self.stated.items() if k != "dextrose_equivalent"
            },
            "dextrose_equivalent": self.stated.get("dextrose_equivalent"),
            "standard_uncertainty": dict(self.uncertainty),
            "solids_from_label": self.from_label,
        }


Lots = dict[str, tuple[Lot, LotRecord]]


def lots_of(
    bench: Bench,
    database: Database,
    *,
    wanted: Iterable[str] = (),
    only: Iterable[str] | None = None,
) -> Lots:
    """Return the lot to weigh each ingredient from.

    Parameters
    ----------
    wanted : iterable of str
        Names of lots to take, whatever the file says is in use.
    only : iterable of str, optional
        Catalogue names that matter; a doubt about another ingredient's lot is no
        error then.

    Returns
    -------
    dict of str to (Lot, LotRecord)
        By catalogue name, for :meth:`castsugar.Mix.weigh`. Of several lots of one
        ingredient the wanted one, else the one with ``in_use = true``, else the only
        one that is not ``in_use = false``.

    Raises
    ------
    InputError
        File, line and lot: an unknown ingredient, a key that does not belong to it, or
        several lots without one in use.
    """
    read = {name: _read(name, bench, database) for name in bench.lots}
    chosen = _wanted(wanted, read, bench)
    matter = None if only is None else set(only)
    found = {}
    for item in dict.fromkeys(record.ingredient for _, record in read.values()):
        if matter is not None and item not in matter:
            continue
        name = chosen.get(item) or _in_use(item, read, bench)
        if name is not None:
            found[item] = read[name]
    return found


def _wanted(names: Iterable[str], read: Lots, bench: Bench) -> dict[str, str]:
    """Return catalogue name to wanted lot."""
    found: dict[str, str] = {}
    for name in names:
        if name not in read:
            known = ", ".join(map(repr, read)) or "none"
            raise InputError(f"{bench.path} has no lot {name!r}; it has {known}")
        item = read[name][1].ingredient
        if item in found:
            raise InputError(
                f"lots {found[item]!r} and {name!r} are both {item!r}; weigh from one"
            )
        found[item] = name
    return found


def _in_use(item: str, read: Lots, bench: Bench) -> str | None:
    """Return the lot of an ingredient that is weighed from; None if none is."""
    of_item = [name for name, (_, record) in read.items() if record.ingredient == item]
    used = [name for name in of_item if bench.lots[name]["in_use"] is True]
    left = used or [name for name in of_item if bench.lots[name]["in_use"] is None]
    if len(left) > 1:
        what = "are all in use" if used else "and none says in_use = true"
        names = ", ".join(map(repr, left))
        raise bench.place(f"lots.{left[-1]}").fail(
            "in_use" if used else "",
            f"- {item!r} has the lots {names} {what}; mark one with in_use = true, the "
            "others with in_use = false",
        )
    return left[0] if left else None


def _read(name: str, bench: Bench, database: Database) -> tuple[Lot, LotRecord]:
    """Look one lot up in the catalogue."""
    table, place = bench.lots[name], bench.place(f"lots.{name}")
    try:
        item = database.find(table["ingredient"])
    except CastsugarError as error:
        raise place.fail("ingredient", f"- {error}") from None
    _check_keys(table, item, place)
    stated = {
        key: table[key]
        for key in ("assay", "moisture", "inert", "solids", "dextrose_equivalent")
        if table[key] is not None
    }
    doubt = {
        key: table[f"{key}_u"]
        for key in ("assay", "moisture", "inert", "solids")
        if table[f"{key}_u"] is not None
    }
    from_label = table["label_carbohydrate"] is not None
    if isinstance(item, Syrup) and from_label:
        stated["solids"] = _label_solids(table, item, place)
        doubt.setdefault("solids", LABEL_SOLIDS_UNCERTAINTY)
    try:
        lot = Lot(
            moisture=stated.get("moisture", 0.0),
            inert=stated.get("inert", 0.0),
            assay=stated.get("assay"),
            dry_solids=stated.get("solids"),
            dextrose_equivalent=stated.get("dextrose_equivalent"),
            dry_solids_uncertainty=doubt.get("solids"),
            moisture_uncertainty=doubt.get("moisture"),
            assay_uncertainty=doubt.get("assay"),
            invented=bench.invented_in(f'lots."{name}"'),
        )
        expand(database, item.name, 1.0, lot, {})
    except CastsugarError as error:
        raise place.fail("", f"- {error}") from None
    record = LotRecord(
        name=name,
        ingredient=item.name,
        source=table["source"],
        date=table["date"] or "",
        stated=stated,
        uncertainty=doubt,
        from_label=from_label,
        grind=_grind(table["grind"], item.name, place),
    )
    return lot, record


def _grind(typed: str | None, item: str, place: Place) -> Grind | None:
    """Return the grind of a lot: a word, or the median size of its grains."""
    if typed is None:
        return None
    from castsugar.kitchen.packing import GRINDS, grind_of_size

    if item != "potassium nitrate":
        raise place.fail("grind", f"- {item!r} has none that counts; only nitrate has")
    if typed in GRINDS:
        return GRINDS[typed]
    allowed = f"allowed: {', '.join(GRINDS)}, or a median size: '70 um'"
    try:
        size = units.parse(typed, "length").value
    except InputError:
        near = nearest_names(typed, GRINDS)
        hint = f"did you mean {near[0]!r}? " if near else ""
        raise place.fail("grind", f"is {typed!r}; {hint}{allowed}") from None
    try:
        return grind_of_size(size)
    except CastsugarError as error:
        raise place.fail("grind", f"- {error}; {allowed}") from None


def _check_keys(table: Mapping[str, Any], item: object, place: Place) -> None:
    """Refuse keys of a syrup for a powder, and of a powder for a syrup."""
    kind = "a syrup" if isinstance(item, Syrup) else "no syrup"
    wrong = _POWDER_ONLY if isinstance(item, Syrup) else _SYRUP_ONLY
    right = "solids, label_carbohydrate, dextrose_equivalent or inert"
    if not isinstance(item, Syrup):
        right = "assay, moisture or inert"
    for key in wrong:
        if table[key] is not None:
            raise place.fail(
                key, f"- {table['ingredient']!r} is {kind}; it takes {right}"
            )


def _label_solids(table: Mapping[str, Any], syrup: Syrup, place: Place) -> float:
    """Return the dry solids that a label of nutrients tells [mass fraction].

    Carbohydrate is all of the dry solids but the ash (about 0.2 %), which is neglected.
    """
    typed, carbohydrate = table["label_serving"], table["label_carbohydrate"]
    mass, volume = _serving(typed, place)
    if mass is None and table["label_density"] is not None:
        mass = volume * table["label_density"]
    elif table["label_density"] is not None:
        raise place.fail("label_density", "needs a serving in ml, not one in g")
    if mass is not None:
        solids = carbohydrate / mass
    else:
        solids = volume_solids(carbohydrate / volume, syrup.solids_specific_volume)
    return plausible.checked(
        "dry solids",
        solids,
        lambda words: place.fail(
            "label_carbohydrate",
            f"- the share of it in {typed!r} {words}; check the serving",
        ),
    )


def volume_solids(concentration: float, solids_volume: float) -> float:
    r"""Return dry solids of a syrup from the carbohydrate in its volume.

    .. math:: w = \frac{v_w k}{1 - k (v_s - v_w)}

    follows from :math:`k = w \rho` and :math:`1/\rho = w v_s + (1 - w) v_w`.

    Parameters
    ----------
    concentration : float
        Carbohydrate per volume, k. [kg/m3]
    solids_volume : float
        Specific volume of the solids, v_s. [m3/kg]

    Returns
    -------
    float
        Mass fraction.
    """
    room = 1.0 - concentration * (solids_volume - _WATER_VOLUME)
    return _WATER_VOLUME * concentration / room


def _serving(typed: str, place: Place) -> tuple[float | None, float]:
    """Return mass, or None and the volume, of one serving."""
    found: list[float | None] = []
    for quantity in ("mass", "volume"):
        try:
            found.append(units.parse(typed, quantity).value)
        except InputError:
            found.append(None)
    mass, volume = found
    if mass is not None:
        check_range(mass, "label_serving", "mass of a serving", place)
        return mass, math.nan
    if volume is None:
        raise place.fail(
            "label_serving", f"is {typed!r}; write a mass or a volume: '100 g', '30 ml'"
        )
    check_range(volume, "label_serving", "volume of a serving", place)
    return None, volume


# ----------------------------------------------------------------------------
# What they cost.


def prices_of(bench: Bench, database: Database) -> Prices | None:
    """Return what ingredients cost: of the lot in use, else as [prices] has it.

    Raises
    ------
    InputError
        An unknown ingredient, one that is priced twice, or two currencies.
    """
    found: dict[str, float] = {}
    currencies: dict[str, tuple[Place, str]] = {}
    place = bench.place("prices")
    for typed, (price, currency) in bench.prices.items():
        with place.named(typed):
            name = refusals.catalogue_name(database, typed)
        if name in found:
            raise place.fail(typed, "is in the table under another name; give one")
        found[name] = price
        currencies.setdefault(currency, (place, typed))
    for name, (_, record) in lots_of(bench, database).items():
        if (stated := bench.lots[record.name]["price"]) is not None:
            found[name] = stated[0]
            where = bench.place(f"lots.{record.name}")
            currencies.setdefault(stated[1], (where, "price"))
    if len(currencies) > 1:
        first, other = [*currencies][:2]
        where, key = currencies[other]
        raise where.fail(
            key, f"is in {other}, others are in {first}; give one currency"
        )
    return Prices(next(iter(currencies)), found) if found else None
