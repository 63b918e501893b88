"""The command that opens the handbook."""

import tempfile
import webbrowser
from pathlib import Path
from typing import Annotated

import typer

from pricing.cli.output import answer

handbook_app = typer.Typer()


@handbook_app.command(epilog="Example: pricing handbook --out handbook --no-open")
def handbook(
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder to write it to; else a temporary one.")
    ] = None,
    show: Annotated[bool, typer.Option("--open/--no-open", help="Open it in a browser.")] = True,
) -> None:
    """Write the handbook as static pages, which need no network, and open it."""
    from pricing.handbook.pages import write_pages

    folder = Path(tempfile.mkdtemp(prefix="pricing-handbook-")) if out is None else out
    first = write_pages(folder)
    if show:
        webbrowser.open(first.resolve().as_uri())
    answer({"page": first}, str(first))
