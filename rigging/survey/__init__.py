"""From readings to the wing's verdict: repeats, decisions, washout, symmetry, corrections."""
