"""Write docs/api.md from the docstrings: python docs/make_api.py. Reads the sources, imports nothing."""

from __future__ import annotations

import ast
import inspect
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PAGE = Path(__file__).parent / "api.md"
MODULES = {
    "Words all speak": (
        "shared.job.model",
        "shared.job.file",
        "shared.quantity",
        "shared.reading",
        "shared.angles",
        "shared.lengths",
        "shared.errors",
        "shared.files",
    ),
    "Profiles": (
        "calibration.lens.model",
        "calibration.lens.profiles",
        "calibration.lens.match",
        "calibration.lens.calibrate",
        "calibration.gauge.profile",
        "calibration.gauge.file",
        "calibration.level.reversal",
        "calibration.print.scale",
        "calibration.print.profile",
        "calibration.drift",
    ),
    "One photo": (
        "vision.image.photo",
        "vision.cards.spec",
        "vision.cards.detect",
        "vision.solution.solve",
        "vision.solution.propagate",
        "vision.lines.hints",
        "vision.reader",
    ),
    "The wing": (
        "rigging.batch.find",
        "rigging.batch.run",
        "rigging.survey.repeats",
        "rigging.survey.decision",
        "rigging.survey.evaluate",
        "rigging.survey.model",
        "rigging.crosscheck.check",
        "rigging.survey.corrections",
        "rigging.record.chain",
        "rigging.record.compare",
    ),
    "Before the photos": (
        "rigging.printed.pack",
        "rigging.planning.plan",
        "rigging.planning.scene",
        "rigging.planning.lens",
        "rigging.preflight.job",
        "rigging.preflight.photo",
    ),
}
HEAD = """# Python API

Made from the docstrings by `docs/make_api.py`; a test checks that it is current. Everything the command
line does can be called. Angles in degrees, lengths in millimetres, nose-up positive; `F64` is a NumPy array
of float64. Names that begin with an underscore are private. The shortest way from a photo to an angle:

```python
from shared.job.file import load_job
from vision.reader import read_photo

reading = read_photo("photos/R4.jpg", load_job("wing.toml"))
if reading.measured:
    print(reading.chord.quantity.value, reading.chord.quantity.U, reading.chord.quantity.budget())
else:
    print(reading.chord.reason)
```
"""


def page() -> str:
    """The whole page."""
    parts = [HEAD]
    for heading, modules in MODULES.items():
        parts.append(f"## {heading}\n")
        parts += [_module(name) for name in modules]
    return "\n".join(parts)


def _module(name: str) -> str:
    tree = ast.parse((ROOT / f"{name.replace('.', '/')}.py").read_text(encoding="utf-8"))
    out = [f"### `{name}`\n", _text(tree)]
    for node in tree.body:
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            out.append(_class(node))
        elif isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            out.append(f"#### `{_signature(node)}`\n\n{_text(node)}")
    return "\n".join(out)


def _class(node: ast.ClassDef) -> str:
    bases = ", ".join(ast.unparse(b) for b in node.bases)
    out = [f"#### class `{node.name}{f'({bases})' if bases else ''}`\n", _text(node)]
    fields = [
        f"{ast.unparse(f.target)}: {ast.unparse(f.annotation)}" + (f" = {ast.unparse(f.value)}" if f.value else "")
        for f in node.body
        if isinstance(f, ast.AnnAssign)
    ]
    if fields:
        out.append("```python\n" + "\n".join(fields) + "\n```\n")
    for f in node.body:
        if isinstance(f, ast.FunctionDef) and not f.name.startswith("_"):
            mark = (
                "property" if any(ast.unparse(d) in ("property", "cached_property") for d in f.decorator_list) else ""
            )
            shown = f"`{f.name}` ({mark})" if mark else f"`{_signature(f)}`"
            out.append(f"- {shown}: {' '.join((ast.get_docstring(f) or '').split())}")
    return "\n".join(out) + "\n"


def _signature(node: ast.FunctionDef) -> str:
    arguments = ast.unparse(node.args)
    for own in ("self, ", "self", "cls, ", "cls"):
        arguments = arguments.removeprefix(own)
    return f"{node.name}({arguments})" + (f" -> {ast.unparse(node.returns)}" if node.returns else "")


def _text(node: ast.Module | ast.ClassDef | ast.FunctionDef) -> str:
    """A docstring as Markdown: section underlines become bold words, indented lines stay together."""
    lines = inspect.cleandoc(ast.get_docstring(node) or "").splitlines()
    out: list[str] = []
    for k, line in enumerate(lines):
        if line.startswith("---") and k:
            out[-1] = f"**{out[-1]}**\n"
        else:
            out.append(line)
    return "\n".join(out) + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8", newline="\n")
