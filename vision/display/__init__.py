"""Reads an inclinometer's seven-segment display."""
