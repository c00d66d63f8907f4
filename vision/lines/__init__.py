"""Drawn lines and marks: found, measured to hundredths of a pixel."""
