"""Write the tour's pictures: python docs/make_tour_pictures.py TRAINER.

TRAINER is a folder of `ribangle demo --files` in which `ribangle survey` has been run. Needs pypdfium2.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pypdfium2
from PIL import Image

from rigging.printed.pack import print_pack
from shared.job.file import load_job

FOLDER = Path(__file__).parent / "pictures"


def main(trainer: Path) -> None:
    """All three."""
    (photo,) = sorted((trainer / "trainer-readings" / "overlays").glob("R5-*.jpg"))
    with Image.open(photo) as picture:
        top = picture.crop((0, 0, picture.width, round(0.55 * picture.height)))  # the photo; the strips are below
        top.thumbnail((900, 2000), Image.Resampling.LANCZOS)
        top.save(FOLDER / "tour-overlay.jpg", quality=78)
    page(print_pack(load_job(trainer / "trainer.toml")), 3, "tour-cards.png")
    page((trainer / "trainer-report" / "report.pdf").read_bytes(), 0, "tour-report.png")


def page(pdf: bytes, number: int, name: str) -> None:
    """One page of a PDF as a picture 700 pixels wide."""
    document = pypdfium2.PdfDocument(pdf)
    leaf = document[number]
    picture = leaf.render(scale=700 / leaf.get_width()).to_pil()
    picture.convert("P", palette=Image.Palette.ADAPTIVE, colors=32).save(FOLDER / name, optimize=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
