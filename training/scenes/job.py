"""The files that let `ribangle measure` run on a made wing: job.toml and the lens profile with the true lens."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from training.scenes.wing import U_LEAN, U_STRING, Phone, Wing

U_LENS = (0.3, 0.3, 0.4, 0.4, 5e-5, 1e-4, 2e-5, 2e-5, 1e-4)
"""Standard uncertainties stated for fx fy cx cy k1 k2 p1 p2 k3, what a good calibration reaches; the lens is exact."""


def lens_profile(phone: Phone) -> dict[str, Any]:
    """The project's lens profile with the true lens, fx and fy one and the same."""
    cam = phone.cam.scaled(phone.scale)
    covariance = np.diag(np.square(U_LENS))
    covariance[0, 1] = covariance[1, 0] = U_LENS[0] ** 2
    return {
        "format": "ribangle lens profile 1",
        "ident": f"{phone.ident}-{cam.width}x{cam.height}",
        "make": phone.make,
        "model": phone.model,
        "lens_model": "",
        "focal_mm": phone.focal_mm,
        "focal35_mm": float(phone.focal35),
        "width": cam.width,
        "height": cam.height,
        "theta": [cam.f, cam.f, cam.cx, cam.cy, *cam.dist],
        "covariance": covariance.tolist(),
        "free": "f, c, k1, k2, p1, p2, k3",
        "date": "2026-09-01",
        "method": "the simulator's own lens",
        "board": "none",
        "rms_px": None,
        "held_out_px": None,
        "coverage": 1.0,
    }


def job_text(wing: Wing, bar: bool) -> str:
    """A job file. bar : whether a levelled straightedge is used."""
    out = [
        "[camera]",
        'lens = "auto"',
        'lens_folder = "lens"',
        "",
        "[wing]",
        f'name = "{wing.ident}"',
        f'root = "{wing.stations[0].name}"',
        "dihedral_deg = 0.0",
        f"u_lean_deg = {U_LEAN}",
        "",
        "[level]",
        f"u_deg = {U_STRING}",
    ]
    if bar:
        out.append(f"straightedge_mm = {wing.bar_mm}")
    for s in wing.stations:
        out += [
            "",
            "[[station]]",
            f'name = "{s.name}"',
            f'side = "{s.side}"',
            f"span_mm = {s.span}",
            f"chord_mm = {s.chord}",
            f"cards = [{s.number}, {s.number + 14}]",
            f"chord_deg = {s.design[0]}",
            "chord_tolerance_deg = 0.25",
            f"spar_deg = {s.design[1]}",
            "spar_tolerance_deg = 0.25",
            "spar_at = 0.3",
            "lean_deg = 0.0",
        ]
    return "\n".join(out) + "\n"


def write_job(folder: Path, wing: Wing, bar: bool) -> None:
    """Write job.toml and lens/PHONE.json into a wing's folder."""
    (folder / "lens").mkdir(parents=True, exist_ok=True)
    (folder / "job.toml").write_text(job_text(wing, bar), "utf-8")
    (folder / "lens" / f"{wing.phone.ident}.json").write_text(json.dumps(lens_profile(wing.phone), indent=1), "utf-8")
