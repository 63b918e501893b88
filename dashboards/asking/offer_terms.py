"""What a buyer and a seller both say: the currency of the offer, the inspection in hand with its quotes, an
amount."""

from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any, Final

import streamlit as st

from dashboards import caches
from dashboards.asking.typed_fields import ask_amount_in
from dashboards.inspecting import sheets
from dashboards.page_layout import SubjectCar
from dashboards.url_state import BOUND, CARRIED, OWN_CURRENCY, SHARED, held_to
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
"""Currencies that a list to choose from begins with."""


def currency_choices(*first: str) -> list[str]:
    """All currencies, the ``first`` before the common ones and those before the rest."""
    return list(dict.fromkeys([*first, *COMMON, *sorted(CURRENCIES)]))


@dataclass(frozen=True)
class Offer:
    """What is offered: amounts in ``currency``; the car without its condition where an inspection tells it,
    and then what its repairs would cost."""

    currency: str
    asking: Decimal | None
    car: Car
    inspection: InspectionResult | None = None
    costs: RepairCosts | None = None


def ask_offer(subject: SubjectCar) -> Offer:
    """The currency of the offer, what is asked in it, and whether the inspection in hand counts."""
    snapshot, car, asking = subject.snapshot, subject.car, subject.asking
    base = snapshot.base_currency
    choices = currency_choices(base)
    held_to("currency", choices)
    st.session_state[OWN_CURRENCY] = base
    if st.session_state.get("currency") is None:
        st.session_state["currency"] = base
    currency = st.selectbox(
        "Currency of the offer",
        choices,
        key="currency",
        help="Every amount on this page is in it; the market's own currency is the first.",
        persist_state="session",
    )
    if currency != base:
        name = "asking price"
        asking = ask_amount("Price asked", "offer_asking", currency, name, cost=False, help=what_is(name))
    inspection = _ask_inspection(car)
    if inspection is None:
        return Offer(currency, asking, car)
    quotes = sheets.quotes(catalogue_in_force(snapshot))
    costs = caches.repair_costs(snapshot, inspection, work_country(snapshot), quotes)
    ungraded = replace(car, condition_band=None, condition_score=None)
    return Offer(currency, asking, ungraded, costs.result, costs)


def work_country(snapshot: Snapshot) -> str:
    """The country of the work: that of the page on mending, else that of the settings."""
    chosen = st.session_state.get("work_country")
    return settings_of(snapshot).country if chosen is None else str(chosen)


def ask_amount(
    label: str, key: str, currency: str, name: str | None = None, *, cost: bool = True, **options: Any
) -> Decimal | None:
    """An amount in the currency of the offer; nothing where nothing is said. ``name`` is what a refusal calls
    it, as everywhere; without one the label."""
    lives = SHARED if key in CARRIED else BOUND
    called = label[0].lower() + label[1:] if name is None else name
    return ask_amount_in(currency, label, key, called, cost=cost, **options, **lives)


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
