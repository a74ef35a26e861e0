"""A firing that does not follow its drawn grain, and the likely cause."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.motor.firing.alarms import ALARM, Alarm
from castsugar.motor.firing.burnt_web import BINS, Burnt

#: Chi-squared over its 28 degrees of freedom above which n is not told, and above which
#: the pressure does not follow the drawn grain. Measured: 3.3 and 1.9 % of sound
#: firings; a crack of +5 % area from 40 % of the web, 100 %.
UNFIT, MISFIT = 4.0, 6.0

#: Exponents between which one is told. Our rule; the usual laws lie well inside.
LEAST_EXPONENT, MOST_EXPONENT = -0.99, 0.895

#: An exponent surely below this: the pressure sensor is looked at first. Measured:
#: sound firings 0, softly saturated sensors up to 36 %.
LEAST_USUAL_EXPONENT = -0.2

#: Shape -> what it means. Our rule, by what each does to the burning area.
_CAUSES = {
    "early up": "high in the first part: erosive burning, or the igniter",
    "early down": "low in the first part: a part of the grain that lit late, or a case "
    "that filled slowly (state case_volume in [motor] of the bench file)",
    "step up": "steps up at {share:.0f} % of the propellant: a crack, a face that "
    "burned though inhibited, or a zero of the sensor that jumped",
    "late up": "high at the end: a core that lit late, or is not in the middle",
}

#: Burnt shares: what is early, where a step may lie, where the end begins; and the part
#: of the squares that a shape must explain to be named. Our rules.
_EARLY_SHARE, _STEPS, _LATE_SHARE, _EXPLAINS = 0.15, (0.2, 0.8), 0.75, 0.5


def cause_of(burnt: Burnt, residuals: FloatArray) -> str:
    """Name what the course of the residuals looks like; empty if like nothing known."""
    share = burnt.share
    shapes = {
        "early": np.maximum(_EARLY_SHARE + share[0] - share, 0.0),
        "late": np.maximum(share - _LATE_SHARE, 0.0),
    }
    edges = 0.5 * (share[1:] + share[:-1])
    inside = edges[(edges > _STEPS[0]) & (edges < _STEPS[1])]
    shapes |= {f"step {at}": (share > at).astype(float) for at in inside}
    design = np.column_stack([np.ones(BINS), burnt.supply])

    def bent(values: FloatArray) -> FloatArray:
        return np.asarray(values - design @ np.linalg.lstsq(design, values)[0])

    left = bent(residuals)
    found = {name: bent(shape) for name, shape in shapes.items()}
    explained = {
        name: float(left @ shape) / math.sqrt(float(shape @ shape) * float(left @ left))
        for name, shape in found.items()
    }
    name = max(explained, key=lambda key: abs(explained[key]))
    if explained[name] ** 2 < _EXPLAINS:
        return ""
    kind, _, at = name.partition(" ")
    way = "up" if explained[name] > 0.0 else "down"
    words = _CAUSES.get(f"{kind} {way}", "")
    return words.format(share=100.0 * float(at)) if at else words


def law_alarms(
    burnt: Burnt, residuals: FloatArray, lack_of_fit: float, below: float
) -> Iterator[Alarm]:
    """Yield what the fit alarms of; `below` is where the exponent surely lies below."""
    if lack_of_fit > MISFIT:
        cause = cause_of(burnt, residuals) or (
            "cracks, a face that burned though inhibited, a part that lit late, "
            "erosive burning at the start, or a pressure sensor at its limit"
        )
        yield Alarm(
            test="law",
            sensor="motor",
            level=ALARM,
            value=lack_of_fit,
            limit=MISFIT,
            text=f"the pressure does not follow the drawn grain: {cause}",
        )
    if below < LEAST_USUAL_EXPONENT and lack_of_fit <= MISFIT:
        yield Alarm(
            test="exponent",
            sensor="pressure",
            level=ALARM,
            value=max(below, LEAST_EXPONENT),
            limit=LEAST_USUAL_EXPONENT,
            text="the pressure falls where the burning area rises: the exponent would "
            f"surely lie below {LEAST_USUAL_EXPONENT:g}; look at the pressure sensor "
            "and its range first, and at what the throat did",
        )
