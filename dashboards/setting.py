"""Settings: the market in use, units and currency, labour rates, schedules of charges, people and roles."""

from dataclasses import replace
from typing import Any, Final

import polars as pl
import streamlit as st

from dashboards import caches, page_layout, people
from dashboards.asking.typed_fields import ask_amount_in, ask_number
from dashboards.exhibits import show_table
from dashboards.recording.records import COMMON_CURRENCIES
from pricing.condition.catalogue import LABOUR_KINDS
from pricing.decisions.buy.verdict import VERDICTS
from pricing.money.currencies import CURRENCIES
from pricing.operations.access import EVERYONE, ROLES
from pricing.operations.settings import (
    EXAMPLE_CHARGES,
    LONGEST_FILE,
    Settings,
    catalogue_in_force,
    catalogue_of,
    catalogue_text,
    charges_text,
    schedule_in_force,
    schedule_of_text,
    settings_of,
)
from pricing.snapshot import Snapshot
from pricing.vocabulary import DISTANCE_UNITS
from pricing.words.language.countries import country_words
from pricing.words.language.glossary import what_is
from pricing.words.language.plain_text import escaped
from pricing.words.language.reader import number_words

NONE: Final = "none"


def show_page() -> None:
    """What is set, and forms that change it, for whoever may."""
    st.title("Settings")
    st.markdown("[Handbook](/handbook/index.html)")
    with page_layout.one_sentence():
        snapshot = caches.snapshot()
        if snapshot is None:
            page_layout.ask_market()
            return
        if st.session_state.pop("settings_kept", False):
            st.success("The settings are kept.")
        kept = settings_of(snapshot)
        may = people.may("manage")
        if not may:
            st.info(
                "Your role lets you read the settings. To change them, ask whoever manages this market for "
                "the role manage."
            )
        _show_market(snapshot)
        _ask_units(snapshot, kept, may)
        _ask_verdict(snapshot, kept, may)
        _ask_labour(snapshot, kept, may)
        _ask_catalogue(snapshot, kept, may)
        _ask_charges(snapshot, kept, may)
        _ask_roles(snapshot, kept, may)


def _keep(snapshot: Snapshot, settings: Settings) -> None:
    snapshot.market.keep_settings(settings.texts())
    st.session_state["settings_kept"] = True
    st.rerun()


def _show_market(snapshot: Snapshot) -> None:
    """The market that everything here speaks of."""
    st.header("Market in use")
    sales = snapshot.sales()
    sold = sales.filter(pl.col("outcome") == "sold").height
    kind = "the invented demo market" if caches.is_demo(snapshot) else "your own market"
    loads = snapshot.state.batches
    st.write(
        escaped(
            f"{snapshot.path.name}, {kind}: {number_words(sales.height)} records, {number_words(sold)} of "
            f"them sales, from {loads} {'load' if loads == 1 else 'loads'}. "
            f"Newest fit: {snapshot.state.fit or 'none'}."
        )
    )
    st.write(escaped(f"Base currency: {snapshot.base_currency}. {what_is('base currency')}"))
    st.caption(
        "Everything loaded from now on is brought to it; `pricing currency GBP` changes it and reckons every "
        "price anew."
    )
    page_layout.link("records", "Load sale records")


def _ask_units(snapshot: Snapshot, kept: Settings, may: bool) -> None:
    """Units and a second currency."""
    st.header("Units and currency")
    rest = sorted(CURRENCIES - set(COMMON_CURRENCIES))
    currencies = [NONE, *(name for name in (*COMMON_CURRENCIES, *rest) if name != snapshot.base_currency)]
    units = list(DISTANCE_UNITS)
    with st.form("units", border=False):
        first, second = st.columns(2)
        with first:
            unit = st.selectbox(
                "Odometers are read in", units, units.index(kept.distance_unit), disabled=not may
            )
        with second:
            other = st.selectbox(
                "Show price ranges in this currency too",
                currencies,
                currencies.index(kept.other_currency) if kept.other_currency in currencies else 0,
                disabled=not may,
                help="At the reference rate of the European Central Bank on the day the prices hold at.",
            )
        if st.form_submit_button("Keep units and currency", disabled=not may):
            _keep(
                snapshot, replace(kept, distance_unit=unit, other_currency=None if other == NONE else other)
            )


def _ask_verdict(snapshot: Snapshot, kept: Settings, may: bool) -> None:
    """Where one word of the verdict on a price ends and the next begins."""
    st.header("Verdict on a price")
    st.caption(
        "Of 100 like cars, how many sell for less: up to which number a price is well below, below, about, "
        "and above what like cars fetch; beyond the last it is well above."
    )
    with st.form("verdict", border=False):
        limits = []
        for column, words, limit in zip(st.columns(4), VERDICTS[:-1], kept.verdict_limits, strict=True):
            with column:
                shown: dict[str, Any] = {"value": round(100 * limit), "disabled": not may}
                limits.append(
                    ask_number(f"{words.capitalize()}, up to", f"limit-{words}", "limit", 1, 99, **shown)
                )
        pressed = st.form_submit_button("Keep the limits", disabled=not may)
        told = [limit for limit in limits if limit is not None]
        if pressed and len(told) == len(limits):
            _keep(snapshot, replace(kept, verdict_limits=tuple(limit / 100 for limit in told)))


def _ask_labour(snapshot: Snapshot, kept: Settings, may: bool) -> None:
    """Country of the work, its labour rates and tax."""
    st.header("Labour rates", help=what_is("labour rate"))
    catalogue = catalogue_in_force(snapshot)
    countries = sorted(catalogue.tax)
    country = st.selectbox(
        "Country of the work",
        countries,
        countries.index(kept.country) if kept.country in countries else 0,
        format_func=country_words,
        key="settings_country",
    )
    currency = catalogue.labour_currency.get(country, catalogue.currency)
    with st.form(f"labour-{country}", border=False):
        columns = st.columns(3)
        rates = {}
        for place, kind in enumerate(LABOUR_KINDS):
            known = catalogue.labour.get((country, kind))
            with columns[place % 3]:
                rates[kind] = ask_amount_in(
                    currency, f"{kind.capitalize()}, an hour", f"rate-{country}-{kind}", "labour rate",
                    cost=True, value=None if known is None else f"{known:.2f}", disabled=not may,
                )  # fmt: skip
        st.caption(
            escaped(
                f"Without tax, which in the repair catalogue is {100 * catalogue.tax[country]:.3g}% for "
                f"{country_words(country)}. "
                f"{catalogue.notice}"
            )
        )
        if st.form_submit_button("Keep these rates and this country", disabled=not may):
            said = {kind: round(rate, 2) for kind, rate in rates.items() if rate is not None}
            _keep(snapshot, replace(kept, country=country, labour={**kept.labour, country: said}))


def _ask_catalogue(snapshot: Snapshot, kept: Settings, may: bool) -> None:
    """The repair catalogue: one file that a person edits."""
    st.header("Repair catalogue")
    whose = "the invented demo figures" if kept.catalogue is None else "your own figures"
    st.write(
        f"In use: {whose}. Jobs, parts, hours, tax and labour rates stand in one file that you can edit."
    )
    st.download_button(
        "Download the repair catalogue", catalogue_text(kept), "repair_catalogue.toml", "application/toml",
        on_click="ignore",
    )  # fmt: skip
    if not may:
        return
    own = st.file_uploader("Your repair catalogue", type="toml", max_upload_size=1, key="own_catalogue")
    with st.container(horizontal=True):
        if own is not None and st.button("Use this catalogue", type="primary"):
            text = own.getvalue()[: 4 * LONGEST_FILE].decode("utf-8", "replace")
            catalogue_of(text)
            _keep(snapshot, replace(kept, catalogue=text))
        if kept.catalogue is not None and st.button("Go back to the demo catalogue"):
            _keep(snapshot, replace(kept, catalogue=None))


def _ask_charges(snapshot: Snapshot, kept: Settings, may: bool) -> None:
    """The schedule of charges: premium, commission, fees, duty and tax, each with its dates."""
    st.header("Schedule of charges", help=what_is("premium"))
    schedule = schedule_in_force(snapshot)
    if schedule is None:
        st.write("None is in use: premium, commission, fees, duty and tax are left open on the other pages.")
    else:
        st.write(escaped(f"In use: {schedule.name}. {schedule.notice}"))
        rows = [
            {
                "source": charge.source,
                "kind": charge.kind,
                "valid_from": charge.valid_from,
                "valid_until": charge.valid_until,
                "currency": charge.currency,
                "rates": ", ".join(
                    f"{100 * tier.rate:.3g}%"
                    + ("" if tier.up_to is None else f" up to {number_words(tier.up_to)}")
                    for tier in charge.tiers
                ),
                "tax": float(100 * charge.tax),
            }
            for charge in schedule.charges
        ]
        show_table(
            pl.DataFrame(rows, infer_schema_length=None),
            "charges",
            {
                "source": "Who charges",
                "kind": "Kind",
                "valid_from": "From",
                "valid_until": "Until",
                "currency": "Currency",
                "rates": "Rates",
                "tax": st.column_config.NumberColumn("Tax on it (%)", format="%.3g"),
            },
            height="content",
        )
    st.download_button(
        "Download the schedule", charges_text(kept), "charges.toml", "application/toml", on_click="ignore"
    )
    if not may:
        return
    own = st.file_uploader("Your schedule of charges", type="toml", max_upload_size=1, key="own_charges")
    with st.container(horizontal=True):
        if own is not None and st.button("Use this schedule", type="primary"):
            text = own.getvalue()[: 4 * LONGEST_FILE].decode("utf-8", "replace")
            schedule_of_text(text)
            _keep(snapshot, replace(kept, charges=text))
        if kept.charges != EXAMPLE_CHARGES and st.button("Use the example rates"):
            _keep(snapshot, replace(kept, charges=EXAMPLE_CHARGES))
        if kept.charges is not None and st.button("Use no schedule"):
            _keep(snapshot, replace(kept, charges=None))


def _ask_roles(snapshot: Snapshot, kept: Settings, may: bool) -> None:
    """Who may do what, once people sign in."""
    st.header("People and roles")
    if people.signing_in() is not None:
        st.write(escaped(f"People sign in here; you are {people.person()}."))
        st.button("Sign out", on_click=st.logout)
    else:
        st.write(
            "People do not sign in by name here: whoever sits at this machine may do everything, where the "
            "server trusts it; others come in with tokens that `pricing token new` makes, each with its "
            "role. The handbook says for an operator how people sign in."
        )
    show_table(
        pl.DataFrame({"role": list(ROLES), "may": [people.may_words(acts) for acts in ROLES.values()]}),
        "roles",
        {"role": "Role", "may": "May"},
        height="content",
    )
    if not may:
        return
    rows = [{"person": person, "roles": ", ".join(held)} for person, held in kept.roles.items()]
    with st.form("roles", border=False):
        edited: Any = st.data_editor(
            pl.DataFrame(rows, schema={"person": pl.String, "roles": pl.String}),
            num_rows="dynamic",
            hide_index=True,
            column_config={
                "person": st.column_config.TextColumn(
                    f"Address that signs in, or {EVERYONE}", max_chars=254, required=True
                ),
                "roles": st.column_config.TextColumn(
                    "Roles, with commas between", max_chars=100, required=True
                ),
            },
            key="roles_table",
        )
        if st.form_submit_button("Keep people and roles"):
            roles = {
                row["person"].strip(): tuple(role.strip() for role in row["roles"].split(",") if role.strip())
                for row in edited.iter_rows(named=True)
                if row["person"] and row["roles"]
            }
            _keep(snapshot, replace(kept, roles=roles))
