"""Write docs/api.md from the docstrings: python docs/make_api.py. Reads the sources, imports nothing."""

from __future__ import annotations

import ast
import inspect
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PAGE = Path(__file__).parent / "api.md"
MODULES = {
    "Describe the wing": ("shared.job.model", "shared.job.file", "shared.lengths"),
    "Plan, print, check before the photos": (
        "rigging.planning.lens",
        "rigging.planning.plan",
        "rigging.planning.scene",
        "rigging.printed.pack",
        "rigging.preflight.job",
        "rigging.preflight.photo",
    ),
    "Calibrate": (
        "calibration.lens.calibrate",
        "calibration.lens.model",
        "calibration.lens.profiles",
        "calibration.lens.match",
        "calibration.level.reversal",
        "calibration.level.check",
        "calibration.print.scale",
        "calibration.print.profile",
        "calibration.gauge.profile",
        "calibration.gauge.file",
        "calibration.drift",
    ),
    "Read one photo": (
        "vision.reader",
        "vision.lines.hints",
        "vision.image.photo",
        "vision.cards.spec",
        "vision.cards.detect",
        "vision.cards.stations",
        "vision.solution.solve",
        "vision.solution.propagate",
    ),
    "Use a reading and its uncertainty": (
        "shared.reading",
        "shared.quantity",
        "shared.rounding",
        "shared.angles",
        "shared.turns",
    ),
    "Read a folder of photos": ("rigging.batch.find", "rigging.batch.run"),
    "Judge the wing": (
        "rigging.survey.evaluate",
        "rigging.survey.model",
        "rigging.survey.repeats",
        "rigging.survey.decision",
        "rigging.survey.corrections",
    ),
    "Compare with the inclinometer": ("shared.gauge.csv_file", "rigging.crosscheck.check"),
    "Keep and compare surveys": ("rigging.record.chain", "rigging.record.compare"),
    "Files and errors": ("shared.files", "shared.errors"),
}
HEAD = """# Python API

Made from the docstrings by `docs/make_api.py`; a test checks that it is current. Everything the command
line does can be called. Angles in degrees, lengths in millimetres, nose-up positive; `F64` is a NumPy array
of float64. Names that begin with an underscore are private. The sections follow the work. Examples are run by
the tests from the root of the repository. The shortest way from a photo to an angle:

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
    parts = [HEAD, _index()]
    for heading, modules in MODULES.items():
        parts.append(f"## {heading}\n")
        parts += [_module(name) for name in modules]
    return "\n".join(parts)


def _index() -> str:
    """By task, the functions that have an example: what a notebook calls most."""
    out = ["| task | functions with an example |", "|---|---|"]
    for heading, modules in MODULES.items():
        names = [f"`{name}.{example}`" for name in modules for example in _with_example(_tree(name))]
        place = heading.lower().replace(",", "").replace(" ", "-")
        out.append(f"| [{heading}](#{place}) | {', '.join(names) or 'see there'} |")
    return "\n".join(out) + "\n"


def _with_example(node: ast.Module | ast.ClassDef) -> list[str]:
    """Names of the functions and methods whose docstring holds an example."""
    out = []
    for f in node.body:
        if isinstance(f, ast.ClassDef):
            out += [f"{f.name}.{method}" for method in _with_example(f)]
        elif isinstance(f, ast.FunctionDef) and ">>>" in (ast.get_docstring(f) or ""):
            out.append(f.name)
    return out


def _tree(name: str) -> ast.Module:
    return ast.parse((ROOT / f"{name.replace('.', '/')}.py").read_text(encoding="utf-8"))


def _module(name: str) -> str:
    tree = _tree(name)
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
            words, mark, example = (ast.get_docstring(f) or "").partition(">>>")
            out.append(f"- {shown}: {' '.join(words.split())}")
            if mark:
                out.append(f"\n```python\n{mark}{example.rstrip()}\n```\n")
    return "\n".join(out) + "\n"


def _signature(node: ast.FunctionDef) -> str:
    arguments = ast.unparse(node.args)
    for own in ("self, ", "self", "cls, ", "cls"):
        arguments = arguments.removeprefix(own)
    return f"{node.name}({arguments})" + (f" -> {ast.unparse(node.returns)}" if node.returns else "")


def _text(node: ast.Module | ast.ClassDef | ast.FunctionDef) -> str:
    """A docstring as Markdown: section underlines become bold words, an example at the end becomes a block."""
    words, mark, example = inspect.cleandoc(ast.get_docstring(node) or "").partition(">>>")
    lines = words.rstrip().splitlines()
    out: list[str] = []
    for k, line in enumerate(lines):
        if line.startswith("---") and k:
            out[-1] = f"**{out[-1]}**\n"
        else:
            out.append(line)
    if mark:
        out += ["", "```python", f"{mark}{example.rstrip()}", "```"]
    return "\n".join(out) + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8", newline="\n")
