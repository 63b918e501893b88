"""The pages that there are, in the order of the menu; importing it imports them all."""

from collections.abc import Callable
from typing import Final, NamedTuple

from dashboards import buying, comparables, market, mending, opinions, position, scores, selling, setting
from dashboards.appraising import appraisals
from dashboards.inspecting import inspection
from dashboards.keeping import kept_cars
from dashboards.recording import records


class PageEntry(NamedTuple):
    """A page: what shows it, its title, and its name in the address."""

    show: Callable[[], None]
    title: str
    path: str


START: Final = "position"
"""The short name of the start page."""

PAGES: Final = {
    START: PageEntry(position.show_page, "Where it sits", "start"),
    "kept": PageEntry(kept_cars.show_page, "Cars you keep", "kept"),
    "inspect": PageEntry(inspection.show_page, "Inspect", "inspect"),
    "mend": PageEntry(mending.show_page, "Mend or buy better", "mend"),
    "comparables": PageEntry(comparables.show_page, "Comparable sales", "comparables"),
    "buy": PageEntry(buying.show_page, "Buy", "buy"),
    "sell": PageEntry(selling.show_page, "Sell", "sell"),
    "appraisals": PageEntry(appraisals.show_page, "Appraisals", "appraisals"),
    "market": PageEntry(market.show_page, "Market", "market"),
    "opinions": PageEntry(opinions.show_page, "What people say", "opinions"),
    "records": PageEntry(records.show_page, "Records", "records"),
    "scores": PageEntry(scores.show_page, "How good are these numbers", "scores"),
    "settings": PageEntry(setting.show_page, "Settings", "settings"),
}
"""By the short name under which pages lead to one another."""
