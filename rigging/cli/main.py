"""The command `ribangle`: a group whose commands are imported only when called, and its way of failing.

A user sees one line for a mistake, never a traceback. Exit codes: 0 done (all measured), 1 some photos
not measured, 2 bad input, 3 none measured, 70 a fault of the tool, 130 stopped by Ctrl-C.
"""

from __future__ import annotations

import importlib
import os
import sys
from collections.abc import Sequence

import click

from rigging.cli.console import make_fit
from shared.errors import UserError

COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("rigging.cli.demo:demo", "Measure the bundled sample wing and say where to look."),
    "new": ("rigging.cli.new:new", "Write a commented starting job file."),
    "cards": ("rigging.cli.cards:cards", "Print the station cards and what goes with them."),
    "plan": ("rigging.cli.plan:plan", "Say what uncertainty to expect before any photo."),
    "check": ("rigging.cli.check:check", "Say what is missing or blurred, before measuring."),
    "measure": ("rigging.cli.measure:measure", "Read the rib angles from photos."),
    "survey": ("rigging.cli.survey:survey", "Judge the wing from photos, and keep the survey."),
    "turned": ("rigging.cli.turned:turned", "A rib was turned: judge its new photo with the rest."),
    "order": ("rigging.cli.order:order", "Show how far the set-up has come, and what is next."),
    "done": ("rigging.cli.order:done", "Say that a step is done, or what a level shows."),
    "mixed": ("rigging.cli.mixed:mixed", "Say when the glue was mixed, and what time is left."),
    "show": ("rigging.cli.show:show", "Show a kept survey again."),
    "budget": ("rigging.cli.show:budget", "Show where a station's uncertainty comes from."),
    "compare": ("rigging.cli.compare:compare", "Say what moved between two surveys."),
    "log": ("rigging.cli.show:log", "List the kept surveys."),
    "verify": ("rigging.cli.show:verify", "Check the record, its photos and verdicts."),
    "calibrate": ("rigging.cli.calibrate:calibrate", "Make lens, level, inclinometer and print profiles."),
    "gauge": ("rigging.cli.gauge:gauge", "Inclinometer readings: type, read from a photo, check."),
    "serve": ("rigging.cli.serve:serve", "Serve the page for a phone at the bench."),
    "watch": ("rigging.cli.watch:watch", "Read photos as they arrive in a folder."),
    "live": ("rigging.cli.live:live", "Follow a rib as it is turned, or watch it cure."),
    "report": ("rigging.cli.report:report", "Write the report of a survey: HTML, PDF, CSV, JSON."),
}
"""Command name -> ("module:attribute" of a click command, its one-line help)."""

CAUTION = (
    "An aid, not an inspection: confirm every angle with an independent instrument; the designer's "
    "drawings, the local authority and a licensed inspector decide."
)

ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
"""What tells the linear algebra under NumPy, before it is loaded, to stay on one thread."""

_NO_OPENCV = (
    "OpenCV cannot load for want of the system library {library}; install it (Debian, Ubuntu: sudo apt "
    "install libgl1 libglib2.0-0; Fedora: sudo dnf install mesa-libGL glib2) or pip install "
    "opencv-python-headless"
)


class LazyGroup(click.Group):
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

    def resolve_command(
        self,
        ctx: click.Context,
        args: list[str],
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """As click, with the nearest name offered for a mistyped one."""
        if args and not args[0].startswith("-") and args[0] not in COMMANDS:
            from difflib import get_close_matches

            near = get_close_matches(args[0], COMMANDS, 1)
            hint = f"did you mean '{near[0]}'?" if near else "see ribangle --help"
            raise click.UsageError(f"there is no command '{args[0]}'; {hint}", ctx)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """The table of commands, written without importing one."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


def _version(ctx: click.Context, param: click.Parameter, value: bool) -> None:  # noqa: ARG001
    if value and not ctx.resilient_parsing:
        from shared.version import version

        click.echo(f"ribangle {version()}")
        ctx.exit()


@click.group(cls=LazyGroup, epilog=CAUTION, context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--version", is_flag=True, is_eager=True, expose_value=False, callback=_version, help="Show the version and exit."
)
def group() -> None:
    """Read wing rib angles from shop photos, with honest uncertainty."""


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line; never returns. Every failure of the user's making is one line on stderr."""
    make_fit()
    for name in ONE_THREAD:  # small matrices: the linear algebra's threads would only wait for each other
        os.environ.setdefault(name, "1")
    try:
        code = run(arguments)
    except Exception as error:  # a fault of ours: one line all the same, the traceback on request
        if os.environ.get("RIBANGLE_TRACEBACK"):
            raise
        code = _fail(
            f"a fault of the tool itself, {type(error).__name__}: {error}; please report it with "
            "what RIBANGLE_TRACEBACK=1 in the environment shows",
            70,
        )
    sys.exit(code)


def run(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code."""
    try:
        result = group.main(
            args=None if arguments is None else list(arguments), prog_name="ribangle", standalone_mode=False
        )
        return result if isinstance(result, int) else 0
    except click.exceptions.Exit as stop:
        return stop.exit_code
    except UserError as error:
        return _fail(str(error), 2)
    except click.ClickException as error:
        hint = error.ctx.command_path if isinstance(error, click.UsageError) and error.ctx else ""
        return _fail(error.format_message() + (f" ({hint} --help)" if hint else ""), 2)
    except (KeyboardInterrupt, click.Abort):
        return _fail("stopped; what was finished is kept", 130)
    except BrokenPipeError:
        _silence_stdout()
        return 0
    except ImportError as error:
        library = missing_library(error)
        if library is None:
            raise
        return _fail(_NO_OPENCV.format(library=library), 2)
    except OSError as error:
        if error.filename is None and error.errno is None:
            raise
        return _fail(
            f"{error.filename or 'file'}: {error.strerror or error}; check the path, "
            "its permissions and the free space",
            2,
        )


def missing_library(error: ImportError) -> str | None:
    """The shared library that an import failed for ("libGL.so.1"), or None if it failed otherwise."""
    name, colon, rest = str(error).partition(":")
    return name if colon and ".so" in name and "cannot open shared object" in rest else None


def _fail(line: str, code: int) -> int:
    shown = "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in " ".join(line.split()))
    click.echo(f"ribangle: {shown}", err=True)
    return code


def _silence_stdout() -> None:
    """Point stdout at nothing, so that the interpreter's last flush does not complain of the closed pipe."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


if __name__ == "__main__":
    main()
