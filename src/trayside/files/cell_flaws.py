"""The ways a cell can be wrong, each with the pattern that shows it, in the order in which they are tried."""

from __future__ import annotations

from trayside.files.fault_list import Flaw
from trayside.files.text_table import DATE_MARK
from trayside.model.tables import LONGEST_TEXT, Column

# Control characters, line ends among them, and the marks that turn the direction of print.
UNPRINTABLE = r"[\p{Cc}\x{2028}\x{2029}\x{202A}-\x{202E}\x{2066}-\x{2069}\x{FEFF}]"
FORMULA = r"^(?:[=+@]|-\s*(?:[^0-9.\s]|[0-9]+(?:\.[0-9]+)?[^0-9.]|$))"
PLAIN_NUMBER = r"^[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?$"

AS_TEXT = "Give the cell the format Text and enter it again; spreadsheets turn names and depths into dates"
PASTE_VALUES = "Replace the formula by its value (copy, paste values)"
LEAVE_EMPTY = "Leave the cell empty when nothing was measured"
PLAIN = "Write a plain number with a decimal point, like 1234.5"

DATE = Flaw(f"^{DATE_MARK}", "the cell holds a date", AS_TEXT)
ERROR = Flaw(
    r"^#(?:N/A|REF!|VALUE!|DIV/0!|NAME\?|NUM!|NULL!|SPILL!|CALC!|GETTING_DATA)",
    "the cell holds a spreadsheet error",
    "Correct the formula in the spreadsheet, then paste its value",
)
CONTROL = Flaw(
    UNPRINTABLE,
    "a line break or another unprintable character stands in the cell",
    "Write it on one line, letters and signs only",
)
FORMULA_CELL = Flaw(FORMULA, "the cell holds a formula, or text that a spreadsheet would run as one", PASTE_VALUES)
FORMULA_TEXT = Flaw(
    FORMULA,
    "the cell holds a formula, or text that a spreadsheet would run as one",
    "Replace a formula by its value (paste values); begin a remark with a letter or a digit",
)
TOO_LARGE = Flaw(PLAIN_NUMBER, "the number is larger than any number here can be", "Check the digits and the exponent")

NUMBER_FLAWS = (
    DATE,
    ERROR,
    CONTROL,
    Flaw(r"(?i)^[+-]?(?:nan|inf|infinity)$", "this is not a finite number", LEAVE_EMPTY),
    Flaw(
        r"(?i)^(?:n\.?/?a\.?|null|none|nil|nd|-+|–|—|\?+|\.)$",
        "a sign for 'nothing' stands where a number belongs",
        LEAVE_EMPTY,
    ),
    TOO_LARGE,
    Flaw(
        r"^[+-]?[0-9]{1,3}(?:,[0-9]{3})+$",
        "a comma stands in the number: as thousands or as decimals it would mean different depths",
        PLAIN,
    ),
    Flaw(r"^[+-]?[0-9]*,[0-9]+$", "the number has a decimal comma", PLAIN),
    Flaw(
        r"^[+-]?[0-9]{1,3}(?:[., '’\x{00A0}\x{202F}][0-9]{3})+(?:[.,][0-9]+)?$",
        "the number has a thousands separator",
        PLAIN,
    ),
    Flaw(r"^[+-]?[0-9]{1,3}(?:,[0-9]{3})+\.[0-9]+$", "the number has a thousands separator", PLAIN),
    Flaw(
        r"^[0-9]{1,4}[-/.][0-9]{1,2}[-/.][0-9]{1,4}(?:[T ].*)?$",
        "this reads like a date; spreadsheets turn numbers into dates",
        AS_TEXT,
    ),
    Flaw(
        r"""^[+-]?[0-9]+(?:\.[0-9]+)?\s*[\p{L}%°'"’”′″/³0-9]+\.?$""",
        "a unit or a letter stands beside the number",
        "Write the number alone; the unit stands in the column name",
    ),
    Flaw(r"^[<>≤≥~]", "the number has a sign before it", "Write the measured number alone"),
    FORMULA_CELL,
    Flaw("", "this is not a number", PLAIN),
)
WHOLE_FLAWS = (
    Flaw(r"^[+-]?(?:[0-9]+\.[0-9]*|\.[0-9]+)$", "this is not a whole number", "Write a whole number"),
    Flaw(
        r"(?i)^[+-]?[0-9]+(?:\.[0-9]*)?e[+-]?[0-9]+$",
        "a whole number is written with an exponent",
        "Write all its digits",
    ),
    *NUMBER_FLAWS,
)
LIST_FLAWS = (
    DATE,
    ERROR,
    FORMULA_CELL,
    Flaw(
        r"[0-9],[0-9]",
        "a comma stands in a list of lengths",
        "Write decimal points, and separate the lengths by spaces",
    ),
    Flaw("", "this is not a list of lengths", "Write plain numbers separated by spaces, like 11.2 12.25 13.3"),
)
CODE_FLAWS = (
    DATE,
    ERROR,
    CONTROL,
    FORMULA_CELL,
    Flaw(r"^.{41,}$", "the code is longer than 40 characters", "Shorten it everywhere it is used"),
    Flaw(r"^[^A-Za-z0-9]", "the code begins with neither a letter nor a digit", "Begin it with A-Z, a-z or 0-9"),
    Flaw(
        "",
        "the code holds a character codes cannot have",
        "Use letters A-Z and a-z, digits, space and . _ / + - only, without accents",
    ),
)
TEXT_FLAWS = (
    DATE,
    ERROR,
    CONTROL,
    FORMULA_TEXT,
    Flaw("", f"the text is longer than {LONGEST_TEXT} characters", "Shorten it"),
)
YES_NO_FLAWS = (
    DATE,
    ERROR,
    FORMULA_CELL,
    Flaw("", "this is neither yes nor no", "Write yes or no (true, false, 1 and 0 also do), or leave it empty"),
)


def choice_flaws(column: Column) -> tuple[Flaw, ...]:
    """The flaws of a column that knows only some words."""
    return (
        DATE,
        ERROR,
        FORMULA_CELL,
        Flaw("", "this is none of the words the column knows", f"Use one of: {', '.join(column.choices)}"),
    )
