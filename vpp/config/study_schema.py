"""The study file as data: every key with its range, default and description."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from vpp.config.schema import LINE_PATTERN, RuleTable, TableModel, line, name

MOST_RIGS = 10_000_000
_TWS = Annotated[float, Field(gt=0.0, le=40.0)]
_TWA = Annotated[float, Field(ge=0.0, le=180.0)]
_WEIGHT = Annotated[float, Field(ge=0.0, le=1e6)]
_Aim = Literal["upwind", "downwind"]


def _number(description: str) -> Any:
    return Field(default=None, ge=-1e6, le=1e6, description=description)


def _file(description: str) -> Any:
    return Field(pattern=LINE_PATTERN, max_length=200, description=description)


class PlanTable(TableModel):
    """Which rigs of the space of all factors are solved."""

    kind: Literal["grid", "latin_hypercube", "sobol"] = Field(
        description="all combinations of the values of all factors; or a sample that fills the space: a "
        "Latin hypercube, or a scrambled Sobol sequence"
    )
    rigs: int | None = Field(
        default=None,
        ge=1,
        le=MOST_RIGS,
        description="how many rigs are sampled; a grid has as many as it has",
    )
    seed: int = Field(default=1, ge=0, le=2**31, description="of the sample: the same seed, the same rigs")


class FactorTable(TableModel):
    """What differs between rigs: a number of the boat file, or its option."""

    name: str = name("what the factor is called in tables")
    key: str = _file(
        "number of the boat file, such as sail.main.foot_extension_m; numbers joined with + move together by "
        "as much; or the word option"
    )
    values: tuple[float | str, ...] | None = Field(
        default=None,
        min_length=2,
        max_length=1000,
        description="values, or names of options; all alike likely",
    )
    least: float | None = _number("lower end of the range, in the unit of the key")
    greatest: float | None = _number("upper end of the range, in the unit of the key")
    steps: int | None = Field(
        default=None, ge=2, le=1000, description="values of a grid from least to greatest, both included"
    )
    distribution: Literal["even", "normal", "triangular"] = Field(
        default="even",
        description="of a sample between least and greatest: all alike likely; normal, 95 % of it between "
        "them and none beyond; or rising from both ends to the likeliest value",
    )
    likeliest: float | None = _number("peak of a triangular distribution")


class ConstraintTable(RuleTable):
    """A limit that a rig must keep to, on what is measured of the boat; as a limit of a rule box."""

    clause: str = Field(
        default="",
        pattern=r"^[^\r\n]*$",
        max_length=200,
        description="the limit in words; its name if left out",
    )


class SumTable(TableModel):
    """A limit on a weighted sum of factors, each in the unit of its key."""

    name: str = name("what the limit is called")
    factors: tuple[str, ...] = Field(min_length=1, max_length=20, description="names of factors")
    weights: tuple[float, ...] = Field(min_length=1, max_length=20, description="weight of each")
    least: float | None = _number("least sum")
    greatest: float | None = _number("greatest sum")


class RuleBoxTable(TableModel):
    """What becomes of rigs that break the rule box of the boat file."""

    breaking: Literal["left_out", "kept"] = Field(
        default="left_out", description="left out and not solved, or solved all the same"
    )


class ConditionsTable(TableModel):
    """Winds and angles: every rig is solved at every angle, and the best VMGs, in every wind."""

    tws_kn: tuple[_TWS, ...] = Field(min_length=1, max_length=200, description="true wind speeds")
    twa_deg: tuple[_TWA, ...] = Field(default=(), max_length=200, description="true wind angles")
    best_vmg: tuple[_Aim, ...] = Field(
        default=(), max_length=2, description='best VMG "upwind", "downwind" or both'
    )


class OutputsTable(TableModel):
    """What is kept of every condition and shown at the end."""

    columns: tuple[str, ...] = Field(
        default=("boat_speed_kn", "twa_deg", "vmg_kn", "heel_deg", "leeway_deg"),
        max_length=60,
        description="columns of the table of conditions, besides status, made_good_kn and reason",
    )
    front: tuple[str, ...] = Field(
        default=(),
        max_length=2,
        description="names of two aims whose trade-off is shown; the first two if none",
    )
    best: int = Field(default=10, ge=1, le=1000, description="best rigs listed for each aim")


class AimTable(TableModel):
    """What a rig is to be good at: the weighted mean of what it makes good over the boat as filed."""

    name: str = name("what the aim is called")
    tws_kn: tuple[_TWS, ...] = Field(
        default=(), max_length=200, description="winds that count; all if left out"
    )
    tws_weight: tuple[_WEIGHT, ...] = Field(
        default=(), max_length=200, description="weight of each wind; alike if left out"
    )
    twa_deg: tuple[_TWA, ...] = Field(default=(), max_length=200, description="angles that count")
    best_vmg: tuple[_Aim, ...] = Field(default=(), max_length=2, description="best VMGs that count")


class SolveTable(TableModel):
    """How the rigs are solved."""

    method: Literal["followed", "searched", "compiled"] = Field(
        default="followed",
        description="a few rigs of every chunk searched in full and the others followed from these; all "
        "searched in full; or followed by compiled code, on a graphics card where there is one",
    )
    rigs_per_chunk: int | None = Field(
        default=None, ge=1, le=4096, description="rigs solved and written together; chosen if left out"
    )
    anchors: int = Field(
        default=3,
        ge=2,
        le=64,
        description="rigs of every chunk that are searched in full, where others follow",
    )


class StudyDocument(TableModel):
    """What stands at the top of a study file."""

    schema_version: Literal[1] = Field(description="version of the file format")
    name: str = line("name of the study")
    description: str | None = Field(
        default=None, pattern=LINE_PATTERN, max_length=200, description="what the study asks"
    )
    boat: str = _file("boat file, beside the study file or at a path from there")
    option: str = Field(
        default="base", pattern=LINE_PATTERN, max_length=100, description="option that the rigs depart from"
    )
    compare_with: str | None = Field(
        default=None,
        pattern=LINE_PATTERN,
        max_length=100,
        description="option that the rigs are compared with; that which they depart from if left out",
    )


SINGLE_STUDY_TABLES: dict[str, type[TableModel]] = {
    "plan": PlanTable,
    "conditions": ConditionsTable,
    "rule_box": RuleBoxTable,
    "outputs": OutputsTable,
    "solve": SolveTable,
}
REPEATED_STUDY_TABLES: dict[str, type[TableModel]] = {
    "factor": FactorTable,
    "constraint": ConstraintTable,
    "sum": SumTable,
    "aim": AimTable,
}
STUDY_TABLES = SINGLE_STUDY_TABLES | REPEATED_STUDY_TABLES
NEEDED_STUDY_TABLES = ("plan", "conditions", "factor")
