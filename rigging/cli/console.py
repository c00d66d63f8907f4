"""Consoles and pipes that know few signs: a minus must never be lost on the way out."""

from __future__ import annotations

import codecs
import sys

import click

_SIGNS = {
    "\N{MINUS SIGN}": "-", "–": "-", "—": "-", "×": "x", "→": "->", "←": "<-", "≤": "<=", "≥": ">=",
    "±": "+/-", "°": " deg", "µ": "u", "“": '"', "”": '"', "‘": "'", "’": "'", "…": "...", "·": "-",
    "✓": "ok", "✗": "x", "½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8",
    "█": "#", "•": "*",
}  # fmt: skip
_FRAMES = dict.fromkeys("─━═┄┅╌", "-") | dict.fromkeys("│┃║", "|") | dict.fromkeys("┌┐└┘├┤┬┴┼┏┓┗┛┡┩╇╈┳┻╋╸╺", "+")
PLAIN = str.maketrans(_SIGNS | _FRAMES)
"""Signs that the tool prints -> what stands for them where the output cannot show them."""


def _plainer(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    text = error.object[error.start : error.end].translate(PLAIN)
    return text.encode("ascii", "replace").decode("ascii"), error.end


def make_fit() -> None:
    """Let stdout and stderr spell out signs that their encoding lacks (Windows' code pages, LANG=C)."""
    codecs.register_error("plainer", _plainer)
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="plainer")


def echo(text: object = "", *, err: bool = False, nl: bool = True) -> None:
    """Print to this program's own streams: click takes others, of an encoding of its own choice, where theirs is ASCII."""
    click.echo(text, file=sys.stderr if err else sys.stdout, nl=nl)
