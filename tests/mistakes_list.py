"""Mistakes in a row each: what people do, how a test does it, and what the tool says. docs/mistakes.md is made of it."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from mistake_shop import Shop
from told_reader import Told

Make = Callable[[Shop], object]


@dataclass(frozen=True)
class Mistake:
    """what : the mistake, for people. make : makes it in a shop. command : what is run then. says : what is said.

    code : the exit code. raw : the job file's text is changed by this after it was written.
    """

    what: str
    command: str
    says: str
    make: Make = lambda shop: shop
    code: int = 2
    raw: Callable[[str], str] | None = None


def station(name: str, /, **changed: Any) -> Make:
    """Change keys of a station."""
    return lambda shop: shop.station(name).update(changed)


def table(name: str, /, **changed: Any) -> Make:
    """Change keys of a table."""
    return lambda shop: shop.job.setdefault(name, {}).update(changed)


def surveyed(*more: Make) -> Make:
    """A survey is kept first; then these."""

    def make(shop: Shop) -> None:
        shop.photos()
        shop.survey()
        for step in more:
            step(shop)

    return make


def taken(*more: Make) -> Make:
    """Photos of every station are there first; then these."""

    def make(shop: Shop) -> None:
        shop.photos()
        for step in more:
            step(shop)

    return make


def write(name: str, data: bytes) -> Make:
    """Write a file of the shop."""
    return lambda shop: (shop.folder / name).write_bytes(data)


def edit(name: str, old: str, new: str) -> Make:
    """Edit a file of the shop by hand."""

    def make(shop: Shop) -> None:
        place = shop.folder / name
        place.write_text(place.read_text("utf-8").replace(old, new, 1), "utf-8")

    return make


SURVEY = "survey wing.toml photos --no-report"

MISTAKES: tuple[Mistake, ...] = (
    # the command
    Mistake("a command mistyped", "mesure wing.toml photos", "there is no command 'mesure'; did you mean 'measure'?"),
    Mistake("an option mistyped", "survey wing.toml photos --noreport", "--no-report"),
    Mistake("a job file that is not there", "survey wings.toml photos", "the job file is not there"),
    Mistake("a folder given as the job", "survey photos photos", "the job file is a folder"),
    Mistake("a folder of photos that is not there", "survey wing.toml fotos", "there is no such file or folder"),
    Mistake("a folder without a photo", "survey wing.toml photos", "there is no photo in it"),
    Mistake("no survey yet", "show wing.toml", "no survey is kept of this job yet"),
    Mistake("a survey that was never made", "show wing.toml 9", "the record holds survey 1", surveyed()),
    Mistake("a report before anything was measured", "report wing.toml", "nothing was measured for this job yet"),
    Mistake("one survey to compare", "compare wing.toml 1", "takes two surveys", surveyed()),
    Mistake(
        "a photo set aside without a reason", f"{SURVEY} --set-aside R1.png", "needs a photo and a reason", taken()
    ),
    Mistake(
        "a photo set aside that is not there", f"{SURVEY} --set-aside R11.png=bad", "did you mean R1.png?", taken()
    ),
    Mistake(
        "a picture of a kind that cannot be drawn",
        "budget wing.toml R1 --picture b.doc",
        ".svg, .pdf or .png",
        surveyed(),
    ),
    Mistake("a station mistyped", "budget wing.toml RR1", "did you mean R1?", surveyed()),
    Mistake(
        "the budget of a station that was not measured",
        "budget wing.toml R1",
        "its chord has no value",
        lambda shop: (shop.photo("L1.png", Told((5,), 2.0, 90.0)), shop.survey()),
    ),
    Mistake(
        "a time that is none",
        "mixed wing.toml soon",
        "is no time; write now",
        table("glue", working_min=35, gel_min=60),
    ),
    # the job file
    Mistake(
        "a decimal comma in the job",
        SURVEY,
        "write decimals with a point",
        code=2,
        raw=lambda text: text.replace("chord_deg = 2.0", "chord_deg = 2,0", 1),
    ),
    Mistake(
        "a job saved in another encoding", SURVEY, "is not text in UTF-8", taken(), raw=lambda text: "\udcff" + text
    ),
    Mistake("a key mistyped", SURVEY, "did you mean chord_deg?", taken(station("R1", chord_degs=1.0))),
    Mistake("a word mistyped", SURVEY, "did you mean right?", taken(station("R1", side="rigth"))),
    Mistake(
        "a number written with its unit",
        SURVEY,
        "must be a number, not text in quotes",
        taken(station("R1", chord_deg="2°")),
    ),
    Mistake("a length in a unit of one's own", SURVEY, "R1: span_mm", taken(station("R1", span_mm="3 spans"))),
    Mistake("a chord of a few millimetres", SURVEY, "must be at least 50, is 12", taken(station("R1", chord_mm=12.0))),
    Mistake(
        "a design angle of another world", SURVEY, "must be at most 30, is 200", taken(station("R1", chord_deg=200.0))
    ),
    Mistake("a tolerance of nothing", SURVEY, "must be over 0, is 0", taken(station("R1", chord_tolerance_deg=0.0))),
    Mistake("a card number that is not printed", SURVEY, "must be at most 30, is 31", taken(station("R1", cards=[31]))),
    Mistake("one card for two ribs", SURVEY, "card 2 belongs to station R2 already", taken(station("R3", cards=[2]))),
    Mistake("two stations of one name", SURVEY, "used twice", taken(station("R2", name="R1"))),
    Mistake(
        "a root that is no station", SURVEY, "'R11' is not the name of a station", taken(table("wing", root="R11"))
    ),
    Mistake(
        "a spar line without its tolerance",
        SURVEY,
        "a spar line needs both its design angle and its tolerance",
        taken(lambda shop: shop.station("R2").pop("spar_tolerance_deg")),
    ),
    Mistake(
        "a thread that is none",
        SURVEY,
        "'M' is not a thread",
        taken(lambda shop: shop.job["jig"][0].update(thread="M")),
    ),
    Mistake(
        "a jig of a panel that no rib has",
        SURVEY,
        "no station has the panel 'outer'",
        taken(lambda shop: shop.job["jig"].append({"thread": "M6", "panel": "outer"})),
    ),
    Mistake(
        "two jigs for the same ribs",
        SURVEY,
        "there is a jig for single stations already",
        taken(lambda shop: shop.job["jig"].append({"thread": "M6"})),
    ),
    Mistake(
        "glue that gels before its working time ends",
        SURVEY,
        "ends after the gel time",
        taken(table("glue", working_min=60, gel_min=35)),
    ),
    Mistake(
        "a time of mixing with a time zone",
        SURVEY,
        "must be local time without a zone",
        taken(table("glue", working_min=35, gel_min=60, mixed_at="2026-05-16T09:15+02:00")),
    ),
    Mistake(
        "a profile that is not where the job says",
        "check wing.toml photos --quick",
        "level profile level.json is not there",
        taken(table("level", profile="level.json")),
        1,
    ),
    # the inclinometer's file
    Mistake(
        "an inclinometer file that is not there",
        SURVEY,
        "gauge.csv",
        taken(lambda shop: (shop.folder / "gauge.csv").unlink()),
    ),
    Mistake(
        "a photo given as the inclinometer's file",
        SURVEY,
        "is not a text file",
        taken(write("gauge.csv", b"\xff\xd8\x00\x01")),
    ),
    Mistake(
        "an inclinometer file without a column of readings",
        SURVEY,
        "no column of readings found",
        taken(write("gauge.csv", b"who,when\nme,today\n")),
    ),
    Mistake("a reading that is no angle", "gauge add R1 level", "is not an angle in degrees"),
    Mistake("a reading for a station that is not there", "gauge add R9 2.0", 'station "R9": is not in the job'),
    Mistake(
        "a gauge that shows what it cannot, as the job declares it",
        SURVEY,
        'declared "0-90"',
        taken(table("gauge", sense="0-90"), write("gauge.csv", b"station,line,reading\nR1,chord,-2.0\n")),
        0,
    ),
    # the photos
    Mistake("a file that is no photo", SURVEY, "broken.jpg", taken(write("photos/broken.jpg", b"not a photo")), 1),
    Mistake(
        "a photo of a card that no rib of the job has",
        SURVEY,
        "card 30 belongs to no station of this job",
        taken(lambda shop: shop.photo("z.png", Told((30,), 1.0))),
        1,
    ),
    Mistake(
        "the same file twice under two names",
        SURVEY,
        "the same file as another photo",
        taken(lambda shop: shutil.copy(shop.folder / "photos/R1.png", shop.folder / "photos/R1 copy.png")),
        0,
    ),
    Mistake(
        "a station left out",
        SURVEY,
        "1 not measured (R3)",
        taken(lambda shop: (shop.folder / "photos/R3.png").unlink()),
        0,
    ),
    Mistake(
        "the root left out",
        SURVEY,
        "the root R1 was not measured, so there is no washout",
        taken(lambda shop: (shop.folder / "photos/R1.png").unlink()),
        0,
    ),
    Mistake(
        "photos without one chord line",
        SURVEY,
        "0 of 1 photos measured",
        lambda shop: shop.photo("R1.png", Told((1,), None)),
        3,
    ),
    # the record
    Mistake(
        "a kept survey edited by hand",
        "verify wing.toml",
        "its seal does not hold",
        surveyed(edit("wing-surveys/0001.json", "conform", "comform")),
        1,
    ),
    Mistake(
        "a kept survey cut short",
        "show wing.toml",
        "is damaged",
        surveyed(write("wing-surveys/0001.json", b'{"format":')),
    ),
    Mistake(
        "a photo changed after the survey",
        "verify wing.toml",
        "is not the file that was measured",
        surveyed(write("photos/R1.png", b"another")),
        1,
    ),
    Mistake(
        "a photo thrown away after the survey",
        "verify wing.toml",
        "photo R1.png: missing",
        surveyed(lambda shop: (shop.folder / "photos/R1.png").unlink()),
        1,
    ),
    Mistake(
        "a survey taken out of the record",
        "verify wing.toml",
        "survey 1 is missing before survey 2",
        surveyed(lambda shop: shop.survey(), lambda shop: (shop.folder / "wing-surveys/0001.json").unlink()),
        1,
    ),
    # planning and printing
    Mistake("a distance in a unit of one's own", "plan wing.toml --distance 3paces", "--distance"),
    Mistake(
        "cards printed into a folder that is not there",
        "cards wing.toml --out out/cards.pdf",
        "there is no such folder",
    ),
    Mistake("a starting job over an old one", "new wing.toml", "is there already"),
    Mistake("more ribs than there are cards", "new other.toml --stations 16", "the 31 cards are enough for 1 to 15"),
)
