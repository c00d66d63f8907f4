"""The page's server with the stand-in reader, as a process of its own: `python run_page.py JOB PORT`."""

from __future__ import annotations

import socket
import sys
from pathlib import Path

import uvicorn

from rigging.page.app import make_app
from rigging.page.desk import Desk
from rigging.page.gate import Gate

if __name__ == "__main__":
    listening = socket.socket()
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    listening.bind(("127.0.0.1", int(sys.argv[2])))
    host = f"127.0.0.1:{listening.getsockname()[1]}"
    desk = Desk(Path(sys.argv[1]), reader="page_reader:read_photo", drawer="page_reader:draw", workers=1)
    desk.start()
    print(host, flush=True)
    config = uvicorn.Config(make_app(desk, Gate(False), frozenset({host})), log_level="critical", ws="none")
    uvicorn.Server(config).run([listening])
