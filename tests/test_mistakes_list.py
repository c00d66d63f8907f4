"""Every mistake of `mistakes_list`, made on the command line; and the table of them in docs/mistakes.md."""

from __future__ import annotations

from pathlib import Path

import pytest
from mistake_shop import Shop, shop
from mistakes_list import MISTAKES, Mistake

from docs.make_mistakes import rows

__all__ = ["shop"]

PAGE = Path(__file__).parent.parent / "docs" / "mistakes.md"


@pytest.mark.parametrize("m", MISTAKES, ids=lambda m: m.what)
def test_the_mistake_is_named_in_one_line(shop: Shop, m: Mistake):
    m.make(shop)
    shop.raw = m.raw
    code, said = shop.run(*m.command.split())
    assert m.says in said and code == m.code, (code, said)
    if code == 2:
        assert shop.err.startswith("ribangle: ") and shop.err.count("\n") == 1


def test_the_page_holds_every_row():
    text = PAGE.read_text("utf-8")
    assert len(MISTAKES) >= 40
    for row in rows(MISTAKES):
        assert row in text, "run python docs/make_mistakes.py"
