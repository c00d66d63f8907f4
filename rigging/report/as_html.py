"""The report as one HTML file: no network, no scripts, pictures inside.

A Content-Security-Policy in the file itself forbids everything but its own styles and pictures.
"""

from __future__ import annotations

import base64
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from rigging.plots import Plot
from rigging.report.blocks import SYMBOLS, AnnotatedPhoto, Document


def to_html(document: Document) -> str:
    """The HTML text (UTF-8 is declared in it)."""
    environment = Environment(
        loader=PackageLoader("rigging.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {"kind": _kind, "svg": _svg, "jpeg": _jpeg, "bound": _bound}
    style = environment.loader.get_source(environment, "report.css")[0] if environment.loader else ""
    page = environment.get_template("report.html.j2").render(doc=document, style=Markup(style), symbols=SYMBOLS)
    return page.strip() + "\n"


def _kind(block: Any) -> str:
    return type(block).__name__


def _bound(text: str) -> str:
    """Keeps ± with the number behind it, so that a narrow column breaks before it."""
    return text.replace("± ", "±\N{NO-BREAK SPACE}").replace(" %", "\N{NO-BREAK SPACE}%")


def _svg(plot: Plot) -> Markup:
    return Markup(plot.svg())


def _jpeg(shot: AnnotatedPhoto) -> str:
    return "data:image/jpeg;base64," + base64.b64encode(shot.jpeg).decode("ascii")
