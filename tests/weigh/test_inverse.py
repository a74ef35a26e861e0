"""What a batch gives, what meets a slip, in how many pans: held against the sheet.

Exact: the sheet of what was answered comes back to what was asked, to the step of the
scale. Worked by hand where a number stands alone.
"""

from __future__ import annotations

import math
import random

import pytest

from castsugar import InputError, load_database
from castsugar.motor.grain import HollowCylinder
from castsugar.weigh import (
    Castings,
    Equipment,
    Sizes,
    castings,
    corrected,
    fewest_pans,
    in_pans,
    pieces_of,
    plan,
    read_charge,
    sheet_again,
    weighed_with,
)

pytestmark = pytest.mark.exact

DATABASE = load_database()
HAND = "KNO3:60 sucrose:20 corn syrup:20"
GRAM, OUNCE = 1e-3, 0.028349523125


class Bench:
    """An invented bench: recipe, scale, pan, sizes and motor by a seed."""

    def __init__(self, seed: int) -> None:
        rng = random.Random(seed)
        nitrate, syrup = rng.uniform(50.0, 68.0), rng.choice([0.0, 12.0, 25.0])
        parts = {"KNO3": nitrate, "sucrose": 100.0 - nitrate - syrup}
        parts |= {"corn syrup": syrup} if syrup else {}
        parts |= {"red iron oxide": 5.0} if rng.random() < 0.3 else {}
        text = " ".join(f"{name}:{share:.3f}" for name, share in parts.items())
        self.charge = read_charge(text, None, DATABASE)
        self.mix = self.charge.mix(water_lost=rng.choice([0.0, 0.15, 0.6]))
        self.equipment = Equipment(
            step=rng.choice([0.01 * GRAM, 0.1 * GRAM, 0.5 * GRAM, 0.05 * OUNCE]),
            residue_cup=rng.uniform(0.0, 3.0) * GRAM,
            residue_pan=rng.uniform(0.0, 9.0) * GRAM,
        )
        self.sizes = Sizes(
            strand_section=rng.uniform(5e-3, 12e-3) ** 2,
            strand_length=rng.uniform(40e-3, 90e-3),
            delay_diameter=rng.uniform(8e-3, 20e-3),
        )
        outer = rng.uniform(20e-3, 50e-3)
        self.grain = HollowCylinder(
            outer_diameter=outer,
            core_diameter=rng.uniform(0.25, 0.5) * outer,
            segment_length=rng.uniform(1.2, 2.0) * outer,
            segments=rng.randint(1, 5),
            burning_ends=2,
        )
        self.ratio = rng.uniform(0.88, 1.0)
        self.batch = round(rng.uniform(0.25, 1.5), 3)
        names = ("grains", "strands", "delays")
        self.counts = {name: rng.choice([None, None, 0, 1, 2]) for name in names}
        if not any(self.counts.values()):  # nothing is to be cast
            self.counts["delays"] = None
        self.extra = rng.randint(1, 400)  # steps of the scale
        self.rng = rng

    def sheet(self, **more):
        kept = {"mix": self.mix, "density_ratio": self.ratio}
        return plan(self.charge, self.equipment, **kept, **more)

    def castings(self, batch=None, counts=None) -> Castings:
        return castings(
            self.charge,
            self.equipment,
            mix=self.mix,
            batch=self.batch if batch is None else batch,
            sizes=self.sizes,
            grain=self.grain,
            counts=self.counts if counts is None else counts,
            density_ratio=self.ratio,
        )


@pytest.mark.parametrize("block", range(10))
def test_forward_of_inverse_returns_the_question(block) -> None:
    """On 500 benches, fifty a block."""
    for seed in range(50 * block, 50 * (block + 1)):
        check(Bench(seed))


def check(bench: Bench) -> None:
    step = bench.equipment.step
    near = {"abs": 1e-6 * step}
    # A batch: its pieces and what is left over take what was asked, one more does not.
    found = bench.castings()
    assert found.sheet.total == pytest.approx(bench.batch, abs=0.500001 * step)
    assert found.forward == pytest.approx(found.sheet.total, **near)
    if found.needed > 200 * step:  # of less a line may be below a step
        again = bench.sheet(pieces=found.pieces)
        assert again.total == pytest.approx(found.needed, **near)
        assert (again.total <= found.sheet.total + 1e-6 * step) is found.enough
    if found.filled and found.enough:
        counts = {"grain": 0, "strand": 0, "delay column": 0}
        counts |= {one.kind: one.count for one in found.pieces}
        counts[found.filled] += 1
        names = ("grains", "strands", "delays")
        one_more = dict(zip(names, counts.values(), strict=True))
        pieces = pieces_of(bench.grain, bench.sizes, **one_more)
        assert bench.sheet(pieces=pieces).total > found.sheet.total + 0.5 * step
    # Pieces: the batch that the sheet asks for gives just these.
    counts = {"grains": bench.rng.randint(1, 5), "strands": bench.rng.randint(0, 5)}
    asked = bench.sheet(pieces=pieces_of(bench.grain, bench.sizes, **counts))
    back = bench.castings(asked.total, {"strands": counts["strands"], "delays": 0})
    assert back.count("grain") == counts["grains"]
    assert back.count("strand") == counts["strands"]
    # A slip: the sheet of the corrected batch has every line as it came to stand.
    sheet = bench.sheet(batch=bench.batch)
    line = bench.rng.choice(sheet.lines)
    masses = weighed_with(sheet, {line.name: bench.extra * step})
    assert masses[line.name] - line.mass == pytest.approx(bench.extra * step)
    correction = corrected(sheet, masses)
    _, off = sheet_again(sheet, correction)
    assert off <= step * (1.0 + 1e-6)
    assert correction.worst <= step * (1.0 + 1e-6)
    # Pans: so many of the answer are the batch, and one fewer is too much.
    pans = fewest_pans(sheet)
    part = in_pans(sheet, pans)
    assert part.total <= 0.25 + 1e-6 * step
    assert pans * part.total == pytest.approx(sheet.total, abs=0.51 * pans * step)
    assert pans == 1 or in_pans(sheet, pans - 1).total > 0.25


def by_hand(batch, counts=None, *, grain=None, step=GRAM):
    charge = read_charge(HAND, None, DATABASE)
    rough = Equipment(step=step, residue_cup=2 * GRAM, residue_pan=4 * GRAM)
    mix = charge.mix()
    volume = 10 * GRAM / mix.density  # one strand is 10 g, one delay column 5 g
    sizes = Sizes(
        strand_section=volume / 60e-3,
        strand_length=60e-3,
        delay_diameter=math.sqrt(0.5 * volume / (0.25 * math.pi * 25e-3)),
    )
    return castings(
        charge, rough, mix=mix, batch=batch, sizes=sizes, grain=grain, counts=counts
    )


def test_castings_worked_by_hand() -> None:
    """Of 100 g 2 g stay in the cup and 4 g in the pan: 94 g are cast, no water leaves.

    Nine strands of 10 g leave 4 g; with three delay columns of 5 g beside them seven,
    and 9 g, which would give one column more. All stated: 12 are 126 g on the scale.
    """
    found = by_hand(0.1)
    assert (found.filled, found.count("strand")) == ("strand", 9)
    assert found.left == pytest.approx(4 * GRAM)
    assert found.alone == {"strand": 9, "delay column": 18}
    found = by_hand(0.1, {"delays": 3})
    assert [one.count for one in found.pieces] == [7, 3]
    assert found.left == pytest.approx(9 * GRAM)
    assert found.more == {"strand": 0, "delay column": 1}
    assert found.needed == pytest.approx(91 * GRAM)
    found = by_hand(0.1, {"strands": 12, "delays": 0})
    assert (found.filled, found.enough) == ("", False)
    assert found.needed == pytest.approx(126 * GRAM)
    assert found.left == pytest.approx(-26 * GRAM)
    assert str(by_hand(0.014)) == "nothing; 8 g left over"


def test_grains_take_the_rest_beside_three_strands() -> None:
    """A grain of 20 g: three of 94 g beside three strands; four if none is asked."""
    mix = read_charge(HAND, None, DATABASE).mix()
    end = 0.25 * math.pi * (20e-3**2 - 10e-3**2)
    grain = HollowCylinder(
        outer_diameter=20e-3,
        core_diameter=10e-3,
        segment_length=20 * GRAM / mix.density / end,
        segments=2,
        burning_ends=2,
    )
    found = by_hand(0.1, grain=grain)
    assert [(p.kind, p.count) for p in found.pieces] == [("grain", 3), ("strand", 3)]
    found = by_hand(0.1, {"strands": 0}, grain=grain)
    assert [(p.kind, p.count) for p in found.pieces] == [("grain", 4)]
    found = by_hand(0.1, {"grains": 2}, grain=grain)
    assert [(p.kind, p.count) for p in found.pieces] == [("grain", 2), ("strand", 5)]


def test_pans_worked_by_hand() -> None:
    """500 g are two pans of just 250 g; what is cast of one takes a third pan.

    490 g of castings are 496 g in one pan; two pans keep 6 g each: 251 g; three 169.4.
    A pan of 0.1 l is filled half by some 88 g: six pans of 83 g.
    """
    charge = read_charge(HAND, None, DATABASE)
    rough = Equipment(step=0.1 * GRAM, residue_cup=2 * GRAM, residue_pan=4 * GRAM)
    mix = charge.mix()
    sheet = plan(charge, rough, mix=mix, batch=0.5)
    assert fewest_pans(sheet) == 2
    two = in_pans(sheet, 2)
    assert two.total == pytest.approx(0.25)
    assert in_pans(two, 5).total == pytest.approx(0.1)
    volume = 490 * GRAM / mix.density
    sizes = Sizes(strand_section=volume / 0.1, strand_length=0.1)
    pieces = pieces_of(None, sizes, strands=1)
    cast = plan(charge, rough, mix=mix, pieces=pieces)
    assert cast.total == pytest.approx(0.496)
    assert in_pans(cast, 2).total == pytest.approx(0.251)
    assert fewest_pans(cast) == 3
    small = Equipment(
        step=0.1 * GRAM, residue_cup=2 * GRAM, residue_pan=4 * GRAM, volume=1e-4
    )
    filled = 0.5e-4 * mix.density
    assert 0.083 < filled + 2 * GRAM < 0.1
    assert fewest_pans(plan(charge, small, mix=mix, batch=0.5)) == 6


def test_no_number_of_pans_does() -> None:
    """Half a kilogram stays in every pan: nothing is below 250 g, and that is said."""
    charge = read_charge(HAND, None, DATABASE)
    sticky = Equipment(residue_pan=0.4)
    sheet = plan(charge, sticky, mix=charge.mix(), batch=0.5)
    assert fewest_pans(sheet) == 0


def test_slips_and_counts_that_cannot_be() -> None:
    sheet = plan(
        charge := read_charge(HAND, None, DATABASE),
        Equipment(),
        mix=charge.mix(),
        batch=0.2,
    )
    with pytest.raises(InputError, match="not on the sheet; it has"):
        weighed_with(sheet, {"sorbitol": 1e-3})
    for mass in (0.0, -1e-3, math.nan, math.inf):
        with pytest.raises(InputError, match="give a mass above 0"):
            weighed_with(sheet, {"sucrose": mass})
    with pytest.raises(InputError, match="--strands is -1"):
        by_hand(0.1, {"strands": -1})
    with pytest.raises(InputError, match="nothing is to be cast; leave"):
        by_hand(0.1, {"strands": 0, "delays": 0})
    with pytest.raises(InputError, match="--grains needs the size of a grain"):
        by_hand(0.1, {"grains": 1})
