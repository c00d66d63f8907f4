"""The witness: caution where its networks disagree, and the same answer for the same strip however it is asked."""

from __future__ import annotations

import json

import numpy as np
import pytest

from vision.evidence import witness
from vision.evidence.kinds import KINDS, PLACES
from vision.evidence.strips import CHANNELS, CLIP, COLUMNS, ROWS
from vision.evidence.witness import WEIGHTS, ask, cautious


def strips(n: int, seed: int = 1) -> np.ndarray:
    """Strips of noise with a dark line in the middle rows of some."""
    x = np.random.default_rng(seed).normal(0, 0.4, (n, CHANNELS, ROWS, COLUMNS)).astype(np.float32)
    x[::2, 0, ROWS // 2 - 1 : ROWS // 2 + 1, 60:190] -= 2.5
    x[:, 4] = 1.0
    return np.clip(x, -CLIP, CLIP)


def test_networks_that_agree_keep_their_word() -> None:
    one = np.array([[4.0, 1.0, -2.0]])
    np.testing.assert_allclose(cautious(np.stack([one, one, one])), one)


def test_a_lead_is_lessened_by_its_own_spread() -> None:
    """Leads of 1 and 5 over the second kind: mean 3, standard deviation 2, so that 1 is left."""
    each = np.array([[[2.0, 1.0, 0.0]], [[6.0, 1.0, 0.0]]])
    np.testing.assert_allclose(cautious(each), [[2.0, 1.0, 0.0]])


def test_disagreement_never_turns_the_answer_round() -> None:
    """Leads of -3 and 5: no more than the mean lead of 1 is taken off."""
    got = cautious(np.array([[[0.0, 3.0]], [[6.0, 1.0]]]))
    np.testing.assert_allclose(got, [[2.0, 2.0]])


@pytest.mark.parametrize("family", ["level", "upright"])
def test_answers_are_probabilities(family: str) -> None:
    said = ask(strips(5), family)  # type: ignore[arg-type]
    assert said.shares.shape == (5, len(KINDS))
    assert said.seen.shape == (5, PLACES)
    np.testing.assert_allclose(said.shares.sum(1), 1.0, atol=1e-12)
    assert ((said.seen >= 0) & (said.seen <= 1)).all()


def test_no_strips_no_answers() -> None:
    assert ask(np.zeros((0, CHANNELS, ROWS, COLUMNS), np.float32), "level").shares.shape == (0, len(KINDS))


def test_a_strip_is_judged_by_itself() -> None:
    """Alone or among others, first or last: the same."""
    x = strips(6)
    together, alone = ask(x, "level"), ask(x[3:4], "level")
    np.testing.assert_allclose(together.shares[3], alone.shares[0], atol=1e-5)
    np.testing.assert_allclose(ask(x[::-1].copy(), "level").shares[::-1], together.shares, atol=1e-5)


def test_there_is_a_temperature_for_every_network_and_all_weights_stay_small() -> None:
    temperature = json.loads((WEIGHTS / "calibration.json").read_text())["temperature"]
    files = sorted(WEIGHTS.glob("*.onnx"))
    assert sorted(f.stem for f in files) == sorted(f"{f}-{k}" for f, ts in temperature.items() for k in range(len(ts)))
    assert all(0.2 < t < 5 for ts in temperature.values() for t in ts)
    assert sum(f.stat().st_size for f in files) < 2_000_000


def test_all_networks_are_asked_about_what_the_first_does_not_dismiss(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []
    real = witness._forward
    monkeypatch.setattr(witness, "_forward", lambda net, x: asked.append(len(x)) or real(net, x))
    monkeypatch.setattr(witness, "DISMISSED", 1.1)  # dismissed, all of them
    ask(strips(6), "level")
    assert asked == [6]
    asked.clear()
    monkeypatch.setattr(witness, "DISMISSED", -1.0)  # none
    ask(strips(6), "level")
    assert asked == [6] * len(json.loads((WEIGHTS / "calibration.json").read_text())["temperature"]["level"])
