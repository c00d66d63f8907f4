"""`ribangle calibrate`: a group whose commands are imported only when called."""

from __future__ import annotations

import importlib
from pathlib import Path

import click

COMMANDS: dict[str, tuple[str, str]] = {
    "lens": (
        "rigging.cli.calibrate_lens:lens",
        "A lens profile from photos of a chessboard or ChArUco board.",
    ),
    "lines": (
        "rigging.cli.calibrate_lines:lines",
        "Without a board: a rough lens from straight edges in photos.",
    ),
    "import": ("rigging.cli.calibrate_exchange:bring", "A lens profile from OpenCV or ROS camera YAML."),
    "export": ("rigging.cli.calibrate_exchange:give", "A lens profile as OpenCV or ROS camera YAML."),
    "level": (
        "rigging.cli.calibrate_level:level",
        "A level reference's zero error, by turning it end for end.",
    ),
    "plumb": ("rigging.cli.calibrate_level:plumb", "Check a plumb line against a level laser line."),
    "print": ("rigging.cli.calibrate_print:scale", "The scale of a print, from a measured bar."),
    "drift": (
        "rigging.cli.calibrate_drift:drift",
        "Are lens and cards still as calibrated? From a batch's readings.",
    ),
    "gauge": (
        "rigging.cli.calibrate_gauge:gauge",
        "An inclinometer's zero, scale and hysteresis, from a CSV.",
    ),
}
"""Command name -> ("module:attribute" of a click command, its one-line help)."""


class LazyCalibrations(click.Group):
    """A group that lists its commands from COMMANDS and imports one only when it is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        """Names in the order of the table."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Import the command; None where the table has no such name."""
        if cmd_name not in COMMANDS:
            return None
        module, attribute = COMMANDS[cmd_name][0].split(":")
        command = getattr(importlib.import_module(module), attribute)
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """The table of commands, written without importing one."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


@click.group(cls=LazyCalibrations)
def calibrate() -> None:
    """Make the profiles that angles are measured against: lens, level reference, inclinometer, print."""


def make_folder(out: Path) -> None:
    """The folder a profile is written to, made where it is missing. Raises UserError where it cannot be."""
    from shared.errors import UserError

    try:
        out.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UserError(str(out.parent), f"cannot be made ({error.strerror})", "give --out in another folder") from None
