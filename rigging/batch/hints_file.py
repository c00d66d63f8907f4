"""Hints for photos: given on the command line, or in a small text file beside the photo.

`R1.jpg.hints` holds lines like `chord 512,1680 3320,1644`: a role and two points in pixels of the upright
photo; or `mark NAME X,Y`, `line NAME X,Y X,Y`, `edge NAME X,Y X,Y`, which the job's dimensions stand on. Empty lines
and those that begin with # are passed over.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from shared.dimensions import POINTED as FEATURES
from shared.errors import UserError
from shared.lines import POINTED, listed
from vision.image.photo_file import PhotoError, read_bytes, shown_name
from vision.lines.hints import hint_from_text

SUFFIX = ".hints"
MOST_BYTES = 4096
_FORMS = tuple(
    re.compile(rf"(.+) ((?:{'|'.join(words)}) {rest})")
    for words, rest in (([r.value for r in POINTED], r"\S+ \S+"), (FEATURES, r".+"))
)
"""A photo's name and a hint for it; a name may have spaces."""


def parse_given(texts: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """(photo name, hint) from "R1.jpg chord 512,1680 3320,1644". Raises UserError."""
    found = []
    for text in texts:
        split = next((m for form in _FORMS if (m := form.fullmatch(text.strip()))), None)
        if split is None:
            raise UserError(
                f"hint {text!r}",
                "does not say for which photo and line it is",
                f'write "PHOTO ROLE X,Y X,Y" with ROLE {listed()}, or "PHOTO mark NAME X,Y"',
            )
        hint_from_text(split[2])
        found.append((split[1], split[2]))
    return tuple(found)


def check_names(given: Sequence[tuple[str, str]], photos: Sequence[str]) -> None:
    """Refuse a hint for a photo that is not among those given. Raises UserError."""
    from difflib import get_close_matches

    for name, _ in given:
        if name not in photos:
            near = get_close_matches(name, photos, 1)
            raise UserError(
                f"hint for {name!r}",
                "no such photo is among those given",
                f"did you mean {near[0]}?" if near else "name the photo as it is listed",
            )


def hints_of(path: Path, name: str, given: tuple[tuple[str, str], ...]) -> tuple[str, ...]:
    """The hints for one photo, the command line's first; what is hinted twice keeps the first. Raises UserError."""
    lines = [hint for photo, hint in given if photo == name]
    lines += _lines_of(path.with_name(path.name + SUFFIX))
    beside = f"{name}{SUFFIX}"
    seen: dict[str, str] = {}
    for line in lines:
        try:
            seen.setdefault(hint_from_text(line).key, line)
        except UserError as error:
            raise UserError(f"{beside}: {error.thing}", error.rule, error.remedy) from None
    return tuple(seen.values())


def _lines_of(beside: Path) -> list[str]:
    """The hints of a file; none where there is none, or where a photo's name leaves no room for the ending."""
    try:
        if not beside.is_file():
            return []
    except OSError:  # a name of 255 bytes cannot take the ending
        return []
    try:
        data = read_bytes(beside)
    except PhotoError as error:
        raise UserError(shown_name(beside), error.reason, "mend the file, or take it away") from None
    if len(data) > MOST_BYTES:
        raise UserError(shown_name(beside), f"is over {MOST_BYTES} bytes", "take it away: it is no hints file")
    lines = (line.strip() for line in data.decode("utf-8", "replace").splitlines())
    return [line for line in lines if line and not line.startswith("#")]
