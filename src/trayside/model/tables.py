"""The tables of a yard folder: one description that reads, validates, stores and documents them.

A length column is named without its unit here (`from`). In a file it stands as `from_m` or `from_ft`; at rest it is
`from_mm` (whole millimetres) beside `from_entered` (the text and unit as they were written).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

Kind = Literal["code", "text", "integer", "number", "length", "lengths", "choice", "yes_no"]

LENGTH_UNITS = ("m", "ft")
CODE_PATTERN = r"^[A-Za-z0-9][A-Za-z0-9 ._/+-]{0,39}$"
LONGEST_TEXT = 500


@dataclass(frozen=True, slots=True)
class Column:
    """One column: what it holds, in which unit, and what is impossible in it."""

    name: str
    kind: Kind
    meaning: str
    unit: str | None = None
    required: bool = True
    minimum: float | None = None
    maximum: float | None = None
    choices: tuple[str, ...] = ()

    @property
    def headers(self) -> tuple[str, ...]:
        """The names this column may have in a file."""
        if self.kind in ("length", "lengths"):
            return tuple(f"{self.name}_{unit}" for unit in LENGTH_UNITS)
        return (self.name,)

    @property
    def stored(self) -> tuple[str, ...]:
        """The names of its columns at rest."""
        if self.kind == "length":
            return (f"{self.name}_mm", f"{self.name}_entered")
        if self.kind == "lengths":
            return (f"{self.name}_mm", f"{self.name}_entered")
        return (self.name,)


@dataclass(frozen=True, slots=True)
class Table:
    """One table of the folder."""

    name: str
    meaning: str
    columns: tuple[Column, ...]
    key: tuple[str, ...] = ()
    refers: dict[str, str] = field(default_factory=dict)
    increasing: tuple[str, str] | None = None
    required: bool = False

    @property
    def of_hole(self) -> bool:
        """Whether its rows come and go with a hole; all others are shared by the whole yard."""
        return self.columns[0].name == "hole_id"

    def column(self, name: str) -> Column:
        return next(column for column in self.columns if column.name == name)


def code(name: str, meaning: str, **more) -> Column:
    return Column(name, "code", meaning, **more)


def text(name: str, meaning: str) -> Column:
    return Column(name, "text", meaning, required=False)


def length(
    name: str, meaning: str, *, required: bool = True, minimum: float = 0.0, maximum: float = 15_000.0
) -> Column:
    """A depth or length; the limits are metres (deepest hole ever cored is below 15 km; from memory)."""
    return Column(name, "length", meaning, "m", required, minimum, maximum)


def number(name: str, meaning: str, unit: str, minimum=None, maximum=None, *, required: bool = True) -> Column:
    return Column(name, "number", meaning, unit, required, minimum, maximum)


def count(name: str, meaning: str, minimum: int = 0, maximum: int = 10_000_000, *, required: bool = True) -> Column:
    return Column(name, "integer", meaning, None, required, minimum, maximum)


def choice(name: str, meaning: str, choices: tuple[str, ...], *, required: bool = True) -> Column:
    return Column(name, "choice", meaning, None, required, choices=choices)


HOLE = code("hole_id", "the hole")
HARDNESS = ("R0", "R1", "R2", "R3", "R4", "R5", "R6")
CONDITIONS = ("intact", "blocky", "rubble", "clay")
SAW_KINDS = ("automatic", "manual", "splitter")
BLADE_BONDS = ("soft", "medium", "hard")
MATERIAL_KINDS = ("standard", "coarse blank", "fine blank")
GRADE_UNITS = ("g/t", "mg/kg", "ug/kg", "[ppm]", "[ppb]", "%")

HOLES = Table(
    "holes",
    "Every hole with its collar.",
    (
        code("hole_id", "the hole's name, as on the trays"),
        text("area", "section or prospect the hole belongs to"),
        number("east_m", "collar easting", "m", -1e8, 1e8),
        number("north_m", "collar northing", "m", -1e8, 1e8),
        number("elevation_m", "collar elevation", "m", -12_000, 9_000),
        number("azimuth_deg", "azimuth of the hole at the collar, from grid north", "deg", 0, 360),
        number("dip_deg", "dip of the hole at the collar, negative down", "deg", -90, 90),
        length("total_depth", "depth of the finished hole"),
        text("remark", "anything worth saying"),
    ),
    key=("hole_id",),
    required=True,
)
SURVEYS = Table(
    "surveys",
    "Attitude of the hole measured along it.",
    (
        HOLE,
        length("depth", "depth of the station"),
        number("azimuth_deg", "azimuth there", "deg", 0, 360),
        number("dip_deg", "dip there, negative down", "deg", -90, 90),
        text("instrument", "what measured it"),
    ),
    key=("hole_id", "depth"),
    refers={"hole_id": "holes"},
)
RUNS = Table(
    "runs",
    "The driller's runs, as the blocks say; out-of-order blocks load and are found, not refused.",
    (
        HOLE,
        count("run", "number of the run in the hole", 1, 100_000),
        length("from", "block at the top"),
        length("to", "block at the bottom"),
        length("recovered", "core recovered, measured along its axis", maximum=100.0),
        length("rqd", "summed length of sound pieces of at least the threshold", required=False, maximum=100.0),
        length("solid", "summed length of full-diameter pieces", required=False, maximum=100.0),
        count("fractures", "natural fractures counted", 0, 100_000, required=False),
        code("core_size", "size code of the core"),
        text("remark", "anything worth saying"),
    ),
    key=("hole_id", "run"),
    refers={"hole_id": "holes", "core_size": "core_sizes"},
    required=True,
)
LOSSES = Table(
    "losses",
    "Core losses whose place is known or assumed.",
    (
        HOLE,
        length("from", "depth of the top of the loss"),
        length("lost", "length lost", maximum=100.0),
        choice("position", "how the place is known", ("seen", "assumed")),
        text("remark", "anything worth saying"),
    ),
    key=("hole_id", "from"),
    refers={"hole_id": "holes"},
)
TRAYS = Table(
    "trays",
    "Every tray with the depths on its tag.",
    (
        HOLE,
        count("tray", "number of the tray in the hole", 1, 100_000),
        length("from", "depth at the start of the first row"),
        length("to", "depth at the end of the last row"),
        count("rows", "rows in the tray", 1, 20),
        length("row_length", "inside length of a row", minimum=0.1, maximum=10.0),
        Column(
            "row_ends", "lengths", "depth at the end of each row but the last, separated by spaces", "m", False, 0.0
        ),
        text("remark", "anything worth saying"),
    ),
    refers={"hole_id": "holes"},
    required=True,
)
ROCK = Table(
    "rock",
    "The log that steers sampling and cutting.",
    (
        HOLE,
        length("from", "top of the interval"),
        length("to", "bottom of the interval"),
        code("rock", "rock code"),
        choice("hardness", "field hardness grade", HARDNESS, required=False),
        choice("condition", "state of the core", CONDITIONS),
        code("grade_class", "expected grade class, one of the classes in rules.toml"),
        choice("contact", "the contact at the top of this interval", ("hard", "soft")),
        Column("vein", "yes_no", "a vein to be sampled on its own", required=False),
        choice("sampling", "always, never, or as the rules say", ("always", "never", "rules"), required=False),
        text("caution", "what the person cutting must know (visible gold, sulphide, fibres...)"),
    ),
    key=("hole_id", "from"),
    refers={"hole_id": "holes", "rock": "rock_codes"},
    increasing=("from", "to"),
    required=True,
)
ORIENTATION_MARKS = Table(
    "orientation_marks",
    "Orientation marks against the drawn line.",
    (
        HOLE,
        length("depth", "depth of the mark"),
        number("angle_deg", "mark minus drawn line, clockwise looking downhole", "deg", -180, 180),
        choice("line", "the line drawn there", ("solid", "dashed", "none")),
        choice("joint", "the fit to the run above", ("locked", "uncertain", "spun", "broken"), required=False),
    ),
    key=("hole_id", "depth"),
    refers={"hole_id": "holes"},
)
FABRIC = Table(
    "fabric",
    "Planes measured on oriented core.",
    (
        HOLE,
        length("depth", "depth where the plane meets the core axis"),
        number("alpha_deg", "acute angle between plane and core axis", "deg", 0, 90),
        number(
            "beta_deg",
            "angle round the core to the lower apex, clockwise looking downhole",
            "deg",
            0,
            360,
            required=False,
        ),
        number("thickness_mm", "true thickness", "mm", 0, 100_000, required=False),
        code("kind", "vein, foliation, bedding, fault, joint..."),
    ),
    refers={"hole_id": "holes"},
)
DENSITY = Table(
    "density",
    "Density measured on sticks of core: two masses or the value.",
    (
        HOLE,
        length("from", "top of the stick"),
        length("to", "bottom of the stick"),
        number("mass_dry_g", "mass in air, dry", "g", 0, 1e6, required=False),
        number("mass_in_water_g", "apparent mass in water", "g", 0, 1e6, required=False),
        number("density_t_m3", "density, when given as such", "t/m3", 0.1, 25, required=False),
        code("method", "immersion, wax, calliper, given"),
    ),
    refers={"hole_id": "holes"},
    increasing=("from", "to"),
)
CORE_SIZES = Table(
    "core_sizes",
    "Core sizes in use here; the millimetres decide. A yard that was never given any has the shipped sizes.",
    (
        code("core_size", "size code"),
        number("core_diameter_mm", "diameter of the core", "mm", 5, 500),
        number("hole_diameter_mm", "diameter of the hole", "mm", 5, 600, required=False),
    ),
    key=("core_size",),
)
ROCK_CODES = Table(
    "rock_codes",
    "What a rock code means, and its density until measurements say better.",
    (
        code("rock", "rock code"),
        text("name", "the rock in words"),
        number("density_t_m3", "bulk density", "t/m3", 0.1, 25),
        number("density_sd_t_m3", "its standard deviation in this yard", "t/m3", 0, 5),
    ),
    key=("rock",),
    required=True,
)
MATERIALS = Table(
    "materials",
    "Standards and blanks in stock.",
    (
        code("material", "code of the standard or blank"),
        choice("kind", "what it is", MATERIAL_KINDS),
        count("in_stock", "sachets or blank portions on the shelf, without those set aside for issued sheets"),
        number("mass_g", "mass of one insertion", "g", 0, 50_000),
        number("grade_g_t", "certified grade of the element that steers sampling", "g/t", 0, 1e6, required=False),
        code("lot", "lot or batch of the material", required=False),
        text("remark", "anything worth saying"),
    ),
    key=("material",),
)
CERTIFIED_VALUES = Table(
    "certified_values",
    "What standards and blanks should read, element by element, as their certificates say.",
    (
        code("material", "code of the standard or blank"),
        code("element", "element or oxide, as the results name it"),
        choice("unit", "unit of the contents in this row (UCUM)", GRADE_UNITS),
        number("certified", "certified content", None, 0, 1e6, required=False),
        number("performance_sd", "standard deviation of single results that laboratories reach", None, 0, 1e6,
               required=False),
        number("expanded_uncertainty", "expanded uncertainty of the certified content", None, 0, 1e6, required=False),
        number("coverage_factor", "factor of the expanded uncertainty; 2 when it is not given", None, 1, 5,
               required=False),
        count("laboratories", "laboratories behind the certificate", 1, 1000, required=False),
        number("upper_limit", "a blank above this fails; without it the limit follows from the rules", None, 0, 1e6,
               required=False),
        text("remark", "anything worth saying"),
    ),
    key=("material", "element"),
    refers={"material": "materials"},
)  # fmt: skip
TICKETS = Table(
    "tickets",
    "Ticket ranges in hand; a range may be reserved for a hole.",
    (
        code("book", "the ticket book"),
        code("prefix", "letters before the number", required=False),
        count("first", "first number", 0, 10**9),
        count("last", "last number", 0, 10**9),
        count("digits", "digits of the printed number", 1, 9),
        code("hole_id", "the hole it is reserved for", required=False),
        text("voids", "numbers spoiled or lost, separated by spaces"),
    ),
    key=("book",),
    refers={"hole_id": "holes"},
)
SAWS = Table(
    "saws",
    "Saws and splitters of the yard. A yard without any is not held to pre-start cards.",
    (
        code("saw", "the saw's name, as on its plate"),
        choice("kind", "what it is", SAW_KINDS),
        number("spindle_rpm", "turns a minute of the spindle, from its plate or measured", "1/min", 1, 50_000, required=False),
        number("largest_blade_mm", "largest blade the guard takes", "mm", 50, 2000, required=False),
        number("flange_diameter_mm", "diameter of the flanges", "mm", 5, 1000, required=False),
        choice("water", "where its water comes from", ("fresh", "recirculated"), required=False),
        number("water_low_l_min", "least flow at the blade, by its maker", "L/min", 0.01, 200, required=False),
        number("water_high_l_min", "most flow at the blade, by its maker", "L/min", 0.01, 200, required=False),
        text("remark", "anything worth saying"),
    ),
    key=("saw",),
)
BLADES = Table(
    "blades",
    "Saw blades, on the saws and on the shelf.",
    (
        code("blade", "the blade's own name, written on it"),
        code("blade_type", "blades that wear alike share a type"),
        number("diameter_mm", "diameter when new", "mm", 50, 2000),
        number("segment_height_mm", "height of the segments when new", "mm", 0.5, 50),
        number("stamped_rpm", "highest rpm as stamped on the blade; blank when it cannot be read", "1/min", 1, 50_000,
               required=False),
        count("segments", "segments on the rim", 1, 500, required=False),
        number("segment_length_mm", "length of one segment", "mm", 1, 500, required=False),
        number("segment_width_mm", "width of one segment", "mm", 0.5, 20, required=False),
        number("kerf_mm", "width of the slot it cuts", "mm", 0.5, 20, required=False),
        choice("bond", "bond of the segments", BLADE_BONDS, required=False),
        number("price", "price of one, in the yard's money", None, 0, 1e7, required=False),
        number("lead_days", "working days from order to arrival", "d", 0, 1000, required=False),
        text("remark", "anything worth saying"),
    ),
    key=("blade",),
)  # fmt: skip

TABLES: tuple[Table, ...] = (
    HOLES, SURVEYS, RUNS, LOSSES, TRAYS, ROCK, ORIENTATION_MARKS, FABRIC, DENSITY,
    CORE_SIZES, ROCK_CODES, MATERIALS, CERTIFIED_VALUES, TICKETS,
    SAWS, BLADES,
)  # fmt: skip
BY_NAME: dict[str, Table] = {table.name: table for table in TABLES}
