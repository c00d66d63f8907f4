"""The page's states as small pictures: `RIBANGLE_SCREENSHOTS=FOLDER pytest tests/test_page_browser.py`, then
`python docs/make_page_pictures.py FOLDER`.

Each picture shows one state four times, at a quarter of the phone's pixels (as a phone a metre away): 390 px light and
dark, 320 px light and dark. docs/page-states.md is written from what is there.
"""

from __future__ import annotations

import sys
from pathlib import Path

from PIL import Image

HERE = Path(__file__).parent
FOLDER = HERE / "pictures" / "page"
SHAPES = ("", "-dark", "-320", "-320-dark")
GAP = 6
STATES = {
    "code": "the code is asked for",
    "empty": "nothing is photographed yet",
    "sending": "a photo is on its way",
    "conforming": "conforming",
    "turn": "nonconforming: the screw is to be turned",
    "turned": "turned and photographed: what is left, and the wing",
    "rib": "nonconforming: the rib is wrong on its spar",
    "undecided": "undecided",
    "doubt": "in doubt",
    "moved": "its jig was moved",
    "refused": "refused: no chord line",
    "no-card": "refused: no station card",
    "pointing": "a line is pointed at",
    "not-taken": "a file is not taken",
    "news": "another phone has news",
    "unfolded": "everything unfolded",
    "gauge": "the inclinometer's reading is noted",
    "glue": "glue is mixed",
    "late": "working time is over",
    "large": "large type",
    "live": "a live run at this station",
    "live-elsewhere": "a live run's warning elsewhere",
    "live-silent": "a live run that says nothing more",
    "live-moved": "a live run whose camera was moved",
    "offline": "the computer says nothing",
}


def sheet(folder: Path, state: str) -> Image.Image:
    """The four shapes of a state side by side."""
    shots = [Image.open(folder / f"{state}{shape}.png").convert("RGB") for shape in SHAPES]
    small = [s.resize((s.width // 4, s.height // 4), Image.Resampling.LANCZOS) for s in shots]
    width = sum(s.width for s in small) + GAP * (len(small) - 1)
    out = Image.new("RGB", (width, max(s.height for s in small)), (128, 128, 128))
    x = 0
    for s in small:
        out.paste(s, (x, 0))
        x += s.width + GAP
    return out


def main() -> None:
    """Write every picture and the page that shows them."""
    shots = Path(sys.argv[1])
    FOLDER.mkdir(exist_ok=True)
    text = [
        "# The page's states",
        "",
        "Made by `docs/make_page_pictures.py` from `tests/test_page_browser.py`, which holds each against axe-core's rules. At a",
        "quarter of the phone's pixels, as a phone a metre away: 390 px light and dark, 320 px light and dark.",
        "",
    ]
    for state, words in STATES.items():
        picture = sheet(shots, state).quantize(48, dither=Image.Dither.NONE)
        picture.save(FOLDER / f"{state}.png", optimize=True)
        text += [f"## {words[0].upper()}{words[1:]}", "", f"![{words}](pictures/page/{state}.png)", ""]
    (HERE / "page-states.md").write_text("\n".join(text), "utf-8")


if __name__ == "__main__":
    main()
