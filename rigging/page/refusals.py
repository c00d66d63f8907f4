"""A photo without a value: why in one line, and the one cure that promises most."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, Literal

from shared.lines import REFERENCES, Role
from shared.reading import NO_RIB
from vision.assess.gates import MAX_BLUR_PX, MIN_CONTRAST

Kind = Literal[
    "file", "dark", "flat", "blurred", "no card", "wrong card", "no chord", "no level", "no feature", "other"
]
DARK = 128.0
"""Grey level below which even a photo's lightest parts are dark: half of what a picture can hold."""


@dataclass(frozen=True)
class Refused:
    """Why a photo has no value. cure : an instruction, one sentence. point : which line to point at; None where
    pointing cannot help (no card, no picture). seen, missing : what was found in it and what was not."""

    kind: Kind
    why: str
    cure: str
    point: str | None = None
    seen: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()


def refusal(tree: dict[str, Any]) -> Refused | None:
    """Of a reading's tree (`rigging.batch.readings_file`); None where it has a chord angle, or, of a place that is no rib,
    a dimension."""
    if tree["chord"]["quantity"] is not None:
        return None
    if tree["chord"]["reason"] == NO_RIB and tree.get("dimensions") and not tree.get("lines"):
        return _of_place(tree["dimensions"])
    reason = str(tree["chord"]["reason"] or "no value")
    evidence = tree["evidence"] or {}
    cards = evidence.get("cards") or ()
    if not cards and tree["station"] is None:
        return _without_card(tree, reason)
    names = tuple(f"card {c['number']}" for c in cards)
    if tree["station"] is None:
        return Refused("wrong card", reason, "Put the station's own card on the rib, and photograph that rib alone",
                       None, names)  # fmt: skip
    roles = {line["role"] for line in evidence.get("lines") or () if line["used"]}
    chord, level = Role.CHORD in roles, [r for r in REFERENCES if r in roles]
    seen = (
        *names,
        *(["chord line"] if chord else []),
        *sorted(r.thing for r in level),
    )
    if re.search(r"blurred|smeared|\bsoft\b", reason):
        return Refused("blurred", reason, "Hold still, tap to focus on the card, photograph again", None, seen)
    if "hardly differ" in reason:
        return Refused("dark", reason, "Light the rib evenly, then photograph again", None, seen)
    if not chord and re.search(r"\bchord\b", reason):
        return Refused("no chord", reason, "Point at the chord line", Role.CHORD, seen, ("chord line",))
    if not level:
        missing = next((r for r in REFERENCES if r.thing in reason or r.value in reason), None)
        if missing is None and "gravity" in reason:
            missing = REFERENCES[-1]
        if missing is not None:
            wanted = " or ".join(r.thing for r in REFERENCES)
            return Refused("no level", reason, f"Point at the {missing.thing}", missing, seen, (wanted,))
    return Refused("other", reason, "Photograph it again", None, seen)


def _of_place(dimensions: list[dict[str, Any]]) -> Refused | None:
    """A place has no lines of its own that could be found: a person points at them."""
    if any(d["quantity"] is not None for d in dimensions):
        return None
    reason = str(dimensions[0]["reason"])
    cure = "Point at what its dimensions stand on" if "pointed at" in reason else "Photograph it again"
    return Refused("no feature", reason, cure, None, tuple(dict.fromkeys(d["place"] for d in dimensions)))


def _without_card(tree: dict[str, Any], reason: str) -> Refused:
    if not tree["photo"]["width"]:
        return Refused("file", reason, "Take the photo again, or send it again")
    if not reason.startswith("no station card"):
        return Refused("other", reason, "Photograph it again")
    sight = tree.get("sight") or {}
    contrast, light, blur = sight.get("contrast"), sight.get("light"), sight.get("blur_px")
    missing = ("station card",)
    if contrast is not None and light is not None and contrast < MIN_CONTRAST:
        if light < DARK:
            return Refused("dark", "the photo is too dark to see a card in it", "Light the rib, then photograph again",
                           None, (), missing)  # fmt: skip
        return Refused("flat", "nothing stands out in the photo (fog, glare, or something before the lens)",
                       "Wipe the lens, light the rib from the side, photograph again", None, (), missing)  # fmt: skip
    if blur is not None and blur > MAX_BLUR_PX:
        return Refused("blurred", f"the photo is blurred: its sharpest edges are {blur:.0f} px wide",
                       "Hold still, tap to focus on the card, photograph again", None, (), missing)  # fmt: skip
    return Refused("no card", "the photo is sharp and light, but no station card was found in it",
                   "Lay the station card flat on the rib, all of it in the picture", None, (), missing)  # fmt: skip
