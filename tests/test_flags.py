"""Every doubt stands in one place, `shared.flags`: no code outside of it, and the page of flags is made from it."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import msgspec
import pytest

from docs import make_flags
from shared.flags import Flag, FlagCode, Severity

ROOT = Path(__file__).parent.parent
REGISTRY = ROOT / "shared" / "flags.py"
PRODUCT = sorted(
    p
    for room in ("shared", "calibration", "vision", "rigging", "benchmarks", "training")
    for p in (ROOT / room).rglob("*.py")
)
TOLD_APART = {code.value for code in FlagCode if "-" in code.value}
"""Codes of more than one word: a string equal to one can hardly mean another thing."""


def strays(tree: ast.AST) -> Iterator[ast.expr]:
    """Codes written as strings, and flags raised with anything but a member or a variable."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and node.value in TOLD_APART:
            yield node
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Flag":
            code = node.args[0] if node.args else next(k.value for k in node.keywords if k.arg == "code")
            if not (
                isinstance(code, ast.Attribute) and isinstance(code.value, ast.Name) and code.value.id == "FlagCode"
            ):
                yield code


@pytest.mark.parametrize("code", ['Flag("new-doubt", text)', 'x = f.code == "two-poses"', "Flag(code=MINE, text=text)"])
def test_a_code_outside_is_found(code: str):
    assert list(strays(ast.parse(code)))


def test_no_code_stands_outside_the_registry():
    found = {
        f"{p.relative_to(ROOT)}:{node.lineno}"
        for p in PRODUCT
        if p != REGISTRY
        for node in strays(ast.parse(p.read_text("utf-8")))
    }
    assert not found


def test_every_flag_is_raised_somewhere():
    texts = "\n".join(p.read_text("utf-8") for p in PRODUCT if p != REGISTRY)
    assert [c.name for c in FlagCode if f"FlagCode.{c.name}" not in texts] == ["UNKNOWN"]


@pytest.mark.parametrize("code", FlagCode)
def test_a_flag_says_what_it_means_and_what_to_do(code: FlagCode):
    assert code.meaning.endswith(".") and code.meaning[0].isupper()
    assert not code.remedy.endswith(".")
    assert code.remedy or code.severity is not Severity.DOUBT
    assert code.flag("seen").text.startswith("seen") and code.remedy in code.flag("seen").text


def test_a_remark_is_held_by_the_budget():
    assert all(c.in_budget for c in FlagCode if c.severity is Severity.REMARK)
    assert not any(c.in_budget for c in FlagCode if c.severity is Severity.DOUBT)


def test_a_code_of_another_version_is_read_as_a_doubt():
    flag = msgspec.json.decode(b'{"code": "of-tomorrow", "text": "seen then"}', type=Flag)
    assert flag == Flag(FlagCode.UNKNOWN, "seen then") and flag.code.severity is Severity.DOUBT


def test_the_page_of_flags_is_current():
    assert make_flags.PAGE.read_text("utf-8") == make_flags.page(), "run python docs/make_flags.py"
