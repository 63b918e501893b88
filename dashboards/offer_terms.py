"""What a buyer and a seller both say: the currency of the offer, the inspection in hand, an amount."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

import streamlit as st

from dashboards import caches, sheets
from dashboards.address import BOUND, CARRIED, held_to, within
from pricing.condition.assessment import InspectionResult, assess
from pricing.condition.repairs import RepairCosts
from pricing.documents.plain_text import escaped
from pricing.money import CURRENCIES

COMMON: Final = ("EUR", "GBP", "USD", "CHF", "SEK", "JPY", "AUD")


@dataclass(frozen=True)
class Inspected:
    """An inspection and what its repairs would cost."""

    result: InspectionResult
    costs: RepairCosts


def ask_currency(state: caches.MarketState) -> str:
    """The currency that every amount of the offer is in."""
    rest = sorted(CURRENCIES - {state.base_currency, *COMMON})
    first = [state.base_currency, *(name for name in COMMON if name != state.base_currency)]
    held_to("currency", [*first, *rest])
    if st.session_state.get("currency") is None:
        st.session_state["currency"] = state.base_currency
    return st.selectbox(
        "Currency of the offer",
        [*first, *rest],
        key="currency",
        help="Every amount on this page is in it; the market's own currency is the first.",
        persist_state="session",
    )


def ask_amount(label: str, key: str, currency: str, help: str | None = None) -> Decimal | None:
    """An amount in the currency of the offer; nothing where nothing is said."""
    shared = key in CARRIED
    within(key, 0.0, None)
    amount = st.number_input(
        f"{label} ({currency})",
        0.0,
        None,
        None,
        50.0,
        format="%.0f",
        key=key,
        placeholder="not said",
        help=help,
        **({"persist_state": "session"} if shared else BOUND),
    )
    return None if amount is None else Decimal(str(amount))


def ask_inspection(state: caches.MarketState, car: dict[str, Any]) -> tuple[dict[str, Any], Inspected | None]:
    """The car, and the inspection in hand if it is of this car and is to count in place of the condition
    said."""
    inspection = sheets.in_hand()
    if inspection is None:
        return car, None
    same = all(inspection.car.get(name) == car[name] for name in ("make", "model", "year"))
    if not same:
        st.caption(escaped("The inspection sheet in hand is of another car, and is left out."))
        return car, None
    if not st.checkbox("Take the condition from the inspection sheet in hand", True, key="use_sheet"):
        return car, None
    settings = caches.settings(state)
    result = assess(inspection)
    costs = caches.repair_costs(state, inspection, settings.country)
    return car | {"condition_band": None, "condition_score": None}, Inspected(result, costs)
