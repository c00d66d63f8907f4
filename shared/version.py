"""The tool's version, as installed."""

from __future__ import annotations

from functools import cache


@cache
def version() -> str:
    """Version of the installed distribution; "0+checkout" where the code runs uninstalled."""
    from importlib.metadata import PackageNotFoundError
    from importlib.metadata import version as installed

    try:
        return installed("ribangle")
    except PackageNotFoundError:
        return "0+checkout"
