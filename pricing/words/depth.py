"""How much is known of a choice of cars, and what offers, lots and conditions say, in sentences."""

from collections.abc import Mapping
from typing import Any

import polars as pl

from pricing.evidence.depth import Depth
from pricing.evidence.seasons import SIGNIFICANCE
from pricing.words.language.reader import day_words, number_words
from pricing.words.sentences import money_words


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
    """What ``market_charts.sold_by_year_chart`` shows."""
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
    sure = "; one pair gives no interval" if gap.low is None else f" ({gap.low:+.0f}% to {gap.high:+.0f}%)"
    pairs = "one matched pair" if gap.pairs == 1 else f"{number_words(gap.pairs)} matched pairs"
    return f"From asking to sold: {gap.per_cent:+.0f}% in the middle of {pairs}{sure}."


def gap_caption(depth: Depth) -> str:
    """What ``market_charts.asking_gap_chart`` shows."""
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
    """What ``market_charts.bands_through_time_chart`` shows."""
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
        f"From {row['next_below']} to {row['band']}: {_premium(row, currency if depth.model else None)}"
        f"{row['sales']} {'sale' if row['sales'] == 1 else 'sales'}, {span}."
        for row in last.iter_rows(named=True)
    ]


def _premium(row: Mapping[str, Any], currency: str | None) -> str:
    if row["per_cent"] is None:
        return "cannot be told, too few sales of one of the two; "
    sure = f"{row['per_cent']:+.0f}% ({row['low']:+.0f}% to {row['high']:+.0f}%)"
    if currency is None:
        return f"{sure}; "
    more = money_words(row["price_below"] * row["per_cent"] / 100, currency)
    middle = money_words(row["price_below"], currency)
    return f"{sure}, some {more} on a middle price of {middle}; "
