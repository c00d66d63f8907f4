"""Everything that may vary in a photo, by name: how often, and whether it is withheld from training.

An effect is a bare name (on or off) or `group:option` (one option of the group is taken). Each draws from a random
stream of its own, so switching one off leaves all others of the same photo as they were.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass, field

import numpy as np

GROUPS: dict[str, dict[str, float]] = {
    "surface": {"ply": 0.3, "balsa": 0.2, "foam": 0.15, "primer": 0.12, "glass": 0.13, "carbon": 0.1},
    "build": {"sheet": 0.84, "truss": 0.16},
    "marks": {"quartered": 0.4, "cross": 0.35, "none": 0.25},
    "pen": {"pen": 0.36, "pencil": 0.16, "ballpoint": 0.14, "marker": 0.1, "red": 0.1, "blue": 0.14},
    "level": {"plumb": 0.78, "laser": 0.09, "straightedge": 0.04, "laser+plumb": 0.04, "none": 0.05},
    "string": {
        "cotton": 0.24,
        "cord": 0.14,
        "fishing": 0.1,
        "orange": 0.1,
        "pink": 0.08,
        "black": 0.12,
        "white": 0.1,
        "wood": 0.06,
        "green": 0.06,
        "braided": 0.12,
    },
    "bob": {"sphere": 0.25, "cone": 0.25, "cylinder": 0.2, "nut": 0.15, "none": 0.15},
    "wall": {"boards": 0.38, "plaster": 0.28, "tile": 0.14, "photo": 0.2, "brick": 0.2},
    "light": {"shop": 0.38, "lamps": 0.27, "sun": 0.23, "window": 0.12},
}
"""One option of each group a photo, with these weights; the first is what is left when the others are switched off."""

EFFECTS: dict[str, float] = {
    # cards
    "two_cards": 0.25,
    "card_bow": 0.25,
    "dog_ear": 0.1,
    # lines on the rib
    "faint_line": 0.08,
    "line_gaps": 0.25,
    "line_taped": 0.07,
    "line_short": 0.2,
    "second_line": 0.06,
    "spar_absent": 0.08,
    "waterlines": 0.4,
    "stringer_ticks": 0.5,
    "rib_number": 0.6,
    "notes": 0.12,
    "tape_text": 0.12,
    "capstrips": 0.15,
    "lightening_holes": 0.45,
    "glue_smears": 0.1,
    "scratches": 0.12,
    "ply_seam": 0.08,
    "tape_along_chord": 0.15,
    "oblong_holes": 0.2,
    # strings and what may be taken for one
    "string_nail": 0.12,
    "string_near_card": 0.06,
    "second_string": 0.1,
    "string_behind": 0.04,
    "slanted_string": 0.07,
    "rods": 0.6,
    "door_frame": 0.12,
    "cable_behind": 0.2,
    "cable_front": 0.05,
    "curly_cable": 0.15,
    # the shop
    "neighbours": 0.45,
    "neighbour_string": 0.15,
    "front_rib": 0.04,
    "clamps": 0.15,
    "hand": 0.1,
    "tools": 0.15,
    "ruler_on_rib": 0.06,
    "jig_posts": 0.15,
    "spar_stub": 0.1,
    "boxes": 0.7,
    "shelves": 0.2,
    "pegboard": 0.08,
    "window_wall": 0.12,
    "posters": 0.25,
    "tubes": 0.1,
    # light
    "backlight": 0.05,
    "glare": 0.06,
    "uneven_white": 0.12,
    "gooseneck": 0.2,
    # the camera
    "distortion": 1.0,
    "chroma": 0.8,
    "mosaic": 0.6,
    "denoise": 0.6,
    "sharpen": 0.9,
    "tone": 0.8,
    "vignette": 0.7,
    "depth_of_field": 0.3,
    "defocus": 0.08,
    "motion": 0.06,
}
"""Chance of each effect in a photo."""

WITHHELD = frozenset({"string:braided", "wall:brick", "oblong_holes", "tape_along_chord", "curly_cable", "gooseneck"})
"""Never drawn for training, only with `--judge`: how a reader fares with what it has not seen."""

NAMES = frozenset(EFFECTS) | {f"{g}:{o}" for g, options in GROUPS.items() for o in options}


@dataclass(frozen=True)
class Choice:
    """What the command line allows. without, only : effect names; an empty `only` allows all. chances : effects' names with
    their chance in a photo, or an option's weight in its group, in place of the tables'."""

    judge: bool = False
    without: frozenset[str] = frozenset()
    only: frozenset[str] = frozenset()
    chances: tuple[tuple[str, float], ...] = ()

    def chance(self, name: str, usual: float) -> float:
        """The chance of an effect, or the weight of an option."""
        return dict(self.chances).get(name, usual)

    def allows(self, name: str) -> bool:
        """Whether an effect may be drawn at all."""
        if name in self.without or (name in WITHHELD and not self.judge and name not in self.only):
            return False
        return not self.only or name in self.only


@dataclass
class Draw:
    """The effects of one photo. seed : of the photo. used : names drawn so far, for the label."""

    seed: int
    choice: Choice = field(default_factory=Choice)
    used: set[str] = field(default_factory=set)

    def rng(self, name: str, salt: int = 0) -> np.random.Generator:
        """The random stream that belongs to a name in this photo."""
        return np.random.default_rng([self.seed, zlib.crc32(name.encode()), salt])

    def has(self, name: str, salt: int = 0, factor: float = 1.0) -> bool:
        """Whether an effect is on. factor : multiplies its chance."""
        if (
            not self.choice.allows(name)
            or self.rng("has " + name, salt).random() >= self.choice.chance(name, EFFECTS[name]) * factor
        ):
            return False
        self.used.add(name)
        return True

    def option(self, group: str, salt: int = 0) -> str:
        """The option of a group."""
        options = GROUPS[group]
        allowed = [o for o in options if self.choice.allows(f"{group}:{o}")] or [next(iter(options))]
        weights = np.array([self.choice.chance(f"{group}:{o}", options[o]) for o in allowed])
        name = allowed[int(self.rng("of " + group, salt).choice(len(allowed), p=weights / weights.sum()))]
        self.used.add(f"{group}:{name}")
        return name
