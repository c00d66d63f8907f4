"""Write the page of all flags, docs/flags.md: python docs/make_flags.py."""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent
PAGE = ROOT / "docs" / "flags.md"
HEAD = """\
# Flags

Made by `docs/make_flags.py` from `shared/flags.py`, the one place where they stand. A flag is a doubt about a value: its
code, which `readings.json` holds, and what was seen, in words that say what to do.
"""


def page() -> str:
    """The page: what the severities mean, then a table of flags for each thing that they are about."""
    from shared.flags import FlagCode, Scope, Severity

    lines = [HEAD, "| severity | what follows |", "|---|---|"]
    lines += [f"| {s.name.lower()} | {s.value} |" for s in Severity]
    for scope in Scope:
        lines += [
            "",
            f"## About {scope.value}",
            "",
            "| flag | severity | it means | to do | U holds it |",
            "|---|---|---|---|---|",
        ]
        lines += [
            f"| `{c.value}` | {c.severity.name.lower()} | {c.meaning} | {c.remedy or '-'} | {'yes' if c.in_budget else '-'} |"
            for c in FlagCode
            if c.scope is scope
        ]
    return "\n".join(lines) + "\n"


def main() -> None:
    """Write the page."""
    sys.path.insert(0, str(ROOT))
    PAGE.write_text(page(), "utf-8")


if __name__ == "__main__":
    main()
