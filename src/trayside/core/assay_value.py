"""One result as a laboratory wrote it: what it says, kept apart from what anyone may later do with it.

"<0.01" is a text, a flag "lt" and a limit of 0.01, and stays that: no half limit, no 0, no -0.01 ever stands in its
place. What cannot be read with certainty is kept as text for a person to look at (`REVIEW`), never guessed.

     "< 0.005"  lt, limit 0.005        "-0.005"  lt when 0.005 is the stated limit, else what the file's setting says
     "> 10"     gt, limit 10           "N.A."    not analysed, "IS" too little sample, "LNR" listed but not received
     "1,5"      with a decimal comma   "0.1-0.5" for review
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from types import MappingProxyType

import numpy as np

from trayside.errors import ImpossibleValue

NONE, LESS, MORE = "none", "lt", "gt"
NOT_DETECTED, NOT_ANALYSED, INSUFFICIENT, NOT_RECEIVED = (
    "not_detected",
    "not_analysed",
    "insufficient",
    "listed_not_received",
)
REVIEW = "review"
CENSORS = (NONE, LESS, MORE, NOT_DETECTED, NOT_ANALYSED, INSUFFICIENT, NOT_RECEIVED, REVIEW)

NEGATIVE_READINGS = ("ask", "limit", "number")
DECIMAL_MARKS = (".", ",", "ask")

WORDS = MappingProxyType(
    {
        "NA": NOT_ANALYSED,
        "N/A": NOT_ANALYSED,
        "NOT ANALYSED": NOT_ANALYSED,
        "NOT ANALYZED": NOT_ANALYSED,
        "IS": INSUFFICIENT,
        "I/S": INSUFFICIENT,
        "INS": INSUFFICIENT,
        "NSS": INSUFFICIENT,
        "INSUFFICIENT": INSUFFICIENT,
        "INSUFFICIENT SAMPLE": INSUFFICIENT,
        "LNR": NOT_RECEIVED,
        "L/N/R": NOT_RECEIVED,
        "LISTED NOT RECEIVED": NOT_RECEIVED,
        "NOT RECEIVED": NOT_RECEIVED,
        "ND": NOT_DETECTED,
        "N/D": NOT_DETECTED,
        "NOT DETECTED": NOT_DETECTED,
        "BDL": NOT_DETECTED,
        "BLD": NOT_DETECTED,
        "<DL": NOT_DETECTED,
        "<LOD": NOT_DETECTED,
        "<": NOT_DETECTED,
    }
)
"""Words in place of a number, without full stops, in capitals. Common practice, no source; a laboratory's own are
added in its mapping."""

SENTINELS = tuple(Decimal(-n) for n in (99, 999, 9999, 99999))
"""Numbers that stand for "no result". Common practice, no source."""

_SPACES = "\u00a0\u2007\u2009\u202f\u2002\u2003\ufeff\t\r\n"
_TIDY = str.maketrans({**dict.fromkeys(_SPACES, " "), "\u2212": "-", "\uff1c": "<", "\uff1e": ">", "'": " "})
_SIGN = re.compile(r"(<=|>=|=<|=>|≤|≥|<|>)?\s*(.*)", re.DOTALL)
_PLAIN = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_BODY = re.compile(r"([+-]?)\s*([0-9.,](?:[0-9., ]*[0-9.,])?)((?:[eE][+-]?[0-9]{1,3})?)")
_RANGE = re.compile(r"[0-9.,]+\s*(?:-|–|to)\s*[0-9.,]+")
_LARGEST, _SMALLEST = Decimal("1e30"), Decimal("1e-30")  # no result in any unit lies beyond


@dataclass(frozen=True, slots=True)
class ReadingRules:
    """How one laboratory's file is read: its decimal mark, what its negative numbers mean, its own words."""

    decimal_mark: str = "."
    negative: str = "ask"
    words: Mapping[str, str] = field(default_factory=lambda: WORDS)
    sentinels: tuple[Decimal, ...] = SENTINELS

    def __post_init__(self) -> None:
        for name, value, choices in (
            ("decimal_mark", self.decimal_mark, DECIMAL_MARKS),
            ("negative", self.negative, NEGATIVE_READINGS),
        ):
            if value not in choices:
                raise ImpossibleValue(f"{value!r} is no choice", where=name, remedy=f"Use one of: {', '.join(choices)}")
        for word, meaning in self.words.items():
            if meaning not in CENSORS:
                raise ImpossibleValue(
                    f"{word!r} is said to mean {meaning!r}", where="words", remedy=f"Use one of: {', '.join(CENSORS)}"
                )


DEFAULT_RULES = ReadingRules()


@dataclass(frozen=True, slots=True)
class AssayValue:
    """What one result says. `value` only when it is a number; limits are the result's own, else the column's."""

    raw_text: str
    value: Decimal | None
    censor: str  # one of CENSORS
    lower_limit: Decimal | None
    upper_limit: Decimal | None
    notes: tuple[str, ...] = ()

    @property
    def usable(self) -> bool:
        """True for a number or a result below or above a known limit."""
        return self.censor in (NONE, LESS, MORE)


@dataclass(frozen=True, slots=True)
class AssayColumn:
    """A column of n results: the distinct ones, and which of them stands at each place."""

    distinct: tuple[AssayValue, ...]
    place: np.ndarray  # (n,) index into `distinct`

    def __len__(self) -> int:
        return len(self.place)

    def __getitem__(self, row: int) -> AssayValue:
        return self.distinct[self.place[row]]

    @property
    def values(self) -> np.ndarray:
        """Numbers (n,), NaN where there is none."""
        return self._numbers("value")

    @property
    def lower_limit(self) -> np.ndarray:
        """Lower limits (n,), NaN where unknown."""
        return self._numbers("lower_limit")

    @property
    def upper_limit(self) -> np.ndarray:
        """Upper limits (n,), NaN where unknown."""
        return self._numbers("upper_limit")

    @property
    def censor(self) -> np.ndarray:
        """Flags (n,), each one of CENSORS."""
        return np.array([one.censor for one in self.distinct], dtype="U20")[self.place]

    @property
    def noted(self) -> tuple[int, ...]:
        """Rows whose result carries a note."""
        with_note = np.array([bool(one.notes) for one in self.distinct], dtype=bool)
        return tuple(np.flatnonzero(with_note[self.place]).tolist())

    def _numbers(self, name: str) -> np.ndarray:
        each = (getattr(one, name) for one in self.distinct)
        return np.array([np.nan if one is None else float(one) for one in each], dtype=np.float64)[self.place]


def read_assay_value(
    text: object,
    *,
    lower_limit: object = None,
    upper_limit: object = None,
    rules: ReadingRules = DEFAULT_RULES,
) -> AssayValue:
    """Read one result text into value, flag and limits.

    "<" and ">" give a limit of the result's own, which beats the column's. A negative number that equals a stated lower
    limit is "less than"; another is read as the rules say ("ask": for review). Known sentinels are no result. Words
    are looked up. 0, a value beyond its limits, ">" and whatever else is odd get a note; a range, a unit beside the
    number, a comma that may be either mark are for review. Nothing is put in place of a missing or censored value.

    Parameters
    ----------
    text : str, number or None
        The cell as received.
    lower_limit : number, str or None
        Detection limit of the column.
    upper_limit : number, str or None
        Upper limit of the column.
    rules : ReadingRules
        Reading of this laboratory's files.

    Returns
    -------
    AssayValue
        .raw_text, .value, .censor, .lower_limit, .upper_limit, .notes, .usable

    Raises
    ------
    ImpossibleValue
        When a limit of the column is not a number of more than 0, or the lower is not below the upper.

    Valid for: one result of one element in the column's unit.
    Source: site rule, after limit conventions seen in public releases (negative of the limit: NURE, USGS OFR 97-492
        FAQ, seen; "<" and ">": mrdata.usgs.gov plutosoil, seen); sentinels and words: common practice, no source.
    Checked by: tests/published/test_assay_value_published.py, tests/unit/core/test_assay_value.py,
        tests/properties/test_assay_value_properties.py
    """
    low, high = _limits(lower_limit, upper_limit)
    return _read(text, low, high, rules)


def read_assay_column(
    texts: Iterable[object],
    *,
    lower_limit: object = None,
    upper_limit: object = None,
    rules: ReadingRules = DEFAULT_RULES,
) -> AssayColumn:
    """Read a column of results of one element.

    Every distinct text is read once, by read_assay_value.

    Parameters
    ----------
    texts : sequence (n,) of str, number or None
        The cells as received.
    lower_limit : number, str or None
        Detection limit of the column.
    upper_limit : number, str or None
        Upper limit of the column.
    rules : ReadingRules
        Reading of this laboratory's files.

    Returns
    -------
    AssayColumn
        Row i is column[i]; .values (n,) NaN without a number; .censor (n,); .lower_limit (n,) and .upper_limit (n,)
        NaN where unknown; .noted rows with notes.

    Raises
    ------
    ImpossibleValue
        When a limit of the column is not a number of more than 0, or the lower is not below the upper.

    Valid for: one element in one unit.
    Source: site rule.
    Checked by: tests/unit/core/test_assay_value.py, tests/properties/test_assay_value_properties.py
    """
    low, high = _limits(lower_limit, upper_limit)
    place_of: dict[object, int] = {}
    distinct: list[AssayValue] = []
    place = []
    for text in texts:
        # Numbers are told apart by kind and writing: 1 == True and 0.0 == -0.0.
        key = text if type(text) is str else (type(text), repr(text))
        at = place_of.get(key)
        if at is None:
            at = place_of[key] = len(distinct)
            distinct.append(_read(text, low, high, rules))
        place.append(at)
    return AssayColumn(distinct=tuple(distinct), place=np.array(place, dtype=np.int64))


def propose_decimal_mark(texts: Sequence[str]) -> str:
    """Decimal mark of a file by the results that leave no doubt: "." or ",", "ask" when both or none are certain.

    A mark is certain when it stands once and not before exactly three digits, or last behind the other mark.

    Parameters
    ----------
    texts : sequence (n,) of str
        Results of the whole file.

    Returns
    -------
    str

    Raises
    ------
    ImpossibleValue
        Never.

    Valid for: results of one file, written in one way.
    Source: derived.
    Checked by: tests/unit/core/test_assay_value.py
    """
    seen = set()
    for text in texts:
        match = _SIGN.fullmatch(str(text).translate(_TIDY).strip())
        body = _BODY.fullmatch(match.group(2)) if match else None
        if body:
            mark = _certain_mark(body.group(2).replace(" ", ""))
            if mark:
                seen.add(mark)
    return seen.pop() if len(seen) == 1 else "ask"


def _limits(lower_limit: object, upper_limit: object) -> tuple[Decimal | None, Decimal | None]:
    low, high = _limit(lower_limit, "lower_limit"), _limit(upper_limit, "upper_limit")
    if low is not None and high is not None and not low < high:
        raise ImpossibleValue(
            f"lower limit {low} is not below upper limit {high}",
            where="limits",
            remedy="Check the rows with the limits and their units",
        )
    return low, high


def _limit(value: object, name: str) -> Decimal | None:
    if value is None:
        return None
    try:
        if isinstance(value, bool):
            raise ValueError
        limit = Decimal(str(value).strip())
        if not (limit.is_finite() and limit > 0):
            raise ValueError
    except (ValueError, ArithmeticError):
        raise ImpossibleValue(
            f"{value!r} is no limit", where=name, remedy="Give a number of more than 0, or none"
        ) from None
    return limit


def _read(text: object, low: Decimal | None, high: Decimal | None, rules: ReadingRules) -> AssayValue:
    raw = "" if text is None else str(text)

    def found(censor: str, value: Decimal | None = None, *notes: str, lower=low, upper=high) -> AssayValue:
        return AssayValue(raw, value, censor, lower, upper, notes)

    if isinstance(text, bool):
        return found(REVIEW, None, "true or false is no result")
    if isinstance(text, float) and text != text:
        return found(NOT_ANALYSED, None, "empty cell")
    if isinstance(text, int | float | Decimal):
        return _number(Decimal(repr(float(text)) if isinstance(text, float) else text), low, high, rules, found)
    tidy = raw.translate(_TIDY).strip()
    if not tidy:
        return found(NOT_ANALYSED, None, "empty cell")
    if _PLAIN.fullmatch(tidy) and ("." not in tidy or rules.decimal_mark == "."):
        return _number(Decimal(tidy), low, high, rules, found)
    word = _word(tidy, rules)
    if word is not None:
        if word == NOT_DETECTED and low is not None:
            return found(LESS, None, "limit taken from the column")
        return found(word, None, *(("no limit is stated",) if word == NOT_DETECTED else ()))
    sign, rest = _SIGN.fullmatch(tidy).groups()
    number, note = _amount(rest, rules.decimal_mark)
    if number is None:
        return found(REVIEW, None, note)
    kept = (note,) if note else ()
    if not sign:
        return _number(number, low, high, rules, found, kept)
    if number <= 0 or not _SMALLEST < number < _LARGEST:
        return found(REVIEW, None, f"a limit of {number} cannot be")
    if "<" in sign or sign == "≤":
        if high is not None and number >= high:
            return found(LESS, None, *kept, "its limit is not below the upper limit: check the unit", lower=number)
        return found(LESS, None, *kept, lower=number)
    if low is not None and number <= low:
        kept = (*kept, "its limit is not above the lower limit: check the unit")
    return found(MORE, None, *kept, "over range: expects a result by another method", upper=number)


def _word(tidy: str, rules: ReadingRules) -> str | None:
    plain = " ".join(tidy.upper().replace(".", "").replace("_", " ").split())
    for candidate in (tidy, tidy.upper(), plain, plain.replace(" ", "")):
        if candidate in rules.words:
            return rules.words[candidate]
    return None


def _number(
    number: Decimal,
    low: Decimal | None,
    high: Decimal | None,
    rules: ReadingRules,
    found: Callable[..., AssayValue],
    notes: tuple[str, ...] = (),
) -> AssayValue:
    if not number.is_finite() or (number != 0 and not _SMALLEST < abs(number) < _LARGEST):
        return found(REVIEW, None, "no result is that large or that small")
    if number < 0:
        return _negative(number, low, rules, found, notes)
    if number == 0:
        notes = (*notes, "zero: no result, or below the limit?")
    elif low is not None and number < low:
        notes = (*notes, "below its lower limit: check the unit")
    if high is not None and number > high:
        notes = (*notes, "above its upper limit: check the unit")
    return found(NONE, number, *notes)


def _negative(
    number: Decimal,
    low: Decimal | None,
    rules: ReadingRules,
    found: Callable[..., AssayValue],
    notes: tuple[str, ...],
) -> AssayValue:
    at_limit = low is not None and -number == low
    if number in rules.sentinels:
        if at_limit:
            return found(REVIEW, None, f"{number} is both the limit and a mark for no result")
        return found(NOT_ANALYSED, None, f"{number} stands for no result")
    if at_limit:
        return found(LESS, None, *notes)
    if rules.negative == "limit":
        differs = () if low is None else ("limit differs from the column's",)
        return found(LESS, None, *notes, *differs, lower=-number)
    if rules.negative == "ask":
        return found(REVIEW, None, *notes, "negative: a limit, or a true negative number?")
    return found(NONE, number, *notes, "negative number")


def _certain_mark(digits: str) -> str:
    """The decimal mark of one number where there can be no doubt, else nothing."""
    dots, commas = digits.count("."), digits.count(",")
    if dots and commas:
        last = max(digits.rfind("."), digits.rfind(","))
        mark = digits[last]
        return mark if digits.count(mark) == 1 else ""
    if dots + commas != 1:
        return ""
    mark = "." if dots else ","
    before, after = digits.split(mark)
    thousands = len(after) == 3 and 1 <= len(before) <= 3 and not before.startswith("0")
    return "" if thousands else mark


def _amount(rest: str, decimal_mark: str) -> tuple[Decimal | None, str]:
    """The number in the text with what is to be said of it, or why it is not one for certain."""
    body = _BODY.fullmatch(rest.strip())
    if not body:
        if _RANGE.fullmatch(rest.strip()):
            return None, "a range, not one result"
        return None, "more than a number in the cell" if re.search(r"\d", rest) else "not a number and not a known word"
    sign, digits, power = body.groups()
    mark = decimal_mark
    if mark == "ask":
        mark = _only_mark(digits.replace(" ", ""))
        if not mark:
            return None, "the comma or dot may be a decimal mark or part thousands"
    other = "," if mark == "." else "."
    whole, found, part = digits.partition(mark)
    between = set(re.findall(rf"[ {re.escape(other)}]", whole))
    groups = re.split(rf"[ {re.escape(other)}]", whole)
    if (part and not part.isdigit()) or len(between) > 1:
        return None, "spaces, commas and dots do not make one number"
    if between and (not re.fullmatch("[1-9][0-9]{0,2}", groups[0]) or any(len(one) != 3 for one in groups[1:])):
        return None, "spaces, commas and dots do not make one number"
    plain = "".join(groups) + ("." if found else "") + part
    if not re.fullmatch(r"[0-9]+\.?[0-9]*|\.[0-9]+", plain):
        return None, "spaces, commas and dots do not make one number"
    return Decimal(sign + plain + power), "read as parted into thousands" if between else ""


def _only_mark(digits: str) -> str:
    """The decimal mark a number can have when the file's is not known; nothing when it may be either."""
    if not ("." in digits or "," in digits):
        return "."
    if digits.count(".") > 1 and "," not in digits:
        return ","
    if digits.count(",") > 1 and "." not in digits:
        return "."
    return _certain_mark(digits)
