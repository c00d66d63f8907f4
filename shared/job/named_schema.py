"""The tables [[place]] and [[line]] of a job file; see `shared.job.named`."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

from shared.cards import CardKind
from shared.job.named import Arrow, Kind, Marked, NamedLine, Place, Positive, Runs

Name = Annotated[str, Meta(min_length=1, max_length=80, pattern=r"^\S([^\x00-\x1f\x7f]*\S)?$")]
Millimetres = Annotated[float, Meta(ge=-20_000.0, le=20_000.0)]


class PlaceTable(Struct, forbid_unknown_fields=True, kw_only=True):
    """One [[place]]: a flat face with cards of its own that is no rib."""

    name: Annotated[Name, Meta(description="its name, unlike that of any station")]
    side: Annotated[Literal["left", "right", "centre"], Meta(description="the wing it belongs to")]
    span_mm: Annotated[float, Meta(ge=0.0, le=50_000.0, description="distance from the centre line along the span, mm")]
    cards: Annotated[
        list[Annotated[int, Meta(ge=0, le=30)]],
        Meta(min_length=1, max_length=31, description="numbers of the station cards that lie on it, 0 to 30"),
    ]
    kind: Annotated[Kind, Meta(description="what kind of place it is")] = Place.kind
    arrow: (
        Annotated[
            Arrow,
            Meta(
                description=(
                    "where its cards' arrows point; without it outboard on a spar web, centre section or leading edge (on a "
                    "centre place: towards the right wing), else forward"
                )
            ),
        ]
        | None
    ) = None
    lean_deg: (
        Annotated[
            float,
            Meta(
                ge=-30.0,
                le=30.0,
                description=(
                    "lean of the face from plumb, degrees, top outboard positive where the arrows point forward, top aft "
                    "positive where they point outboard"
                ),
            ),
        ]
        | None
    ) = None
    u_lean_deg: (
        Annotated[float, Meta(gt=0.0, le=30.0, description="standard uncertainty of that lean, degrees")] | None
    ) = None
    card: Annotated[CardKind, Meta(description="kind of card to print for it")] = Place.card


class LineTable(Struct, forbid_unknown_fields=True, kw_only=True):
    """One [[line]]: a line by name, beside the chord and spar line that every rib has."""

    at: Annotated[Name, Meta(description="name of the station or place it is at")]
    name: Annotated[
        Name, Meta(description='its name, unlike other lines\' there; not "chord", "spar", "level" or "plumb"')
    ]
    deg: Annotated[
        float,
        Meta(ge=-180.0, le=180.0, description="design angle, degrees: an upright line is 90 to level, 0 to plumb"),
    ]
    tolerance_deg: Annotated[
        float, Meta(gt=0.0, le=10.0, description="allowed deviation of that angle either way, degrees")
    ]
    to: Annotated[
        Name, Meta(description='what it is counted from: "level", "plumb", or the name of another line there')
    ] = NamedLine.to
    positive: (
        Annotated[
            Positive,
            Meta(
                description=(
                    "what a positive deviation means; without it nose-up or top aft where the arrows point forward, outboard "
                    "end up or top inboard where they point outboard"
                )
            ),
        ]
        | None
    ) = None
    runs: Annotated[Runs, Meta(description="which way it runs; without it as its design angle says")] | None = None
    marked: Annotated[
        Marked,
        Meta(
            description=(
                "how it is marked: a drawn line, two quartered marks, or the two edges of a bolt or of another straight part"
            )
        ),
    ] = NamedLine.marked
    from_card_mm: (
        Annotated[
            list[Millimetres],
            Meta(
                min_length=2,
                max_length=2,
                description=(
                    "where its middle lies from the middle of the first card, mm towards the arrow and mm up, as [120, -35]; "
                    "needed where several lines run alike"
                ),
            ),
        ]
        | None
    ) = None
    within_mm: Annotated[float, Meta(gt=0.0, le=500.0, description="how far off that place it may lie, mm")] = (
        NamedLine.within_mm
    )
    length_mm: (
        Annotated[
            float, Meta(ge=15.0, le=20_000.0, description="its length, mm; of two marks the distance between them")
        ]
        | None
    ) = None
    width_mm: (
        Annotated[float, Meta(ge=3.0, le=300.0, description="distance between the two edges, mm: the bolt's diameter")]
        | None
    ) = None


class PairTable(Struct, forbid_unknown_fields=True, kw_only=True):
    """One [[pair]]: two lines of one part, one set against the other: is it the part or what carries it?"""

    at: Annotated[Name, Meta(description="name of the station or place")]
    line: Annotated[Name, Meta(description='name of the line that is set: "chord", "spar" or a named one')]
    base: Annotated[Name, Meta(description="name of the line that it is set against, which carries it")]
    tolerance_deg: Annotated[
        float, Meta(gt=0.0, le=10.0, description="allowed deviation of the angle between them either way, degrees")
    ]
