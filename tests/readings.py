"""Made-up readings for tests of what is done with readings."""

from __future__ import annotations

from shared.flags import Flag
from shared.quantity import Component, Quantity
from shared.reading import Angle, Made, Photo, Reading

LENS, LEVEL = "lens:test axis 1", "level:string"


def angle(
    value: float,
    name: str,
    *,
    own: float = 0.02,
    lens: float = 0.005,
    level: float = 0.01,
    flags: tuple[Flag, ...] = (),
) -> Angle:
    """An angle with an error of its own, one shared through the lens and one through the level reference."""
    return Angle(
        Quantity(
            value,
            (
                Component("line fit", f"photo:{name} line", own),
                Component("lens", LENS, lens),
                Component("level reference itself", LEVEL, level),
            ),
        ),
        flags=flags,
    )


def reading(
    station: str | None, chord: Angle, spar: Angle | None = None, *, name: str = "", flags: tuple[Flag, ...] = ()
) -> Reading:
    """A reading from a photo of this name (the station's by default)."""
    name = name or f"{station}.jpg"
    photo = Photo(name, (name.encode().hex() + "0" * 64)[:64], 4000, 3000, "2024-05-04T10:00:00", "invented")
    return Reading(
        photo,
        station,
        chord,
        spar or Angle(None, "no spar line"),
        "right",
        "plumb",
        Made("test", "test-lens", "string"),
        flags=flags,
    )
