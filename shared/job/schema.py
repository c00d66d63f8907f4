"""What a job file may hold: every table and key with its type, its bounds and what it means.

One place for three uses: `shared.job.file` checks a file against it, its messages take their remedies
from the descriptions here, and docs/formats.md is checked against it. A key's default is that of the value in
`shared.job.model`. Lengths in mm, angles in degrees, nose-up positive; u is a standard uncertainty.
"""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import UNSET, Meta, Struct, UnsetType, field

from shared.cards import CardKind
from shared.dimensions import FORMS, Dimension, Kind
from shared.job.model import CardPrint, Gauge, Height, Jig, Job, Level, SparLevel, Wing
from shared.job.named_schema import LineTable, PairTable, PlaceTable

Text = Annotated[str, Meta(min_length=1, max_length=80, pattern=r"^\S([^\x00-\x1f\x7f]*\S)?$")]
Path = Annotated[str, Meta(min_length=1, max_length=400, pattern=r"^[^\x00-\x1f\x7f]+$")]

Tilt = Annotated[float, Meta(ge=-30.0, le=30.0)]
Tolerance = Annotated[float, Meta(gt=0.0, le=10.0)]
Lean = Annotated[float, Meta(ge=-30.0, le=30.0)]
ULean = Annotated[float, Meta(gt=0.0, le=30.0)]


class StationTable(Struct, forbid_unknown_fields=True, kw_only=True):
    """One [[station]]: one rib at one place along the span."""

    name: Annotated[Text, Meta(description="the station's name as it is written on the rib and on its card")]
    side: Annotated[Literal["left", "right", "centre"], Meta(description="the wing it belongs to")]
    span_mm: Annotated[float, Meta(ge=0.0, le=50_000.0, description="distance from the centre line along the span, mm")]
    chord_mm: Annotated[float, Meta(ge=50.0, le=20_000.0, description="length of the chord, mm")]
    cards: Annotated[
        list[Annotated[int, Meta(ge=0, le=30)]],
        Meta(
            max_length=31,
            description=("numbers of the station cards that lie on this rib, 0 to 30, as in [4] or [4, 16]"),
        ),
    ]
    chord_deg: Annotated[Tilt, Meta(description="design angle of the chord line, degrees, nose-up positive")]
    chord_tolerance_deg: Annotated[
        Tolerance, Meta(description="allowed deviation of the chord angle either way, degrees")
    ]
    spar_deg: (
        Annotated[
            float,
            Meta(
                ge=60.0,
                le=120.0,
                description=("design angle of the spar line as an inclinometer reads it, 90 + lean, degrees"),
            ),
        ]
        | None
    ) = None
    spar_tolerance_deg: (
        Annotated[Tolerance, Meta(description="allowed deviation of the spar line either way, degrees")] | None
    ) = None
    spar_at: (
        Annotated[
            float,
            Meta(
                gt=0.0,
                lt=1.0,
                description=("where the spar line crosses the chord line, part of the chord from the leading edge"),
            ),
        ]
        | None
    ) = None
    lean_deg: (
        Annotated[
            Lean,
            Meta(
                description=(
                    "lean of the rib plane from plumb, degrees, top outboard positive; without it the wing's dihedral "
                    "counts"
                )
            ),
        ]
        | None
    ) = None
    u_lean_deg: Annotated[ULean, Meta(description="standard uncertainty of that lean, degrees")] | None = None
    panel: Annotated[Text, Meta(description="name of the panel that is jigged as one piece with others")] | None = None
    built_in_tolerance_deg: (
        Annotated[
            Tolerance,
            Meta(
                description=(
                    "allowed deviation of the chord angle relative to the spar line, degrees; without it the chord's "
                    "tolerance counts"
                )
            ),
        ]
        | None
    ) = None
    card: Annotated[CardKind, Meta(description="kind of card to print; without it the rib's depth decides")] | None = (
        None
    )


class WingTable(Struct, forbid_unknown_fields=True, kw_only=True):
    """[wing]: what holds for the whole wing."""

    name: Annotated[Text, Meta(description="what the wing is called in reports")]
    root: Annotated[Text, Meta(description="name of the station that washout is counted from")]
    dihedral_deg: (
        Annotated[
            Tilt,
            Meta(
                description=(
                    "dihedral, degrees; ribs square to such a spar lean inboard by it; 0 where the ribs stand plumb"
                )
            ),
        ]
        | None
    ) = None
    u_lean_deg: Annotated[ULean, Meta(description="standard uncertainty of the rib planes' lean, degrees")] | None = (
        None
    )
    symmetry_tolerance_deg: Annotated[
        Tolerance, Meta(description="allowed difference between the left and the right wing, degrees")
    ] = Wing.symmetry_tolerance_deg
    root_setting: Annotated[
        Literal["kept", "taken out"],
        Meta(
            description=(
                '"kept": every angle is judged as it stands to gravity; "taken out": the root\'s own deviation is '
                "taken off all others"
            )
        ),
    ] = Wing.root_setting
    dihedral_tolerance_deg: (
        Annotated[
            Tolerance,
            Meta(
                description=(
                    "allowed deviation of a spar's rise outboard from the dihedral, degrees; without it the rise is shown "
                    "and not judged"
                )
            ),
        ]
        | None
    ) = None
    stage: Annotated[Literal["before glue", "after glue"], Meta(description="where the work stands")] | None = None
    marking_u_deg: (
        Annotated[
            float, Meta(gt=0.0, le=5.0, description=("standard uncertainty of the drawn lines themselves, degrees"))
        ]
        | None
    ) = None
    length_unit: Annotated[
        Literal["mm", "in"], Meta(description=("unit that tables and reports show lengths in; files keep mm"))
    ] = Job.length_unit
    inch_fractions: Annotated[
        bool, Meta(description="whether dimensions in inches are shown to the nearest 1/64 with what is left over")
    ] = Job.inch_fractions
    decimal: Annotated[
        Literal[".", ","],
        Meta(
            description=(
                "decimal sign of the CSV files; with a comma their cells are parted by semicolons, as spreadsheets in such "
                "countries want it"
            )
        ),
    ] = Job.decimal


class CameraTable(Struct, forbid_unknown_fields=True):
    """[camera]: which lens profile."""

    lens: Annotated[
        Path, Meta(description='"auto" to match profiles by the photos\' EXIF, or the path of one profile')
    ] = Job.lens
    lens_folder: Annotated[
        Path, Meta(description="folder that lens profiles are looked for in, from the job file's folder")
    ] = Job.lens_folder
    only: Annotated[
        Literal["every", "foremost"],
        Meta(
            description=(
                'which ribs of a photo are read: "every" one whose line is seen well enough, or the "foremost" alone'
            )
        ),
    ] = Job.only


class LevelTable(Struct, forbid_unknown_fields=True):
    """[level]: the plumb line or level line, and how good it is."""

    profile: Annotated[Path, Meta(description="path of its calibration profile")] | None = None
    u_deg: Annotated[
        float, Meta(gt=0.0, le=5.0, description=("standard uncertainty of the reference itself, degrees"))
    ] = Level.u_deg
    zero_error_deg: Annotated[
        float, Meta(ge=-5.0, le=5.0, description=("what it reads on a true level, degrees, nose-up positive"))
    ] = Level.zero_error_deg
    straightedge_mm: (
        Annotated[
            float,
            Meta(
                ge=8.0,
                le=200.0,
                description=(
                    "width between the long edges, mm, of a levelled straightedge held flat across every rib, one end "
                    "standing out past it; without this no straightedge is taken for a level line"
                ),
            ),
        ]
        | None
    ) = None


class GaugeTable(Struct, forbid_unknown_fields=True):
    """[gauge]: the inclinometer, its readings and how good it is."""

    readings: Annotated[Path, Meta(description="path of the CSV of its readings")] | None = None
    resolution_deg: Annotated[float, Meta(gt=0.0, le=5.0, description=("smallest step of its display, degrees"))] = (
        Gauge.resolution_deg
    )
    u_deg: Annotated[
        float, Meta(gt=0.0, le=10.0, description=("standard uncertainty beside that of the resolution, degrees"))
    ] = Gauge.u_deg
    sense: Annotated[Literal["nose-up", "unsigned", "0-90", "0-180"], Meta(description="how it counts")] = Gauge.sense
    profile: Annotated[Path, Meta(description="path of its calibration profile")] | None = None


class JigTable(Struct, forbid_unknown_fields=True):
    """One [[jig]]: how a rib, or a panel of ribs, is turned."""

    kind: Annotated[Literal["screw", "shim", "packing"], Meta(description="what turns the rib")] = Jig.kind
    thread: (
        Annotated[Text, Meta(description=('thread of the screw: "M6", "M6x0.75", "1/4-20" or a pitch as "1.0 mm"'))]
        | None
    ) = None
    arm_mm: Annotated[
        float, Meta(ge=5.0, le=20_000.0, description=("distance from the pivot to the screw or shim, mm"))
    ] = Jig.arm_mm
    clockwise: Annotated[
        Literal["nose-up", "nose-down"], Meta(description="what a clockwise turn does to the nose")
    ] = Jig.clockwise
    notch: Annotated[float, Meta(gt=0.0, le=1.0, description=("smallest part of a turn worth giving, turns"))] = (
        Jig.notch
    )
    step_mm: Annotated[float, Meta(gt=0.0, le=50.0, description=("thickness of one shim or packing, mm"))] | None = None
    panel: (
        Annotated[Text, Meta(description=("panel that it moves; without it every station is moved on its own"))] | None
    ) = None
    acts_on: Annotated[Literal["trailing", "leading"], Meta(description="edge side of the pivot that it acts on")] = (
        Jig.acts_on
    )
    at_span_mm: (
        Annotated[
            float, Meta(ge=0.0, le=50_000.0, description=("where along the span it acts, mm, when a panel has several"))
        ]
        | None
    ) = None


class GlueTable(Struct, forbid_unknown_fields=True, kw_only=True):
    """[glue]: the bonding window, as the glue's maker states it."""

    working_min: Annotated[float, Meta(gt=0.0, le=10_000.0, description=("working time, minutes from mixing"))]
    gel_min: Annotated[float, Meta(gt=0.0, le=20_000.0, description="gel time, minutes from mixing")]
    mixed_at: Annotated[str, Meta(max_length=40, description=("local time of mixing, as 2026-05-16T09:15"))] | None = (
        None
    )


class HeightTable(Struct, forbid_unknown_fields=True):
    """One [[height]]: height of the spar at a station, over any one level surface."""

    station: Annotated[Text, Meta(description="name of the station")]
    mm: Annotated[
        float,
        Meta(ge=-50_000.0, le=50_000.0, description=("height over the level surface (a water level's, a laser's), mm")),
    ]
    u_mm: Annotated[float, Meta(gt=0.0, le=100.0, description="its standard uncertainty, mm")] = Height.u_mm


class CardsTable(Struct, forbid_unknown_fields=True):
    """[cards]: whether the printed cards came out true to scale and square."""

    scale: Annotated[
        float, Meta(ge=0.5, le=2.0, description=("measured length of the printed scale bar over its nominal length"))
    ] = CardPrint.scale
    u_scale: Annotated[float, Meta(gt=0.0, le=0.2, description=("standard uncertainty of that ratio"))] = (
        CardPrint.u_scale
    )
    stretch: (
        Annotated[
            float,
            Meta(
                ge=-0.1,
                le=0.1,
                description=(
                    "what the print's scale down the sheet exceeds that across by, relative; 0.002 is 0.2 %; without it "
                    "U allows for what printers do"
                ),
            ),
        ]
        | None
    ) = None
    u_stretch: Annotated[float, Meta(gt=0.0, le=0.1, description=("standard uncertainty of that stretch"))] | None = (
        None
    )
    skew_deg: (
        Annotated[
            float,
            Meta(
                ge=-6.0,
                le=6.0,
                description=(
                    "what the printed corner differs from 90 by, degrees, positive where the diagonal from the lower left is "
                    "the longer"
                ),
            ),
        ]
        | None
    ) = None
    u_skew_deg: (
        Annotated[float, Meta(gt=0.0, le=6.0, description=("standard uncertainty of that difference, degrees"))] | None
    ) = None
    profile: (
        Annotated[
            Path,
            Meta(
                description=(
                    "path of the print's profile, made by ribangle calibrate print, in place of the other keys"
                )
            ),
        ]
        | None
    ) = None
    thickness_mm: Annotated[
        float,
        Meta(
            ge=0.0,
            le=20.0,
            description="how far a card's printed face stands before the face it lies on, paper with its backing, mm",
        ),
    ] = CardPrint.thickness_mm
    u_thickness_mm: Annotated[
        float, Meta(gt=0.0, le=10.0, description="standard uncertainty of that thickness, mm")
    ] = CardPrint.u_thickness_mm


class SparLevelTable(Struct, forbid_unknown_fields=True, kw_only=True):
    """One [[spar_level]]: a level laid along the spar of one side."""

    side: Annotated[Literal["left", "right"], Meta(description="the wing whose spar it lay on")]
    deg: Annotated[Tilt, Meta(description="rise of the spar outboard, degrees, positive as dihedral")]
    u_deg: Annotated[float, Meta(gt=0.0, le=10.0, description=("standard uncertainty of that reading, degrees"))] = (
        SparLevel.u_deg
    )


class DimensionTable(Struct, forbid_unknown_fields=True, kw_only=True):
    """One [[dimension]]: a length or angle between marks, lines or edges that lie in one plane with a station card."""

    name: Annotated[Text, Meta(description="what the dimension is called in reports")]
    kind: Annotated[Kind, Meta(description="what is measured between the two features of between")]
    at: Annotated[Text, Meta(description="name of the station or place whose cards lie in its plane")]
    between: (
        Annotated[
            list[Text],
            Meta(min_length=2, max_length=2, description=f"the two features, the datum first, each one of {FORMS}"),
        ]
        | None
    ) = None
    design_mm: Annotated[float, Meta(ge=-50_000.0, le=50_000.0, description="design value of a length, mm")] | None = (
        None
    )
    tolerance_mm: (
        Annotated[float, Meta(gt=0.0, le=1000.0, description="allowed deviation of a length either way, mm")] | None
    ) = None
    design_deg: Annotated[float, Meta(ge=-180.0, le=180.0, description="design value of an angle, degrees")] | None = (
        None
    )
    tolerance_deg: (
        Annotated[Tolerance, Meta(description="allowed deviation of an angle either way, degrees")] | None
    ) = None
    u_depth_mm: Annotated[
        float,
        Meta(
            gt=0.0,
            le=50.0,
            description=(
                "standard uncertainty of how far each mark, or end of a line, lies before or behind the cards' plane, mm"
            ),
        ),
    ] = Dimension.u_depth_mm


Amount = Annotated[float, Meta(ge=-50_000.0, le=50_000.0)]
AnyTurn = Annotated[float, Meta(ge=-180.0, le=180.0)]
Above = Annotated[float, Meta(gt=0.0, le=1000.0)]


class TypedTable(Struct, forbid_unknown_fields=True, kw_only=True):
    """One [[typed]]: a check that a person reads off an instrument and types, in degrees or in mm."""

    name: Annotated[Text, Meta(description='what the steps call it, as "level on the root"')]
    deg: Annotated[AnyTurn, Meta(description="what it is to read, degrees")] | None = None
    tolerance_deg: Annotated[Tolerance, Meta(description="allowed deviation either way, degrees")] | None = None
    u_deg: (
        Annotated[float, Meta(gt=0.0, le=10.0, description="standard uncertainty of such a reading, degrees")] | None
    ) = None
    mm: Annotated[Amount, Meta(description="what it is to read, mm, where it is no angle")] | None = None
    tolerance_mm: Annotated[Above, Meta(description="allowed deviation either way, mm")] | None = None
    u_mm: Annotated[Above, Meta(description="standard uncertainty of such a reading, mm")] | None = None


class StepTable(Struct, forbid_unknown_fields=True, kw_only=True):
    """One [[step]]: a step of the set-up, what it checks and what it hangs on."""

    name: Annotated[Text, Meta(description="what the step is called")]
    checks: Annotated[
        list[Annotated[Text, Meta(description="station/line, as R1/chord, or the name of a [[typed]]")]],
        Meta(
            max_length=400,
            description=(
                'what must be right: "R1/chord", "R6/spar", "R3/built-in", "R3/washout", "R3/symmetry", the name of a '
                '[[typed]]; "*" stands for anything, as in "*/chord"; none: the step is done or not done'
            ),
        ),
    ] = []
    after: (
        Annotated[
            list[Text],
            Meta(
                max_length=100,
                description="names of the steps that it hangs on; without it the step before it; [] hangs on nothing",
            ),
        ]
        | None
    ) = None


class JobTables(Struct, forbid_unknown_fields=True, kw_only=True):
    """The whole file."""

    wing: WingTable
    station: Annotated[list[StationTable], Meta(min_length=1, max_length=400)]
    camera: CameraTable = field(default_factory=CameraTable)
    level: LevelTable = field(default_factory=LevelTable)
    gauge: GaugeTable = field(default_factory=GaugeTable)
    jig: list[JigTable] = []
    glue: GlueTable | UnsetType = UNSET
    cards: CardsTable = field(default_factory=CardsTable)
    height: list[HeightTable] = []
    spar_level: list[SparLevelTable] = []
    place: list[PlaceTable] = []
    line: Annotated[list[LineTable], Meta(max_length=400)] = []
    pair: list[PairTable] = []
    dimension: list[DimensionTable] = []
    typed: Annotated[list[TypedTable], Meta(max_length=400)] = []
    step: Annotated[list[StepTable], Meta(max_length=100)] = []


TABLES: dict[str, type[Struct]] = {
    "wing": WingTable,
    "station": StationTable,
    "camera": CameraTable,
    "level": LevelTable,
    "gauge": GaugeTable,
    "jig": JigTable,
    "glue": GlueTable,
    "cards": CardsTable,
    "height": HeightTable,
    "spar_level": SparLevelTable,
    "place": PlaceTable,
    "line": LineTable,
    "pair": PairTable,
    "dimension": DimensionTable,
    "typed": TypedTable,
    "step": StepTable,
}
"""Table name -> its keys."""


def describe(table: str, key: str) -> str:
    """What a key means, in the words of its description; "" for an unknown one.

    table : "station", "level", ...; "" for the top of the file. key : of a value in it.
    """
    from msgspec import inspect

    struct = inspect.type_info(TABLES[table]) if table in TABLES else None
    if not isinstance(struct, inspect.StructType):
        return ""
    for entry in struct.fields:
        if entry.name == key:
            return _description(entry.type)
    return ""


def _description(kind: object) -> str:
    from msgspec import inspect

    if isinstance(kind, inspect.Metadata):
        return str((kind.extra_json_schema or {}).get("description", "")) or _description(kind.type)
    if isinstance(kind, inspect.UnionType):
        return next(filter(None, map(_description, kind.types)), "")
    return ""
