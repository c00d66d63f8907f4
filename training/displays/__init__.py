"""Trains the two networks of the display reader on faces that it draws itself."""
