"""Which test would settle an uncertain input: one sentence for every kind of it."""

from __future__ import annotations

from castsugar.comparison.uncertain_inputs import Input

#: Kind of input -> what to do about it.
_KINDS = {
    "weighing": "weigh on a finer scale, or a larger batch in portions",
    "moisture": "weigh a sample of the powder, dry it (2 h at 105 C: common "
    "practice, no source), weigh it again, and state the loss",
    "enthalpy": "no kitchen test: two sources differ, or one is uncertain; only a "
    "better source settles it. Firings of both mixes tell what they deliver",
    "product data": "no test of yours: the two published data sets differ by this much",
    "pressure": "measure the chamber pressure in a firing (castsugar firing)",
}

#: Parameter of the kitchen -> the measurement that informs it most.
_KITCHEN = {
    "syrup_solids": "time a ball in the cold syrup (castsugar kitchen ball-fall), or "
    "state what the label or a refractometer says",
    "syrup_grade": "time a ball in the cold syrup (castsugar kitchen ball-fall)",
    "packing": "let the ground nitrate settle in brine (castsugar kitchen brine)",
    "nitrate_dissolved": "stir nitrate into warm syrup until it stays (castsugar "
    "kitchen clear-point)",
    "solubility_loss": "time what runs out of a cup, inert salt first (castsugar "
    "kitchen flow-out)",
    "drying_time": "weigh the pan before and after (castsugar kitchen pan-weight)",
    "liquid_factor": "time what runs out of a cup, inert salt first (castsugar kitchen "
    "flow-out)",
    "law_exponent": "time what runs out of a cup, once of a thin mix and once of a "
    "crowded one (castsugar kitchen flow-out, inert salt first)",
    "fines_gain": "time what runs out of a cup, inert salt first (castsugar kitchen "
    "flow-out)",
    "thermometer": "read the thermometer in boiling water (castsugar kitchen "
    "boiling-water)",
}

#: Part of the key of an input of the motor -> what to measure.
_MOTOR = {
    "throat_diameter": "measure the throat with a pin or bore gauge, before and after",
    "density": "weigh and measure a cast grain",
    "area": "measure the grain: core, outside, length",
    "characteristic_velocity": "measure c* in a firing (castsugar firing)",
    "temperature": "let the grain reach a known temperature",
}

_STRANDS = (
    "burn strands of both mixes at several pressures (castsugar burnrate; castsugar "
    "next proposes which)"
)

#: Part of the key of an allowance for burn rates -> what replaces it.
_ALLOWED = {
    "batch": "cook a mix again and burn 2 strands of it or more: batches of one mix "
    "tell how far yours scatter",
    "firing": "fire motors of one batch (castsugar firing)",
    "strands to motor": "fire a motor of a batch whose strands were burned (castsugar "
    "firing)",
    "process": "burn strands of the mix as it is made",
}

_GRADE = "ask the maker for the dextrose equivalent, or take a syrup that states it"


def test_of(one: Input) -> str:
    """Return what would tell an input better.

    Parameters
    ----------
    one : Input

    Examples
    --------
    >>> one = Input(key="motor|area", kind="motor", label="", uncertainty=1.0, unit="")
    >>> test_of(one)
    'measure the grain: core, outside, length'
    """
    if one.key.startswith("burn law|"):
        return _ALLOWED.get(one.key.split("|")[1], _STRANDS)
    if one.key.startswith("motor|"):
        return _MOTOR.get(one.key.split("|")[1], "measure it")
    if one.key.startswith("kitchen|"):
        return _KITCHEN.get(one.key.split("|")[1], "measure it")
    if one.kind == "syrup":
        return _GRADE if one.key.startswith("dextrose") else _KITCHEN["syrup_solids"]
    return _KINDS.get(one.kind, "measure it")
