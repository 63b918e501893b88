"""What a buyer and a seller both say: the currency of the offer, the inspection in hand with its quotes, an
amount."""

from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Final

import streamlit as st

from dashboards import caches
from dashboards.asking.typed_fields import ask_amount_in
from dashboards.inspecting import sheets
from dashboards.page_layout import Asked
from dashboards.url_state import BOUND, CARRIED, OWN_CURRENCY, held_to
from pricing.car import Car
from pricing.car_fields import NEEDED
from pricing.condition.assessment import InspectionResult
from pricing.condition.inspection import Inspection
from pricing.condition.repairs import RepairCosts
from pricing.money.currencies import CURRENCIES
from pricing.operations.settings import catalogue_in_force, settings_of
from pricing.snapshot import Snapshot
from pricing.words.language.glossary import what_is

COMMON: Final = ("EUR", "GBP", "USD", "CHF", "SEK", "JPY", "AUD")


@dataclass(frozen=True)
class Offer:
    """What is offered: amounts in ``currency``; the car without its condition where an inspection tells it,
    and then what its repairs would cost."""

    currency: str
    asking: Decimal | None
    car: Car
    inspection: InspectionResult | None = None
    costs: RepairCosts | None = None


def ask_offer(asked: Asked) -> Offer:
    """The currency of the offer, what is asked in it, and whether the inspection in hand counts."""
    currency, asking = _ask_currency(asked.snapshot), asked.asking
    if currency != asked.snapshot.base_currency:
        asking = ask_amount(
            "Price asked", "offer_asking", currency, what_is("asking price"), "asking price", cost=False
        )
    inspection = _ask_inspection(asked.car)
    if inspection is None:
        return Offer(currency, asking, asked.car)
    costs = caches.repair_costs(
        asked.snapshot,
        inspection,
        work_country(asked.snapshot),
        sheets.quotes(catalogue_in_force(asked.snapshot)),
    )
    car = replace(asked.car, condition_band=None, condition_score=None)
    return Offer(currency, asking, car, costs.result, costs)


def work_country(snapshot: Snapshot) -> str:
    """The country of the work: that of the page on mending, else that of the settings."""
    chosen = st.session_state.get("work_country")
    return settings_of(snapshot).country if chosen is None else str(chosen)


def ask_amount(
    label: str,
    key: str,
    currency: str,
    help: str | None = None,
    name: str | None = None,
    *,
    cost: bool = True,
) -> Decimal | None:
    """An amount in the currency of the offer; nothing where nothing is said. ``name`` is what a refusal calls
    it, as everywhere; without one the label."""
    kept = {"persist_state": "session"} if key in CARRIED else BOUND
    called = label[0].lower() + label[1:] if name is None else name
    return ask_amount_in(currency, label, key, called, cost=cost, help=help, **kept)


def _ask_currency(state: Snapshot) -> str:
    rest = sorted(CURRENCIES - {state.base_currency, *COMMON})
    first = [state.base_currency, *(name for name in COMMON if name != state.base_currency)]
    held_to("currency", [*first, *rest])
    st.session_state[OWN_CURRENCY] = state.base_currency
    if st.session_state.get("currency") is None:
        st.session_state["currency"] = state.base_currency
    return st.selectbox(
        "Currency of the offer",
        [*first, *rest],
        key="currency",
        help="Every amount on this page is in it; the market's own currency is the first.",
        persist_state="session",
    )


def _ask_inspection(car: Car) -> Inspection | None:
    """The inspection in hand, if it is of this car and is to count in place of the condition said."""
    inspection = sheets.in_hand()
    if inspection is None:
        return None
    if any(inspection.car.get(name) != getattr(car, name) for name in NEEDED):
        st.caption(
            "Your inspection is of another car, so it is left out. Start one for this car on the page "
            "Inspect."
        )
        return None
    counts = st.checkbox("Use the condition from your inspection", True, key="use_sheet")
    return inspection if counts else None
