"""The words of laboratories: elements, units and limits in a header, names of columns, marks of the laboratory's own lines.

Everything here only proposes; a person confirms. Words are common practice, no source.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from types import MappingProxyType


def _by_word(meanings: dict[str, str], *, parted: str = ", ") -> MappingProxyType[str, str]:
    """Meaning by word, from the words of each meaning."""
    return MappingProxyType({word: meaning for meaning, words in meanings.items() for word in words.split(parted)})


SYMBOLS = (
    "H He Li Be B C N O F Ne Na Mg Al Si P S Cl Ar K Ca Sc Ti V Cr Mn Fe Co Ni Cu Zn Ga Ge As Se Br Kr Rb Sr Y Zr Nb Mo"
    " Ru Rh Pd Ag Cd In Sn Sb Te I Xe Cs Ba La Ce Pr Nd Sm Eu Gd Tb Dy Ho Er Tm Yb Lu Hf Ta W Re Os Ir Pt Au Hg Tl Pb Bi"
    " Ra Th U"
)
ELEMENTS = frozenset(SYMBOLS.split())
BY_CAPITALS = {symbol.upper(): symbol for symbol in ELEMENTS if len(symbol) == 2}
"""AU for Au; two-letter symbols that spell a word or a mark in capitals are left out where a header is read."""
WORDS_IN_CAPITALS = frozenset({"AS", "IN", "BE", "HE", "NO", "AT", "OS", "RE", "PR", "LA", "CO", "SN", "RA", "CS", "HO"})
FORMULA = re.compile(r"(?:[A-Z][a-z]?[0-9]{0,2}){2,4}(?:[+-])?")
OTHER_MEASURED = frozenset({"LOI", "TOT", "TOTAL", "SUM", "TOC", "TIC", "TC", "TREE", "TREO"})
SPECIES = _by_word(
    {
        "total": "total tot t",
        "organic": "organic org",
        "inorganic": "inorganic inorg",
        "sulfide": "sulphide sulfide",
        "sulfate": "sulphate sulfate",
        "soluble": "soluble sol cn",
        "graphitic": "graphitic graph",
    },
    parted=" ",
)
REPEAT_WORDS = frozenset({"R", "RPT", "REP", "REPEAT", "DUP", "CHK", "CHECK", "2", "3", "RP1", "RP2"})

UNIT_CODES = _by_word(
    {
        "[ppm]": "ppm [ppm]",
        "[ppb]": "ppb [ppb]",
        "%": "% pct pc percent wt% wtpct wtpc %wt w% mass%",
        "g/t": "g/t gpt g/tonne gm/t gms/t gmt gt-1",
        "mg/kg": "mg/kg",
        "ug/g": "ug/g µg/g μg/g mcg/g",
        "ug/kg": "ug/kg µg/kg μg/kg mcg/kg",
        "g/kg": "g/kg",
        "mg/t": "mg/t",
        "kg/t": "kg/t",
        "[oz_tr]/t": "[oz_tr]/t",
        "[oz_tr]/[ston_av]": "[oz_tr]/[ston_av]",
        "[pptr]": "[pptr]",
        "[ppth]": "[ppth]",
    },
    parted=" ",
)
UNCLEAR_UNITS = MappingProxyType(
    {
        **dict.fromkeys(("oz/t", "oz/ton", "opt", "ozt/t", "ozt/ton", "troyoz/ton"), ("[oz_tr]/t", "[oz_tr]/[ston_av]")),
        "ppt": ("[pptr]", "[ppth]"),
    }
)
"""Units that do not say which ton, or which trillion: a person names it, nothing is guessed."""
MASS_UNITS = MappingProxyType({"kg": "kg", "kgs": "kg", "g": "g", "gm": "g", "grams": "g", "lb": "lb", "lbs": "lb"})

LIMIT_WORDS = {
    "lower_row": re.compile(
        r"\b(lower|lod|lld|ldl|mdl|dl|lor|min|minimum|detection|det|reporting limit|l\.?d\.?l|limite)\b", re.IGNORECASE
    ),
    "upper_row": re.compile(r"\b(upper|udl|max|maximum|over ?range|u\.?d\.?l)\b", re.IGNORECASE),
    "method_row": re.compile(
        r"\b(method|methods|scheme|technique|procedure|analysis code|assay code|code|metodo|método|méthode)\b", re.IGNORECASE
    ),
    "unit_row": re.compile(r"\b(unit|units|uom|unidad|unité|unidade)\b", re.IGNORECASE),
}
COLUMN_WORDS = {
    "number": (
        "sample, sample id, sampleid, sample no, sample number, sample num, sample name, sample nr, sample ident, number, "
        "ticket, ticket no, tag, bag, bag no, bag number, ident, identification, id, client id, client sample, "
        "client sample id, client sample no, sample description, description, your reference, client ref, muestra, "
        "nro muestra, no muestra, id muestra, echantillon, échantillon, no echantillon, amostra, no amostra"
    ),
    "kind": "type, sample type, sampletype, kind, qc type, qc, qaqc, qaqc type, line type, analysis type, qc code, tipo",
    "rack": "rack, rack no, tray no, batch, batch no, fusion, furnace, furnace load, set, worksheet, run, lote, digest batch",
    "mass": (
        "mass, weight, wt, recvd wt, received wt, received weight, received mass, rec wt, sample weight, sample mass, "
        "weight received, mass received, recd wt, recd weight, recvd weight, received, recvd, recd, dry weight, "
        "dry mass, peso, poids"
    ),
    "element": (
        "element, analyte, analyte code, analyte name, parameter, chem code, determinand, component, symbol, "
        "analyte symbol, constituent, elemento"
    ),
    "value": (
        "value, result, reading, assay, assay result, assay value, concentration, amount, result value, reported value, "
        "text result, reported result, resultado, valor"
    ),
    "unit": "unit, units, uom, unit of measure, result unit, result units, unidad, unité",
    "method": (
        "method, assay code, method code, technique, analysis code, scheme, analytical method, chem method code, lab method, "
        "metodo"
    ),
    "lower": (
        "lower limit, detection limit, lower detection limit, lod, lld, ldl, mdl, dl, lor, reporting limit, lower, "
        "limit of detection, detection"
    ),
    "upper": "upper limit, upper detection limit, udl, upper, maximum, max",
    "qualifier": "qualifier, flag, sign, prefix, modifier, result qualifier",
    "job": "job, job number, job no, lab job, lab job no, batch id, certificate, certificate no, report, report no, work order",
    "place": (
        "line, line no, seq, sequence, order no, position, pos, lab id, lab no, lab number, lab sample id, item, no, row"
    ),
}
"""What the columns beside the results hold, by their names without capitals and signs."""
ROLES = _by_word(COLUMN_WORDS)
ABOUT_WORDS = {
    "job": re.compile(
        r"^(?:lab(?:oratory)?\s*)?(?:job|certificate|report|work\s*order|batch|order|workorder)"
        r"(?:\s*(?:no|nr|number|id|#|code|name))?\.?$", re.IGNORECASE),
    "reported": re.compile(
        r"^(?:date\s*(?:of\s*)?(?:report(?:ed)?|issue[d]?|finali[sz]ed|completed|certificate)?|report(?:ed|ing)?\s*(?:date|at|on)"
        r"|issued?(?:\s*(?:on|date))?|finali[sz]ed(?:\s*(?:on|date))?|certificate\s*date|date\s*out|reported)$",
        re.IGNORECASE),
    "laboratory": re.compile(r"^(?:lab|laboratory|laboratorio|laboratoire|issued by)(?:\s*name)?$", re.IGNORECASE),
}  # fmt: skip

KIND_MARKS = _by_word(
    {
        "sample": "SMP, SAMPLE, UNK, UNKNOWN, ORIG, ORIGINAL, O, S, CLIENT, ROUTINE, MUESTRA",
        "pulp duplicate": (
            "DUP, DUPLICATE, PD, PULP DUP, PULP DUPLICATE, LAB DUP, REP, REPEAT, REPLICATE, RPT, CHK, CHECK, LD, LDUP, "
            "LABORATORY DUPLICATE, R"
        ),
        "coarse duplicate": (
            "CD, CRD, CRUSH DUP, COARSE DUP, COARSE DUPLICATE, PREP DUP, PREP DUPLICATE, SPLIT, RESPLIT, RE-SPLIT, RS, CDUP"
        ),
        "laboratory standard": (
            "STD, STANDARD, CRM, SRM, RM, CONTROL, LAB STD, LABORATORY STANDARD, REF, REFERENCE, QCS, LCS"
        ),
        "laboratory blank": "BLK, BLANK, LAB BLANK, LABORATORY BLANK, PREP BLANK, METHOD BLANK, MB, B, BL",
    }
)
"""Marks in a column of line kinds, in capitals."""
SUFFIX_WORDS = _by_word(
    {
        "pulp duplicate": "DUP, DUPLICATE, REP, RPT, REPEAT, CHK, CHECK, PD, LD",
        "coarse duplicate": "CD, CRD, SPLIT, RS, RESPLIT, PREP DUP, CRUSH DUP",
    }
)
"""Behind or before a number, parted from it: the laboratory took this sample twice."""
NAME_STARTS = _by_word(
    {
        "laboratory standard": "STD, STANDARD, CRM, SRM, QC, LCS, REF",
        "laboratory blank": "BLK, BLANK, METHOD BLANK, PREP BLANK",
    }
)
"""Beginnings of names that are the laboratory's own, when a digit, a space or nothing follows."""

_SPLIT = re.compile(r"[\s_()\[\]{},;:]+")
_NUMBER = re.compile(r"[<>]?(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)")
_BETWEEN = re.compile(r"([0-9]+(?:\.[0-9]+)?)\s*(?:-|–|to)\s*([0-9]+(?:\.[0-9]+)?)")
_METHOD_LIKE = re.compile(r"[A-Z0-9][A-Z0-9/.+-]*[a-z]?[0-9]*")


@dataclass(frozen=True, slots=True)
class HeaderRead:
    """What one header cell seems to say."""

    element: str
    unit: str = ""
    method: str = ""
    lower: str = ""
    upper: str = ""
    unclear_unit: str = ""


def plain_word(text: str) -> str:
    """A column name without capitals, signs and double spaces."""
    return " ".join(re.sub(r"[^\w]+", " ", text.casefold().replace("_", " ")).split())


def role_of(text: str) -> str | None:
    """What a column of this name holds in a long certificate, or beside the results of a wide one."""
    plain = plain_word(text)
    if not plain:
        return None
    bare = plain
    for unit in MASS_UNITS:
        bare = bare.removesuffix(f" {unit}")
    return ROLES.get(plain) or ("mass" if ROLES.get(bare) == "mass" else None)


def unit_of(text: str) -> str:
    """The UCUM code of a unit as written; empty when it is none, or not certain."""
    return UNIT_CODES.get(_unit_key(text), "")


def unclear_unit_of(text: str) -> tuple[str, ...]:
    """What a unit may mean that does not say it."""
    return UNCLEAR_UNITS.get(_unit_key(text), ())


def mass_unit_of(text: str) -> str:
    """The unit of masses in a column name, or in the cell of a unit row."""
    words = plain_word(text).split()
    return next((MASS_UNITS[word] for word in reversed(words) if word in MASS_UNITS), "")


def _unit_key(text: str) -> str:
    return "".join(text.casefold().replace(".", "").replace("per cent", "percent").split())


def element_of(text: str) -> str:
    """The element, oxide or other measured thing a word names; empty when none."""
    if text in ELEMENTS:
        return text
    if text.upper() in OTHER_MEASURED and (text.isupper() or text.istitle()):
        return text.upper()
    if text.isupper() and text in BY_CAPITALS and text not in WORDS_IN_CAPITALS:
        return BY_CAPITALS[text]
    if re.fullmatch(r"LOI[0-9]{3,4}", text):
        return text
    if FORMULA.fullmatch(text) and re.search("[0-9]|O", text):
        parts = re.findall(r"([A-Z][a-z]?)([0-9]{0,2})", text)
        if all(symbol in ELEMENTS for symbol, _ in parts) and parts[-1][0] in ("O", "H", "S", "F"):
            return text
    return ""


def read_header(text: str) -> HeaderRead | None:
    """A header cell taken apart into element, unit, method and limits; None when it names no element for certain."""
    text = " ".join(text.split())
    if not text or len(text) > 80:
        return None
    lower = upper = ""
    between = _BETWEEN.search(text)
    if between and float(between[1]) < float(between[2]):
        lower, upper = between[1], between[2]
        text = text[: between.start()] + " " + text[between.end() :]
    tokens = [token for token in _SPLIT.split(text) if token]
    # Au-FA30, Au/ppm: an element, a mark, more.
    first = re.fullmatch(r"([A-Z][A-Za-z]?[A-Za-z0-9]{0,8})[-/]([A-Za-z0-9%].*)", tokens[0]) if tokens else None
    if first and element_of(first[1]) and not element_of(tokens[0]):
        tokens[:1] = [first[1], first[2]]
    elements = [(place, element_of(token)) for place, token in enumerate(tokens) if element_of(token)]
    # A method code may look like an element (S, F ...): the first element of a header is meant.
    if not elements:
        return None
    at, element = elements[0]
    unit = unclear = ""
    method, species = [], ""
    for place, token in enumerate(tokens):
        if place == at:
            continue
        if not unit and unit_of(token):
            unit = unit_of(token)
        elif not unclear and unclear_unit_of(token):
            unclear = token
        elif token.casefold() in SPECIES and not species and place > at:
            species = SPECIES[token.casefold()]
        elif token.upper() in REPEAT_WORDS:
            method.append("repeat")
        elif token.casefold() in ("lod", "dl", "lld", "ldl", "mdl", "lor", "wt"):
            continue
        elif _NUMBER.fullmatch(token) and not lower and (unit or unclear):
            lower = token.lstrip("<>").replace(",", ".")
        elif _METHOD_LIKE.fullmatch(token):
            method.append(token)
        else:
            return None
    name = f"{element} {species}" if species else element
    return HeaderRead(name, unit, " ".join(method), lower, upper, unclear)
