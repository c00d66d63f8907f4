"""Write the table of mistakes into docs/mistakes.md: python docs/make_mistakes.py."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

ROOT = Path(__file__).parent.parent
PAGE = ROOT / "docs" / "mistakes.md"
START, END = "<!-- rows: made by docs/make_mistakes.py -->\n", "<!-- end of rows -->\n"


class Row(Protocol):
    """A mistake, as tests/mistakes_list.py holds it."""

    what: str
    command: str
    says: str


def rows(mistakes: Sequence[Row]) -> list[str]:
    """A row of the table for each mistake."""
    return [f"| {_cell(m.what)} | `{_cell(m.command)}` | {_cell(m.says)} |" for m in mistakes]


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")


def main() -> None:
    """Put the rows between the page's two marks."""
    sys.path[:0] = [str(ROOT), str(ROOT / "tests")]
    from mistakes_list import MISTAKES

    before, _, rest = PAGE.read_text("utf-8").partition(START)
    after = rest.partition(END)[2]
    head = "| mistake | the command | it says, among the rest |\n|---|---|---|\n"
    PAGE.write_text(before + START + head + "\n".join(rows(MISTAKES)) + "\n" + END + after, "utf-8")


if __name__ == "__main__":
    main()
