"""The command that scores the price model on sales it has not seen."""

from pathlib import Path
from typing import Annotated

from pricing.cli.commands import Commands, option
from pricing.cli.options import MarketOption
from pricing.cli.output import answer
from pricing.errors import FileError
from pricing.operations.opening import MARKET_FILE, open_market

score_app = Commands()


@score_app.example("pricing score --origins 4 --csv scored.csv")
def score(
    origins: Annotated[int, option("Days at which the model is fitted anew.", min=1, max=1000)] = 6,
    csv: Annotated[Path | None, option("New file to write to, one row a scored sale.")] = None,
    market: MarketOption = MARKET_FILE,
) -> None:
    """Score the price model on the later half of the sales, each by a model fitted to what was known before.

    Prints how often ranges held the price paid, how wide they were, and how mid prices stand to prices paid.
    """
    from pricing.cli.evidence_files import write_frame
    from pricing.cli.printing.scores import show_scores
    from pricing.cli.printing.terminal import progress
    from pricing.model.accuracy.backtest import backtest, rolling_origins
    from pricing.model.features.spec import FeatureSpec

    opened, spec = open_market(market), FeatureSpec.cars()
    if csv is not None:
        _check_new(csv)
    sales = opened.sales()
    with progress() as tell:
        scored = backtest(
            sales, spec, rolling_origins(sales, spec, origins), known=opened.sales, progress=tell
        )
    if csv is not None:
        write_frame(scored.rows, csv)
    facts = {"currency": opened.base_currency, "basis": "all-in", **scored.to_dict()}
    answer(facts, lambda: show_scores(scored))


def _check_new(path: Path) -> None:
    if path.exists():
        raise FileError(f"{path} exists already; name a file that does not")
    if not path.parent.is_dir():
        raise FileError(f"there is no folder {path.parent} to write {path.name} to")
