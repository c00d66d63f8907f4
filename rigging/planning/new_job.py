"""The commented job file that `ribangle new` starts a builder with."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from shared.errors import UserError
from shared.lengths import INCH_MM


@dataclass(frozen=True)
class DraftWing:
    """What the first draft is filled with; from the root station to the tip it runs evenly.

    stations : for each wing. span, chord : mm at root and tip. chord_deg : design angles at root and tip.
    """

    name: str = "My wing"
    stations: int = 6
    span_mm: tuple[float, float] = (400.0, 3900.0)
    chord_mm: tuple[float, float] = (1200.0, 900.0)
    chord_deg: tuple[float, float] = (2.0, 0.0)
    tolerance_deg: float = 0.25
    length_unit: Literal["mm", "in"] = "mm"


_HEAD = """\
# Job file of ribangle: the wing as designed, and what it is measured with.
# Lengths in mm (or with their unit, as "47 1/4 in"), angles in degrees, nose-up positive on both wings.
#
# EVERY NUMBER BELOW IS A PLACEHOLDER. Replace it by what the designer's drawings say before you measure.
# The camera is an aid, not an inspection: confirm every angle with an independent instrument.

[wing]
{name}
root = "{root}"                     # washout is counted from this station
# dihedral_tolerance_deg = 0.3  # allowed deviation of each spar's rise from that dihedral
# dihedral_deg = 3.0            # ribs square to a spar with dihedral lean inboard by it; 0: ribs stand plumb
# u_lean_deg = 0.3              # how well that lean is known (standard uncertainty)
symmetry_tolerance_deg = 0.2    # allowed difference, left minus right
# root_setting = "kept"         # "taken out": the root's own deviation is taken off all other stations
# stage = "before glue"         # or "after glue": where the work stands
# marking_u_deg = 0.05          # how well the chord lines were drawn (standard uncertainty)
length_unit = "{unit}"              # "in": tables and reports show lengths in inches
# decimal = ","                 # CSV files with decimal commas and semicolons

[camera]
lens = "auto"                   # "auto": the profile that fits the photos' EXIF; or the path of one
lens_folder = "lens"            # where lens profiles are kept, from this file's folder

[level]                         # the plumb line or level line in the photos
u_deg = 0.02                    # a string with a heavy bob, out of the draught (standard uncertainty)
# zero_error_deg = 0.0          # what it reads on a true level
# profile = "level/laser.json"  # a calibration profile in place of the two

[gauge]                         # the inclinometer that the camera is checked against
# readings = "gauge.csv"        # columns: station, line (chord or spar), reading_deg
resolution_deg = 0.1            # smallest step of its display
u_deg = 0.1                     # standard uncertainty beside that step
sense = "nose-up"               # or "unsigned", "0-90", "0-180"

[cards]
scale = 1.0                     # measured over nominal length of the scale bar printed on the cards
u_scale = 0.005                 # how well that is known
# profile = "print.json"        # in place of both: made by ribangle calibrate print; knows stretch and corners too

# [[jig]]                       # how a rib is turned: one for all, or one for each panel
# kind = "screw"                # or "shim", "packing" (then step_mm in place of thread)
# thread = "M6"                 # or "1/4-20", "1.0 mm"
# arm_mm = 300.0                # from the pivot to the screw
# clockwise = "nose-up"         # what a clockwise turn does to the nose
# acts_on = "trailing"          # edge side of the pivot that the screw acts on, or "leading"
# notch = 0.125                 # smallest part of a turn worth giving
# panel = "right outer"         # moves the stations with this panel together
# at_span_mm = 2500.0           # where along the span it acts, when a panel has several

# [glue]                        # as its maker states it, minutes from mixing
# working_min = 35
# gel_min = 60
# mixed_at = "2026-05-16T09:15" # local time; ribangle mixed JOB now writes it

# [[height]]                    # for the spanwise level: heights of the spar over any one level surface
# station = "R1"
# mm = 812.0

# [[spar_level]]                # or a level laid along the spar of one side
# side = "right"
# deg = 3.0                     # rise outboard, positive as dihedral

# [[line]]                      # any further line to be read, beside each rib's chord and spar line
# at = "R1"                     # a station, or a [[place]]
# name = "root level"
# deg = 0.0                     # an upright line reads 90 to level, 0 to plumb
# tolerance_deg = 0.1
# to = "level"                  # or "plumb", or the name of another line there
# marked = "line"               # or "two marks", "two edges" (then width_mm: a bolt's diameter)
# from_card_mm = [0, -75]       # its middle from the card's middle: towards the arrow, and up
# length_mm = 400

# [[place]]                     # a face that is no rib, with cards of its own
# name = "web R"
# kind = "spar web"             # or "tip fitting", "centre section", "leading edge", "other"
# side = "right"
# span_mm = 2000.0
# cards = [{spare}]

# [[pair]]                      # two lines of one part, one set against the other
# at = "R1"
# line = "chord"
# base = "root level"
# tolerance_deg = 0.2

# [[dimension]]                 # a length or angle between marks, lines or edges in the plane of a card
# name = "chord"
# kind = "chord length"         # or "distance", "offset", "step", "gap", "place on chord", "angle", "sweep"
# at = "R1"                     # a station, or a [[place]]: a skin joint, a wing seen from above
# between = ["nose", "tail"]    # or "mark NAME", "line NAME", "edge NAME", which you point at in the photo
# design_mm = 1200.0            # or design_deg, tolerance_deg
# tolerance_mm = 1.5

# [[typed]]                     # a check that you read off an instrument and type: ribangle done JOB "level on the spar" 0.05
# name = "level on the spar"    # or mm, tolerance_mm, u_mm in place of the three
# deg = 0.0
# tolerance_deg = 0.25
# u_deg = 0.05

# [[step]]                      # the order of the set-up; without any a usual one: root, spars plumb, washout, clamping
# name = "root level"
# checks = ["R1/chord", "L1/chord"]

# [[step]]                      # hangs on the step before it, unless after = ["..."] says otherwise
# name = "washout"
# checks = ["*/chord"]          # also R1/spar, R1/built-in, R2/washout, R2/symmetry, or the name of a [[typed]]

# [[step]]
# name = "locked and clamped"   # no checks: ribangle done JOB "locked and clamped"

# One [[station]] for each rib. cards: numbers of the station cards that lie on it, 0 to 30, none twice;
# two cards far apart on one rib read much better than one: cards = [1, 13]
"""

_STATION = """
[[station]]
name = "{name}"
side = "{side}"
span_mm = {span}
chord_mm = {chord}
cards = [{card}]
chord_deg = {angle}
chord_tolerance_deg = {tolerance}
"""

_SPAR = """\
# spar_deg = 90.0               # the spar line as an inclinometer reads it, 90 + lean; where one is drawn
# spar_tolerance_deg = 0.25
# spar_at = 0.3                 # where it crosses the chord line, part of the chord from the leading edge
# lean_deg = 0.0                # lean of this rib, where it is not the dihedral's
# panel = "right outer"         # ribs that one jig moves together
# built_in_tolerance_deg = 0.2  # for the chord angle relative to the spar line; else the chord's tolerance
# card = "panel"                # kind of card to print, or "strip"; else the rib's depth decides
"""


def starting_job(start: DraftWing) -> str:
    """TOML text of a job that loads. Raises UserError when there are not enough cards for the stations."""
    if not 1 <= start.stations <= 15:
        raise UserError(
            f"{start.stations} stations a wing",
            "the 31 cards are enough for 1 to 15 stations on each",
            "split the wing into two jobs",
        )
    import tomli_w

    text = _HEAD.format(name=tomli_w.dumps({"name": start.name}).strip(), root="R1", unit=start.length_unit, spare=30)
    for offset, (letter, side) in enumerate((("R", "right"), ("L", "left"))):
        for number in range(start.stations):
            part = number / max(start.stations - 1, 1)
            text += _STATION.format(
                name=f"{letter}{number + 1}",
                side=side,
                card=1 + offset * start.stations + number,
                span=_length(start.span_mm, part, start.length_unit),
                chord=_length(start.chord_mm, part, start.length_unit),
                angle=_between(start.chord_deg, part, 2),
                tolerance=float(start.tolerance_deg),
            )
            if offset == number == 0:
                text += _SPAR
    return text


def _length(ends: tuple[float, float], part: float, unit: Literal["mm", "in"]) -> str:
    """A length as it stands in a job file: bare millimetres, or inches with their unit."""
    mm = _between(ends, part, 1 if unit == "mm" else 6)
    return str(mm) if unit == "mm" else f'"{mm / INCH_MM:.2f} in"'


def _between(ends: tuple[float, float], part: float, digits: int) -> float:
    return round(ends[0] + part * (ends[1] - ends[0]), digits) + 0.0
