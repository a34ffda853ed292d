"""Materials by their chemical, trade and workshop names."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from rules.reading.outcome import (
    Canonical,
    Reading,
    ReadingOption,
    ambiguous,
    certain,
    partial,
    unreadable,
)
from rules.reading.text import near
from rules.reference import reference
from rules.vocabulary import Material, words

_WHAT_MATERIAL: Final = "What is it made of where the fuel touches it?"

# Names that mean one material of the vocabulary. The second part of a pair names what the text
# leaves unsaid and the vocabulary does not need: the ordinary grade is meant, the least resistant.
_CERTAIN: Final[dict[Material, str]] = {
    "aluminium": "aluminum | bare aluminium | bare aluminum | 6061 | 6061 aluminium | al",
    "aluminium-anodised": "anodised aluminium | anodized aluminum | anodised | anodized"
    " | type ii anodised | type ii anodized",
    "aluminium-hard-anodised": "hard anodised aluminium | hard anodized aluminum"
    " | type iii anodised | type iii anodized",
    "stainless-steel-300": "stainless steel | 304 | 304 stainless | 316 | 316 stainless | 316l"
    " | 304l | stainless steel 304 | stainless steel 316 | aisi 304 | aisi 316 | a2 | a4"
    " | 1.4301 | 1.4401 | 1.4404",
    "carbon-steel": "carbon steel | mild steel | plain steel | bare steel",
    "steel-zinc-plated": "zinc plated steel | zinc plated | galvanised | galvanized"
    " | galvanised steel | galvanized steel | yellow zinc | zinc nickel plated",
    "steel-terne-coated": "terne | terne plate | terne coated | terne coated steel",
    "nickel-plated": "nickel plated | electroless nickel | nickel | enp",
    "tin-plate": "tin plate | tin plated | tinplate",
    "bronze": "tin bronze | phosphor bronze | sintered bronze",
    "copper": "cu",
    "zinc-die-cast": "zamak | pot metal | die cast zinc | zinc die cast | zinc alloy",
    "magnesium": "magnesium alloy | mg",
    "lead-tin-solder": "solder | lead solder | tin lead solder",
    "titanium": "ti | titanium alloy | ti-6al-4v",
    "nbr": "nitrile | nitrile rubber | buna-n | buna n | acrylonitrile butadiene rubber",
    "nbr-low-acrylonitrile": "low acn nbr | low acrylonitrile nbr | low acn nitrile",
    "nbr-high-acrylonitrile": "high acn nbr | high acrylonitrile nbr | high acn nitrile",
    "hnbr": "hydrogenated nitrile | hsn",
    "cr": "neoprene | chloroprene | polychloroprene",
    "cpe": "chlorinated polyethylene | cpe rubber | cm",
    "epdm": "epm | ethylene propylene | ethylene propylene rubber",
    "natural-rubber": "natural rubber | nr | latex",
    "fkm-a": "fkm | fpm | fluoroelastomer | fluoroelastomere | fluorocarbon | fluorocarbon rubber"
    " | fluorinated rubber | fkm type a | fkm a | fluor rubber | fluoro rubber",
    "fkm-high-fluorine": "fkm gf | fkm gflt | fkm type f | high fluorine fkm | fkm gfl | fkm f",
    "fvmq": "fluorosilicone | fluoro silicone",
    "ffkm": "perfluoroelastomer | ffpm",
    "vmq": "silicone | silicone rubber | mvq | si",
    "polyurethane": "pu | pur | urethane | tpu",
    "cork": "cork gasket",
    "ptfe": "polytetrafluoroethylene | virgin ptfe | plain ptfe",
    "ptfe-conductive": "conductive ptfe | carbon ptfe | carbon filled ptfe | anti static ptfe"
    " | antistatic ptfe | anti-static ptfe | static dissipative ptfe | black ptfe"
    " | ptfe conductive",
    "pa11-pa12": "pa12 | pa 12 | pa11 | pa 11 | nylon 12 | nylon 11 | polyamide 12 | polyamide 11"
    " | pa11/pa12 | pa-12 | pa-11 | nylon12 | nylon11",
    "pa6-pa66": "pa6 | pa 6 | pa66 | pa 66 | nylon 6 | nylon 66 | nylon 6/6 | polyamide 6"
    " | polyamide 66 | pa6/pa66 | pa-6 | pa-66 | pa66-gf30 | pa6-gf30 | pa66 gf30",
    "pom": "acetal | polyacetal | polyoxymethylene | pom-c | pom-h",
    "hdpe": "pe-hd | high density polyethylene | polyethylene",
    "hdpe-fluorinated": "fluorinated hdpe | fluorinated polyethylene",
    "pps": "polyphenylene sulfide | polyphenylene sulphide",
    "peek": "polyetheretherketone",
    "pvc": "vinyl | polyvinyl chloride | flexible pvc",
    "pvdf": "polyvinylidene fluoride",
    "etfe": "ethylene tetrafluoroethylene",
    "paper": "cellulose | pleated paper | paper element",
    "stainless-mesh": "stainless mesh | stainless steel mesh | ss mesh | wire mesh",
    "microglass": "micro glass | glass fibre | glass fiber | micro-glass | microfibre glass",
}
_UNSAID: Final[dict[Material, str]] = {
    "fkm-a": "grade",
    "nbr": "grade",
    "ptfe": "conductive or not",
    "aluminium": "finish",
}


@dataclass(frozen=True, slots=True)
class _Open:
    """A name with several meanings; `settled` is what is certain of it all the same."""

    question: str
    options: tuple[Material | ReadingOption, ...]
    settled: Canonical = None
    unknown: tuple[str, ...] = ()

    def reading(self) -> Reading:
        options = [o if isinstance(o, ReadingOption) else _option(o) for o in self.options]
        if self.unknown:
            return partial(self.settled, self.question, self.unknown, options)
        return ambiguous(self.question, options)


def _option(material: Material) -> ReadingOption:
    return ReadingOption(material, reference().materials[material].name)


_LINERS: Final = "What is the liner inside the hose made of?"
_LINED: Final[tuple[Material, ...]] = (
    "nbr",
    "cpe",
    "fkm-a",
    "ptfe",
    "ptfe-conductive",
    "pa11-pa12",
)
_BRAID: Final = ReadingOption(
    {"of": "braid"}, "a braid over a hose, which says nothing of the liner"
)
_NYLON: Final = _Open(
    "Which nylon is it: 11 or 12, or 6 or 66?",
    (
        "pa11-pa12",
        "pa6-pa66",
        "polyamide",
        ReadingOption({"of": "braid"}, "a nylon braid over a hose"),
    ),
)
_OPEN: Final[dict[str, _Open]] = {
    "nylon | polyamide | pa": _NYLON,
    "convoluted nylon | corrugated nylon": _Open(
        "Which nylon is it: 11 or 12, or 6 or 66?",
        ("pa11-pa12", "pa6-pa66"),
        "polyamide",
        ("grade",),
    ),
    "ss | s/s | s.s. | stainless | inox": _Open(
        "Is that stainless steel itself, or the braid over a hose?",
        ("stainless-steel-300", _BRAID),
        "stainless-steel-300",
        ("grade", "part or braid"),
    ),
    "ss braid | stainless braid | ss braided | stainless braided | steel braided | braided"
    " | braided hose | nylon braided | nylon braid | black nylon | black nylon an hose"
    " | nylon braided hose | stainless braided hose": _Open(_LINERS, _LINED),
    "rubber": _Open("Which rubber is it?", ("nbr", "cr", "cpe", "fkm-a")),
    "alloy": _Open("Is it aluminium or a zinc casting?", ("aluminium", "zinc-die-cast")),
    "billet": _Open("Is it aluminium or steel?", ("aluminium", "carbon-steel")),
    "zinc": _Open(
        "Is it zinc plating on steel, or a zinc casting?",
        ("steel-zinc-plated", "zinc-die-cast"),
    ),
    "steel": _Open(
        "Is the steel bare, plated or stainless?",
        ("carbon-steel", "steel-zinc-plated", "stainless-steel-300"),
    ),
    "plated steel | steel plated | plated | coated steel | steel coated | plated steel tube"
    " | plating": _Open(
        "What is the steel plated with: zinc, nickel, tin or terne?",
        (
            "steel-zinc-plated",
            "nickel-plated",
            "tin-plate",
            "steel-terne-coated",
            ReadingOption({"of": "other plating"}, "another plating, which is not rated here"),
        ),
    ),
    "alu": _Open(
        "Is the aluminium bare or anodised?",
        ("aluminium", "aluminium-anodised", "aluminium-hard-anodised"),
        "aluminium",
        ("finish",),
    ),
    "hard anodised | hard anodized": _Open(
        "What is under the hard anodising: aluminium?",
        ("aluminium-hard-anodised",),
        "aluminium-hard-anodised",
        ("base metal",),
    ),
    "brass": _Open(
        "Does fuel touch the brass?",
        ("brass", ReadingOption({"of": "dry part"}, "brass that no fuel touches")),
        "brass",
        ("whether fuel touches it",),
    ),
    "buna | buna rubber": _Open(
        "Is it Buna-N or Buna-S?",
        ("nbr", ReadingOption({"of": "sbr"}, "Buna-S (SBR), no rubber for fuel")),
        "nbr",
        ("which buna",),
    ),
    "bundy | bundy tube": _Open(
        "What is the steel tube plated with?",
        ("carbon-steel", "steel-terne-coated", "steel-zinc-plated"),
        "carbon-steel",
        ("plating",),
    ),
    "eco": _Open(
        "Is ECO the rubber, or only an advertisement?",
        ("eco", ReadingOption({"of": "advertisement"}, "a word of advertisement")),
        "eco",
        ("rubber or advertisement",),
    ),
    "poly tank | poly": _Open(
        "Is the tank of HDPE, of cross-linked polyethylene, or of nylon?",
        (
            "hdpe",
            ReadingOption({"of": "xlpe"}, "cross-linked polyethylene (XLPE)"),
            "polyamide",
        ),
    ),
}


def _spread(table: dict[str, _Open]) -> dict[str, _Open]:
    return {name: meaning for names, meaning in table.items() for name in names.split(" | ")}


_OPEN_NAMES: Final = _spread(_OPEN)


def _certain_names() -> dict[str, Material]:
    names: dict[str, Material] = {}
    ids: Iterable[Material] = words(Material)  # type: ignore[assignment]
    for material in ids:
        for name in (material, material.replace("-", " "), *_synonyms(material)):
            if name not in _OPEN_NAMES:
                names[name] = material
    return names


def _synonyms(material: Material) -> list[str]:
    return _CERTAIN[material].split(" | ") if material in _CERTAIN else []


_CERTAIN_NAMES: Final = _certain_names()


def read_material(folded: str) -> Reading:
    """Read a material. The canonical form is an id of the vocabulary."""
    name = _plain_name(folded)
    if name in _OPEN_NAMES:
        return _OPEN_NAMES[name].reading()
    if material := _CERTAIN_NAMES.get(name):
        unsaid = _UNSAID.get(material)
        return certain(
            material, reference().materials[material].name, unknown=[unsaid] if unsaid else []
        )
    if guesses := near(name, tuple(_CERTAIN_NAMES)):
        meant = list(dict.fromkeys(_CERTAIN_NAMES[guess] for guess in guesses))
        options = [_option(material) for material in meant]
        return ambiguous(f"Is it {' or '.join(o.label for o in options)}?", options)
    return unreadable(_WHAT_MATERIAL)


_INITIALS: Final = re.compile(r"(?:[a-z]\.){2,}[a-z]?\.?")


def _plain_name(folded: str) -> str:
    """The name without the points between initials: P.T.F.E."""
    return folded.replace(".", "") if _INITIALS.fullmatch(folded) else folded
