"""Write docs/story.md and its pictures: python -m docs.make_story. Or draw its photos alone: --photos FOLDER.

The photos are drawn by the simulator, every command of the page is run, and how the steps stand after each act is held
against what the act says. Takes a few minutes.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shlex
import sys
import tempfile
import textwrap
from pathlib import Path

from docs.story_acts import ACTS, Act
from docs.story_wing import draw_photos

PAGE = Path(__file__).parent / "story.md"
PICTURES = Path(__file__).parent / "pictures"
WIDE = 560
"""Width of a picture, pixels."""
SHOWN = ("What to turn", "The set-up, step by step")
"""Parts of a survey that the page shows, beside the verdict."""
MAKE = "python -m docs.make_story --photos story"

HEAD = f"""\
# A wing from bare jig to cured

Made by `docs/make_story.py`, which runs every command on this page. The wing is invented, its photos are drawn by the
simulator in `benchmarks/shop`, so what is wrong here is wrong on purpose and known exactly. Every step that can
still be turned is found wrong once, turned, photographed, and found right. [The order of the set-up](order.md) tells how the
steps work. All of it ran within two minutes, so its clock stands nearly still.

In a checkout of the repository this draws the photos, with a job and a lens profile beside them:

```console
$ {MAKE}
$ cd story
```
"""

END = """
It is an aid, not an inspection. Here camera and level were the only witnesses: confirm every angle with an independent
instrument; the designer's drawings, the local authority and a licensed inspector decide.
"""


def skeleton(page: str) -> str:
    """A page without what the commands said: what acts and generator alone make."""
    return re.sub(
        r"^```console\n(.*?)^```$",
        lambda m: "\n".join(line for line in m[1].splitlines() if line.startswith("$ ")),
        page,
        flags=re.S | re.M,
    )


def page(said: dict[str, str] | None = None) -> str:
    """The whole page. said : act and command -> what it said; None leaves that out."""
    return HEAD + "".join(_act(k, act, said or {}) for k, act in enumerate(ACTS, 1)) + END


def key(act: Act, number: int) -> str:
    """What the words of one command are kept under."""
    return f"{act.title} {number}"


def _act(place: int, act: Act, said: dict[str, str]) -> str:
    text = f"\n## {place}. {act.title}\n\n{textwrap.fill(act.text, 120)}\n"
    for number, (line, code) in enumerate(act.commands):
        shown = f"$ {line}" + (f"  # exit code {code}" if code else "")
        text += f"\n```console\n{shown}\n{said.get(key(act, number), '')}```\n"
    for photo, caption in act.pictures.items():
        text += f"\n![{caption}: the annotated photo](pictures/story-{photo}.jpg)\n"
    return text


def run_all(folder: Path) -> dict[str, str]:
    """Run the story in a folder with its photos; what each command said. Raises AssertionError where it goes otherwise."""
    said = {}
    with contextlib.chdir(folder):
        for act in ACTS:
            for number, (line, code) in enumerate(act.commands):
                out = _run(line, code)
                said[key(act, number)] = told(out)
                print(line, out, sep="\n", file=sys.stderr)
            hold(act, folder / "wing.toml")
    return said


def hold(act: Act, job_file: Path) -> None:
    """Hold the steps as they stand against what the act says. Raises AssertionError."""
    from rigging.record.now import as_of_now

    setup = as_of_now(job_file).setup
    for step, state in act.after.items():
        found = setup.step(step)
        assert found.state == state, f"{act.title}: {step} is {found.state}, not {state}: {found.why} {found.open}"


def _run(line: str, code: int) -> str:
    from rigging.cli.main import run

    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        ended = run(shlex.split(line)[1:])
    assert ended == code, f"{line}: ended with {ended}\n{out.getvalue()}"
    return out.getvalue()


def told(out: str) -> str:
    """What the page shows of a command's words: of a survey the verdict, what to turn, and the steps."""
    lines = [line.rstrip() for line in out.splitlines() if ": note: the job file has changed" not in line]
    parts = "\n".join(lines).strip("\n").split("\n\n")
    if any(part.startswith(SHOWN) for part in parts):
        parts = [parts[0], "...", *(part for part in parts if part.startswith(SHOWN)), "..."]
    return "\n\n".join(parts) + "\n"


def write_pictures(folder: Path) -> None:
    """Small copies of the annotated pictures that the page shows."""
    from PIL import Image

    for photo in (p for act in ACTS for p in act.pictures):
        (found,) = (folder / "wing-readings" / "overlays").glob(f"{photo}-{'[0-9a-f]' * 8}-*.jpg")
        with Image.open(found) as picture:
            top = picture.crop((0, 0, picture.width, round(0.55 * picture.height)))  # the photo; the strips are below
            top.thumbnail((WIDE, 2000), Image.Resampling.LANCZOS)
            top.save(PICTURES / f"story-{photo}.jpg", quality=72)


def main() -> None:
    """Draw the photos, run the story, write page and pictures."""
    if sys.argv[1:2] == ["--photos"]:
        draw_photos(Path(sys.argv[2]))
        return
    os.environ["COLUMNS"] = "100"
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "story"
        draw_photos(folder)
        said = run_all(folder)
        write_pictures(folder)
    PAGE.write_text(page(said), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
