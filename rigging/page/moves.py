"""A jig was moved: what is set aside then; and the one tap that says so and brings the new photo along."""

from __future__ import annotations

import hashlib
import time

from rigging.page.bench import Refused, ending
from rigging.page.desk import Desk
from rigging.page.notes import Chosen, Moved, Notes, on_same_jig


def moved(desk: Desk, ident: str, at: float, station: str) -> Moved:
    """The note that a station's jig was moved: all its stations, and the photos that show how they stood."""
    stations = on_same_jig(desk.job, station)
    seen = desk.seen()
    before = (s.entry.ident for s in seen if s.tree is None or s.tree["station"] in (None, *stations))
    return Moved(ident, at, stations, tuple(before), tuple(s.entry.ident for s in seen))


def take_photo(desk: Desk, data: bytes, waited_s: float, turned: str | None) -> tuple[str, bool]:
    """Keep a photo's bytes; its ident, and whether it is new. Raises Refused, and OSError for a full disk.

    waited_s : how long it lay in the phone; 0 for one sent at once. turned : the station whose rib was turned just before
    this photo, None where nothing was said of it. The turn is noted before the photo is kept: whatever breaks off in
    between leaves the station open, and the phone sends again.
    """
    bench, now = desk.bench, time.time()
    if turned is not None:
        _note_turn(desk, data, now - waited_s, turned)
        ident, new = bench.add(data)
        chosen = Chosen(ident, now, now - waited_s)
        if new and _moved_later(bench.notes(), chosen, desk, turned):
            bench.note(lambda n: n.plus(chosen))
        return ident, new
    ident, new = bench.add(data)
    if new and waited_s:
        bench.note(lambda n: n.plus(Chosen(ident, now, now - waited_s)))
    return ident, new


def _note_turn(desk: Desk, data: bytes, at: float, station: str) -> None:
    ending(data)  # what is no photo is refused before anything is noted
    ident = hashlib.sha256(data).hexdigest()[:16]
    noted = _turn_ident(ident)
    if any(n.ident == noted for n in desk.bench.notes().journal):
        return  # sent again: the answer was lost
    if desk.bench.entry(ident) is not None:
        raise Refused(f"this photo was here before {station} was turned; nothing was noted: take a new one")
    note = moved(desk, noted, at, station)
    desk.bench.note(lambda n: n.plus(note))


def _turn_ident(photo: str) -> str:
    """Ident of the note that a photo brought along."""
    return f"turned{photo}"


def _moved_later(notes: Notes, chosen: Chosen, desk: Desk, station: str) -> bool:
    """Whether another move of this jig was noted after the photo was chosen: it shows what no longer is."""
    mates = set(on_same_jig(desk.job, station))
    own = _turn_ident(chosen.ident)
    return any(m.ident != own and m.at > chosen.chosen and mates & set(m.stations) for m in notes.moves)
