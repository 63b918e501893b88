"""The command that copies a whole market between files and servers."""

from typing import Annotated

from pricing.cli.commands import Commands, argument
from pricing.cli.output import done

copy_app = Commands()


@copy_app.example("pricing copy market.duckdb postgresql://anna@desk/cars")
def copy(
    source: Annotated[str, argument("Market to copy: a file, or the address of a server.")],
    target: Annotated[str, argument("Where to copy it to; holds no market yet.")],
) -> None:
    """Copy a whole market from a file to a server, or back, without loss; the copy is held against it.

    A server is a PostgreSQL database, given as postgresql://USER@HOST:PORT/DATABASE; its password is best
    left to libpq's own password file.
    """
    from pricing.cli.printing.terminal import progress
    from pricing.store.transfer import copy_market

    with progress() as tell:
        made = copy_market(source, target, progress=tell)
    told = (
        f"{made.rows:,} rows of {made.tables} tables copied; both markets have the digest {made.digest[:16]}"
    )
    done({"rows": made.rows, "tables": made.tables, "digest": made.digest}, told)
