"""The time of mixing written into a job file: one line changed, every other byte as the builder left it."""

from __future__ import annotations

import re
from datetime import datetime

from shared.errors import UserError
from shared.job.file import parse_job

_TABLE = re.compile(r"^\s*\[+[^\]]+\]+")
_GLUE = re.compile(r"^\s*\[glue\]\s*(#.*)?$")
_MIXED = re.compile(r"^(\s*)mixed_at\s*=[^#]*?(\s*#.*)?$")


def with_mixed_at(text: str, when: datetime | None, file: str = "job.toml") -> str:
    """The job's text with this time of mixing under [glue]; None takes the time out.

    when : local time without zone, kept to the minute. Raises UserError where the job has no [glue] of its own lines.

    text : of the job file; comments and order stay as they are. file : its name, for messages.
    """
    lines = text.split("\n")
    head = next((k for k, line in enumerate(lines) if _GLUE.match(line)), None)
    if head is None:
        raise UserError(
            f"{file}: [glue]", "is missing", "add [glue] with working_min and gel_min, as the glue's maker states them"
        )
    end = next((k for k in range(head + 1, len(lines)) if _TABLE.match(lines[k])), len(lines))
    old = next((k for k in range(head + 1, end) if _MIXED.match(lines[k])), None)
    new = None if when is None else f'mixed_at = "{when.isoformat(timespec="minutes")}"'
    if old is not None:
        match = _MIXED.match(lines[old])
        assert match is not None
        lines[old : old + 1] = [] if new is None else [f"{match[1]}{new}{match[2] or ''}"]
    elif new is not None:
        last = max(k for k in range(head, end) if k == head or re.match(r"^\s*\w+\s*=", lines[k]))
        lines.insert(last + 1, new)
    changed = "\n".join(lines)
    parse_job(changed, file)  # whatever stood there, what is written loads
    return changed
