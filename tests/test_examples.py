"""The examples in the docstrings of what a notebook calls: each runs and gives what it shows."""

from __future__ import annotations

import doctest
import importlib

import pytest

import samples

MODULES = (
    "calibration.level.check",
    "calibration.level.reversal",
    "calibration.print.scale",
    "rigging.batch.find",
    "rigging.planning.lens",
    "rigging.planning.plan",
    "shared.angles",
    "shared.gauge.csv_file",
    "shared.job.file",
    "shared.lengths",
    "shared.quantity",
    "shared.rounding",
    "shared.turns",
    "vision.cards.detect",
    "vision.cards.stations",
    "vision.image.photo",
    "vision.lines.hints",
    "vision.reader",
)


@pytest.mark.parametrize("name", MODULES)
def test_the_examples_of_a_module_run(name: str, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.chdir(samples.FOLDER.parent)
    result = doctest.testmod(importlib.import_module(name))
    assert result.attempted > 0
    assert result.failed == 0
