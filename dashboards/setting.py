"""Settings: the market in use, units and currency, labour rates, schedules of charges, people and roles."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any, Final

import polars as pl
import streamlit as st

from dashboards import caches, people
from dashboards.asking.offer_terms import currency_choices
from dashboards.asking.typed_fields import ask_amount_in, ask_number
from dashboards.downloads import offer_file
from dashboards.page_layout import ask_market, finish, link, page, show_done
from dashboards.tables import AS_IT_IS, TableColumn, headings, show_table
from dashboards.text import write, write_small
from pricing.condition.catalogue import LABOUR_KINDS
from pricing.decisions.buy.verdict import VERDICTS
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
from pricing.words.language.reader import number_words

NONE: Final = "none"

_ACTS: Final = {
    "read": "look at every page, price and inspect cars",
    "load": "bring records in, correct them and take loads back",
    "appraise": "keep choices of evidence, and appraisals",
    "manage": "change settings, people and roles",
}
_CHARGE_COLUMNS: Final = {
    "source": TableColumn("Who charges"),
    **headings("kind"),
    "valid_from": TableColumn("From", AS_IT_IS),
    "valid_until": TableColumn("Until", AS_IT_IS),
    **headings("currency"),
}


def _ask_snapshot() -> Snapshot | None:
    st.markdown("[Handbook](/handbook/index.html)")
    snapshot = caches.snapshot()
    if snapshot is None:
        ask_market()
    return snapshot


@page("Settings", _ask_snapshot)
def show_page(snapshot: Snapshot) -> None:
    """What is set, and forms that change it, for whoever may."""
    show_done()
    settings, may = settings_of(snapshot), people.may("manage")
    if not may:
        st.info(
            "Your role lets you read the settings. To change them, ask whoever manages this market for "
            "the role manage."
        )
    _show_market(snapshot)
    _ask_units(snapshot, settings, may)
    _ask_verdict(snapshot, settings, may)
    _ask_labour(snapshot, settings, may)
    _ask_catalogue(snapshot, settings, may)
    _ask_charges(snapshot, settings, may)
    _ask_roles(snapshot, settings, may)


def _keep(snapshot: Snapshot, settings: Settings) -> None:
    snapshot.market.keep_settings(settings.texts())
    finish("The settings are kept.")


def _show_market(snapshot: Snapshot) -> None:
    st.header("Market in use")
    sales, loads = snapshot.sales(), snapshot.state.batches
    kind = "the invented demo market" if caches.is_demo(snapshot) else "your own market"
    write(
        f"{snapshot.path.name}, {kind}: {number_words(sales.height)} records, "
        f"{number_words(sales.filter(outcome='sold').height)} of them sales, from {loads} "
        f"{'load' if loads == 1 else 'loads'}. Newest fit: {snapshot.state.fit or 'none'}.",
        f"Base currency: {snapshot.base_currency}. {what_is('base currency')}",
    )
    st.caption(
        "Everything loaded from now on is brought to it; `pricing currency GBP` changes it and reckons every "
        "price anew."
    )
    link("records", "Load sale records")


def _ask_units(snapshot: Snapshot, settings: Settings, may: bool) -> None:
    st.header("Units and currency")
    others = [NONE, *(name for name in currency_choices() if name != snapshot.base_currency)]
    units, chosen = list(DISTANCE_UNITS), settings.other_currency
    with st.form("units", border=False):
        first, second = st.columns(2)
        unit = first.selectbox(
            "Odometers are read in", units, units.index(settings.distance_unit), disabled=not may
        )
        other = second.selectbox(
            "Show price ranges in this currency too",
            others,
            others.index(chosen) if chosen in others else 0,
            disabled=not may,
            help="At the reference rate of the European Central Bank on the day the prices hold at.",
        )
        if st.form_submit_button("Keep units and currency", disabled=not may):
            currency = None if other == NONE else other
            _keep(snapshot, replace(settings, distance_unit=unit, other_currency=currency))


def _ask_verdict(snapshot: Snapshot, settings: Settings, may: bool) -> None:
    """Where one word of the verdict on a price ends and the next begins."""
    st.header("Verdict on a price")
    st.caption(
        "Of 100 like cars, how many sell for less: up to which number a price is well below, below, about, "
        "and above what like cars fetch; beyond the last it is well above."
    )
    with st.form("verdict", border=False):
        limits = []
        for column, words, limit in zip(st.columns(4), VERDICTS[:-1], settings.verdict_limits, strict=True):
            with column:
                field: dict[str, Any] = {"value": round(100 * limit), "disabled": not may}
                limits.append(
                    ask_number(f"{words.capitalize()}, up to", f"limit-{words}", "limit", 1, 99, **field)
                )
        if st.form_submit_button("Keep the limits", disabled=not may) and None not in limits:
            numbers = tuple(limit / 100 for limit in limits if limit is not None)
            _keep(snapshot, replace(settings, verdict_limits=numbers))


def _ask_labour(snapshot: Snapshot, settings: Settings, may: bool) -> None:
    """Country of the work, its labour rates and tax."""
    st.header("Labour rates", help=what_is("labour rate"))
    catalogue = catalogue_in_force(snapshot)
    countries = sorted(catalogue.tax)
    country = st.selectbox(
        "Country of the work",
        countries,
        countries.index(settings.country) if settings.country in countries else 0,
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
        write_small(
            f"Without tax, which in the repair catalogue is {100 * catalogue.tax[country]:.3g}% for "
            f"{country_words(country)}. {catalogue.notice}"
        )
        if st.form_submit_button("Keep these rates and this country", disabled=not may):
            own_rates = {kind: round(rate, 2) for kind, rate in rates.items() if rate is not None}
            labour = {**settings.labour, country: own_rates}
            _keep(snapshot, replace(settings, country=country, labour=labour))


def _ask_catalogue(snapshot: Snapshot, settings: Settings, may: bool) -> None:
    """The repair catalogue: one file that a person edits."""
    st.header("Repair catalogue")
    whose = "the invented demo figures" if settings.catalogue is None else "your own figures"
    st.write(
        f"In use: {whose}. Jobs, parts, hours, tax and labour rates stand in one file that you can edit."
    )
    offer_file(
        "Download the repair catalogue", catalogue_text(settings), "repair_catalogue.toml", "application/toml"
    )
    if not may:
        return
    upload = st.file_uploader("Your repair catalogue", type="toml", max_upload_size=1, key="own_catalogue")
    with st.container(horizontal=True):
        if upload is not None and st.button("Use this catalogue", type="primary"):
            _keep(snapshot, replace(settings, catalogue=_text_of(upload, catalogue_of)))
        if settings.catalogue is not None and st.button("Go back to the demo catalogue"):
            _keep(snapshot, replace(settings, catalogue=None))


def _text_of(upload: Any, read: Callable[[str], Any]) -> str:
    """The text of a file that ``read`` does not refuse."""
    text = str(upload.getvalue()[: 4 * LONGEST_FILE].decode("utf-8", "replace"))
    read(text)
    return text


def _ask_charges(snapshot: Snapshot, settings: Settings, may: bool) -> None:
    """The schedule of charges: premium, commission, fees, duty and tax, each with its dates."""
    st.header("Schedule of charges", help=what_is("premium"))
    schedule = schedule_in_force(snapshot)
    if schedule is None:
        st.write("None is in use: premium, commission, fees, duty and tax are left open on the other pages.")
    else:
        write(f"In use: {schedule.name}. {schedule.notice}")
        rows = [
            {
                **{name: getattr(charge, name) for name in _CHARGE_COLUMNS},
                "rates": ", ".join(
                    f"{100 * tier.rate:.3g}%"
                    + ("" if tier.up_to is None else f" up to {number_words(tier.up_to)}")
                    for tier in charge.tiers
                ),
                "tax": float(100 * charge.tax),
            }
            for charge in schedule.charges
        ]
        columns = {**_CHARGE_COLUMNS, **headings("rates"), "tax": TableColumn("Tax on it (%)", "%.3g")}
        table = pl.DataFrame(rows, infer_schema_length=None)
        show_table(table, "charges", columns, height="content")
    offer_file("Download the schedule", charges_text(settings), "charges.toml", "application/toml")
    if not may:
        return
    upload = st.file_uploader("Your schedule of charges", type="toml", max_upload_size=1, key="own_charges")
    with st.container(horizontal=True):
        if upload is not None and st.button("Use this schedule", type="primary"):
            _keep(snapshot, replace(settings, charges=_text_of(upload, schedule_of_text)))
        if settings.charges != EXAMPLE_CHARGES and st.button("Use the example rates"):
            _keep(snapshot, replace(settings, charges=EXAMPLE_CHARGES))
        if settings.charges is not None and st.button("Use no schedule"):
            _keep(snapshot, replace(settings, charges=None))


def _ask_roles(snapshot: Snapshot, settings: Settings, may: bool) -> None:
    """Who may do what, once people sign in."""
    st.header("People and roles")
    if people.signing_in() is not None:
        write(f"People sign in here; you are {people.person()}.")
        st.button("Sign out", on_click=st.logout)
    else:
        st.write(
            "People do not sign in by name here: whoever sits at this machine may do everything, where the "
            "server trusts it; others come in with tokens that `pricing token new` makes, each with its "
            "role. The handbook says for an operator how people sign in."
        )
    rights = ["; ".join(words for act, words in _ACTS.items() if act in acts) for acts in ROLES.values()]
    table = pl.DataFrame({"role": list(ROLES), "may": rights})
    show_table(table, "roles", headings("role", "may"), height="content")
    if not may:
        return
    rows = [{"person": person, "roles": ", ".join(held)} for person, held in settings.roles.items()]
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
            _keep(snapshot, replace(settings, roles=roles))
