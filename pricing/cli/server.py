"""Commands for a service: ``serve``, and the tokens that let programs in. Each opens, calls and prints."""

import os
import sys
from contextlib import suppress
from typing import Annotated, Any

import typer

from pricing.cli.commands import Commands, argument, option
from pricing.cli.options import ManagerOption, MarketOption
from pricing.cli.output import answer, done, note
from pricing.errors import MarketError
from pricing.operations.access import ROLES
from pricing.operations.bundled import import_bundled
from pricing.operations.configuration import configuration, variable
from pricing.operations.opening import MARKET_FILE, open_market

server_app = Commands()
token_app = Commands("token", "Make, list and revoke the tokens that let programs in.")


@server_app.example("pricing serve --port 8600")
def serve(
    market: Annotated[str | None, option("Market file, or the address of a PostgreSQL server.")] = None,
    host: Annotated[
        str | None, option("Address to listen on; others than this machine's own let others in.")
    ] = None,
    port: Annotated[int | None, option("Port to listen on.", min=0, max=65535)] = None,
    trust_this_machine: Annotated[
        bool,
        option(
            "Let whoever sits at this machine, under this user, do everything without a token; never "
            "behind a proxy.",
            "--trust-this-machine",
        ),
    ] = False,
    manager: ManagerOption = None,
    dashboard: Annotated[bool, option("Serve the dashboard beside the API.")] = True,
    workers: Annotated[
        int, option("Processes; more than one only without the dashboard.", min=1, max=256)
    ] = 1,
) -> None:
    """Serve the dashboard and the JSON API until interrupted; requests in hand are finished first.

    Every request needs a token (`pricing token new`) or a sign-in, from this machine too unless it is
    trusted.
    Values not given here come from the environment and the configuration file; see `pricing config`.
    """
    import uvicorn

    from pricing.api.middleware.connections import PromptProtocol
    from pricing.api.middleware.hosts import LOOPBACK_NAMES
    from pricing.api.middleware.logs import log_settings
    from pricing.operations.serving import MANAGERS_VARIABLE, free_port, remove_leftovers

    remove_leftovers()
    for key, value in (("market", market), ("host", host), ("port", port)):
        if value is not None:
            os.environ[variable(key)] = str(value)
    if manager:
        os.environ[MANAGERS_VARIABLE] = ",".join(manager)
    settings = configuration()
    if trust_this_machine:
        os.environ[variable("access")] = "this-machine"
    if settings.host not in LOOPBACK_NAMES and not settings.hosts:
        sys.stderr.write(
            f"note: the server listens on {settings.host}; under a name other than this machine's own "
            "it answers once `hosts` in the configuration has that name\n"
        )
    if dashboard and workers > 1:
        raise MarketError(
            "the dashboard is served by one process: add --no-dashboard, or leave --workers at 1"
        )
    if settings.port:
        free_port(settings.host, settings.port)
    if dashboard:
        import_bundled()
    options: dict[str, Any] = {
        "app": f"{'dashboards.serving.server' if dashboard else 'pricing.api.app'}:from_environment",
        "factory": True,
        "host": settings.host,
        "port": settings.port,
        "http": PromptProtocol,
        "log_config": log_settings(settings.log_level),
        "access_log": False,
        "server_header": False,
        "timeout_graceful_shutdown": settings.stop_seconds,
        "timeout_keep_alive": 30,
        "ws": "websockets-sansio",
        "ws_max_size": settings.largest_message,
    }
    host_name = f"[{settings.host}]" if ":" in settings.host else settings.host
    address = (
        f"Serving at http://{host_name}:{settings.port}/, the API under /api/v1, described by "
        "/api/openapi.json\n"
        "Press Ctrl-C to stop; requests in hand are finished first.\n"
    )
    if workers > 1:
        typer.echo(address, nl=False)
        uvicorn.run(workers=workers, **options)
        return
    server = uvicorn.Server(uvicorn.Config(**options))
    server.config.load()  # with the dashboard: reads the market, and says how far it is
    typer.echo(address, nl=False)
    with suppress(KeyboardInterrupt):
        server.run()
    if not server.started:
        sys.exit(1)


@token_app.example("pricing token new 'valuation desk' --role appraise")
def new(
    name: Annotated[str, argument("Whose it is.")],
    role: Annotated[str, option(f"One of: {', '.join(ROLES)}.")] = "read",
    days: Annotated[int | None, option("Days it holds for; without it, until revoked.")] = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Make a token and print it, this once: the market, made when absent, keeps a digest of it only."""
    if role not in ROLES:
        raise MarketError(f"a role is one of {', '.join(ROLES)}; got {role!r}")
    from pricing.store.market import Market

    token_id, token = Market.open(market).tokens.new(name, role, days)
    note(f"{token_id} for {name}, role {role}; it is not shown again:")
    facts = {"token_id": token_id, "name": name, "role": role, "token": token}
    answer(facts, lambda: sys.stdout.write(f"{token}\n"))


@token_app.example("pricing token list", "list")
def show_list(market: MarketOption = MARKET_FILE) -> None:
    """List every token that was made, and what became of it; never the token itself."""
    from pricing.cli.printing.server import show_tokens

    tokens = open_market(market).tokens.listed()
    answer(tokens, lambda: show_tokens(tokens))


@token_app.example("pricing token revoke token-0001")
def revoke(
    token_id: Annotated[str, argument("As `pricing token list` shows it.")],
    market: MarketOption = MARKET_FILE,
) -> None:
    """Let a token open nothing from now on."""
    open_market(market).tokens.revoke(token_id)
    done({"token_id": token_id}, f"{token_id} opens nothing any more")
