"""Lines by name: found where the job says that they are, measured, and read like any other line."""
