"""Write the pictures of the how-to pages as SVG: python docs/make_pictures.py (they are the printed ones)."""

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
    head = f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" ' \
           f'width="{width * SCALE:.0f}" height="{height * SCALE:.0f}" viewBox="0 0 {width:g} {height:g}">'
    return re.sub(r"<svg\b.*?>", head, text, count=1, flags=re.S) + "\n"


def pictures() -> dict[str, str]:
    """File name -> SVG of every how-to picture."""
    register_fonts()
    return {f"{name}.svg": svg(draw()) for name, draw in {**mounting.PICTURES, **guide.PICTURES}.items()}


if __name__ == "__main__":
    for name, text in pictures().items():
        (FOLDER / name).write_text(text, encoding="utf-8", newline="\n")
