"""What every output for users says: the tool is a witness, people decide."""

CAUTIONS: tuple[str, ...] = (
    "An aid, not an inspection. A wing can kill: confirm every angle with an independent instrument before "
    "anything is glued or flown.",
    "The designer's drawings, the local authority and a licensed inspector decide, not this report.",
    "The decisions hold for the lines and references that were photographed, as they stood at that moment. "
    "A rib, jig or spar may have moved since.",
    "A line drawn in the wrong place is measured just as well as one drawn in the right place.",
    "Glue, resin, solvents and dust: precautions, mixing, and times as their makers say.",
)
"""Whole sentences, gravest first."""

SHORT = "An aid, not an inspection: confirm with an independent instrument."
"""Where there is room for one line only."""
