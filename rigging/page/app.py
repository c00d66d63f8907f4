"""The server's answers: a small JSON interface, the pictures, and the page's own files. Nothing else.

A photo comes as the bare body of a request, so there is no file name and no form to take apart. Every
request must name this server as its host (no rebinding of names) and, where the browser tells where it comes
from, must come from this page (no other site can act for the user).
"""

from __future__ import annotations

import asyncio
import contextlib
import functools
import math
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from pathlib import Path
from typing import Any, TypeVar
from urllib.parse import unquote

import msgspec
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import FileResponse, JSONResponse, RedirectResponse, Response, StreamingResponse
from starlette.routing import Route

from rigging.page.bench import MOST_BYTES, Refused
from rigging.page.board import Board
from rigging.page.desk import Desk
from rigging.page.dimensions import pointed
from rigging.page.display import keep_and_read, read_in_rib_photo
from rigging.page.gate import Gate
from rigging.page.guard import COOKIE, Guard
from rigging.page.keeping import keep_survey
from rigging.page.moves import moved, take_photo
from rigging.page.notes import IDENT, Mixed, Note, Said, Typed
from rigging.record.saying import in_reach, sayable
from shared.errors import UserError
from shared.gauge.readings import Line
from shared.lines import Role
from vision.lines.hints import Hint

STATIC = Path(__file__).parent / "static"
SCRIPTS = (
    "dimensions.js",
    "enter.js",
    "gauge.js",
    "glue.js",
    "hear.js",
    "lines.js",
    "live.js",
    "order.js",
    "page.js",
    "queue.js",
    "station.js",
    "tap.js",
    "words.js",
)
FILES = {
    **dict.fromkeys(SCRIPTS, "text/javascript"),
    "page.css": "text/css",
    "icon.svg": "image/svg+xml",
}
UPLOAD_S = 120.0
"""Time that one upload may take, seconds."""
PROMPT_S = 3.0
"""A photo that lay in a phone for longer may be from before a move that was noted meanwhile, seconds."""
AT_ONCE = 6
"""Uploads taken at the same time; others wait."""

T = TypeVar("T")


class Pointed(msgspec.Struct, forbid_unknown_fields=True):
    """Two points on a line, pixels of the upright photo."""

    role: Role
    a: tuple[float, float]
    b: tuple[float, float]


class Featured(msgspec.Struct, forbid_unknown_fields=True):
    """One point on a mark or two on a line or edge that dimensions stand on, pixels of the upright photo."""

    feature: str
    points: list[tuple[float, float]]


class Once(msgspec.Struct, forbid_unknown_fields=True):
    """Something to be noted, by its ident."""

    id: str


class Gauged(msgspec.Struct, forbid_unknown_fields=True):
    """What the inclinometer shows at a station."""

    id: str
    station: str
    line: Line
    shown_deg: float


class Station(msgspec.Struct, forbid_unknown_fields=True):
    """A station whose rib was moved."""

    id: str
    station: str


class Glue(msgspec.Struct, forbid_unknown_fields=True):
    """Whether glue was mixed just now; False: none is mixed."""

    id: str
    now: bool


class Step(msgspec.Struct, forbid_unknown_fields=True):
    """A step that is done, or a typed check and what it reads."""

    id: str
    name: str
    value: float | None = None


class Keep(msgspec.Struct, forbid_unknown_fields=True):
    """A survey to be kept."""

    note: str = ""


class Code(msgspec.Struct, forbid_unknown_fields=True):
    """The one-time code."""

    code: str


def make_app(desk: Desk, gate: Gate, hosts: frozenset[str]) -> Starlette:
    """The application. hosts : what a request may name as its host ("127.0.0.1:8000")."""
    board = Board(desk)
    room = asyncio.Semaphore(AT_ONCE)
    routes = [
        Route("/", functools.partial(_file, "page.html", "text/html")),
        Route("/enter", functools.partial(_enter_page, gate)),
        Route("/api/enter", functools.partial(_enter, gate), methods=["POST"]),
        *(Route(f"/static/{name}", functools.partial(_file, name, kind)) for name, kind in FILES.items()),
        Route("/api/state", functools.partial(_state, board)),
        Route("/api/events", functools.partial(_events, board)),
        Route("/api/photos", functools.partial(_upload, board, room), methods=["POST"]),
        Route("/api/photos/{ident}/overlay", functools.partial(_overlay, desk)),
        Route("/api/photos/{ident}/picture", functools.partial(_picture, desk)),
        Route("/api/photos/{ident}/hint", functools.partial(_hint, board), methods=["POST"]),
        Route("/api/photos/{ident}/feature", functools.partial(_feature, board), methods=["POST"]),
        Route("/api/photos/{ident}/unhint", functools.partial(_unhint, board), methods=["POST"]),
        Route("/api/photos/{ident}/display", functools.partial(_display_beside, desk), methods=["POST"]),
        Route("/api/display", functools.partial(_display, desk, room), methods=["POST"]),
        Route("/api/gauge", functools.partial(_gauge, board), methods=["POST"]),
        Route("/api/moved", functools.partial(_moved, board), methods=["POST"]),
        Route("/api/glue", functools.partial(_glue, board), methods=["POST"]),
        Route("/api/step", functools.partial(_step, board), methods=["POST"]),
        Route("/api/undo", functools.partial(_undo, board), methods=["POST"]),
        Route("/api/keep", functools.partial(_keep, board), methods=["POST"]),
    ]
    handlers: dict[Any, Callable[[Request, Exception], Awaitable[Response]]] = {
        HTTPException: _told,
        Refused: _refused,
        UserError: _refused,
        OSError: _refused,
        Exception: _fault,
    }

    @contextlib.asynccontextmanager
    async def looked_at(_app: Starlette) -> AsyncIterator[None]:
        board.start()
        try:
            yield
        finally:
            await asyncio.to_thread(board.close)

    app = Starlette(routes=routes, exception_handlers=handlers, lifespan=looked_at)
    app.add_middleware(Guard, gate=gate, hosts=hosts)
    return app


async def _file(name: str, kind: str, request: Request) -> Response:  # noqa: ARG001 - Starlette's signature
    return FileResponse(STATIC / name, media_type=kind)


async def _enter_page(gate: Gate, request: Request) -> Response:
    if gate.knows(request.cookies.get(COOKIE, "")):
        return RedirectResponse("/", 303)
    return FileResponse(STATIC / "enter.html", media_type="text/html")


async def _enter(gate: Gate, request: Request) -> Response:
    code, who = (await _body(request, Code)).code, request.client.host if request.client else "somebody"
    token = gate.enter(code, who)
    if token is None:
        why = (
            "Too many wrong codes: nobody is let in for a minute. Then use the code on the terminal."
            if gate.locked
            else "That is not the code on the terminal now; each code works once."
        )
        raise HTTPException(403, why)
    answer = JSONResponse({"done": True})
    answer.set_cookie(COOKIE, token, httponly=True, samesite="strict", path="/")
    return answer


async def _state(board: Board, request: Request) -> Response:  # noqa: ARG001 - Starlette's signature
    _, body = await run_in_threadpool(board.state)
    return Response(body, media_type="application/json")


async def _events(board: Board, request: Request) -> Response:  # noqa: ARG001 - Starlette's signature
    return StreamingResponse(board.pushed(), media_type="text/event-stream")


async def _upload(board: Board, room: asyncio.Semaphore, request: Request) -> Response:
    desk = board.desk
    waited, turned = _waited(request), _turned(desk, request)
    ident, new = await run_in_threadpool(take_photo, desk, await _photo(room, request), waited, turned)
    entry = await run_in_threadpool(desk.bench.entry, ident)
    if entry is not None:
        await run_in_threadpool(desk.read, entry)
    board.touch()
    return JSONResponse({"id": ident, "new": new}, 201 if new else 200)


def _waited(request: Request) -> float:
    """How long the photo lay in the phone, seconds, as the phone says; 0 where it does not, or up to PROMPT_S."""
    told = request.headers.get("x-waited-s", "")
    waited = float(told) if told.isascii() and told.isdigit() and len(told) < 8 else 0.0
    return waited if waited > PROMPT_S else 0.0


def _turned(desk: Desk, request: Request) -> str | None:
    """The station that was turned before the photo was taken, as the phone says (percent-encoded)."""
    told = request.headers.get("x-turned")
    if told is None:
        return None
    station = unquote(told)
    _known(desk, station)
    return station


async def _photo(room: asyncio.Semaphore, request: Request) -> bytes:
    async with room:
        try:
            return await asyncio.wait_for(_received(request, MOST_BYTES), UPLOAD_S)
        except TimeoutError:
            raise HTTPException(408, "the photo took too long to come in; send it again") from None


async def _overlay(desk: Desk, request: Request) -> Response:
    path = await run_in_threadpool(desk.overlay, request.path_params["ident"])
    if path is None or not path.is_file():
        raise HTTPException(404, "there is no such picture")
    return FileResponse(path, media_type="image/jpeg")


async def _picture(desk: Desk, request: Request) -> Response:
    data = await run_in_threadpool(desk.picture, request.path_params["ident"])
    if data is None:
        raise HTTPException(404, "there is no such picture, or it cannot be decoded")
    return Response(data, media_type="image/jpeg")


async def _hint(board: Board, request: Request) -> Response:
    told, ident = await _body(request, Pointed), request.path_params["ident"]
    values = (*told.a, *told.b)
    if not all(math.isfinite(v) and 0 <= v < 100_000 for v in values):
        raise Refused("the points must lie in the photo")
    await run_in_threadpool(board.desk.bench.hint, ident, Hint(told.role, told.a, told.b))
    return await _done(board)


async def _feature(board: Board, request: Request) -> Response:
    told, ident = await _body(request, Featured), request.path_params["ident"]
    if not all(math.isfinite(v) and 0 <= v < 100_000 for p in told.points for v in p):
        raise Refused("the points must lie in the photo")
    what = pointed(board.desk.job, told.feature, told.points)
    await run_in_threadpool(board.desk.bench.hint, ident, what)
    return await _done(board)


async def _unhint(board: Board, request: Request) -> Response:
    await run_in_threadpool(board.desk.bench.unhint, request.path_params["ident"])
    return await _done(board)


async def _display(desk: Desk, room: asyncio.Semaphore, request: Request) -> Response:
    return JSONResponse(await run_in_threadpool(keep_and_read, desk, await _photo(room, request)))


async def _display_beside(desk: Desk, request: Request) -> Response:
    return JSONResponse(await run_in_threadpool(read_in_rib_photo, desk, request.path_params["ident"]))


async def _gauge(board: Board, request: Request) -> Response:
    told = await _body(request, Gauged)
    _known(board.desk, told.station)
    if not (math.isfinite(told.shown_deg) and abs(told.shown_deg) <= 360):
        raise Refused("the inclinometer's reading must be degrees, at most 360")
    return await _note(board, Typed(_ident(told.id), time.time(), told.station, told.line, told.shown_deg))


async def _moved(board: Board, request: Request) -> Response:
    told = await _body(request, Station)
    _known(board.desk, told.station)
    return await _note(board, await run_in_threadpool(moved, board.desk, _ident(told.id), time.time(), told.station))


async def _glue(board: Board, request: Request) -> Response:
    told = await _body(request, Glue)
    return await _note(board, Mixed(_ident(told.id), time.time(), told.now))


async def _step(board: Board, request: Request) -> Response:
    told, job = await _body(request, Step), board.desk.job
    if told.name not in sayable(job):
        raise Refused("the job has no such step without checks, and no such typed check")
    typed = next((t for t in job.typed if t.name == told.name), None)
    if (typed is None) != (told.value is None):
        raise Refused("a typed check needs what it reads" if typed is not None else "a step takes no value")
    value = in_reach(typed, told.value) if typed is not None and told.value is not None else None
    seen = await run_in_threadpool(board.desk.bench.entries)
    return await _note(board, Said(_ident(told.id), time.time(), told.name, value, tuple(e.ident for e in seen)))


async def _undo(board: Board, request: Request) -> Response:
    ident = _ident((await _body(request, Once)).id)
    await run_in_threadpool(board.desk.bench.note, lambda n: n.without(ident))
    return await _done(board)


async def _keep(board: Board, request: Request) -> Response:
    note = " ".join((await _body(request, Keep)).note.split())[:300]
    kept = await run_in_threadpool(lambda: keep_survey(board.desk, note, board.standing()))
    return JSONResponse({"kept": kept.path.stem, "new": kept.new, "waiting": kept.waiting})


async def _note(board: Board, note: Note) -> Response:
    await run_in_threadpool(board.desk.bench.note, lambda n: n.plus(note))
    return await _done(board)


async def _done(board: Board) -> Response:
    await run_in_threadpool(board.desk.start)
    board.touch()
    return JSONResponse({"done": True})


def _ident(text: str) -> str:
    if not IDENT.fullmatch(text):
        raise Refused("an ident has 8 to 32 small letters and figures")
    return text


def _known(desk: Desk, station: str) -> None:
    if all(s.name != station for s in desk.job.stations):
        raise Refused("the job has no such station")


async def _body(request: Request, kind: type[T]) -> T:
    """The request's JSON. Anything but application/json is turned away: a plain form cannot send that."""
    if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
        raise HTTPException(415, "send application/json")
    try:
        return msgspec.json.decode(await asyncio.wait_for(_received(request, 4096), 20.0), type=kind)
    except TimeoutError:
        raise HTTPException(408, "the request took too long") from None
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
        raise HTTPException(422, f"not what is asked for here: {error}") from None


async def _received(request: Request, most: int) -> bytes:
    """The body, up to `most` bytes; what is longer is dropped as it comes in."""
    told = request.headers.get("content-length", "0")
    if not (told.isascii() and told.isdigit()) or int(told[:18]) > most:
        raise HTTPException(413, f"more than {most} bytes")
    data = bytearray()
    try:
        async for piece in request.stream():
            data += piece
            if len(data) > most:
                raise HTTPException(413, f"more than {most} bytes")
    except ClientDisconnect:
        raise HTTPException(400, "the connection broke; send it again") from None
    return bytes(data)


async def _told(request: Request, error: Exception) -> Response:  # noqa: ARG001 - Starlette's signature
    assert isinstance(error, HTTPException)
    return JSONResponse({"error": error.detail}, error.status_code, error.headers)


async def _refused(request: Request, error: Exception) -> Response:  # noqa: ARG001
    if isinstance(error, OSError):
        return JSONResponse({"error": f"could not be written: {error.strerror}; make room on the disk"}, 507)
    return JSONResponse({"error": str(error)}, 422)


async def _fault(request: Request, error: Exception) -> Response:  # noqa: ARG001
    return JSONResponse({"error": f"a fault of the tool itself ({type(error).__name__})"}, 500)
