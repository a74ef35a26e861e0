"""What castsugar refuses, by name and by composition, with the reason.

The scope is nitrate-sugar mixes. Everything else is refused before any number is
computed: a result for it would look as trustworthy as one inside the scope. The names
and what is said of them are common knowledge of textbooks, from memory.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from typing import Final

from castsugar.constants import ELEMENTS
from castsugar.data.records import parse_formula, plain
from castsugar.errors import RefusedError

_CHLORATE = (
    "chlorates, perchlorates, bromates and iodates form mixes that friction, impact "
    "and traces of acid can set off"
)
_AMMONIUM = (
    "ammonium nitrate turns nitrate mixes acid and moist, and is regulated as an "
    "explosive precursor; ammonia is set free from its other salts"
)
_NITRATE = (
    "only the nitrates of potassium and sodium are covered; those of urea, guanidine, "
    "alcohols, sugars and cellulose are explosives, those of heavy metals poisons"
)
_EXPLOSIVE = "it is an explosive or close to one; nothing of it belongs in a kitchen"
_PRIMARY = (
    "azides, fulminates, styphnates, picrates and acetylides explode at a touch, a "
    "spark or a little heat"
)
_PYROTECHNIC = (
    "it is, or belongs to, an energetic mix of its own that a spark or friction lights"
)
_PEROXIDE = (
    "peroxides, persulfates and their kin give off oxygen by themselves, and their "
    "mixes with sugars can take fire or explode"
)
_MANGANATE = (
    "permanganates and chromates take fire with glycerol and sugars by themselves, and "
    "chromates cause cancer"
)
_NITRITE = "nitrites are poisonous and heat up with sugars and ammonium salts"
_SULFUR = "sulfur makes mixes that light more easily by friction and attack the nitrate"
_PHOSPHORUS = "phosphorus and phosphides light by friction or in air and are poisonous"
_METAL = "metal powders burn far hotter and can be set off by friction and moisture"
_POISON = "its compounds, and the smoke of its mixes, are poisonous"
_ACID = "acids attack the nitrate and the sugar and can start a runaway in the pan"

#: Reason, names under which a refused substance is known, and parts of names (regular
#: expressions) that give one away however it is spelt out. The first that fits counts.
_CLASSES: Final[tuple[tuple[str, str, str], ...]] = (
    (
        _CHLORATE,
        "potassium perchlorate|potassium chlorate|sodium perchlorate|sodium chlorate|"
        "ammonium perchlorate|barium chlorate|strontium perchlorate|"
        "calcium hypochlorite|pool shock|bleaching powder|potassium bromate|"
        "potassium iodate|potassium periodate|perchlorate|chlorate|"
        "match heads|matches|armstrong's mixture",
        r"chlor(at|it)|bromat|iodat|^(k|na|nh4|ba|sr|ca|mg|li)[(]?clo",
    ),
    (_AMMONIUM, "ammonium nitrate|NH4NO3|H4N2O3|ANFO|amatol", r"ammoni"),
    (
        _NITRITE,
        "potassium nitrite|sodium nitrite|KNO2|NaNO2",
        r"nitrit",
    ),
    (
        _EXPLOSIVE,
        "nitroglycerin|nitroglycerine|glyceryl trinitrate|nitrocellulose|guncotton|"
        "gun cotton|collodion|smokeless powder|cordite|ballistite|celluloid|"
        "nitromethane|nitroguanidine|trinitrotoluene|TNT|tetryl|RDX|hexogen|cyclonite|"
        "HMX|octogen|PETN|pentaerythritol tetranitrate|ETN|erythritol tetranitrate|"
        "mannitol hexanitrate|sorbitol hexanitrate|dynamite|gelignite|"
        "blasting gelatin|semtex|C4|composition B|TATP|HMTD|acetone peroxide|"
        "triacetone triperoxide|hexamine peroxide|tannerite|astrolite",
        r"nitro(?!gen)|hexogen|explosi",
    ),
    (
        _PRIMARY,
        "lead azide|sodium azide|silver azide|mercury fulminate|silver fulminate|"
        "lead styphnate|picric acid|ammonium picrate|lead picrate|potassium picrate|"
        "silver acetylide|copper acetylide|calcium carbide|tetrazene|DDNP",
        r"azid|fulmin|styphn|picr|acetylid",
    ),
    (
        _NITRATE,
        "barium nitrate|strontium nitrate|calcium nitrate|magnesium nitrate|"
        "lead nitrate|silver nitrate|copper nitrate|urea nitrate|guanidine nitrate|"
        "cellulose nitrate|norwegian saltpeter|lime saltpeter",
        r"^(ba|sr|ca|mg|pb|cu|zn|fe|al)[(]?no3|^(ag|li|cs|rb)no3",
    ),
    (
        _PYROTECHNIC,
        "black powder|gunpowder|meal powder|pulverone|pyrodex|flash powder|flash|"
        "thermite|thermate|star composition|whistle mix|sodium benzoate|"
        "potassium benzoate|sodium salicylate|potassium salicylate",
        r"thermi[ct]|gunpowder|blackpowder|flashpowder|benzoat|salicylat",
    ),
    (
        _PEROXIDE,
        "hydrogen peroxide|sodium peroxide|barium peroxide|calcium peroxide|"
        "potassium superoxide|sodium persulfate|potassium persulfate|oxone|"
        "sodium percarbonate|sodium perborate|benzoyl peroxide|H2O2|Na2O2|BaO2|KO2",
        r"(?<!cop)peroxid|superoxid|persul(f|ph)|peroxodi|perborat",
    ),
    (
        _MANGANATE,
        "potassium permanganate|sodium permanganate|KMnO4|potassium dichromate|"
        "ammonium dichromate|sodium dichromate|potassium chromate|barium chromate|"
        "lead chromate|K2Cr2O7|chromium trioxide",
        r"manganat|chromat",
    ),
    (
        _SULFUR,
        "sulfur|sulphur|brimstone|flowers of sulfur|antimony sulfide|realgar|orpiment|"
        "antimony trisulfide|S8",
        r"sul(f|ph)[ue]r(?!ic)|sul(f|ph)id",
    ),
    (
        _PHOSPHORUS,
        "phosphorus|red phosphorus|white phosphorus|calcium phosphide",
        r"phosphorus|phosphid",
    ),
    (
        _METAL,
        "aluminium|aluminum|aluminium powder|aluminum powder|magnesium|magnalium|"
        "titanium|zinc|zinc powder|zinc dust|zirconium|iron powder|iron filings|iron|"
        "steel wool|steel|silicon|ferrosilicon|ferrotitanium|ferrocerium|misch metal|"
        "boron|lithium|sodium metal|potassium metal|calcium metal|tungsten|copper|"
        "copper powder|bronze powder|brass powder|manganese|cerium|hafnium|"
        "Al|Mg|Ti|Zn|Fe|Zr|Si|B|Li|Na|K|Cu",
        r"alumin|magnes|magnal|titani|zirconi|zinc|ferroti|ferrosi|(?<!an)hydride",
    ),
    (
        _POISON,
        "barium carbonate|strontium carbonate|red lead|lead oxide|lead dioxide|"
        "lead tetroxide|litharge|mercury|calomel|arsenic|antimony|potassium cyanide|"
        "potassium ferricyanide|beryllium|thallium|cadmium",
        r"^lead|mercur|arsen|antimon|barium|stronti|cadmium|thallium|beryll|cyan",
    ),
    (
        _ACID,
        "nitric acid|HNO3|sulfuric acid|sulphuric acid|hydrochloric acid|"
        "phosphoric acid|oxalic acid|boric acid|citric acid|acetic acid|tartaric acid|"
        "ascorbic acid|stearic acid|vinegar|lemon juice|cream of tartar",
        r"acid$",
    ),
)
_NAMES: Final = {
    plain(name): (name, reason)
    for reason, names, _ in _CLASSES
    for name in names.split("|")
}

#: A misspelt name counts as a refused one from this likeness on, if that is long enough
#: not to be met by chance: "perclorate" does, "sodium bicarbonate" does not.
_ALIKE, _LONG = 0.88, 6

#: What stands before the word in the name of a nitrate that is covered, and how like
#: it a misspelt one must be.
_COVERED = ("potassium", "sodium")
_MISSPELT = 0.75

#: Explosives of allowed elements, and acids, by formula. Of two compositions in atom
#: fractions that differ by less than the limit in sum, one stands for the other.
_FORMULAS: Final = {
    _AMMONIUM: ("H4N2O3",),
    _ACID: ("HNO3",),
    _NITRATE: ("CH5N3O4", "CH6N4O3", "H4N2O4", "H5N3O3"),
    _EXPLOSIVE: (
        "C3H5N3O9",
        "C5H8N4O12",
        "C4H6N4O12",
        "C6H8N6O18",
        "C3H6N6O6",
        "C7H5N3O6",
        "C7H5N5O8",
        "CH3NO2",
        "CH4N4O2",
        "C6H12N2O6",
    ),
    _PRIMARY: ("C6H3N3O7", "NaN3", "KN3"),
}
_LIMIT, _EXACT = 0.02, 1e-6

_FAMILY = "castsugar covers nitrate-sugar mixes only"


def check_name(name: str) -> None:
    """Refuse a substance by its name.

    Raises
    ------
    RefusedError
        With the reason.
    """
    word = plain(name)
    if word in _NAMES:
        raise _refusal(name, _NAMES[word][1])
    for reason, _, stems in _CLASSES:
        if re.search(stems, word) or (reason == _NITRATE and _other_nitrate(word)):
            raise _refusal(name, reason)


def check_misspelt(name: str, known: Iterable[str]) -> None:
    """Refuse a name that is not known and looks like a refused one.

    Parameters
    ----------
    known : iterable of str
        Names that may be weighed: one that looks more like `name` goes before.

    Raises
    ------
    RefusedError
        With the name that it looks like, and the reason.
    """
    names = {plain(one): "" for one in known} | {
        word: meant for word, (meant, _) in _NAMES.items() if len(word) >= _LONG
    }
    near = difflib.get_close_matches(plain(name), names, n=1, cutoff=_ALIKE)
    if near and names[near[0]]:
        raise RefusedError(
            f"{name!r} looks like {names[near[0]]!r}, which is refused: "
            f"{_NAMES[near[0]][1]}; {_FAMILY}"
        )


def check_composition(name: str, composition: Mapping[str, float]) -> None:
    """Refuse a substance by its atoms.

    Raises
    ------
    RefusedError
        With the reason.
    """
    reason = _reason(composition)
    if reason:
        raise _refusal(name, reason)


def _refusal(name: str, reason: str) -> RefusedError:
    return RefusedError(f"{name!r} is refused: {reason}; {_FAMILY}")


def _other_nitrate(word: str) -> bool:
    """Say whether a word names a nitrate that is none of the two that are covered."""
    before, found, after = word.partition("nitrat")
    rest = before + after.lstrip("es")
    if not found or not rest:
        return False
    if any(part in rest for part in ("potas", "sodium", "soda", "kno3", "nano3")):
        return False
    return not difflib.get_close_matches(rest, _COVERED, n=1, cutoff=_MISSPELT)


def _reason(composition: Mapping[str, float]) -> str:
    """Return why a composition is refused; empty if it is not."""
    elements = set(composition)
    foreign = sorted(elements - set(ELEMENTS))
    if foreign:
        hint = {"Cl": _CHLORATE, "S": _SULFUR, "Al": _METAL, "Mg": _METAL}
        extra = next((hint[e] for e in foreign if e in hint), "")
        listed = ", ".join(foreign)
        text = f"it contains {listed}; allowed elements are {' '.join(ELEMENTS)}"
        return f"{text} ({extra})" if extra else text
    shares = _atom_fractions(composition)
    if "Fe" in elements and _distance(shares, "Fe2O3") > _EXACT:
        return "iron is allowed as red iron oxide, Fe2O3, only (" + _METAL + ")"
    for reason, formulas in _FORMULAS.items():
        if any(_distance(shares, formula) < _LIMIT for formula in formulas):
            return reason
    metal = shares.get("K", 0.0) + shares.get("Na", 0.0)
    return _METAL if metal > 1.0 - _LIMIT else ""


def _atom_fractions(composition: Mapping[str, float]) -> dict[str, float]:
    """Return the share of each element in the atoms."""
    whole = sum(composition.values())
    return {element: count / whole for element, count in composition.items()}


def _distance(shares: Mapping[str, float], formula: str) -> float:
    """Return the sum of the differences in atom fractions: 0 for any multiple."""
    unit = _atom_fractions(dict(parse_formula(formula)))
    return sum(abs(shares.get(e, 0.0) - unit.get(e, 0.0)) for e in {*shares, *unit})
