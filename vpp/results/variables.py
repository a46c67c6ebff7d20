"""The one table of variables: what every column of a result means.

Column names, plot labels, printed digits and the documentation all come from here. `python -m
vpp.results.variables` prints it as Markdown.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

KNOT = 1852.0 / 3600.0
"""One knot in m/s: a nautical mile of 1852 m an hour (BIPM, The International System of Units, table 8)."""

DEGREE = math.pi / 180.0
"""One degree in radians."""

_PER_UNIT = {
    "kn": 1.0 / KNOT,
    "deg": 1.0 / DEGREE,
    "percent": 100.0,
    "m": 1.0,
    "s": 1.0,
    "N": 1.0,
    "N m": 1.0,
    "N/m": 1.0,
    "kn/m": 1.0 / KNOT,
    "N m/deg": DEGREE,
    "1": 1.0,
}

FILE_EXTRA_DECIMALS = 2
"""Digits a file carries beyond those shown, so that differences taken from files are not differences of
rounding.
"""


@dataclass(frozen=True, kw_only=True)
class Variable:
    """One column of the table of conditions.

    `source` is the key of the quantity in SI units, empty for text. `decimals` are those shown to people.
    `sense` says in words what a positive value means.
    """

    column: str
    source: str
    unit: str
    long_name: str
    sense: str
    applies: str
    decimals: int

    @property
    def is_text(self) -> bool:
        """Whether the column holds words."""
        return self.unit == ""

    @property
    def factor(self) -> float:
        """What a value in SI units or radians is multiplied by to give the column's unit."""
        return _PER_UNIT[self.unit]

    @property
    def label(self) -> str:
        """Long name with its unit, as written along an axis."""
        return self.long_name if self.unit in ("", "1") else f"{self.long_name}, {self.unit}"

    def show(self, value: float) -> str:
        """A value in the column's unit, with the digits it deserves; a dash where there is none."""
        return show_number(value, decimals=self.decimals)


def show_number(value: float, *, decimals: int, signed: bool = False) -> str:
    """A number with fixed decimals and never a negative zero; a dash for a missing one."""
    if not math.isfinite(value):
        return "-"
    rounded = round(float(value), decimals) + 0.0
    return f"{rounded:+.{decimals}f}" if signed and rounded != 0.0 else f"{rounded:.{decimals}f}"


def _text(column: str, long_name: str, sense: str, applies: str = "every row") -> Variable:
    return Variable(
        column=column, source="", unit="", long_name=long_name, sense=sense, applies=applies, decimals=0
    )


def _number(
    column: str,
    source: str,
    unit: str,
    decimals: int,
    long_name: str,
    sense: str,
    applies: str = "where converged",
) -> Variable:
    return Variable(
        column=column,
        source=source,
        unit=unit,
        long_name=long_name,
        sense=sense,
        applies=applies,
        decimals=decimals,
    )


# fmt: off
VARIABLES: tuple[Variable, ...] = (
    _text("option", "option",
          "name of the option; `base` is the boat as filed"),
    _number("tws_kn", "tws", "kn", 1, "true wind speed",
            "relative to the water, at the wind reference height", "every row"),
    _number("twa_deg", "twa", "deg", 1, "true wind angle",
            "between course and true wind: 0 head to wind, 180 dead before it; found where the aim is VMG",
            "every row with aim `speed`, else where converged"),
    _text("aim", "aim",
          "what is largest: `speed` at the given angle, or VMG `upwind` or `downwind` at the best angle"),
    _text("branch", "branch",
          "how the boat is carried: `hull-borne` or `foil-borne`"),
    _text("sail_set", "sail set",
          "the sails that are up: the best set of the boat; empty without a result", "boats with sail sets"),
    _text("status", "status",
          "`converged`, or why not: `no_equilibrium`, `limit_reached`, `step_limit`, `outside_model_range`, "
          "`not_finite`, `interrupted`"),
    _number("boat_speed_kn", "boat_speed", "kn", 2, "boat speed",
            "through the water along the course"),
    _number("vmg_kn", "vmg", "kn", 2, "VMG",
            "boat speed times cos TWA: positive to windward, negative downwind"),
    _number("sail_set_margin_kn", "sail_set_margin", "kn", 2, "margin of the sail set",
            "speed, or VMG where that is the aim, over the next best set; empty where no other has a result",
            "boats with sail sets"),
    _number("aws_kn", "aws", "kn", 1, "apparent wind speed",
            "at the wind reference height"),
    _number("awa_deg", "awa", "deg", 1, "apparent wind angle",
            "from the centreline: 0 from ahead, 180 from astern"),
    _number("beta_deg", "beta", "deg", 1, "apparent wind angle from the course",
            "larger by the leeway than the one from the centreline"),
    _number("heel_deg", "heel", "deg", 1, "heel",
            "positive to leeward"),
    _number("leeway_deg", "leeway", "deg", 1, "leeway",
            "positive when the boat slides to leeward"),
    _number("pitch_deg", "pitch", "deg", 1, "pitch",
            "positive bow up", "boats free to pitch"),
    _number("ride_height_m", "ride_height", "m", 2, "ride height",
            "positive when the boat is lifted", "boats free to heave"),
    _number("ce_height_m", "ce_height", "m", 2, "height of the centre of effort",
            "along the mast from the upright water plane"),
    _number("righting_moment_nm", "righting_moment", "N m", 0, "righting moment",
            "positive when it turns the boat upright"),
    _number("heeling_moment_nm", "heeling_moment", "N m", 0, "heeling moment",
            "positive when it heels the boat to leeward"),
    _number("drive_n", "drive", "N", 0, "drive",
            "air force along the course, positive forward"),
    _number("side_force_n", "side_force", "N", 0, "side force",
            "horizontal air force across the course, positive to leeward"),
    _number("main_sheet_deg", "main_sheet", "deg", 1, "mainsail sheet angle",
            "foot chord from the centreline, positive to leeward"),
    _number("main_twist_deg", "main_twist", "deg", 1, "mainsail twist",
            "foot to head, positive when the head is eased"),
    _number("main_camber_percent", "main_camber", "percent", 1, "mainsail camber",
            "depth over chord at mid height"),
    _number("main_head_camber_percent", "main_head_camber", "percent", 1, "mainsail head camber",
            "depth over chord at the head; negative when the head is inverted", "mains with a head control"),
    _number("main_foot_camber_percent", "main_foot_camber", "percent", 1, "mainsail foot camber",
            "depth over chord at the foot", "mains with a foot control"),
    _number("mast_rotation_deg", "mast_rotation", "deg", 1, "mast rotation",
            "of a turning mast from the mainsail's foot chord, positive where it adds to the camber",
            "boats with a turning mast"),
    _number("jib_sheet_deg", "jib_sheet", "deg", 1, "jib sheet angle",
            "foot chord from the centreline, positive to leeward", "boats with a jib"),
    _number("jib_twist_deg", "jib_twist", "deg", 1, "jib twist",
            "foot to head, positive when the head is eased", "boats with a jib"),
    _number("jib_camber_percent", "jib_camber", "percent", 1, "jib camber",
            "depth over chord at mid height", "boats with a jib"),
    _number("table_sail_power_percent", "table_sail_power", "percent", 1, "power of a sail from a table",
            "lift over that of the table; 100 is full power", "boats with a sail from a table"),
    _number("crew_arm_m", "crew_arm", "m", 2, "crew arm",
            "from the centreline, positive to windward"),
    _number("crew_x_m", "crew_x", "m", 2, "crew position",
            "lengthwise, positive forward of midships"),
    _number("tab_deg", "tab", "deg", 1, "trim tab angle",
            "positive when it pushes the boat to windward", "boats with a trim tab"),
    _number("rudder_deg", "rudder", "deg", 1, "rudder angle",
            "positive when it pushes the stern to leeward"),
    _number("cant_deg", "cant", "deg", 1, "foil cant",
            "of the working foil, from the boat's vertical, positive outward", "boats with canting foils"),
    _number("flap_deg", "flap", "deg", 1, "foil flap angle",
            "of the working foil, positive towards more lift", "boats with canting foils"),
    _number("elevator_deg", "elevator", "deg", 1, "elevator angle",
            "of the rudder foil's wing, positive towards more lift", "boats with a rudder foil"),
    _number("tip_depth_m", "tip_depth", "m", 2, "depth of the shallowest foil tip",
            "below the undisturbed water plane, positive under water", "boats with foils"),
    _number("cavitation_margin", "cavitation_margin", "1", 2, "cavitation margin",
            "cavitation number less suction peak where that is least, negative where cavitation has begun",
            "boats with foils"),
    _number("immersion_price_kn_per_m", "immersion_price", "kn/m", 2, "price of immersion",
            "speed, or VMG where that is the aim, lost to a metre more of least immersion, for small changes",
            "boats with foils"),
    _number("clearance_price_kn_per_m", "clearance_price", "kn/m", 2, "price of clearance",
            "the same of least clearance of the hull, foil-borne", "boats with foils"),
    _number("cavitation_price_kn", "cavitation_price", "kn", 2, "price of cavitation margin",
            "the same of a cavitation number of 1 more", "boats with foils"),
    _number("heave_stiffness_n_per_m", "heave_stiffness", "N/m", 0, "heave stiffness",
            "force down per rise, controls held; negative where the boat would run away",
            "boats free to heave"),
    _number("pitch_stiffness_nm_per_deg", "pitch_stiffness", "N m/deg", 0, "pitch stiffness",
            "bow-down moment per pitch up, controls held; negative as above", "boats free to pitch"),
    _number("roll_stiffness_nm_per_deg", "roll_stiffness", "N m/deg", 0, "roll stiffness",
            "righting moment per heel, controls held; negative as above", "boats free to heave"),
    _number("froude_number", "froude_number", "1", 3, "Froude number",
            "boat speed over the root of gravity times waterline length"),
    _number("planing_percent", "planing_share", "percent", 0, "share of planing",
            "in the hull's load: 0 afloat, 100 planing", "hulls that plane"),
    _number("porpoising_margin_deg", "porpoising_margin", "deg", 1, "margin to porpoising",
            "limit of trim less trim, negative where the boat may porpoise", "hulls that plane, planing"),
    _number("wave_height_m", "wave_height", "m", 2, "significant wave height",
            "0 on flat water"),
    _number("wave_period_s", "wave_period", "s", 1, "peak period of the waves",
            "that of the most energetic ones", "boats in waves"),
    _text("calibration", "calibration",
          "what forces of the models are multiplied by after known points of the boat; `none` without"),
    _text("remark", "remark",
          "limits of attitude, helm and foils that are active, model ranges that were left and flow that is "
          "left out, but not sails, crew, cant and flap at the end of their range; empty when there are "
          "none"),
    _text("reason", "reason",
          "why there is no result and what to try; empty when converged"),
)
# fmt: on

COLUMNS: tuple[str, ...] = tuple(variable.column for variable in VARIABLES)

CONTROL_COLUMNS: tuple[str, ...] = COLUMNS[COLUMNS.index("main_sheet_deg") : COLUMNS.index("tip_depth_m")]

BUDGET_COLUMNS: tuple[str, ...] = (
    "option",
    "tws_kn",
    "twa_deg",
    "aim",
    "component",
    "medium",
    "force_x_n",
    "force_y_n",
    "force_z_n",
    "moment_x_nm",
    "moment_y_nm",
    "moment_z_nm",
)

SAIL_SET_COLUMNS: tuple[str, ...] = (
    "option",
    "tws_kn",
    "twa_deg",
    "aim",
    "sail_set",
    "status",
    "boat_speed_kn",
    "vmg_kn",
    "behind_best_kn",
    "change_pays_after_minutes",
)

_BY_COLUMN = {variable.column: variable for variable in VARIABLES}


def variable(column: str) -> Variable:
    """The row of the table for a column. Raises KeyError for a name that is not in the table."""
    return _BY_COLUMN[column]


def markdown() -> str:
    """The table for the documentation."""
    head = ("column", "unit", "decimals shown", "what it is", "sign and meaning", "where it applies")
    rows = [
        (
            f"`{item.column}`",
            "text" if item.is_text else item.unit,
            "" if item.is_text else str(item.decimals),
            item.long_name,
            item.sense,
            item.applies,
        )
        for item in VARIABLES
    ]
    lines = [head, tuple("---" for _ in head), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


if __name__ == "__main__":
    print(markdown())
