"""What every page stands in: the market it needs, what goes wrong as one sentence, the ways to other pages,
and a journey as a quiet line of steps: a buyer's, a seller's, a valuer's."""

import logging
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, nullcontext
from decimal import Decimal
from functools import wraps
from typing import Final, NamedTuple, TypeVar

import streamlit as st

from dashboards import caches, jobs, people, url_state
from dashboards.asking.car_form import ask_car
from dashboards.url_state import JOURNEY
from pricing.car import Car
from pricing.errors import PricingError
from pricing.evidence.comparison.comparables_index import ComparablesIndex
from pricing.failures import failure_code
from pricing.model.price_model import PriceModel
from pricing.operations.opening import standing_warning
from pricing.snapshot import Snapshot
from pricing.words.language.plain_text import escaped, sentence
from pricing.words.market_standing import INVENTED

AT_ONCE: Final = 60_000
"""Records up to which the sales are laid out while the person waits, which takes no longer than a glance."""

JOURNEYS: Final[dict[str, tuple[tuple[str, str], ...]]] = {
    "buying": (("position", "Car"), ("inspect", "Look"), ("mend", "Budget"), ("buy", "Verdict")),
    "selling": (("position", "Car"), ("inspect", "Condition"), ("sell", "Where and for how much")),
    "valuing": (
        ("position", "Car"),
        ("inspect", "Condition"),
        ("comparables", "Comparables"),
        ("appraisals", "Document"),
    ),
}
"""The pages of each journey, and what is done on each, in order."""

_LEADS_TO: Final = {
    step: journey
    for journey, steps in JOURNEYS.items()
    for step, _ in steps
    if step not in ("position", "inspect")
}
"""The journey of a page that belongs to one alone."""

_PAGES: Final = "pages"
_GOING: Final = "going_to"
_DONE: Final = "done"

_LOG: Final = logging.getLogger(__name__)

Needed = TypeVar("Needed")


class SubjectCar(NamedTuple):
    """A car of a market: what it is, and the asking price (base currency, all-in), if one is asked."""

    snapshot: Snapshot
    model: PriceModel
    car: Car
    asking: Decimal | None


def show_failure(error: BaseException) -> None:
    """Say that a page failed in a way that nobody foresaw, by a code that the server's log tells of."""
    code = failure_code(error)
    _LOG.error("unforeseen error %s", code, exc_info=error)
    st.error(
        f"This page failed in a way that nobody foresaw. Whoever looks after the server finds it in its log "
        f"under {code}; what was not finished has changed nothing. Load it again, or take another page."
    )


@contextmanager
def one_sentence(before: str = "") -> Iterator[None]:
    """What goes wrong as one sentence for the person, and in full in the log."""
    try:
        yield
    except PricingError as error:
        _LOG.warning("shown to a person: %s", error, exc_info=True)
        st.error(escaped(sentence(f"{before}{error}")))


def page(
    title: str, ask: Callable[[], Needed | None]
) -> Callable[[Callable[[Needed], None]], Callable[[], None]]:
    """A page under its title, shown once ``ask`` has what it needs; what goes wrong is one sentence."""

    def framed(show: Callable[[Needed], None]) -> Callable[[], None]:
        @wraps(show)
        def show_page() -> None:
            st.title(title)
            with one_sentence():
                needed = ask()
                if needed is not None:
                    show(needed)

        return show_page

    return framed


def finish(words: str) -> None:
    """Begin the page anew after something was done, which ``show_done`` then says."""
    st.session_state[_DONE] = words
    st.rerun()


def show_done() -> None:
    """What was done at the run before."""
    words = st.session_state.pop(_DONE, None)
    if words is not None:
        st.success(escaped(words))


def ask_market() -> tuple[Snapshot, PriceModel] | None:
    """The market and its newest price model; an invitation, and nothing, while either is missing."""
    snapshot = caches.snapshot()
    if snapshot is None:
        st.info("There are no sale records yet. Load a file of yours to begin.")
        link("records", "Load sale records")
        return None
    if snapshot.state.fit is None:
        st.info(
            "The records are there, but nothing was learnt from them yet. Go to the records and press "
            "Fit: after that every page answers."
        )
        link("records", "Go to the records and fit")
        return None
    if caches.is_demo(snapshot):
        with st.container(horizontal=True, vertical_alignment="center"):
            st.caption(INVENTED)
            link("records", "Load your own sale records")
    with st.spinner("Reading the market") if not snapshot.can_value(snapshot.state.fit) else nullcontext():
        snapshot.make_ready(snapshot.state.fit)
    _index_job(snapshot)
    warning = standing_warning(snapshot.state)
    if warning is not None and warning != INVENTED:
        st.caption(escaped(warning.removeprefix(f"{INVENTED} ")))
    return snapshot, snapshot.model


def ask_market_and_car(*, first: bool = False) -> SubjectCar | None:
    """The market, its newest price model and the car of the form, which stands open on the ``first`` page;
    nothing while one of them is missing."""
    market = ask_market()
    answer = None if market is None else ask_car(market[0], first=first)
    return None if market is None or answer is None else SubjectCar(*market, *answer)


def _index_job(snapshot: Snapshot) -> jobs.BackgroundJob | None:
    """The laying out of the sales where that is long work, begun before a page needs them, once for each
    state of the market."""
    if snapshot.opinion_alone or snapshot.sales().height <= AT_ONCE:
        return None
    key = f"comparables index {snapshot.path} {snapshot.state.records} {snapshot.state.fit}"
    return jobs.once(key, "Laying out the sales", lambda tell: snapshot.comparables_index)


def comparables_index(snapshot: Snapshot) -> ComparablesIndex | None:
    """The sales laid out to be held against a car; nothing, and a progress bar, while that is under way."""
    job = _index_job(snapshot)
    return snapshot.comparables_index if job is None or jobs.show(job) else None


def laid_out(snapshot: Snapshot) -> ComparablesIndex | None:
    """The sales laid out, if that is done or takes no time; nothing where no model was fitted to sales."""
    job = _index_job(snapshot)
    return snapshot.indexed if job is None or job.succeeded else None


def know_pages(pages: Mapping[str, st.Page]) -> None:
    """Remember the pages there are, each under its short name."""
    st.session_state[_PAGES] = dict(pages)


def link(page: str, words: str, **more: str) -> None:
    """A way to another page; the car goes along, and what ``more`` says in the address."""
    pages = st.session_state.get(_PAGES, {})
    if page in pages:
        st.page_link(pages[page], label=words, query_params={**url_state.query(), **more})


def go_to(page: str) -> None:
    """To another page with the next run, from a button's callback."""
    st.session_state[_GOING] = page


def going() -> st.Page | None:
    """The page that a button leads to, once."""
    page = st.session_state.pop(_GOING, None)
    return None if page is None else st.session_state[_PAGES].get(page)


def show_menu(page: st.Page) -> None:
    """The pages side by side at the top, or in a menu on a narrow window; the car goes along."""
    wide = st.container(key="pages", horizontal=True)
    narrow = st.container(key="menu").popover(page.title, icon=":material/menu:", key=f"menu-{page.url_path}")
    for place, menu in (("pages", wide), ("menu", narrow)):
        with menu:
            for other in st.session_state[_PAGES].values():
                st.page_link(other, label=other.title, query_params=url_state.query())
            people.show_way_out(place)


def show_steps(page: st.Page) -> None:
    """The line of steps of the journey that a person is on; nothing on pages of none."""
    journey, pages = st.session_state.get(JOURNEY), st.session_state[_PAGES]
    here = next((name for name, other in pages.items() if other.url_path == page.url_path), "")
    if journey not in JOURNEYS or all(here != step for step, _ in JOURNEYS[journey]):
        journey = _LEADS_TO.get(here)
    if journey is None:
        return
    with st.container(horizontal=True, key="steps"):
        for place, (step, words) in enumerate(JOURNEYS[journey], start=1):
            if step == here:
                st.markdown(f"**{place}. {words}**")
            else:
                link(step, f"{place}. {words}", journey=journey)


def show_journeys() -> None:
    """Where a person goes from the first page with this car."""
    st.header("What is it for?")
    with st.container(horizontal=True, key="journeys"):
        for journey, words in (
            ("buying", "I may buy it"),
            ("selling", "I may sell it"),
            ("valuing", "I value it"),
        ):
            link(JOURNEYS[journey][1][0], words, journey=journey)
        link("comparables", "See comparable sales")
