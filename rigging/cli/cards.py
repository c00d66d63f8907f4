"""`ribangle cards JOB`: the printed matter, one PDF at true scale."""

from __future__ import annotations

from pathlib import Path

import click


@click.command(epilog="Example: ribangle cards wing.toml --paper letter --out cards.pdf")
@click.argument("job", type=click.Path(path_type=Path))
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter"], case_sensitive=False),
    default="a4",
    show_default=True,
    help="Size of the paper.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("ribangle-cards.pdf"),
    show_default=True,
    help="Where the PDF goes.",
)
@click.option(
    "--spares",
    type=click.IntRange(0, 31),
    default=4,
    show_default=True,
    help="Spare cards, half panels, half strips, with numbers the job does not use.",
)
def cards(job: Path, paper: str, out: Path, spares: int) -> None:
    """Print what hangs on the ribs, at true scale.

    JOB is the job file. One PDF, black and grey: how to print and mount, how to photograph, a station card
    for
    each number in the job, spares, reference marks, gauge tags, a lens board. Print it at 100 % and
    measure the
    bars before cutting.
    """
    from rigging.planning.lint_cards import hints
    from rigging.printed.pack import print_pack
    from shared.errors import UserError
    from shared.files import write_whole
    from shared.job.file import load_job

    loaded = load_job(job)
    if out.is_dir():
        raise UserError(str(out), "is a folder", "name a file, as cards.pdf")
    if not out.parent.is_dir():
        raise UserError(str(out.parent), "there is no such folder", "make it first, or choose another --out")
    for hint in hints(loaded, job.name):
        click.echo(f"job: {hint.words}", err=True)
    data = print_pack(loaded, paper.lower(), spares)
    write_whole(out, data)
    count = sum(len(face.cards) for face in loaded.faces)
    places = f" and {len(loaded.places)} places" if loaded.places else ""
    click.echo(
        f"{out}: {count} station cards for {len(loaded.stations)} stations{places}, and what goes with them. "
        "Print at 100 %, measure the 100.0 mm bars, then cut."
    )
