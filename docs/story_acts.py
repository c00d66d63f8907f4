"""The story of the wing from bare jig to cured, act by act: what is done, what is said, and how the steps stand after it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Act:
    """One act. commands : line and exit code. pictures : photo -> caption. after : step -> its state when the act is over."""

    title: str
    text: str
    commands: tuple[tuple[str, int], ...]
    pictures: dict[str, str]
    after: dict[str, str]


ROOT, FITTING, WASHOUT, SPAN, LOCKED, CLAMPED, CURED, LAST = (
    "root level",
    "fitting plumb",
    "washout",
    "spanwise level",
    "locked and clamped",
    "as clamped",
    "cured",
    "as cured",
)
OPEN = dict.fromkeys((FITTING, WASHOUT, SPAN), "open again")
SET = dict.fromkeys((ROOT, FITTING, WASHOUT, SPAN), "right")


def turned(*photos: str) -> str:
    """The command for new photos."""
    return " ".join(["ribangle turned wing.toml", *(f"photos/{p}.jpg" for p in photos)])


ACTS = (
    Act(
        "The bare jig",
        "The job names eight steps and what each hangs on: the root carries everything, the fitting at the tip twists what "
        "lies between, and so on. Nothing is photographed yet.",
        (("ribangle order wing.toml", 1),),
        {},
        {ROOT: "to do", FITTING: "to do", WASHOUT: "to do", SPAN: "to do", LOCKED: "to do"},
    ),
    Act(
        "Root level: wrong, turned, right",
        "The root comes first. Its rib is photographed, and stands more than half a degree nose-up. The saddle's screw is turned "
        "as the survey says, and the rib photographed again.",
        (
            ("ribangle survey wing.toml photos/R1-bare.jpg --no-report", 0),
            (turned("R1-set"), 0),
        ),
        {"R1-bare": "R1 before the turn", "R1-set": "R1 after it"},
        {ROOT: "right", FITTING: "to do"},
    ),
    Act(
        "Fitting plumb: wrong, turned, right",
        "The fitting's bolt line stands on the tip rib R6 as its spar line, and is to read 90. It leans back by 1.7° or so, and "
        "takes as much off the washout of 2.5°: the rib itself is set right on it, and still 1.7° nose-up (common practice, no "
        "source: a fitting that leans back takes washout away one for one). So the fitting is set, not the rib.",
        ((turned("R6-aft"), 0), (turned("R6-plumb"), 0)),
        {"R6-aft": "R6 with the fitting leaning back", "R6-plumb": "R6 with the fitting plumb"},
        {ROOT: "right", FITTING: "right", WASHOUT: "to do"},
    ),
    Act(
        "Washout: wrong, set anew, right",
        "With root and fitting right the ribs between are photographed for the first time. R5 is right. R3 is nose-down, and its "
        "spar line is plumb: no screw mends that. The rib is loosened on its spar and set anew.",
        ((turned("R3-glued-off", "R5-first"), 0), (turned("R3-set"), 0)),
        {"R3-glued-off": "R3 set wrong on its spar", "R3-set": "R3 set anew"},
        {FITTING: "right", WASHOUT: "right", SPAN: "to do"},
    ),
    Act(
        "Spanwise level: wrong, packed, right",
        "A long level lies on the spar. What it shows is typed in: 0.4° at first, and, with packing under the outer saddles, "
        "nearly nothing. Leaving with exit code 1 means: not right.",
        (
            ('ribangle done wing.toml "level on the spar" 0.4', 1),
            ('ribangle done wing.toml "level on the spar" 0.05', 0),
        ),
        {},
        {**SET, LOCKED: "to do"},
    ),
    Act(
        "Somebody leans on the root",
        "A knee against the root saddle; it is photographed again, to be sure. It has moved, and everything that hangs on it is "
        "open again, however right it was. The saddle is set back.",
        ((turned("R1-knocked"), 0), (turned("R1-set-again"), 0)),
        {"R1-knocked": "R1 after the knock", "R1-set-again": "R1 set back"},
        {ROOT: "right", **OPEN},
    ),
    Act(
        "Looked at again, in order",
        "The list leads through what is open. The new photos are not taken for turns: nobody turned these ribs, "
        "something that they hang on was. The level is read once more.",
        (
            (turned("R6-once-more"), 0),
            (turned("R3-once-more", "R5-once-more"), 0),
            ('ribangle done wing.toml "level on the spar" 0.05', 0),
        ),
        {},
        {**SET, LOCKED: "to do", CLAMPED: "to do"},
    ),
    Act(
        "Glue, and clamps that pull",
        "The glue is mixed, and its clock runs. Everything is locked and clamped, which is said, and then looked at: a photo "
        "from before the clamps does not show how a rib stands in them. R5 was pulled nose-up, spar line and all. The clamp "
        "is loosened, the saddle turned, the clamp closed again, and said so. That R5 moved opens the spanwise level: it is "
        "read again.",
        (
            ("ribangle mixed wing.toml now", 0),
            ('ribangle done wing.toml "locked and clamped"', 0),
            (turned("R1-clamped", "R3-clamped", "R5-clamped", "R6-clamped"), 0),
            ('ribangle done wing.toml "locked and clamped"', 0),
            (turned("R1-clamped-again", "R3-clamped-again", "R5-clamped-again", "R6-clamped-again"), 0),
            ('ribangle done wing.toml "level on the spar" 0.05', 0),
        ),
        {"R5-clamped": "R5 pulled by its clamp", "R5-clamped-again": "R5 in the clamp closed anew"},
        {**SET, LOCKED: "right", CLAMPED: "right", CURED: "to do"},
    ),
    Act(
        "Cured",
        "Nothing may be turned any more. The cure is over, which is said; one photo of each rib is the last witness. The record "
        "holds every survey on the way, the wrong ones too.",
        (
            ("ribangle done wing.toml cured", 0),
            (turned("R1-cured", "R3-cured", "R5-cured", "R6-cured"), 0),
            ("ribangle order wing.toml", 0),
            ("ribangle verify wing.toml", 0),
        ),
        {"R6-cured": "R6, cured"},
        {**SET, LOCKED: "right", CLAMPED: "right", CURED: "right", LAST: "right"},
    ),
)
"""The acts in order."""
