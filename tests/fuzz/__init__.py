"""Fuzzing of everything that reads a file: targets, seeds, a coverage-guided run."""
