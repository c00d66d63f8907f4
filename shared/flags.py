"""Every doubt that a reading, a batch, a survey or an inclinometer can carry: one enumeration.

A member says all there is to say of a doubt in general: its code (stable, as the files hold it), what it is about, how
grave it is, what it means, what to do, and whether the uncertainty budget already holds it. Whoever raises a doubt adds
what was seen this time: `FlagCode.BLURRED.flag("the photo is soft (corner flanks 3.1 px wide)")`. Whoever judges,
explains or lists doubts reads the members; docs/flags.md is made from them (docs/make_flags.py).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum, StrEnum


class Severity(Enum):
    """How grave a doubt is. The value says what follows from it.

    REMARK : the budget holds what it is about, or nothing depends on it. NOTICE : something is to be done, yet no photo
    is worse than another for it. DOUBT : the value itself may be wrong.
    """

    REMARK = "shown with the value, which counts in full"
    NOTICE = "shown once; the values count in full"
    DOUBT = "the photo is set aside while a sound one exists; else the value is doubtful"


class Scope(Enum):
    """What a doubt is about."""

    PHOTO = "one photo"
    BATCH = "what a whole batch was measured against"
    REPEATS = "the photos of one station together"
    SURVEY = "the whole survey"
    RECORD = "a kept survey, shown later"
    GAUGE = "the inclinometer"
    DISPLAY = "the inclinometer's display in a photo"


_PHOTO, _BATCH, _REPEATS, _SURVEY = Scope.PHOTO, Scope.BATCH, Scope.REPEATS, Scope.SURVEY
_RECORD, _GAUGE, _DISPLAY = Scope.RECORD, Scope.GAUGE, Scope.DISPLAY
_REMARK, _NOTICE, _DOUBT = Severity.REMARK, Severity.NOTICE, Severity.DOUBT
_HELD = True
"""The budget holds it: U is as wide as the doubt makes it."""


class FlagCode(StrEnum):
    """The doubts. Its value is the code that files hold.

    scope : what it is about. severity : what follows from it. meaning : a sentence. remedy : what to do, in words that
    may follow a colon; "" where nothing is. in_budget : whether the uncertainty budget holds it already.

    A code that a file holds and this version does not know is read as `UNKNOWN`, a doubt.
    """

    scope: Scope
    severity: Severity
    meaning: str
    remedy: str
    in_budget: bool

    def __new__(
        cls, code: str, scope: Scope, severity: Severity, meaning: str, remedy: str, in_budget: bool = False
    ) -> FlagCode:
        """A member; the arguments are those that the class docstring explains."""
        member = str.__new__(cls, code)
        member._value_ = code
        member.scope, member.severity, member.in_budget = scope, severity, in_budget
        member.meaning, member.remedy = meaning, remedy
        return member

    @classmethod
    def _missing_(cls, value: object) -> FlagCode | None:
        return cls.UNKNOWN if isinstance(value, str) else None

    @classmethod
    def of(cls, code: str) -> FlagCode:
        """The member of a code as files hold it; `UNKNOWN` for any other text."""
        return next((c for c in cls if c.value == code), cls.UNKNOWN)

    def flag(self, what: str) -> Flag:
        """The doubt raised. what : what was seen, in plain words; the remedy is added to it."""
        return Flag(self, f"{what}: {self.remedy}" if self.remedy else what)

    # fmt: off
    # photo: file and person
    PHOTO_NOTE = "photo-note", _PHOTO, _REMARK, "The photo's file says something that is worth knowing.", "", _HELD
    HELPED = "helped", _PHOTO, _REMARK, "A person pointed at a line in the photo.", "", _HELD
    SAME_PHOTO = (
        "same-photo", _PHOTO, _DOUBT, "The same file was given twice; it is no second witness.",
        "take another photo where a second one is wanted",
    )
    NO_OVERLAY = (
        "no-overlay", _PHOTO, _DOUBT, "The annotated picture, by which the lines are checked, could not be drawn.",
        "judge this angle with care",
    )
    UPSIDE_DOWN = (
        "upside-down", _PHOTO, _DOUBT, "The file says which way up the photo is, and the string shows the opposite.",
        "turn it by half a turn, or let the string come from above the picture",
    )
    WHICH_WAY_UP = (
        "which-way-up", _PHOTO, _DOUBT,
        "Nothing shows which way up the photo is; on its head the angle would have the other sign.",
        "use the camera's own file, or let the bob show",
    )
    # photo: sharpness, view and cards
    BLURRED = (
        "blurred", _PHOTO, _DOUBT, "The photo is soft: thin lines lose contrast.",
        "hold still, tap to focus on the card, take it again",
    )
    SHAKEN = (
        "shaken", _PHOTO, _DOUBT, "The camera moved during the exposure, which may bend the picture.",
        "rest it on something, take it again",
    )
    OBLIQUE = "oblique", _PHOTO, _DOUBT, "The rib is seen at a flat angle.", "stand more in front of it"
    CARD_MISFIT = (
        "card-misfit", _PHOTO, _DOUBT, "The card's corners do not fit a flat card seen through this lens.",
        "press the cards flat onto one plane, and check that the lens profile is this camera's",
    )
    TWO_POSES = (
        "two-poses", _PHOTO, _DOUBT, "The card may tilt the other way, which would give another angle.",
        "use two cards, or stand more to one side",
    )
    # photo: lens
    NO_LENS_PROFILE = (
        "no-lens-profile", _PHOTO, _REMARK, "No lens profile belongs to this camera: the lens is guessed and U is large.",
        "ribangle calibrate lens", _HELD,
    )
    LENS_ROUGH = (
        "lens-rough", _PHOTO, _DOUBT, "The lens profile comes from straight edges: its focal length is a guess, U is large.",
        "ribangle calibrate lens",
    )
    LENS_TURN = (
        "lens-turn", _PHOTO, _REMARK,
        "The EXIF orientation leaves open which way up the sensor was; the lens's uncertainty covers both.", "", _HELD,
    )
    LENS_DOUBT = (
        "lens-doubt", _PHOTO, _DOUBT, "The photo fits the lens profile badly.",
        "use the focus and zoom that were calibrated, or calibrate this camera",
    )
    # photo: chord line, spar line, marks
    LINE_DOUBTFUL = (
        "line-doubtful", _PHOTO, _DOUBT, "The chord line or the level reference may be something else.",
        "look at the annotated picture; if it is right, point at the line",
    )
    SPAR_DOUBTFUL = (
        "spar-doubtful", _PHOTO, _DOUBT, "The spar line or the level reference may be something else.",
        "look at the annotated picture; if it is right, point at the line",
    )
    MARK_AS_POINTED = (
        "mark-as-pointed", _PHOTO, _REMARK, "A mark that a person pointed at could not be placed better than that.",
        "use a printed mark, or a pen cross", _HELD,
    )
    LINE_BESIDE = (
        "line-beside", _PHOTO, _DOUBT, "Beside the line or edge that a person pointed at runs another, perhaps the one meant.",
        "look at the annotated picture; if it is the wrong one, point at both ends of the right one from nearer by",
    )
    CHORD_BROKEN = (
        "chord-broken", _PHOTO, _DOUBT, "Much of the chord line could not be measured.",
        "clear what covers it, or draw it again",
    )
    CHORD_WAVY = (
        "chord-wavy", _PHOTO, _DOUBT, "The chord line is wavy or bent.", "draw it again along a straightedge",
    )
    CHORD_SHORT = (
        "chord-short", _PHOTO, _DOUBT, "The chord line is seen over a small part of the chord.",
        "get the whole rib into the picture, or put a reference mark near each end of the line",
    )
    CHORD_LONG = (
        "chord-long", _PHOTO, _DOUBT, "The chord line is longer than the job's chord.",
        "check that the card is this station's and the chord in the job right",
    )
    MARKS_OFF = (
        "marks-off", _PHOTO, _DOUBT, "The reference marks do not lie on the drawn line.",
        "take away what does not mark the chord line",
    )
    # photo: lines by name
    NAMED_DOUBTFUL = (
        "named-doubtful", _PHOTO, _DOUBT, "What was taken for a named line, or the level reference, may be something else.",
        "look at the annotated picture; if another line is marked, say in the job nearer where it is",
    )
    NAMED_SHORT = (
        "named-short", _PHOTO, _DOUBT, "A named line is seen over a small part of its stated length.",
        "get all of it into the picture, or clear what covers it",
    )
    NAMED_WAVY = "named-wavy", _PHOTO, _DOUBT, "A named line is wavy or bent.", "draw it anew along a straightedge"
    # photo: level reference and solution
    LEAN_NOT_STATED = (
        "lean-not-stated", _PHOTO, _REMARK, "The job does not state how the ribs lean; U allows for it.",
        "give dihedral_deg in the job", _HELD,
    )
    LEAN_OFF = (
        "lean-off", _PHOTO, _DOUBT, "The photo shows another lean of the rib than the job states.",
        "hold a level to its face and correct the lean in the job",
    )
    REFERENCES_DISAGREE = (
        "references-disagree", _PHOTO, _DOUBT, "Strings, level line and the stated lean do not agree.",
        "take away what is not level or plumb, or correct the lean in the job",
    )
    NOT_LINEAR = (
        "not-linear", _PHOTO, _DOUBT, "Monte Carlo draws and the linear uncertainty budget do not agree.", "trust the wider",
    )
    UNCERTAINTY_UNKNOWN = (
        "uncertainty-unknown", _PHOTO, _DOUBT, "The angle's uncertainty is not known.", "take another photo",
    )
    # photo against the rest of the wing
    OTHER_SIDE = (
        "seen-from-the-other-side", _PHOTO, _DOUBT, "The leading edge points the other way than on the side's other ribs.",
        "correct the side in the job, or photograph it from the same side as the rest",
    )
    OTHER_CHORD = (
        "chord-unlike-the-job", _PHOTO, _DOUBT, "The chord line seen has another length than the job's chord.",
        "perhaps another wing's rib with the same card number, a card on the wrong rib, or chord_mm mistaken",
    )
    # batch: what was measured against
    LENS_PROFILE_OLD = "lens-profile-old", _BATCH, _NOTICE, "The lens profile is over a year old.", "calibrate again"
    LEVEL_PROFILE_OLD = (
        "level-profile-old", _BATCH, _NOTICE, "The level reference's profile is older than it may be.",
        "turn it end for end again",
    )
    PRINT_PROFILE_OLD = (
        "print-profile-old", _BATCH, _NOTICE, "The cards' print profile is older than it may be: paper swells and shrinks.",
        "measure the cards again",
    )
    CARD_RESIDUALS_LARGE = (
        "card-residuals-large", _BATCH, _NOTICE, "The cards' corners fit worse than usual throughout the batch.",
        "check that the cards are flat, the photos sharp and the lens as it was", _HELD,
    )
    CARD_RESIDUALS_GROW = (
        "card-residuals-grow", _BATCH, _NOTICE, "The cards' corners fit worse and worse through the batch.",
        "clean the lens and hold the focus", _HELD,
    )
    CARD_RESIDUALS_GROWN = (
        "card-residuals-grown", _BATCH, _NOTICE, "The cards' corners fit worse than in earlier batches.",
        "check the lens, the focus and the cards", _HELD,
    )
    LENS_FOCAL_MOVED = (
        "lens-focal-moved", _BATCH, _DOUBT, "The cards show another focal length than the lens profile's.",
        "another zoom or focus; calibrate at the working distance",
    )
    CARDS_NOT_SQUARE = (
        "cards-not-square", _BATCH, _DOUBT, "The cards look stretched or skewed: damp or badly printed.",
        "measure one (ribangle calibrate print), or print again",
    )
    # repeats of one station; in the order in which they are reported
    PHOTOS_CONTRADICT = (
        "photos-contradict", _REPEATS, _DOUBT, "Photos of one station contradict each other; U spans them all.",
        "find the cause, then photograph the station again",
    )
    ONLY_FLAGGED_PHOTOS = (
        "only-flagged-photos", _REPEATS, _DOUBT, "Every photo of the station is doubtful.",
        "clear the doubts of its photos, then photograph the station again",
    )
    # survey
    TIED = "tied", _SURVEY, _REMARK, "Photos that show several ribs have their share in the angle.", "", _HELD
    TIES_DISAGREE = (
        "ties-disagree", _SURVEY, _NOTICE, "Photos that show several ribs contradict each other; they tie nothing.",
        "look at their annotated pictures",
    )
    ROOT_NOT_MEASURED = (
        "root-not-measured", _SURVEY, _NOTICE, "The root has no angle, so there is no washout.", "photograph the root",
    )
    ROOT_DOUBTFUL = (
        "root-doubtful", _SURVEY, _DOUBT, "The root's angle is doubtful, and every washout with it.",
        "photograph the root again",
    )
    JOB_SLIP = "job-slip", _SURVEY, _NOTICE, "Something in the job looks like a slip.", "compare it with the drawing"
    # record
    RECORD_BROKEN = (
        "record-broken", _RECORD, _DOUBT, "A kept survey was changed, or one of its files is missing.",
        "restore the folder from a copy",
    )
    JOB_CHANGED = (
        "job-changed", _RECORD, _NOTICE, "The job was changed since this survey, which is judged by the job as it was.",
        "survey again to judge by the job as it is",
    )
    PROFILE_CHANGED = (
        "profile-changed", _RECORD, _NOTICE, "A profile was changed since this survey; its angles stand on the old one.",
        "measure and survey again to use the new one",
    )
    TOOL_CHANGED = (
        "tool-changed", _RECORD, _NOTICE, "The survey was made by another version.", "",
    )
    VERDICT_CHANGED = (
        "verdict-changed", _RECORD, _NOTICE, "This version works out another verdict from the same readings.", "",
    )
    # inclinometer
    GAUGE_DISAGREES = (
        "gauge-disagrees", _GAUGE, _DOUBT, "Camera and inclinometer disagree on a line.",
        "read the inclinometer again before anything is turned",
    )
    GAUGE_AT_FAULT = (
        "gauge-at-fault", _GAUGE, _NOTICE, "Camera and inclinometer disagree; a fault of all its readings explains it.",
        "mend what the cross-check names",
    )
    GAUGE_REPEATS = "gauge-repeats", _GAUGE, _REMARK, "Several readings of one line were averaged.", "", _HELD
    GAUGE_REPEATS_DIFFER = (
        "gauge-repeats-differ", _GAUGE, _DOUBT, "Readings of one line differ by more than the inclinometer's uncertainty.",
        "read the line again, one of them may be a slip",
    )
    GAUGE_SENSE = (
        "gauge-sense", _GAUGE, _DOUBT, "The inclinometer shows angles that the declared sense does not allow.",
        "correct [gauge] sense in the job",
    )
    GAUGE_PROFILE_OLD = (
        "gauge-profile-old", _GAUGE, _NOTICE, "The inclinometer's profile is older than it may be.", "repeat the reversal",
    )
    GAUGE_PROFILE_LATER = (
        "gauge-profile-later", _GAUGE, _NOTICE, "The inclinometer was calibrated after the first reading.",
        "check the zero again, it may have been another then",
    )
    GAUGE_SLIP = "gauge-slip", _GAUGE, _DOUBT, "A reading lies far off the calibration's fit.", "read it again"
    GAUGE_RESOLUTION = (
        "gauge-resolution", _GAUGE, _NOTICE, "Readings are finer than the stated resolution.", "correct the resolution",
    )
    GAUGE_SCALE_UNKNOWN = (
        "gauge-scale-unknown", _GAUGE, _NOTICE, "The calibration does not determine the scale error; U allows for it.",
        "add known angles, or reversals of a level and a plumb edge", _HELD,
    )
    REFERENCE_NOT_SQUARE = (
        "reference-not-square", _GAUGE, _DOUBT, "A reference angle that should be 90 degrees is not.",
        "use another, it is no square any more",
    )
    # display in a photo
    DISPLAY_UPSIDE_DOWN = "display-upside-down", _DISPLAY, _NOTICE, "The display stands on its head in the picture.", ""
    DISPLAY_ARROW = (
        "display-arrow", _DISPLAY, _NOTICE, "An arrow stands beside the figures.",
        "if it shows the sense, say so with the value",
    )
    # a file of another version
    UNKNOWN = (
        "unknown", _PHOTO, _DOUBT, "A doubt that another version raised and this one does not know.", "read its text",
    )
    # fmt: on


@dataclass(frozen=True)
class Flag:
    """A doubt about a value: which one, and what was seen, in plain words."""

    code: FlagCode
    text: str


def in_doubt(flags: Iterable[Flag]) -> tuple[Flag, ...]:
    """Those of the flags that put the value itself in doubt."""
    return tuple(f for f in flags if f.code.severity is Severity.DOUBT)


def remarks(flags: Iterable[Flag]) -> tuple[Flag, ...]:
    """Those of the flags that the budget holds, or that nothing depends on."""
    return tuple(f for f in flags if f.code.severity is Severity.REMARK)


def of_batch(flags: Iterable[Flag]) -> tuple[Flag, ...]:
    """Those of the flags that are about what a whole batch was measured against."""
    return tuple(f for f in flags if f.code.scope is Scope.BATCH)
