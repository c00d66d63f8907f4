"""The shop's notes: glue mixed, ribs moved, steps done, readings typed in; each can be taken back.

A journal in `notes.json`: what is written stays, what was a slip is withdrawn by its ident. The phone makes the
ident, so that a press that arrives twice (a broken connection, a second tap) is noted once.
"""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime

import msgspec

from shared.gauge.readings import GaugeReading, GaugeReadings, Line
from shared.job.model import Job

IDENT = re.compile(r"[0-9a-z]{8,32}")
_TICK_S = 1e-3
"""Each note is at least so much later than the one before, so that a clock set back reverses no order."""


class Typed(msgspec.Struct, frozen=True, tag="gauge"):
    """One inclinometer reading typed in: as shown, degrees. at : seconds since the epoch."""

    ident: str
    at: float
    station: str
    line: Line
    shown_deg: float


class Moved(msgspec.Struct, frozen=True, tag="moved"):
    """A jig was moved, and with it all of `stations`. aside : idents of the photos that show how they stood before.

    seen : idents of all photos that had come by then; None: not noted.
    """

    ident: str
    at: float
    stations: tuple[str, ...]
    aside: tuple[str, ...]
    seen: tuple[str, ...] | None = None


class Mixed(msgspec.Struct, frozen=True, tag="glue"):
    """Glue was mixed at this time; mixed False: none is mixed now."""

    ident: str
    at: float
    mixed: bool = True


class Chosen(msgspec.Struct, frozen=True, tag="photo"):
    """A photo lay in a phone for a while before it arrived. ident : the photo's. chosen : when it was chosen there."""

    ident: str
    at: float
    chosen: float


class Said(msgspec.Struct, frozen=True, tag="step"):
    """A step is done, or a typed check reads this value, in its own unit. at : seconds since the epoch. seen : as in Moved."""

    ident: str
    at: float
    thing: str
    value: float | None = None
    seen: tuple[str, ...] | None = None


Note = Typed | Moved | Mixed | Chosen | Said


class Notes(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The journal, oldest first, and the idents of what was taken back."""

    journal: tuple[Note, ...] = ()
    withdrawn: tuple[str, ...] = ()

    @property
    def standing(self) -> tuple[Note, ...]:
        """The notes that were not taken back."""
        return tuple(n for n in self.journal if n.ident not in self.withdrawn)

    @property
    def typed(self) -> tuple[Typed, ...]:
        """Inclinometer readings that count: the last of each station and line, none from before a move."""
        last: dict[tuple[str, Line], Typed] = {}
        for note in self.standing:
            if isinstance(note, Typed):
                last[note.station, note.line] = note
            elif isinstance(note, Moved):
                last = {key: t for key, t in last.items() if t.station not in note.stations}
        return tuple(last.values())

    @property
    def moves(self) -> tuple[Moved, ...]:
        """The moves that were not taken back."""
        return tuple(n for n in self.standing if isinstance(n, Moved))

    @property
    def mixed_at(self) -> str | None:
        """When glue was mixed last, ISO 8601 local time; None where it was not."""
        last = next((n for n in self.standing[::-1] if isinstance(n, Mixed)), None)
        if last is None or not last.mixed:
            return None
        return datetime.fromtimestamp(last.at).isoformat(timespec="seconds")

    def aside(self, station: str | None) -> frozenset[str]:
        """Idents of the photos that no longer show how this station stands: they came, or were chosen, before a move."""
        moves = [move for move in self.moves if station in move.stations]
        last = max((move.at for move in moves), default=float("-inf"))
        late = {n.ident for n in self.standing if isinstance(n, Chosen) and n.chosen < last}
        return frozenset(late.union(*(move.aside for move in moves)))

    def moved(self, station: str) -> bool:
        """Whether this station's jig was moved."""
        return any(station in move.stations for move in self.moves)

    def plus(self, note: Note) -> Notes:
        """With one note more; the same where its ident is known."""
        if any(n.ident == note.ident for n in self.journal):
            return self
        at = max([note.at, *(n.at + _TICK_S for n in self.journal[-1:])])
        return msgspec.structs.replace(self, journal=(*self.journal, msgspec.structs.replace(note, at=at)))

    def without(self, ident: str) -> Notes:
        """With one note taken back; the same where it is unknown or is taken back already."""
        if ident in self.withdrawn or all(n.ident != ident for n in self.journal):
            return self
        return msgspec.structs.replace(self, withdrawn=(*self.withdrawn, ident))


def on_same_jig(job: Job, station: str) -> tuple[str, ...]:
    """The stations that a jig moves together with this one, itself among them; in the job's order.

    A panel is moved as a whole: by its own jigs, or by whatever holds it.
    """
    panel = job.station(station).panel
    return tuple(s.name for s in job.stations if s.name == station or (panel is not None and s.panel == panel))


def gauge_readings(job: Job, notes: Notes) -> GaugeReadings | None:
    """The job's own inclinometer readings and those typed in, with what was not used of the file; None where there is
    nothing.

    Once a rib was moved, what was read on it before counts no longer.
    """
    from shared.gauge.csv_file import load_gauge_readings

    filed = GaugeReadings(())
    if job.gauge.readings is not None and (job.folder / job.gauge.readings).is_file():
        filed = load_gauge_readings(job.folder / job.gauge.readings, [s.name for s in job.stations], job.gauge_lines)
    typed = notes.typed
    told = {(t.station, t.line) for t in typed}
    kept = [r for r in filed.readings if not notes.moved(r.station) and (r.station, r.line) not in told]
    kept += [_reading(t) for t in typed]
    return replace(filed, readings=tuple(kept)) if kept or filed.oddities else None


def _reading(t: Typed) -> GaugeReading:
    taken = datetime.fromtimestamp(t.at).isoformat(timespec="seconds")
    return GaugeReading(t.station, t.line, t.shown_deg, note="typed at the bench", taken=taken)
