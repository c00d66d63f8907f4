"""The lines that a photo of a rib can show, and what each is to a reading: drawn lines, level references, candidates.

A new level reference is a member here (what it is called, what it shows of gravity, where its finder is) and the finder
itself; the joint solution, budgets, hints, pictures and the page read the members.
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import Enum, StrEnum


class Shows(Enum):
    """What a line shows of gravity, and so which equation it gives to the joint solution."""

    NOTHING = "nothing: it is drawn on the rib"
    PLUMB = "gravity lies in the plane through the camera and the line, at any depth"
    LEVEL = "on the rib plane it is square to gravity"


class Role(StrEnum):
    """What a line is to a reading. Its value is what hints, files and budgets call it.

    shows : of gravity. label : in full. thing : what hangs or lies there, in the builder's word. fit, waviness, own :
    names of the budget's components of its measured points, of its unevenness and of its own error as a reference.
    common : what an error common to the whole line is (`LineSeen.shade_px`). across : it runs across the photo, not up
    it. colour : in pictures, (blue, green, red), of the Okabe-Ito set. finder : of a level reference, "module:function"
    (`vision.level.gravity.Finder`), loaded when a photo is read.
    """

    shows: Shows
    label: str
    thing: str
    across: bool
    colour: tuple[int, int, int]
    fit: str
    waviness: str
    common: str
    own: str
    finder: str

    def __new__(
        cls,
        value: str,
        shows: Shows,
        label: str,
        thing: str,
        across: bool,
        colour: tuple[int, int, int],
        budget: tuple[str, str, str, str] = ("", "", "", ""),
        finder: str = "",
    ) -> Role:
        """A member; budget : names of its components fit, waviness, common, own."""
        member = str.__new__(cls, value)
        member._value_ = value
        member.shows, member.label, member.thing = shows, label, thing
        member.across, member.colour, member.finder = across, colour, finder
        member.fit, member.waviness, member.common, member.own = budget
        return member

    CHORD = (
        "chord", Shows.NOTHING, "chord line", "chord line", True, (178, 114, 0),
        ("chord line fit", "pen waviness", "", ""),
    )  # fmt: skip
    SPAR = (
        "spar", Shows.NOTHING, "spar line", "spar line", False, (115, 158, 0),
        ("spar line fit", "pen waviness", "", ""),
    )  # fmt: skip
    PLUMB = (
        "plumb", Shows.PLUMB, "plumb line", "string", False, (0, 94, 213),
        ("string fit", "string waviness", "string shading", "string's own error"),
        "vision.level.gravity:find_strings",
    )  # fmt: skip
    LEVEL = (
        "level", Shows.LEVEL, "level line", "level line", True, (0, 94, 213),
        ("level line fit", "level line waviness", "straightedge askew to the rib", "level line's own error"),
        "vision.level.gravity:find_level_line",
    )  # fmt: skip
    NAMED = (
        "named", Shows.NOTHING, "named line", "line", True, (167, 121, 204),
        ("named line fit", "pen waviness", "", ""),
    )  # fmt: skip
    FEATURE = (
        "feature", Shows.NOTHING, "line of a dimension", "line", True, (167, 121, 204),
        ("line and edge fit", "waviness of line or edge", "", ""),
    )  # fmt: skip
    CANDIDATE = "candidate", Shows.NOTHING, "candidate", "candidate", True, (66, 228, 240)

    @property
    def is_reference(self) -> bool:
        """Whether it shows gravity."""
        return self.shows is not Shows.NOTHING

    @classmethod
    def of(cls, value: str) -> Role | None:
        """The member of a value; None for any other text."""
        return next((r for r in cls if r.value == value), None)


REFERENCES = tuple(r for r in Role if r.is_reference)
"""The level references, in the order in which they are looked for."""
POINTED = tuple(r for r in Role if r not in (Role.NAMED, Role.FEATURE, Role.CANDIDATE))
"""What a person may point at in a photo, beside the named features of dimensions."""


def listed(roles: Iterable[Role] = POINTED) -> str:
    """Their values in a sentence: "chord, spar, plumb or level".

    roles : in the order in which they are to stand; those that a person may point at by default.
    """
    *first, last = [r.value for r in roles]
    return f"{', '.join(first)} or {last}" if first else last


def reference_of(roles: Iterable[Role]) -> str | None:
    """What a reading says of the lines that show gravity in it: the one role, "both" of plumb and level, else all with +.

    roles : of the lines in a reading; those that show no gravity are skipped. None where none does.
    """
    seen = set(roles)
    found = [r.value for r in REFERENCES if r in seen]
    return None if not found else "both" if found == [Role.PLUMB, Role.LEVEL] else "+".join(found)


def reference_words(reference: str | None) -> str:
    """The same in words: "plumb line and level line".

    reference : as `reference_of` gives it; None: "no level reference".
    """
    if reference is None:
        return "no level reference"
    parts = [Role.PLUMB, Role.LEVEL] if reference == "both" else reference.split("+")
    return " and ".join(r.label for r in REFERENCES if r.value in parts)
