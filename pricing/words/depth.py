"""How much is known of a car or of a choice of cars, what offers, lots and conditions say, what rose and what
fell, in sentences."""

from collections.abc import Mapping
from typing import Any, Final

import polars as pl

from pricing.decisions.valuation import Valuation
from pricing.evidence.depth import Depth
from pricing.evidence.movers import TOO_FEW
from pricing.evidence.seasons import SIGNIFICANCE
from pricing.model.opinion_bands import ALONE
from pricing.model.prediction import DEPTHS
from pricing.words.language.countries import country_words
from pricing.words.language.reader import day_words, number_words
from pricing.words.sentences import effect_words, money_words, option_words

KNOWN: Final = dict(
    zip(DEPTHS, ("Unknown make", "Hardly known", "Little known", "Fairly known", "Well known"), strict=True)
) | {ALONE: "By opinion alone"}
"""A word for each depth of evidence."""


def known_words(valuation: Valuation) -> tuple[str, str]:
    """How much is known of a car's price: a word, and the count behind it."""
    of_name = f"of the {valuation.car['make']} {valuation.car['model']} on record"
    count = valuation.sales.height
    sales = f"{number_words(count)} {'sale' if count == 1 else 'sales'}" if count else "no sale"
    return KNOWN[valuation.evidence], f"{sales} {of_name}"


def facts_sentence(valuation: Valuation) -> str | None:
    """What each thing that was said of the car did to the middle price; None where nothing was said."""
    car, effects = valuation.car, []
    for name, factor in valuation.terms.select(pl.col("term").cast(pl.String), "factor").iter_rows():
        effect = effect_words(factor)
        if name in ("make", "model", "variant", "date", "year") or effect == "no change":
            continue
        value = car["condition_band"] or car["condition_score"] if name == "condition" else car.get(name)
        if name in (car.get("options") or ()):
            effects.append(f"{option_words(name)} {effect}")
        elif value is not None and value != []:
            effects.append(f"{_fact(name, value)} {effect}")
    return f"What you said moved the middle price: {', '.join(effects)}." if effects else None


def _fact(name: str, value: object) -> str:
    if name == "odometer_km" and isinstance(value, float):
        return f"{number_words(value)} km"
    if name == "country":
        return country_words(str(value))
    if isinstance(value, bool):
        value = "yes" if value else "no"
    return f"{option_words(name)} {value}"


def depth_sentences(depth: Depth) -> list[str]:
    """How much is known, one thought a sentence."""
    recent = depth.recent.rows_by_key("years", named=True, unique=True)
    sentences = [
        f"{depth.scope[0].upper()}{depth.scope[1:]} at {day_words(depth.as_of)}: "
        f"{number_words(recent[1]['sales'])} sales in the last year, "
        f"{number_words(recent[3]['sales'])} in three, {number_words(recent[5]['sales'])} in five."
    ]
    if depth.effective_sales is not None:
        sentences.append(
            "Together with what its sister models tell, its price level is known as well as "
            f"{depth.effective_sales:.0f} sales of its own would tell it."
        )
    return [*sentences, sold_share_sentence(depth), gap_sentence(depth), season_sentence(depth)]


def sold_share_sentence(depth: Depth) -> str:
    """How many of the lots offered at auction found a buyer."""
    share = depth.sold_share.row(-1, named=True)
    if share["share"] is None:
        return "No lot of it was offered at auction in five years."
    return (
        f"Of {number_words(share['lots'])} lots offered at auction in five years, {share['share']:.0%} sold "
        f"({share['low']:.0%} to {share['high']:.0%})."
    )


def sold_by_year_caption(depth: Depth) -> str:
    """What ``charts.depth.sold_by_year_chart`` shows."""
    gaps = depth.sold_by_year.filter(pl.col("lots") == 0)["year"].to_list()
    without = f" No lot was offered in {', '.join(map(str, gaps))}." if gaps else ""
    return (
        f"Of 100 lots of {depth.scope} offered at auction each year, how many found a buyer. The line "
        f"through each mark is its 95% interval, the number beside it how many lots there were.{without}"
    )


def gap_sentence(depth: Depth) -> str:
    """How far below the price asked such cars sold."""
    gap = depth.gap
    if gap.per_cent is None:
        return "From asking to sold: unknown; no car on record was advertised and then sold."
    sure = "; one pair gives no interval"
    if gap.low is not None and gap.high is not None:
        sure = f" {_interval_words(gap.low, gap.high)}"
    pairs = "one matched pair" if gap.pairs == 1 else f"{number_words(gap.pairs)} matched pairs"
    return f"From asking to sold: {gap.per_cent:+.0f}% in the middle of {pairs}{sure}."


def gap_caption(depth: Depth) -> str:
    """What ``charts.depth.asking_gap_chart`` shows."""
    return (
        "Each ring is a car that was advertised and then sold: how far its price ended from the last one "
        f"asked. Nought is the price asked, the line the middle of the {number_words(depth.gap.pairs)}, with "
        "its 95% interval shaded. Cars that never sold are not among them."
    )


def season_sentence(depth: Depth) -> str:
    """Whether the time of the year tells."""
    if depth.seasons.p_value is None:
        return "Season: too few sales to test."
    if depth.seasons.effects.is_empty():
        return (
            "Season: no time of the year sells for more or less than chance would explain "
            f"(p = {depth.seasons.p_value:.3f}; one is named below {SIGNIFICANCE})."
        )
    best = depth.seasons.effects.sort("per_cent").row(-1, named=True)
    return f"Season: {best['season']} is {best['per_cent']:+.1f}% against the year."


def premiums_caption(depth: Depth) -> str:
    """What ``charts.depth.bands_through_time_chart`` shows."""
    return (
        f"What a better condition costs over the one below, in per cent of it, in spans of years for "
        f"{depth.scope}. The line through each mark is its 95% interval; a span without a mark had too few "
        "sales."
    )


def premium_sentences(depth: Depth, currency: str) -> list[str]:
    """What each condition costs over the one below in the last span of years, or that nobody can tell; in
    money where the sales are of one model."""
    if depth.band_premiums.is_empty():
        return ["No sale on record says in what condition the car was, so no step can be told."]
    last = depth.band_premiums.filter(pl.col("to_date") == pl.col("to_date").max())
    span = f"{day_words(last['from_date'][0])} to {day_words(last['to_date'][0])}"
    return [
        f"From {row['next_below']} to {row['band']}: {_premium(row, currency if depth.model else None)}; "
        f"{row['sales']} {'sale' if row['sales'] == 1 else 'sales'}, {span}."
        for row in last.iter_rows(named=True)
    ]


def _interval_words(low: float, high: float) -> str:
    return f"({low:+.0f}% to {high:+.0f}%)"


def _premium(row: Mapping[str, Any], currency: str | None) -> str:
    if row["per_cent"] is None:
        return "cannot be told, too few sales of one of the two"
    sure = f"{row['per_cent']:+.0f}% {_interval_words(row['low'], row['high'])}"
    if currency is None:
        return sure
    more = money_words(row["price_below"] * row["per_cent"] / 100, currency)
    return f"{sure}, some {more} on a middle price of {money_words(row['price_below'], currency)}"


def mover_sentence(row: Mapping[str, Any]) -> str:
    """How a model moved in a year (a row of ``movers``), or that its sales cannot tell.

    >>> mover_sentence({"make": "Corvane", "model": "Six", "per_cent": 20.0, "low": 12.0, "high": 29.0,
    ...     "sales": 8, "sales_before": 9, "on_record": 60, "told": "rose"})
    'The Corvane Six rose by 20% in a year (+12% to +29%): 8 like sales against 9 in the year before.'
    """
    name = f"{row['make']} {row['model']}"
    counts = f"{row['sales']} like sales against {row['sales_before']} in the year before"
    if row["per_cent"] is None:
        return f"Whether the {name} rose or fell in a year cannot be told: {counts}."
    sure = f"{_interval_words(row['low'], row['high'])}: {counts}"
    if row["told"] in ("rose", "fell"):
        return f"The {name} {row['told']} by {abs(row['per_cent']):.0f}% in a year {sure}."
    moved = f": {row['per_cent']:+.0f}%" if round(row["per_cent"]) else ""
    return f"Prices of the {name} neither rose nor fell clearly in a year{moved} {sure}."


def movers_sentence(models: pl.DataFrame) -> str:
    """How many models rose, fell, did neither, or cannot be told (``movers``)."""
    counts = dict(models["told"].value_counts().iter_rows())
    named = "1 model" if models.height == 1 else f"{number_words(models.height)} models"
    moves = [f"{number_words(counts[move])} {words}" for move, words in _MOVES.items() if move in counts]
    return f"Of {named} on record, in a year: {', '.join(moves)}."


_MOVES: Final = {
    "rose": "rose",
    "fell": "fell",
    "no more than chance": "moved no more than chance would move them",
    TOO_FEW: "sold too seldom to tell",
}


def movers_caption(models: pl.DataFrame, drawn: int) -> str:
    """What ``charts.depth.movers_chart`` shows of the models."""
    rest = models.height - drawn
    left = f" {number_words(rest)} more {'is' if rest == 1 else 'are'} in the table alone." if rest else ""
    return (
        "Each mark is a model: how far like sales of it moved in a year, the line its 90% interval. A line "
        f"that crosses nought may be chance; filled marks are beyond it.{left}"
    )
