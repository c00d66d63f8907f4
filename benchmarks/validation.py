"""Is U one that can be bet on? Pulls (error / u) of simulated readings and of rendered photos, by class.

    python benchmarks/validation.py --sessions 500 --faults 60 --out docs/validation.md
    python benchmarks/validation.py samples/trainer samples/lean --boards-of samples/trainer --drawn 40

Each session is two stations photographed twice: it gives single photos, stations combined from both, built-in
angles and the washout between them. FOLDERs are as for accuracy.py. `--keep FILE` keeps every pull.
"""

from __future__ import annotations

import json
import time
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from pathlib import Path

import click
from joblib import Parallel, delayed
from pulls import FEW, Pull, draw_coverage, draw_histogram, stats, table
from simulate import CARDS, FAULTS, REFERENCES, U_LEAN, Simulated, session, spoiled
from tables import environment

from rigging.survey.drawn_line import as_drawn
from rigging.survey.repeats import combine_photos
from shared.files import write_whole
from shared.flags import FlagCode, Severity, in_doubt
from shared.quantity import Quantity

GUESSED_EVERY = 10
"""One session in so many has no lens profile."""
PROFILED = ("all", *CARDS, *REFERENCES, *U_LEAN)
PHOTO = ("photo, chord", "photo, spar line")


@click.command(help=__doc__)
@click.argument("folders", nargs=-1, type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option(
    "--boards-of",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="Folder whose lens serves folders without boards of their own.",
)
@click.option("--sessions", default=100, show_default=True, help="Simulated sessions of four photos.")
@click.option("--faults", default=10, show_default=True, help="Simulated photos with each fault.")
@click.option("--drawn", default=0, show_default=True, help="Drawn photos of each class.")
@click.option("--seed", default=1, show_default=True)
@click.option("--drawn-seed", default=500_000, show_default=True, help="First seed of the drawn photos.")
@click.option("--workers", default=1, show_default=True)
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="Markdown; pictures go beside it.")
@click.option("--keep", type=click.Path(dir_okay=False, path_type=Path), help="Every pull, as JSON.")
def main(folders: tuple[Path, ...], boards_of: Path | None, sessions: int, faults: int, drawn: int, seed: int,
         drawn_seed: int, workers: int, out: Path | None, keep: Path | None) -> None:  # fmt: skip
    """Read, simulate, compare, print, write."""
    start = time.perf_counter()
    run = Parallel(workers, return_as="generator")
    real = [p for folder in folders for p in of_folder(folder, boards_of)]
    pictures = [(g, drawn_seed + 1000 * n + k) for n, g in enumerate(_classes(drawn)) for k in range(drawn)]
    real += [p for ps in run(delayed(of_drawn)(g, k) for g, k in pictures) for p in ps]
    good = [p for ps in run(delayed(of_session)(seed * 100_000 + k) for k in range(sessions)) for p in ps]
    bad = list(run(delayed(of_fault)(seed * 100_000 + k, f) for f in FAULTS for k in range(faults)))
    text = report(good, bad, real, time.perf_counter() - start, out)
    click.echo(text)
    if out is not None:
        write_whole(out, text)
    if keep is not None:
        write_whole(keep, json.dumps([asdict(p) for p in (*good, *bad, *real)]))


def of_session(seed: int) -> list[Pull]:
    """All pulls of one simulated session."""
    stations = session(seed, 2, 2, guessed=seed % GUESSED_EVERY == 0)
    found = [p for station in stations for s in station for p in _single(s)]
    chords: list[tuple[Quantity, Simulated]] = []
    for station in stations:
        readings = [as_drawn(s.reading) for s in station]
        chord, spar = (combine_photos(readings, line) for line in ("chord", "spar"))
        one = station[0]
        if chord.quantity is None or spar.quantity is None:
            continue
        flags = tuple(f.code for f in (*chord.flags, *spar.flags))
        found.append(_pull("two photos combined, chord", one, chord.quantity, one.chord_deg, flags))
        built_in = (chord.quantity - spar.quantity).shifted(90.0)
        found.append(_pull("built-in angle", one, built_in, one.chord_deg - one.spar_deg + 90.0, flags))
        if not flags:
            chords.append((chord.quantity, one))
    if len(chords) == 2:
        (root, a), (tip, b) = chords
        found.append(_pull("washout", a, root - tip, a.chord_deg - b.chord_deg, ()))
    return found


def _single(s: Simulated) -> Iterator[Pull]:
    for what, angle, true in zip(PHOTO, (s.reading.chord, s.reading.spar), (s.chord_deg, s.spar_deg), strict=True):
        codes = tuple(f.code for f in in_doubt((*s.reading.flags, *angle.flags)))
        if angle.quantity is None:
            yield Pull(what, s.classes, 0.0, 1.0, codes, angle.reason or "no reason given")
        else:
            yield _pull(what, s, angle.quantity, true, codes)


def _pull(what: str, s: Simulated, q: Quantity, true: float, flags: tuple[str, ...]) -> Pull:
    return Pull(what, s.classes, q.value - true, q.u, flags)


def of_fault(seed: int, fault: str) -> Pull:
    """The chord's pull of one photo with a fault."""
    found = next(_single(spoiled(seed, fault)))
    return Pull(fault, found.classes, found.error, found.u, found.flags, found.reason)


def of_folder(folder: Path, boards_of: Path | None) -> list[Pull]:
    """Pulls of a folder of photos with truth. boards_of : where its lens comes from, if not from itself."""
    from measured import job_of, measure_set, profile_of

    own = (folder / "boards").is_dir() or (folder / "lens").is_dir()
    profile = profile_of(folder if own or boards_of is None else boards_of)
    return [_of_measured(m) for m in measure_set(folder, job_of(folder), profile, seed=1)]


def of_drawn(group: str, seed: int) -> list[Pull]:
    """Pulls of one drawn photo."""
    from drawn import measure_drawn

    return [_of_measured(m) for m in measure_drawn(group, seed)]


def _of_measured(m: object) -> Pull:
    from measured import Measured

    assert isinstance(m, Measured)
    codes = tuple(f for f in m.flags if FlagCode.of(f).severity is Severity.DOUBT)
    what = PHOTO[0] if m.line == "chord" else PHOTO[1]
    return Pull(what, (m.group,), 0.0 if m.refused else m.error, 1.0 if m.refused else m.u, codes,
                (m.reason or "no reason given") if m.refused else None)  # fmt: skip


def _classes(drawn: int) -> Sequence[str]:
    if not drawn:
        return ()
    from drawn import CLASSES

    return CLASSES


def report(good: Sequence[Pull], bad: Sequence[Pull], real: Sequence[Pull], seconds: float, out: Path | None) -> str:
    """The page, in Markdown."""
    profiled = [p for p in good if "lens profile" in p.classes]
    guessed = [p for p in good if "lens guessed" in p.classes]
    photos = [p for p in profiled if p.what in PHOTO]
    joint = [p for p in profiled if p.what not in PHOTO]
    parts = [INTRODUCTION, "## Simulated readings", verdict(photos), table(photos, PROFILED)]
    parts += ["### Combined and compared", SHARED, table(joint, ("all",))]
    if guessed:
        parts += ["### Without a lens profile", table(guessed, ("all",))]
    if out is not None:
        pictures = out.parent / "pictures"
        pictures.mkdir(exist_ok=True)
        draw_histogram(profiled, pictures / "validation-pulls.png")
        draw_coverage(photos, PROFILED, PHOTO[0], pictures / "validation-coverage.png")
        parts += ["![Histograms of error over u beside the normal law](pictures/validation-pulls.png)",
                  "![Coverage of U by class](pictures/validation-coverage.png)"]  # fmt: skip
    if bad:
        parts += ["## Faults put in", FAULT_NOTE, fault_table(bad)]
    if real:
        parts += [
            "## Rendered photos",
            PHOTOS_NOTE,
            table(real, ("all", *dict.fromkeys(c for p in real for c in p.classes))),
        ]
    parts.append(f"Made in {seconds / 60:.0f} min. {environment()}.")
    return "\n\n".join(parts) + "\n"


def verdict(photos: Sequence[Pull]) -> str:
    """What was asked against what came out, in words."""
    whole = stats(photos)
    lines = [
        f"{len(photos)} angles of {len(photos) // 2} photos: U covers {100 * whole.coverage:.1f} % of all "
        f"({'as' if 0.92 <= whole.coverage <= 0.98 else 'NOT as'} asked); pulls have mean {whole.mean:+.2f}, "
        f"standard deviation {whole.sd:.2f}, excess kurtosis {whole.kurtosis:+.2f}."
    ]
    for what in PHOTO:
        for group in PROFILED[1:]:
            some = [p for p in photos if p.what == what and group in p.classes]
            if sum(not p.refused for p in some) < FEW:
                continue
            s = stats(some)
            if s.coverage < 0.88 or s.ratio > 2:
                lines.append(f"NOT as asked: {group}, {what}: {100 * s.coverage:.1f} %, U / 95 % error {s.ratio:.2f}.")
    if len(lines) == 1:
        lines.append("Every class is as asked.")
    return " ".join(lines)


def fault_table(bad: Sequence[Pull]) -> str:
    """What becomes of photos with a fault."""
    from tables import markdown

    rows = []
    for fault in dict.fromkeys(p.what for p in bad):
        some = [p for p in bad if p.what == fault]
        n = len(some)
        kept = [p for p in some if not p.refused and not p.flags]
        big = sum(abs(p.error) > 0.1 for p in some if not p.refused)
        cells = (sum(p.refused for p in some), sum(bool(p.flags) and not p.refused for p in some), len(kept))
        covered = f"{100 * stats(kept).coverage:.0f} %" if len(kept) > 1 else "-"
        rows.append((fault, "chord", str(n), *(f"{100 * c / n:.0f} %" for c in cells), covered,
                     str(big), f"{100 * sum(p.wrong for p in some) / n:.0f} %"))  # fmt: skip
    head = ("fault", "angle", "n", "refused", "flagged", "neither", "U covers those", "errors over 0.1°",
            "beyond 3 u unflagged")  # fmt: skip
    return markdown(head, rows)


INTRODUCTION = """\
# Can U be bet on?

Pull: error over standard uncertainty. If the stated uncertainties are right, pulls have mean 0, standard
deviation 1, excess kurtosis 0, and U = 2u covers the truth 95.4 % of the time. Asked: U covers 92 to 98 % of
all and at least 88 % in every class of 30 or more, and the median U is at most twice the error that 95 % of
the class stay within: honest, not merely safe (well under once where u differs much within a class). Errors
and U in degrees.

This page is written by `python benchmarks/validation.py`; accuracy on whole photos is measured by
`benchmarks/accuracy.py`. The simulation draws every error as it is stated (card corners, how the card lies,
how the print stretched it, pen and string, the string's own error, the lens within its profile, the lean of
the rib) and puts it through the reader's own joint solution; true angles come from plain trigonometry. It
tests the propagation, not the finding of lines: that is what the photos are for."""

SHARED = """\
What photos share is carried by name, so it neither shrinks with repeats nor counts where it cancels."""

PHOTOS_NOTE = """\
Read from start to end. For the drawn photos lens, string, card and lean are each off by a draw from what is
stated of them. In the ray-traced ones (classes without "drawn") strings and leans are exact: the job's word on the
lean and the string's own error are drawn here, so that what the job says is true of them; cards lie flatter and
are printed better there than the reader has to allow for."""

FAULT_NOTE = """\
Errors that nobody stated. What the solution can notice it must flag or refuse; what it cannot notice is named
here, so that nobody trusts it to. A string that touches something, and a rib that leans more than the job
says, look just like the truth in a photo with a single string: hang two, or throw a level line. A card that
does not lie on the rib is seen only by a second one. Zoom and a changed focal length are caught by the
photo's EXIF before it comes to this; here the EXIF is taken to be silent."""


if __name__ == "__main__":
    main()
