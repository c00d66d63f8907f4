"""What a candidate line can be, in the order of the witness's outputs."""

from __future__ import annotations

KINDS = (
    "chord",
    "pen",
    "spar",
    "string",
    "string_shadow",
    "laser",
    "laser-beyond",
    "straightedge",
    "rod",
    "edge",
    "seam",
    "nothing",
)
"""chord, spar: of the station's own rib. pen: any other drawn line, another rib's chord line included. laser: on the
station's own rib; laser-beyond: the same plane of light on anything else. straightedge: an edge of one. rod: cable, pipe,
slanted string, anything long and round that is no plumb line. edge: tape, capstrip, board, card. seam: grain, joints.
nothing: no line there."""
PLACES = 64
"""Stretches of a strip for which the witness says whether the line is absent, seen or hidden."""
STATES = ("absent", "seen", "hidden")
