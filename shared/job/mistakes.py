"""From the validator's words to one line a builder understands: file, station, key, rule, remedy."""

from __future__ import annotations

import re
from difflib import get_close_matches
from enum import Enum
from typing import Any, get_args, get_type_hints

import msgspec

from shared.errors import UserError
from shared.job.schema import TABLES, JobTables, describe

_KINDS = {
    "float": "a number",
    "int": "a whole number",
    "str": "text in quotes",
    "bool": "true or false",
    "array": "a list in [ ]",
    "object": "a table",
    "null": "nothing",
}

Path = tuple[str | int, ...]
NAMED_TABLES = ("station", "place", "dimension", "typed", "step")
"""Tables of which each entry has a name of its own."""


def explain(error: msgspec.ValidationError, tree: Any, file: str) -> UserError:
    """The validator's message (its first mistake) as a UserError.

    tree : the parsed TOML. file : name of the file.

    error : what msgspec raised while it checked the tree.
    """
    message, _, tail = str(error).partition(" - at `$")
    path = _path(tail.rstrip("`"))
    if match := re.fullmatch(r"Object contains unknown field `(.*)`", message, re.DOTALL):
        return _unknown(match[1], path, tree, file)
    if match := re.fullmatch(r"Object missing required field `(.*)`", message):
        return _missing(match[1], path, tree, file)
    return UserError(where(file, tree, path), _rule(message, path, tree), _remedy(path, tree))


def where(file: str, tree: Any, path: Path) -> str:
    """ "wing.toml: station R4: chord_deg" for the path ("station", 3, "chord_deg").

    file : its name. tree : the parsed TOML, from which the names of the things on the way come. path : keys and
    indices.
    """
    words = [file]
    rest = list(path)
    if rest and isinstance(rest[0], str):
        table = rest.pop(0)
        assert isinstance(table, str)
        if rest and isinstance(rest[0], int):
            words.append(_entry(tree, table, int(rest.pop(0))))
        else:
            words.append(f"[{table}]" if rest or isinstance(_at(tree, (table,)), dict) else table)
        words += [str(part) for part in rest if isinstance(part, str)]
    return ": ".join(words)


def nearest(word: str, choices: list[str]) -> str | None:
    """The choice most like a word, case aside; None where none is near.

    word : as a person wrote it. choices : what would have been allowed.
    """
    folded = {choice.casefold(): choice for choice in choices}
    found = get_close_matches(word.casefold(), folded, 1, 0.6)
    return folded[found[0]] if found else None


def _entry(tree: Any, table: str, index: int) -> str:
    name = _at(tree, (table, index, "name")) if table in NAMED_TABLES else None
    ordinal = f"[[{table}]] number {index + 1}"
    return f"{table} {name}" if isinstance(name, str) and name.strip() else ordinal


def _unknown(key: str, path: Path, tree: Any, file: str) -> UserError:
    known = _keys(path)
    near = nearest(key, known)
    place = f"{where(file, tree, path)}: {key}" if path else f"{file}: {key}"
    remedy = f"did you mean {near}?" if near else "known here: " + ", ".join(known)
    homes = [name for name, struct in TABLES.items() if key in struct.__struct_fields__]
    if not path and homes and not isinstance(_at(tree, (key,)), (dict, list)):
        remedy = f"{key} belongs under [{homes[0]}]"
    return UserError(place, "unknown key" if path else "unknown key or table", remedy)


def _missing(key: str, path: Path, tree: Any, file: str) -> UserError:
    if not path:
        brackets = "[[station]]" if key == "station" else f"[{key}]"
        return UserError(f"{file}: {brackets}", "is missing", f"add the table {brackets}; ribangle new writes one")
    return UserError(
        f"{where(file, tree, path)}: {key}", "is missing", f"give here: {describe(str(path[0]), key) or key}"
    )


def _rule(message: str, path: Path, tree: Any) -> str:
    value = _at(tree, path)
    if message.startswith("Invalid enum value"):
        return f"{_shown(value)} is not one of {', '.join(_choices(path))}"
    if match := re.fullmatch(r"Expected `(?:float|int)` (<=|>=|<|>) (\S+)", message):
        bound = {"<=": "at most", ">=": "at least", "<": "under", ">": "over"}[match[1]]
        return f"must be {bound} {float(match[2]):g}, is {_shown(value)}"
    if match := re.fullmatch(r"Expected `(array|str)` of length (<=|>=) (\d+)", message):
        amount = {"<=": "at most", ">=": "at least"}[match[2]]
        noun = "entries" if match[1] == "array" else "characters"
        return f"must have {amount} {match[3]} {noun}, has {len(value)}"
    if "matching regex" in message:
        return "must be printable text without spaces at its ends"
    if match := re.fullmatch(r"Expected `([^`]*)`, got `([^`]*)`", message):
        wanted = [_KINDS.get(part, part) for part in match[1].split(" | ") if part != "null"]
        return f"must be {' or '.join(wanted)}, not {_KINDS.get(match[2], match[2])}"
    if message.startswith(("Number out of range", "Integer")):
        return "the number is too large"
    return " ".join(message.replace("`", "").split())


def _remedy(path: Path, tree: Any) -> str:
    keys = [part for part in path if isinstance(part, str)]
    if len(keys) == 1:
        if keys[0] in (*NAMED_TABLES, "jig", "height", "spar_level", "line", "pair"):
            return f"write [[{keys[0]}]] once for each"
        return f"write it as a table, [{keys[0]}]"
    value = _at(tree, path)
    near = nearest(value, _choices(path)) if isinstance(value, str) and _choices(path) else None
    if near:
        return f"did you mean {near}?"
    return f"give here: {describe(keys[0], keys[1]) or keys[1]}"


def _choices(path: Path) -> list[str]:
    """The values of a key that takes one of a few words; empty for any other key."""
    keys = [part for part in path if isinstance(part, str)]
    if len(keys) != 2 or keys[0] not in TABLES:
        return []
    words: list[str] = []
    pending = [get_type_hints(TABLES[keys[0]])[keys[1]]]
    while pending:
        kind = pending.pop()
        if isinstance(kind, type) and issubclass(kind, Enum):
            words += [member.value for member in kind]
        for part in get_args(kind):
            if isinstance(part, str):
                words.append(part)
            else:
                pending.append(part)
    return words


def _keys(path: Path) -> list[str]:
    table = next((part for part in path if isinstance(part, str)), "")
    struct = TABLES.get(table, JobTables)
    return list(struct.__struct_fields__)


def _path(text: str) -> Path:
    """ ".station[3].chord_deg" as ("station", 3, "chord_deg")."""
    parts = re.findall(r"\.([^.\[\]]+)|\[(\d+)\]", text)
    return tuple(int(index) if index else name for name, index in parts)


def _at(tree: Any, path: Path) -> Any:
    for part in path:
        try:
            tree = tree[part]
        except (KeyError, IndexError, TypeError):
            return None
    return tree


def _shown(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:g}"
    text = str(value)
    return repr(text if len(text) <= 40 else text[:37] + "...") if isinstance(value, str) else text[:40]
