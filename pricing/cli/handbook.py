"""The command that opens the handbook."""

import tempfile
import webbrowser
from pathlib import Path
from typing import Annotated

from pricing.cli.commands import Commands, option
from pricing.cli.output import answer

handbook_app = Commands()


@handbook_app.example("pricing handbook --out handbook --no-open")
def handbook(
    out: Annotated[Path | None, option("Folder to write it to; else a temporary one.")] = None,
    show: Annotated[bool, option("Open it in a browser.", "--open/--no-open")] = True,
) -> None:
    """Write the handbook as static pages, which need no network, and open it."""
    from pricing.handbook.pages import write_pages

    folder = Path(tempfile.mkdtemp(prefix="pricing-handbook-")) if out is None else out
    first = write_pages(folder)
    if show:
        webbrowser.open(first.resolve().as_uri())
    answer({"page": first}, str(first))
