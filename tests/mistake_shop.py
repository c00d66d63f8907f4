"""A shop in a folder of its own, to make mistakes in: a job, photos that say what they are told, and the commands."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomli_w
from PIL import Image
from pypdf import PdfWriter
from told_reader import TOLD, Told

from rigging.batch.run import Options
from rigging.cli.main import run
from rigging.plots.canvas import Plot
from shared.files import sha256_of

STATIONS = 4


def wing() -> dict[str, Any]:
    """A job of four stations a side: no dihedral, a screw under each rib, cards 1 to 8."""
    station = [
        {
            "name": f"{side[0].upper()}{k}",
            "side": side,
            "span_mm": 400.0 + 700.0 * (k - 1),
            "chord_mm": 1200.0 - 80.0 * (k - 1),
            "cards": [k + (0 if side == "right" else STATIONS)],
            "chord_deg": 2.0 - 0.5 * (k - 1),
            "chord_tolerance_deg": 0.25,
            "spar_deg": 90.0,
            "spar_tolerance_deg": 0.25,
        }
        for side in ("right", "left")
        for k in range(1, STATIONS + 1)
    ]
    return {
        "wing": {"name": "practice wing", "root": "R1", "dihedral_deg": 0.0, "u_lean_deg": 0.5},
        "gauge": {"readings": "gauge.csv"},
        "jig": [{"kind": "screw", "thread": "M8", "arm_mm": 420.0}],
        "station": station,
    }


class Shop:
    """job : the job's tables, written before every command. Photos lie in photos/."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
        self.folder, self.capsys = folder, capsys
        self.job = wing()
        self.made = 0
        self.raw: Callable[[str], str] | None = None
        (folder / "photos").mkdir()
        self.gauge("R1,chord,2.0")
        monkeypatch.chdir(folder)
        monkeypatch.setattr("rigging.batch.run.Options", _in_this_process(Options))
        monkeypatch.setattr("rigging.batch.pool.available_cores", lambda: 1)  # `check` in this process as well
        monkeypatch.setenv("COLUMNS", "80")
        _without_plots(monkeypatch)

    @property
    def path(self) -> Path:
        """The job file."""
        return self.folder / "wing.toml"

    def station(self, name: str) -> dict[str, Any]:
        """A station's table, to be changed."""
        return next(s for s in self.job["station"] if s["name"] == name)

    def gauge(self, *rows: str, head: str = "station,line,reading") -> None:
        """Write the inclinometer's file."""
        (self.folder / "gauge.csv").write_text("\n".join([head, *rows]) + "\n")

    def photo(self, name: str, told: Told, folder: str = "photos") -> Path:
        """Take a photo that says what it is told."""
        self.made += 1
        place = self.folder / folder / name
        place.parent.mkdir(exist_ok=True)
        pixels = np.random.default_rng(self.made).integers(0, 255, (24, 32, 3), dtype=np.uint8)
        Image.fromarray(pixels).resize((96, 72)).save(place)
        TOLD[sha256_of(place)] = told
        return place

    def photos(self, off: dict[str, float] | None = None, folder: str = "photos", **told: Any) -> None:
        """A photo of every station, as designed but for `off`, rib and spar line alike."""
        for s in self.job["station"]:
            d = (off or {}).get(s["name"], 0.0)
            seen = Told(tuple(s["cards"]), s["chord_deg"] + d, s["spar_deg"] + d, drawn_mm=s["chord_mm"])
            seen = replace(seen, forward="right" if s["side"] == "right" else "left")
            self.photo(f"{s['name']}.png", replace(seen, **told), folder)

    def run(self, *arguments: str) -> tuple[int, str]:
        """A command's exit code, and all it said on one line; its job file is `wing.toml`."""
        text = tomli_w.dumps(self.job)
        text = text if self.raw is None else self.raw(text)
        self.path.write_bytes(text.encode("utf-8", "surrogateescape"))
        self.capsys.readouterr()
        code = run([str(a) for a in arguments])
        said = self.capsys.readouterr()
        self.out, self.err = said.out, said.err
        assert "Traceback" not in said.err and code != 70, said.err
        return code, " ".join((said.out + "\n" + said.err).split())

    def survey(self, folder: str = "photos", *more: str) -> str:
        """What a survey of the photos says."""
        return self.run("survey", "wing.toml", folder, "--no-report", *more)[1]


def _in_this_process(kind: type[Options]) -> Callable[..., Options]:
    def options(**given: Any) -> Options:
        given |= {"workers": 0, "overlays": False, "reader": "told_reader:read_photo"}
        return kind(**given)

    return options


def _without_plots(monkeypatch: pytest.MonkeyPatch) -> None:
    """Reports with empty plots: nothing here reads one, and drawing them takes most of the time (`test_plots` does)."""
    stream = io.BytesIO()
    writer = PdfWriter()
    writer.add_blank_page(300, 200)
    writer.write(stream)
    monkeypatch.setattr(Plot, "__post_init__", lambda _: None)
    monkeypatch.setattr(Plot, "svg", lambda self: f'<svg role="img" aria-label="{self.name}"></svg>')
    monkeypatch.setattr(Plot, "pdf", lambda _: stream.getvalue())


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Shop:
    """A shop with a job and no photos."""
    return Shop(tmp_path, monkeypatch, capsys)
