"""Every loader stands whatever bytes it gets: the kept seeds and findings, and mutations of them.

The coverage-guided run that found the findings is tests/fuzz/guided.py.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.fuzz.targets import TARGETS

SEEDS = Path(__file__).parent / "data" / "fuzz"
FILES = sorted(path for path in SEEDS.rglob("*") if path.is_file())


def test_every_loader_has_seeds_and_the_corpus_is_small() -> None:
    assert {path.parent.name for path in FILES} == set(TARGETS)
    assert sum(path.stat().st_size for path in FILES) < 100_000


@pytest.mark.parametrize("path", FILES, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_the_kept_corpus(path: Path) -> None:
    TARGETS[path.parent.name](path.read_bytes())


@st.composite
def mutated(draw: st.DrawFn, name: str) -> bytes:
    """A seed with a few places overwritten, cut out, doubled, or cut off."""
    data = bytearray(draw(st.sampled_from([path for path in FILES if path.parent.name == name])).read_bytes())
    for _ in range(draw(st.integers(0, 4))):
        at = draw(st.integers(0, len(data)))
        length = draw(st.integers(0, 12))
        kind = draw(st.sampled_from(("write", "cut", "double", "end")))
        if kind == "write":
            data[at : at + length] = draw(st.binary(max_size=12))
        elif kind == "cut":
            del data[at : at + length]
        elif kind == "double":
            data[at:at] = data[at : at + length]
        elif draw(st.booleans()):
            del data[at:]
    return bytes(data)


@pytest.mark.parametrize("name", TARGETS)
def test_mutated_files(name: str) -> None:
    @settings(max_examples=80, deadline=None, database=None)
    @given(mutated(name))
    def stands(data: bytes) -> None:
        TARGETS[name](data)

    stands()


DEEP = 60_000
NESTED = {
    "objects": b'{"a":' * DEEP + b"1" + b"}" * DEEP,
    "lists": b"[" * DEEP + b"]" * DEEP,
    "table": b"a=" + b"{a=" * 3000 + b"1" + b"}" * 3000,
    "items": b"- " * 5000 + b"a",
    "opencv": b"%YAML:1.0\na: " + b"[" * 5000 + b"]" * 5000,
    "one long cell": b"station,line,reading\nR1,chord," + b"1" * 200_000,
}
"""Found by hand: what is nested deeper than a parser's own stack, and a cell longer than a CSV reader's limit."""


@pytest.mark.parametrize("what", NESTED)
@pytest.mark.parametrize("name", TARGETS)
def test_files_nested_too_deep(name: str, what: str) -> None:
    TARGETS[name](NESTED[what])


@pytest.mark.parametrize("name", TARGETS)
def test_files_of_anything(name: str) -> None:
    @settings(max_examples=40, deadline=None, database=None)
    @given(st.binary(max_size=200) | st.text(max_size=120).map(lambda text: text.encode("utf-8", "replace")))
    def stands(data: bytes) -> None:
        TARGETS[name](data)

    stands()
