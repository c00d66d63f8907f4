"""What the builder does with readings: batch, wing, cross-check, decisions, corrections, report, commands."""
