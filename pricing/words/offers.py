"""What the charts of bids and of waiting for a buyer show, in a sentence each."""

from pricing.decisions.buy.buying import Buying
from pricing.decisions.sell.channel_sale import HORIZON


def bids_caption(facts: Buying) -> str:
    """What ``buying_charts.bids_chart`` shows."""
    return (
        f"Each bar is a bid and what it comes to, in {facts.currency}; its grey end is what is charged on it."
    )


def waiting_caption(channel: str) -> str:
    """What ``selling_charts.waiting_chart`` shows.

    >>> waiting_caption("dealer")[:44]
    'How likely a sale is at each price asked, at'
    """
    where = {"dealer": "at a dealer", "private": "privately"}.get(channel, f"by {channel}")
    return f"How likely a sale is at each price asked, {where}: within 4, 8 and {HORIZON} weeks."
