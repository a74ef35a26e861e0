"""How grains pack: grind, fines, settled beds; and what the law of crowding says."""

from __future__ import annotations

import math

import numpy as np
import pytest

import castsugar as cs
from castsugar.kitchen import measurements, packing, solubility, viscometry
from castsugar.kitchen.calibration import calibrate, update_belief
from castsugar.kitchen.parameters import Belief, Kitchen, unmeasured
from castsugar.kitchen.pot import pot_of, poured, standing, water_left
from castsugar.kitchen.suspension import log_thickening, yield_stress

published = pytest.mark.published
exact = pytest.mark.exact

COOK = cs.Cook.hold(392.15, 600.0)
POWDERED = "KNO3:60 powdered sugar:20 corn syrup:20"
PLAIN = "KNO3:60 sugar:20 corn syrup:20"


def mix(recipe: str) -> cs.Mix:
    return cs.Mix.weigh(cs.parse_recipe(recipe))


# ---------------------------------------------------------------- the law


#: Sphere fraction of nine laws of suspensions at a maximum packing of 0.62 (all from
#: memory): Maron & Pierce 1956; Krieger & Dougherty 1959 with intrinsic viscosities
#: 2.5, 3.2, 4; Chong 1971; Eilers with 2.5 and 3.5; Boyer et al. 2011; Morris & Boulay
#: 1999.
TOP = 0.62


def nine_laws(r: float) -> np.ndarray:
    phi, free = r * TOP, 1.0 - r
    friction = 0.32 + 0.38 / (1.0 + 0.005 * (phi / (TOP - phi)) ** 2)
    return np.array(
        [
            free**-2,
            *(free ** (-eta * TOP) for eta in (2.5, 3.2, 4.0)),
            (1.0 + 0.75 * r / free) ** 2,
            *((1.0 + 0.5 * eta * phi / free) ** 2 for eta in (2.5, 3.5)),
            1.0 + 2.5 * phi / free + friction * (r / free) ** 2,
            1.0 + 2.5 * phi / free + 0.1 * (r / free) ** 2,
        ]
    )


@published
@pytest.mark.parametrize(
    ("r", "sd"),
    [(0.5, 0.23), (0.7, 0.40), (0.8, 0.53), (0.85, 0.62), (0.9, 0.74), (0.95, 0.93)],
)
def test_the_prior_of_the_exponent_is_the_spread_of_nine_laws(
    r: float, sd: float
) -> None:
    """The laws written out here scatter as tabled; the exponent covers it to 12 %."""
    logs = np.log(nine_laws(r))
    assert np.std(logs, ddof=1) == pytest.approx(sd, abs=0.03)
    n = unmeasured().interval("law_exponent", 0.68268949)
    mine = float(log_thickening(r, 1.0)) * (n[2] - n[1])
    assert mine == pytest.approx(sd - 0.03, rel=0.12)
    assert float(log_thickening(r, n[1])) == pytest.approx(logs.mean(), rel=0.10)


@exact
@pytest.mark.parametrize(
    ("r", "sd"), [(0.5, 0.21), (0.8, 0.48), (0.9, 0.69), (0.95, 0.90)]
)
def test_doubt_of_the_law_grows_with_crowding(r: float, sd: float) -> None:
    """0.30 times -ln(1 - r), of draws of the exponent."""
    n = unmeasured().draw(2048, 1).law_exponent
    assert np.std(log_thickening(r, n)) == pytest.approx(sd, abs=0.006)


@exact
def test_two_flow_outs_tell_the_exponent() -> None:
    """ln eta at r 0.8 less at 0.5 is 0.916 n; +-0.35: n +-0.38, with prior 0.24."""
    lever = float(log_thickening(0.8, 1.0) - log_thickening(0.5, 1.0))
    assert lever == pytest.approx(math.log(2.5), rel=1e-12)
    one = measurements.Measurement(
        kind="flow-out",
        quantity="ratio",
        unit="",
        observed=1.87 * lever,
        spread=0.35,
        inverse=math.exp,
        predict=lambda values: lever * values.law_exponent,
    )
    alone = 0.35 / lever
    assert alone == pytest.approx(0.38, abs=0.003)
    after = update_belief(unmeasured(), [one]).after
    assert spread_of(after, "law_exponent") == pytest.approx(
        1.0 / math.hypot(1.0 / alone, 1.0 / 0.30), rel=1e-6
    )
    assert spread_of(after, "law_exponent") == pytest.approx(0.24, abs=0.006)


@published
@pytest.mark.parametrize("thin", ["KNO3:45 sugar:15 corn syrup:40"])
def test_flow_outs_at_two_crowdings_narrow_the_law(thin: str) -> None:
    """A thin mix tells the liquid, a crowded one with it the law."""
    given = {"tube_diameter": 8e-3, "tube_length": 0.03, "head": 0.06, "volume": 50e-6}
    known = {"packing": (0.62, 0.005), "nitrate_dissolved": (0.45, 0.05)}
    prior = unmeasured(known).knowing_the_layer()
    both = []
    for recipe in (thin, PLAIN):
        pot = pot_of(mix(recipe))
        eta = float(poured(pot, prior.central(), COOK, 101325.0)[0][0])
        time = eta * 8 * 0.03 * 50e-6 / (math.pi * 4e-3**4 * 9.80665 * 0.06)
        density = mix(recipe).density
        both.append(viscometry.flow_out(recipe, COOK, time=time / density, **given))
    widths = [
        spread_of(update_belief(prior, both[:count]).after, "law_exponent")
        for count in range(3)
    ]
    assert widths[2] < widths[1] <= widths[0]
    assert widths[2] < 0.29 < widths[0]


def spread_of(belief: Belief, name: str) -> float:
    low, middle, high = belief.interval(name, 0.68268949)
    del middle
    return 0.5 * (high - low)


# ---------------------------------------------------------------- dry powder


@published
@pytest.mark.parametrize(
    ("grind", "density", "mean", "spread", "off"),
    [
        ("not stated", 0.493, 0.604, 0.035, -1.2),
        ("milled", 0.493, 0.626, 0.034, -0.16),
        ("above 100 um", 0.493, 0.539, 0.021, -2.6),
        ("not stated", 0.600, 0.641, 0.032, 0.5),
    ],
)
def test_a_dry_density_hardly_tells(
    grind: str, density: float, mean: float, spread: float, off: float
) -> None:
    """52 g in 50 ml (0.493) by the grind; computed independently, from estimates."""
    known = packing.GRINDS[grind]
    prior = unmeasured({"dry_packing": (known.dry, known.spread)})
    powder = measurements.bulk_density(mass=density * 2.109 * 0.05, volume=50e-6)
    learnt = update_belief(prior, [powder])
    assert not learnt.contradictions
    assert learnt.outcomes[0].deviation == pytest.approx(off, abs=0.06)
    assert learnt.after.interval("packing")[1] == pytest.approx(mean, abs=0.0015)
    assert spread_of(learnt.after, "packing") == pytest.approx(spread, abs=0.002)


@exact
def test_a_powder_far_off_still_contradicts() -> None:
    """0.36 of dry tapped powder lies 3.2 of both spreads off 0.567: set aside."""
    powder = measurements.bulk_density(mass=0.36 * 2.109 * 0.05, volume=50e-6)
    assert update_belief(unmeasured(), [powder]).contradictions


@exact
def test_finer_powder_never_packs_less_when_wet() -> None:
    """One density, read of ever finer powder: the wet packing only goes up."""
    found = []
    for size in (200e-6, 100e-6, 60e-6, 35e-6, 20e-6, 10e-6, 5e-6):
        grind = packing.grind_of_size(size)
        prior = unmeasured({"dry_packing": (grind.dry, grind.spread)})
        powder = measurements.bulk_density(mass=0.5 * 2.109 * 0.05, volume=50e-6)
        found.append(update_belief(prior, [powder]).after.interval("packing")[1])
    assert np.all(np.diff(found) > 0.0)


# ---------------------------------------------------------------- fines, tapping


@published
def test_icing_sugar_between_coarse_nitrate() -> None:
    """A tenth of fines in 100 um nitrate: +0.025 +- 0.025 (computed independently)."""
    voids = float(packing.voids_with_fines(0.1, 100e-6 / packing.POWDERED))
    gain = 0.5 * (1.0 - 0.63) * (1.0 - voids)
    assert gain == pytest.approx(0.025, abs=0.003)


@exact
@pytest.mark.parametrize("recipe", [PLAIN, POWDERED])
def test_fines_count_only_where_both_are_stated(recipe: str) -> None:
    """The packing gains only with powdered sugar and coarse nitrate, half of it."""
    belief = unmeasured({"fines_gain": (0.5, 0.5)})
    values, kelvin = belief.central(), np.asarray(392.15)
    coarse, silent = (
        Kitchen(cook=COOK, belief=belief, grain=one, water_lost=0.3)
        for one in (100e-6, None)
    )
    pot = pot_of(mix(recipe), coarse)
    left = water_left(pot, values, COOK, 101325.0)
    held = standing(pot, values, left, kelvin)
    plain = standing(pot_of(mix(recipe), silent), values, left, kelvin)
    if recipe == PLAIN:
        assert held.crowding == plain.crowding
        return
    # By hand: fines are the sugar that is not dissolved, in the volume of all grains.
    taken = 0.453 * solubility.salt_solubility(392.15) * left
    sugar = plain.undissolved / 1580.5
    share = sugar / (sugar + pot.grains_volume + (pot.nitrate - taken) / 2109.0)
    assert share.item() == pytest.approx(0.1, abs=0.08)
    gain = 0.5 * 0.37 * (1.0 - packing.voids_with_fines(share, 4.0))
    assert held.crowding == pytest.approx(plain.crowding * 0.63 / (0.63 + gain))


@exact
def test_fines_vanish_as_the_sugar_dissolves() -> None:
    """Hot and wet enough all sugar is dissolved: no gain left."""
    belief = unmeasured({"fines_gain": (0.5, 0.5)})
    wet = mix("KNO3:50 powdered sugar:10 corn syrup:40")
    pots = [
        pot_of(wet, Kitchen(cook=COOK, belief=belief, grain=one, water_lost=0.0))
        for one in (100e-6, None)
    ]
    one, two = (poured(p, belief.central(), COOK, 101325.0)[1][0] for p in pots)
    assert one == two


@published
def test_tapping_moves_the_packing() -> None:
    """0.54 of 0.60, tapped to 0.63: (1 - r)^-2 goes from 100 to 49 (worked)."""
    assert pytest.approx(0.63) == 0.60 * packing.TAPPED
    before, after = (math.exp(log_thickening(0.54 / p, 2.0)) for p in (0.60, 0.63))
    assert (before, after) == pytest.approx((100.0, 49.0), rel=1e-9)


@exact
def test_a_tapped_mould_is_thinner_hot_and_sets_alike() -> None:
    """Packing times 1.05 at the pour, as measured by brine; at 20 C nothing moves."""
    plain = Kitchen(cook=COOK, water_lost=0.1)
    tapped = plain.changed(tap=True)
    rows = [cs.kitchen.kitchen_table(PLAIN, one).iloc[0] for one in (plain, tapped)]
    solids = [row.relative_solids_pour for row in rows]
    assert solids[0] / solids[1] == pytest.approx(1.05, rel=1e-9)
    assert rows[0].relative_solids_20C == rows[1].relative_solids_20C
    assert rows[1].pour_viscosity_Pa_s < rows[0].pour_viscosity_Pa_s
    bed = measurements.brine(mass=0.06, loose=52e-6, tapped=46e-6, temperature=293.15)
    assert calibrate(tapped, [bed]).kitchen.tapped == pytest.approx(
        2.0 * 52.0 / (52.0 + 46.0), rel=1e-9
    )


@published
@pytest.mark.parametrize(("layer", "stress"), [(3.0, 51), (5.0, 86), (1.5, 26)])
def test_yield_stress_by_a_spatula(layer: float, stress: float) -> None:
    """rho g h of 1750 kg/m3, and rho g R / 2 of bores of R 10 and 3 mm (by hand)."""
    assert yield_stress(1e-3 * layer, 1750.0) == pytest.approx(stress, abs=0.6)


# ---------------------------------------------------------------- brine, clear point


def brine(**given: float) -> measurements.Measurement:
    usual = {"mass": 0.06, "loose": 52e-6, "tapped": 46e-6, "temperature": 293.15}
    return measurements.brine(**{**usual, **given})  # type: ignore[arg-type]


@published
def test_a_bed_in_brine() -> None:
    """60 g, 52 and 46 ml: 0.547, 0.618, 0.583 +- 0.021 (worked and simulated)."""
    bed = brine()
    assert bed.observed == pytest.approx(0.583, abs=0.0005)
    assert bed.spread == pytest.approx(0.021, abs=0.0005)
    assert bed.tapped == pytest.approx(0.618 / 0.583, abs=0.002)
    # Potassium chloride in its own brine, 1988 kg/m3.
    own = measurements.brine(
        mass=0.06,
        loose=52e-6,
        tapped=46e-6,
        temperature=293.15,
        salt="potassium chloride",
    )
    assert own.observed == pytest.approx(bed.observed * 2109.0 / 1988.0, rel=1e-12)


@exact
def test_readings_of_a_bed_scatter_as_said() -> None:
    """0.7 ml each, 0.1 g, 1 K of 0.39 g: 10,000 beds against 0.0125 of it."""
    rng = np.random.default_rng(9)
    mass = 60.0 + rng.normal(0.0, math.hypot(0.1, 0.39), 10_000)
    loose, tapped = (v + rng.normal(0.0, 0.7, 10_000) for v in (52.0, 46.0))
    read = 0.5 * (mass / loose + mass / tapped) / 2.109
    assert np.std(read) == pytest.approx(0.0125 * 0.583, rel=0.05)
    found, spread = packing.packing_of_bed(0.547, 0.618, runs=4)
    assert spread == pytest.approx(math.hypot(0.02, 0.00625 * found), rel=1e-9)


@exact
@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"loose": 40e-6}, "exchanged"),
        ({"temperature": 273.15 + 40.0}, "40 C"),
        ({"temperature": 273.15}, "5 to 35 C"),
        ({"tapped": 30e-6}, "packing"),
        ({"mass": 0.0}, "above 0"),
        ({"runs": 0}, "runs"),
    ],
)
def test_a_bed_that_cannot_be(change: dict[str, float], words: str) -> None:
    with pytest.raises(cs.InputError, match=words) as caught:
        brine(**change)
    assert "\n" not in str(caught.value)


A, B = {"corn syrup": 1.0}, {"corn syrup": 10.0, "sucrose": 4.0}


def clear(liquid: object = None, **given: float) -> measurements.Measurement:
    usual = {"mass": 0.02, "added": 5.1e-3, "portion": 1e-4, "temperature": 358.15}
    return measurements.clear_point(
        liquid or A,  # type: ignore[arg-type]
        **{**usual, **given},
    )


@published
def test_the_worked_clear_point() -> None:
    """5.1 g in 20 g of syrup of 23 % water at 85 C, last step 0.1 g: 0.59 (worked)."""
    one = clear()
    assert math.exp(one.observed) == pytest.approx(0.59, abs=0.003)
    assert 0.04 < one.spread < 0.08


@published
@pytest.mark.parametrize(
    ("liquid", "share", "grams"),
    [
        (A, 0.3, 2.6),
        (A, 0.6, 5.1),
        (A, 0.9, 7.7),
        (B, 0.3, 1.8),
        (B, 0.6, 3.7),
        (B, 0.9, 5.5),
    ],
)
def test_what_clear_points_read(
    liquid: dict[str, float], share: float, grams: float
) -> None:
    """Nitrate that 20 g at 85 C take (worked from tables of solubility)."""
    step = 1e-6  # so that half of it is nothing
    found = math.exp(clear(liquid, added=1e-3 * grams, portion=step).observed)
    assert found == pytest.approx(share, abs=0.5 * 0.1 * share / grams + 0.006)


@exact
def test_a_clear_point_predicts_itself() -> None:
    """At the medians the share of the pour is that of the bath: ln f, both liquids."""
    for liquid in (A, B):
        one = clear(liquid, added=3.5e-3)
        values = unmeasured().central()
        assert float(one.predict(values)) == pytest.approx(math.log(0.453), abs=1e-9)
        # A syrup of one more point of water holds more: the same share, more nitrate.
        wet = values.changed(syrup_solids=np.asarray(-0.5))
        assert float(one.predict(wet)) > float(one.predict(values))


@exact
def test_two_liquids_tell_more_than_one_twice() -> None:
    """The way from the bath to the pour stays uncertain: 0.22 in ln f, not 0.5."""
    syrup = {"syrup_solids": (0.0, 0.3)}
    prior = unmeasured(syrup)
    two = [clear(A, added=5.1e-3), clear(B, added=3.7e-3)]
    twice = [clear(A, added=5.1e-3), clear(A, added=5.1e-3)]
    widths = [
        math.log(hi / lo) / 2.0
        for hi, lo in (
            update_belief(prior, said).after.interval("nitrate_dissolved", 0.6827)[::-2]
            for said in ([], two, twice)
        )
    ]
    assert widths[1] == pytest.approx(0.22, abs=0.02)
    assert widths[1] < widths[2] < 0.6 * widths[0]


@exact
@pytest.mark.parametrize(
    ("liquid", "change", "kind", "words"),
    [
        (A, {"temperature": 273.15 + 95.0}, cs.RefusedError, "never heated further"),
        (A, {"temperature": 273.15 + 50.0}, cs.InputError, "60 to 90 C"),
        ({"sucrose": 1.0, "water": 1.0}, {}, cs.RefusedError, "no syrup"),
        ({"corn syrup": 1.0, "sucrose": 2.0}, {}, cs.InputError, "does not dissolve"),
        ({"corn syrup": 1.0, "KNO3": 1.0}, {}, cs.InputError, "no liquid"),
        (A, {"added": 15e-3}, cs.InputError, "up to 1.4"),
        (A, {"portion": 6e-3}, cs.InputError, "last portion"),
        (A, {"lost": 3e-3}, cs.InputError, "less than half"),
        (A, {"mass": -1.0}, cs.InputError, "above 0"),
    ],
)
def test_a_clear_point_that_cannot_be(
    liquid: dict[str, float],
    change: dict[str, float],
    kind: type[Exception],
    words: str,
) -> None:
    with pytest.raises(kind, match=words) as caught:
        clear(liquid, **change)
    assert "\n" not in str(caught.value)


@published
def test_one_share_for_both_salts_is_wrong() -> None:
    """Koehler 1897 at 31.25 C beside saturated sucrose (from memory): 0.89 and 1.19."""
    pure = [
        100.0 * float(solubility.salt_solubility(304.4, salt))
        for salt in ("potassium nitrate", "potassium chloride")
    ]
    assert pure == pytest.approx([47.0, 37.5], rel=0.02)
    shares = [41.9 / pure[0], 44.8 / pure[1]]
    assert shares == pytest.approx([0.89, 1.19], abs=0.02)
    low, _, high = unmeasured().interval("chloride_dissolved")
    assert low < shares[1] < high
    assert unmeasured().interval("nitrate_dissolved")[2] > shares[0]
