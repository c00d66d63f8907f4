"""A command's arguments and options as one frozen value, checked by its types, in place of a dozen arguments."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, TypeVar

T = TypeVar("T")
R = TypeVar("R")


def gathered(kind: type[T]) -> Callable[[Callable[[T], R]], Callable[..., R]]:
    """Decorator below click's: what click hands over by name becomes a `kind`, whose fields bear the same names."""

    def wrap(command: Callable[[T], R]) -> Callable[..., R]:
        @wraps(command)
        def call(**given: Any) -> R:
            return command(kind(**given))

        return call

    return wrap
