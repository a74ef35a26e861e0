"""Recipe text: what is read, what is refused, and round trips."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from castsugar import InputError, parse_recipe
from castsugar.mix.text import Recipe

# Exact: the syntax of the design, read by hand.
READ = [
    (
        "KNO3:60 powdered sugar:20 corn syrup:20",
        (("KNO3", 60.0), ("powdered sugar", 20.0), ("corn syrup", 20.0)),
    ),
    (
        "KNO3:60 glucose syrup 42 DE:20 confectioner's sugar:3",
        (("KNO3", 60.0), ("glucose syrup 42 DE", 20.0), ("confectioner's sugar", 3.0)),
    ),
    ("KNO3:60 10X sugar:20", (("KNO3", 60.0), ("10X sugar", 20.0))),
    ("KNO3:60, 10X sugar:20", (("KNO3", 60.0), ("10X sugar", 20.0))),
    ("KNO3:60 70% sorbitol:20", (("KNO3", 60.0), ("70% sorbitol", 20.0))),
    ("KNO3:65, sucrose:35", (("KNO3", 65.0), ("sucrose", 35.0))),
    ("KNO3:65;sucrose:35;", (("KNO3", 65.0), ("sucrose", 35.0))),
    ("KNO3:65,sucrose:35", (("KNO3", 65.0), ("sucrose", 35.0))),
    ("  KNO3 : 65\n sucrose: .5 ", (("KNO3", 65.0), ("sucrose", 0.5))),
    ("KNO3:65 sucrose:0", (("KNO3", 65.0), ("sucrose", 0.0))),
]


@pytest.mark.parametrize(("text", "parts"), READ)
def test_parts(text: str, parts: tuple[tuple[str, float], ...]) -> None:
    """Items keep their order, names and amounts."""
    recipe = parse_recipe(text)
    assert recipe.parts == parts
    assert (recipe.basis, recipe.name) == ("parts", "")
    assert recipe.to_dict() == dict(parts)


@pytest.mark.parametrize(
    "text",
    ["KNO3:65% sucrose:35%", "KNO3:65 % sucrose:35 %", "KNO3:65%, sucrose:35 %;"],
)
def test_percent(text: str) -> None:
    """Percent become mass fractions."""
    # Exact: 65 percent is 0.65 by definition, rounded once.
    recipe = parse_recipe(text)
    assert recipe.parts == (("KNO3", 0.65), ("sucrose", 0.35))
    assert recipe.basis == "fraction"


@pytest.mark.parametrize("sucrose", ["34.99", "35.01"])
def test_percent_tolerance_includes_its_ends(sucrose: str) -> None:
    """A sum of exactly 99.99 or 100.01 is accepted."""
    # Exact: 65 + 34.99 = 99.99 and 65 + 35.01 = 100.01 are within 100 +- 0.01.
    assert parse_recipe(f"KNO3:65% sucrose:{sucrose}%").basis == "fraction"


def test_label() -> None:
    """A label before the first equals sign names the recipe."""
    # Exact: text before the first "=" is the label.
    assert parse_recipe("mine = KNO3:65  sucrose:35") == Recipe(
        parts=(("KNO3", 65.0), ("sucrose", 35.0)),
        basis="parts",
        text="mine = KNO3:65 sucrose:35",
        name="mine",
    )


# Exact: each refusal quotes the piece and says what to do.
REFUSED = [
    ("", "the recipe is empty"),
    (" ;, ", "the recipe is empty"),
    ("KNO3:64,5 sucrose:35,5", "'64,5' of 'KNO3' has a decimal comma: write 64.5;"),
    ("KNO3:64,5% sucrose:35,5%", "has a decimal comma: write 64.5;"),
    ("KNO3:1,000 sucrose:5", "write 1.000 (or 1000 if the comma groups digits)"),
    ("KNO3:1,000,000 sucrose:5", "has commas inside; write 1000000"),
    ("KNO3:60,10X sugar:20", "'60,10X' of 'KNO3' is not a plain decimal number"),
    ("KNO3:1 000", "'1 000' looks like digits grouping"),
    ("KNO3:1 000 sucrose:500", "digits grouping; amounts have no space"),
    ("KNO3:65% sucrose:35", "parts ('sucrose') and percent ('KNO3') are mixed"),
    ("KNO3:65% sucrose:30%", "sum to 95, not to 100 +- 0.01"),
    ("KNO3:65% sucrose:35.02%", "sum to 100.02, not to 100"),
    ("KNO3:-5 sucrose:35", "amount '-5' of 'KNO3' is negative"),
    ("KNO3:0 sucrose:0", "are zero"),
    ("KNO3:0% sucrose:0%", "are zero"),
    ("KNO3:60 kno-3:4", "'kno-3' comes twice (first as 'KNO3')"),
    ("corn syrup:60 Corn-Syrup:4", "'Corn-Syrup' comes twice"),
    ("a:1 a:2", "'a' comes twice"),
    ("KNO3:60 sucrose", "'sucrose' has no ':' and amount"),
    ("KNO3 60 sucrose 35", "has no ':' and amount"),
    ("KNO3:60 sucrose, corn syrup:20", "'sucrose' has no ':' and amount"),
    ("KNO3: sucrose:35", "'KNO3' has no amount after ':'"),
    ("KNO3::35", "'KNO3' has no amount after ':'"),
    ("KNO3:60 sucrose:", "'sucrose' has no amount after ':'"),
    ("KNO3:% sucrose:35%", "'KNO3' has no amount after ':'"),
    ("KNO3:lots sucrose:35", "'KNO3' has no amount, got 'lots'"),
    ("KNO3:nan", "'KNO3' has no amount, got 'nan'"),
    (":60", "no name before ':60'"),
    ("KNO3:60 :20", "no name before ':20'"),
    ("KNO3:60 20:20", "name '20' has no letter"),
    ("KNO3:60sucrose:20", "'60sucrose:20' after 'KNO3': put a space"),
    ("KNO3:65%sucrose:35%", "put a space"),
    ("KNO3:65%%", "put a space"),
    ("KNO3:60 g sucrose:20", "masses ('KNO3') and parts ('sucrose') are mixed"),
    ("KNO3:65% sucrose:20 g", "masses ('sucrose') and percent ('KNO3') are mixed"),
    ("KNO3:60 g sugar:1/4 cup", "'sugar': unit 'cup' is not a mass unit, but one of"),
    ("KNO3:64,5g sucrose:35,5g", "'64,5g' of 'KNO3' is not a plain decimal number"),
    ("KNO3:60g sucrose:0g kno-3:4g", "'kno-3' comes twice"),
    ("KNO3:1e3", "'1e3' of 'KNO3' is not a plain decimal number"),
    ("KNO3:" + "9" * 400, "is not a plain decimal number"),
    ("KNO3=65 sucrose=35", "has '=' where ':' belongs"),
    ("KNO3:65 sucrose=35", "has '=' where ':' belongs"),
    ("=KNO3:65", "has no label before '='"),
]


@pytest.mark.parametrize(("text", "message"), REFUSED)
def test_refusals(text: str, message: str) -> None:
    """Each refusal quotes the piece, in one line."""
    with pytest.raises(InputError) as caught:
        parse_recipe(text)
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


def test_where_starts_the_message() -> None:
    """The place of the text leads the message."""
    with pytest.raises(InputError, match=r"^recipe 2: the recipe is empty"):
        parse_recipe("", where="recipe 2")


MASSES = [
    ("KNO3:120g sugar:40g", (("KNO3", 120.0), ("sugar", 40.0))),
    ("KNO3:16 oz sugar:1 lb 2 oz", (("KNO3", 16.0), ("sugar", 18.0))),
    ("KNO3:1 lb corn syrup:4 ounces", (("KNO3", 1.0), ("corn syrup", 0.25))),
    ("mine=KNO3:1 1/2 oz, sugar:1/2 oz", (("KNO3", 1.5), ("sugar", 0.5))),
    ("KNO3:.6 kg sugar:200 g", (("KNO3", 0.6), ("sugar", 0.2))),
]


@pytest.mark.parametrize(("text", "parts"), MASSES)
def test_masses_are_parts(text: str, parts: tuple[tuple[str, float], ...]) -> None:
    """Masses are parts in the unit of the first; 16 oz are a pound."""
    recipe = parse_recipe(text)
    assert recipe.basis == "parts"
    assert [name for name, _ in recipe.parts] == [name for name, _ in parts]
    assert [x for _, x in recipe.parts] == pytest.approx([x for _, x in parts])


NAMES = st.from_regex(
    r"[A-Za-z0-9]{0,3}[A-Z]{3}[a-z'-]{0,5}( [A-Z]{4}[0-9]?)?", fullmatch=True
)
KEYED = st.lists(
    NAMES, min_size=1, max_size=6, unique_by=lambda n: n.replace("-", "").lower()
).filter(lambda names: len({n.replace(" ", "") for n in names}) == len(names))


@settings(derandomize=True)
@given(names=KEYED, data=st.data(), mark=st.sampled_from([" ", ", ", "; ", ";"]))
def test_round_trip(names: list[str], data: st.DataObject, mark: str) -> None:
    """What is written out as items reads back."""
    # Property: what is written out as items reads back, in order, for every separator.
    amounts = [data.draw(st.integers(1, 10**6)) / 1000 for _ in names]
    text = mark.join(f"{n}:{a}" for n, a in zip(names, amounts, strict=True))
    assert parse_recipe(text).parts == tuple(zip(names, amounts, strict=True))


@settings(derandomize=True)
@given(cuts=st.lists(st.integers(0, 10000), min_size=1, max_size=5))
def test_percent_sum_to_one(cuts: list[int]) -> None:
    """Percent that sum to 100 give fractions that sum to 1."""
    # Property: hundredths of a percent that sum to 100 give fractions that sum to 1.
    edges = [0, *sorted(cuts), 10000]
    shares = [b - a for a, b in itertools.pairwise(edges)]
    text = " ".join(f"item {'abcdefg'[i]}:{s / 100}%" for i, s in enumerate(shares))
    recipe = parse_recipe(text)
    assert math.fsum(a for _, a in recipe.parts) == pytest.approx(1.0, abs=1e-12)


@settings(derandomize=True)
@given(text=st.text("KNOsu 0123456789.,;:%=-+eg'\u2212\u00a0", max_size=24))
def test_any_text_is_read_or_refused(text: str) -> None:
    """No text gives another exception or a bad recipe."""
    # Property: a usable recipe or an InputError; nothing else.
    try:
        recipe = parse_recipe(text)
    except InputError:
        return
    amounts = [amount for _, amount in recipe.parts]
    assert sum(amounts) > 0
    assert all(math.isfinite(a) and a >= 0 for a in amounts)
    assert not any(set(name) & set(":=,;") for name, _ in recipe.parts)
