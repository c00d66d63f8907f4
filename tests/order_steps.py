"""Steps of a set-up, added to the sample job: a typed check, checks by photo, a step that is only done."""

STEPS = """
[[typed]]
name = "level on the root"
deg = 0.0
tolerance_deg = 0.2
u_deg = 0.05

[[step]]
name = "root"
checks = ["R1/chord", "level on the root"]

[[step]]
name = "washout"
checks = ["R2/chord", "R3/chord"]

[[step]]
name = "clamped"
"""
