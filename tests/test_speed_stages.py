"""The speed benchmark watches functions by name: each must be there."""

from __future__ import annotations

import pytest
import speed


@pytest.mark.parametrize("spec", [spec for _, spec in speed.STAGES])
def test_every_stage_is_a_function_of_the_reading(spec: str) -> None:
    undo = speed._Clock().watch("stage", spec)
    undo()
