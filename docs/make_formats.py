"""Write the tables of the job file's keys into docs/formats.md: python -m docs.make_formats."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import msgspec
from msgspec import inspect

from shared.files import write_whole
from shared.job.schema import TABLES, describe

PAGE = Path(__file__).parent / "formats.md"
START, END = "<!-- keys: made by docs/make_formats.py -->\n", "<!-- end of keys -->\n"


def tables() -> str:
    """One Markdown table for each table of the job file."""
    return "\n".join(_table(name, struct) for name, struct in TABLES.items())


def _table(name: str, struct: type[msgspec.Struct]) -> str:
    head, _, rest = " ".join((struct.__doc__ or "").split()).partition(": ")
    brackets = head.split()[-1]
    lines = [
        f"### `{brackets}`" + (" (once for each)" if "[[" in brackets else ""),
        "",
        rest[0].upper() + rest[1:],
        "",
        "| key | takes | without it | means |",
        "|---|---|---|---|",
    ]
    info = inspect.type_info(struct)
    assert isinstance(info, inspect.StructType)
    for kind, entry in zip(info.fields, msgspec.structs.fields(struct), strict=True):
        takes = "; ".join(_takes(kind.type))
        lines.append(f"| `{entry.name}` | {takes} | {_default(entry)} | {describe(name, entry.name)} |")
    return "\n".join(lines) + "\n"


def _takes(kind: inspect.Type) -> Iterator[str]:
    if isinstance(kind, inspect.Metadata):
        yield from _takes(kind.type)
    elif isinstance(kind, inspect.UnionType):
        for part in kind.types:
            yield from _takes(part)
    elif isinstance(kind, (inspect.FloatType, inspect.IntType)):
        low = f"over {kind.gt:g}" if kind.ge is None else f"{kind.ge:g}"
        high = f"under {kind.lt:g}" if kind.le is None else f"{kind.le:g}"
        yield ("number" if isinstance(kind, inspect.FloatType) else "whole number") + f", {low} to {high}"
    elif isinstance(kind, inspect.StrType):
        yield "text"
    elif isinstance(kind, inspect.LiteralType):
        yield ", ".join(f'`"{value}"`' for value in kind.values)
    elif isinstance(kind, inspect.EnumType):
        yield ", ".join(f'`"{member.value}"`' for member in kind.cls)
    elif isinstance(kind, inspect.BoolType):
        yield "`true`, `false`"
    elif isinstance(kind, inspect.ListType):
        yield "list of: " + "; ".join(_takes(kind.item_type))


def _default(entry: msgspec.structs.FieldInfo) -> str:
    if entry.required:
        return "**required**"
    if entry.default is None or entry.default is msgspec.NODEFAULT:
        return "-"
    if isinstance(entry.default, bool):
        return f"`{str(entry.default).lower()}`"
    return f'`"{entry.default}"`' if isinstance(entry.default, str) else f"{entry.default:g}"


def main() -> None:
    """Replace what stands between the two marks."""
    text = PAGE.read_text("utf-8")
    before, _, rest = text.partition(START)
    _, _, after = rest.partition(END)
    write_whole(PAGE, before + START + "\n" + tables() + "\n" + END + after)


if __name__ == "__main__":
    main()
