"""A real browser for the page's tests and benchmark: Chromium on a phone's screen, driven by Playwright."""

from __future__ import annotations

import importlib.util
import os
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
PHONE: dict[str, Any] = {
    "viewport": {"width": 390, "height": 844},
    "device_scale_factor": 2,
    "has_touch": True,
    "is_mobile": True,
}
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def why_not() -> str:
    """Why no browser can be driven here; empty where one can."""
    for module in ("playwright", "axe_playwright_python"):
        if importlib.util.find_spec(module) is None:
            return f"the page is not driven in a browser: the package {module} is missing (pip install -e '.[browser]')"
    return (
        ""
        if executable()
        else (
            "the page is not driven in a browser: no Chromium is installed (a system package, or "
            "playwright install chromium)"
        )
    )


def executable() -> str | None:
    """The browser to drive: RIBANGLE_BROWSER, the system's own, or Playwright's."""
    told = os.environ.get("RIBANGLE_BROWSER")
    found = told or next((path for name in NAMES if (path := shutil.which(name))), None)
    if found:
        return found
    from playwright.sync_api import sync_playwright

    with sync_playwright() as p:
        own = Path(p.chromium.executable_path)
        return str(own) if own.exists() else None


@contextmanager
def served(app: Callable[[str], Any]) -> Iterator[str]:
    """The application on a free port of this computer: its host, "127.0.0.1:12345". `app(host)` makes it."""
    import socket

    import uvicorn

    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    host = f"127.0.0.1:{listening.getsockname()[1]}"
    server = uvicorn.Server(uvicorn.Config(app(host), log_level="critical", ws="none"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    while not server.started and thread.is_alive():
        time.sleep(0.02)
    try:
        yield host
    finally:
        server.should_exit = True
        thread.join(10)
        listening.close()
