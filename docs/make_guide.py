"""Write docs/photographing.md and its pictures: python docs/make_guide.py.

Pictures, advice and figures are those of the printed pages; tests check that these files are current.
"""

from __future__ import annotations

import re
from pathlib import Path

from reportlab.graphics import renderSVG
from reportlab.graphics.shapes import Drawing

from rigging.printed import guide, mounting
from rigging.printed.pages import register_fonts

FOLDER = Path(__file__).parent / "pictures"
SCALE = 8.0


def svg(drawing: Drawing) -> str:
    """A drawing as SVG of fixed size, with fonts that browsers have."""
    width, height = drawing.width, drawing.height
    text = renderSVG.drawToString(drawing)
    text = re.sub(r"<\?xml.*?\?>|<!DOCTYPE.*?>|<!--.*?-->", "", text, flags=re.S).strip()
    text = re.sub(r"font-family: ?RibBold", "font-weight: bold; font-family: DejaVu Sans, Verdana, sans-serif", text)
    text = re.sub(r"font-family: ?RibBody", "font-family: DejaVu Sans, Verdana, sans-serif", text)
    text = re.sub(r"<title>.*?</title>|<desc>.*?</desc>", "", text, flags=re.S)
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'width="{width * SCALE:.0f}" height="{height * SCALE:.0f}" viewBox="0 0 {width:g} {height:g}">'
    )
    return re.sub(r"<svg\b.*?>", head, text, count=1, flags=re.S) + "\n"


def pictures() -> dict[str, str]:
    """File name -> SVG of every how-to picture."""
    register_fonts()
    return {f"{name}.svg": svg(draw()) for name, draw in {**mounting.PICTURES, **guide.PICTURES}.items()}


def photographing() -> str:
    """The page docs/photographing.md."""
    register_fonts()
    lines = [INTRODUCTION, "## The set-up\n"]
    for name, text in mounting.TEXTS.items():
        number, words = text.split(" ", 1)
        lines.append(f"{number} {words}\n\n![{name.removeprefix('mount-').replace('-', ' ')}](pictures/{name}.svg)\n")
    lines.append("## The photo\n")
    for k, (name, (heading, text)) in enumerate(guide.advice().items(), 1):
        lines.append(f"### {k}. {heading}\n\n![{heading}](pictures/{name}.svg)\n\n{text}\n")
    return "\n".join(lines) + "\n" + WHERE_FROM


INTRODUCTION = """# How to hang it and how to photograph it

This page is also printed by `ribangle cards JOB`. Figures are U (k = 2, about 95 %), in degrees, for one
example: 1 m chord, one strip card, a phone of 27 mm equivalent focal length with a lens profile, the chord
over two thirds of the picture, a plumb line, the rib's lean known to 0.5°. "Up to ... wrong" is the error
that 95 % of photos stay within and that no U covers, because the tool does not know of it. `ribangle plan JOB`
gives the figures of your own wing, and `ribangle check JOB PHOTOS` shows in seconds what is missing or blurred.
Photograph in the order in which the set-up hangs together, the root first, and again what hangs on something that was
turned ([the order of the set-up](order.md)).
"""

WHERE_FROM = """## Where the figures come from

Each was computed by the tool's own solver on the scene that the set-up would show, from a number of places
to stand (`rigging/planning/advice_worth.py`; see "Planning" in [the method](method.md)). A test computes them again.

An aid, not an inspection. Confirm with an independent instrument.
"""


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for name, text in pictures().items():
        (FOLDER / name).write_text(text, encoding="utf-8", newline="\n")
    (FOLDER.parent / "photographing.md").write_text(photographing(), encoding="utf-8", newline="\n")
