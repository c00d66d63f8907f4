"""A figure that is only rather likely gives no value: the bar `vision.display.spoken.SURE`."""

from __future__ import annotations

import numpy as np
import pytest
from display_render import draw_display

from vision.display import spoken as display_spoken
from vision.display import tries as display_tries
from vision.display.read import read_display


@pytest.mark.parametrize(("number", "shown", "misread"), [(379, "4.5", "4.9"), (145, "117.6", "177.6")])
def test_a_figure_misread_with_middling_confidence_is_refused(
    number: int, shown: str, misread: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    display = draw_display(np.random.default_rng([90_210, number]), "measure")
    assert display.text == shown
    assert read_display(display.image, display.corners).value is None
    for module in (display_spoken, display_tries):
        monkeypatch.setattr(module, "SURE", 0.5)
    assert read_display(display.image, display.corners).text == misread
