"""Output through encodings that lack signs, as Windows' code pages and LANG=C do: no minus may be lost."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
SAY = "from rigging.cli.console import make_fit; make_fit(); print('\\u22120.67° ± 0.12° → ½ turn ≤ 2 │ \\u6a5f')"


@pytest.mark.parametrize(
    ("encoding", "shown"),
    [
        ("utf-8", "−0.67° ± 0.12° → ½ turn ≤ 2 │ 機"),
        ("cp1252", "-0.67° ± 0.12° -> ½ turn <= 2 | ?"),
        ("cp437", "-0.67° ± 0.12° -> ½ turn ≤ 2 │ ?"),
        ("ascii", "-0.67 deg +/- 0.12 deg -> 1/2 turn <= 2 | ?"),
    ],
)
def test_signs_that_an_encoding_lacks_are_spelled_out(encoding, shown):
    env = os.environ | {"PYTHONIOENCODING": encoding, "PYTHONUTF8": "0", "PYTHONPATH": str(ROOT)}
    got = subprocess.run([sys.executable, "-c", SAY], env=env, capture_output=True, check=True).stdout
    assert got.decode(encoding).strip() == shown


def test_a_whole_command_gets_through_an_ascii_pipe(tmp_path):
    (tmp_path / "wing.toml").write_text("""
[wing]
name = "trainer"
root = "R1"
dihedral_deg = 0.0
[[station]]
name = "R1"
side = "right"
span_mm = 400
chord_mm = 1000
cards = [1]
chord_deg = 2.0
chord_tolerance_deg = 0.25
""")
    env = os.environ | {"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0", "PYTHONPATH": str(ROOT)}
    got = subprocess.run(
        [sys.executable, "-m", "rigging.cli.main", "plan", "wing.toml"],
        env=env,
        cwd=tmp_path,
        capture_output=True,
        check=False,
    )
    assert got.returncode == 0, got.stderr
    assert b"lean of the rib" in got.stdout and got.stdout.isascii()
