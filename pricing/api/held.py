"""The market as a server process holds it in memory: sales and fit, renewed when the market has changed."""

import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any, Final

import polars as pl

from pricing.api.problems import ProblemError
from pricing.car import Car, Names
from pricing.decisions.selling_evidence import SellingEvidence, selling_evidence
from pricing.errors import CarError, MarketError
from pricing.evidence.sales_book import SalesBook
from pricing.model.price_model import PriceModel
from pricing.model.saved import from_bytes, load
from pricing.operations.settings import Settings
from pricing.store.market import Market
from pricing.store.place import is_copy
from pricing.store.settings import read_settings
from pricing.store.state import StoredState, read_state
from pricing.store.tokens import Token, tokens_in_force

LOOK_SECONDS: Final = 0.25
"""Between two looks at whether the market has changed."""

LOOK_SECONDS_AWAY: Final = 2.0
"""The same where a look is a question to another machine."""

HURRIED_SECONDS: Final = 0.0
"""How long a renewal waits for a writer while there is an older state to answer from."""

FITS_KEPT: Final = 4
"""Fits, beside the newest, that were asked for by name and are kept in memory."""


@dataclass(frozen=True, eq=False)
class View:
    """The market at one moment. What is dear to make is made when it is first asked for, once."""

    market: Market
    state: StoredState
    _made: dict[str, Any] = field(default_factory=dict, repr=False)
    _lock: threading.RLock = field(default_factory=threading.RLock, repr=False)

    @property
    def base_currency(self) -> str:
        return self.market.base_currency

    def sales(self, as_of: date | None = None) -> pl.DataFrame:
        """The sales, as ``Market.sales`` gives them."""
        frame: pl.DataFrame = self._once("sales", self.market.sales)
        return frame if as_of is None else frame.filter(pl.col("event_date") <= as_of)

    def every_record(self) -> pl.DataFrame:
        """All records, those too that stand behind a better one of the same sale."""
        frame: pl.DataFrame = self._once("every record", lambda: self.market.sales(every_record=True))
        return frame

    @property
    def model(self) -> PriceModel:
        """The newest price model kept in the market.

        Raises:
            MarketError: there is none.
        """
        model: PriceModel = self._once("model", lambda: load(self.market, self.state.fit))
        return model

    def fit(self, fit_id: str) -> PriceModel:
        """A kept price model by its id.

        Raises:
            MarketError: there is none such.
        """
        if fit_id == self.state.fit:
            return self.model
        model: PriceModel = self._once(f"fit {fit_id}", lambda: from_bytes(self.market.load_fit(fit_id)[0]))
        with self._lock:
            kept = [name for name in self._made if name.startswith("fit ")]
            for name in kept[:-FITS_KEPT]:
                del self._made[name]
        return model

    def can_value(self, fit_id: str) -> bool:
        """Whether cars can be valued by a fit without reading anything first."""
        name = "model" if fit_id == self.state.fit else f"fit {fit_id}"
        return name in self._made and "names" in self._made

    def make_ready(self, fit_id: str) -> None:
        """Read what it takes to value cars by a fit; raises as ``fit`` does."""
        self.fit(fit_id)
        _ = self.names

    @property
    def book(self) -> SalesBook:
        """The sales laid out to be held against a car."""
        book: SalesBook = self._once(
            "book", lambda: SalesBook.build(self.sales(), self.model, currency=self.base_currency)
        )
        return book

    @property
    def selling(self) -> SellingEvidence:
        """What the records say of how cars sell; made once, which takes about as long as a fit."""
        evidence: SellingEvidence = self._once("selling", lambda: selling_evidence(self.market, self.model))
        return evidence

    @property
    def names(self) -> Names:
        """The makes, models and variants on record."""
        names: Names = self._once("names", lambda: Names.of(self.sales()))
        return names

    def names_asked(self, make: str | None, model: str | None) -> dict[str, str]:
        """Make and model, where they are asked for, as the market spells them.

        Raises:
            ProblemError: 404 where it has none such, 422 for a model without its make.
        """
        try:
            return self.names.where(make, model)
        except CarError as error:
            raise ProblemError(422 if make is None else 404, str(error)) from None

    def where(self, make: str | None, model: str | None) -> list[pl.Expr]:
        """The same as filters of a frame of sales."""
        return [pl.col(name) == part for name, part in self.names_asked(make, model).items()]

    def car(self, said: Mapping[str, Any], as_of: date | None) -> Car:
        """The car that is said, held to the names of the market; raises as ``Car.checked`` does."""
        return Car.checked(said, known=self.names, at=as_of)

    @property
    def counts(self) -> pl.DataFrame:
        """Every make, model and variant on record with its number of ``sales``."""
        counts: pl.DataFrame = self._once(
            "counts",
            lambda: (
                self.sales()
                .group_by("make", "model", "variant")
                .agg(sales=(pl.col("outcome") == "sold").sum())
                .sort("make", "model", "variant")
            ),
        )
        return counts

    @property
    def fit_ids(self) -> tuple[str, ...]:
        """The ids of the fits kept, oldest first."""
        ids: tuple[str, ...] = self._once("fit ids", lambda: tuple(self.market.fits()["fit_id"]))
        return ids

    @property
    def tokens(self) -> Mapping[str, Token]:
        """The tokens in force, by digest."""
        tokens: Mapping[str, Token] = self._once("tokens", lambda: tokens_in_force(self.market.path))
        return tokens

    @property
    def settings(self) -> Settings:
        """The settings kept in the market."""
        settings: Settings = self._once("settings", lambda: Settings.read(read_settings(self.market.path)))
        return settings

    def _once(self, name: str, make: Callable[[], Any]) -> Any:
        found = self._made.get(name)
        if found is None:
            with self._lock:
                found = self._made.get(name)
                if found is None:
                    found = self._made[name] = make()
        return found

    def carried_over(self, market: Market, state: StoredState, tokens: Mapping[str, Token]) -> "View":
        """The view after a change: what the change has left as it was is not made anew."""
        kept: dict[str, Any] = {}
        if state.records == self.state.records:
            kept = {
                name: part
                for name, part in self._made.items()
                if name in ("sales", "every record", "names", "counts")
            }
            if state.fit == self.state.fit:
                kept |= {name: self._made[name] for name in ("book", "selling") if name in self._made}
        if state.fit == self.state.fit and "model" in self._made:
            kept["model"] = self._made["model"]
        return View(market, state, _made=kept | {"tokens": tokens})


class Held:
    """Keeps the view of one market; any thread may ask."""

    def __init__(self, place: str) -> None:
        """``place``: a market file, or the address of a server."""
        self.place = place
        self._lock = threading.Lock()
        self._view: View | None = None
        self._stamp: object = None
        self._next_look = 0.0

    @property
    def due(self) -> bool:
        """Whether ``view`` would look at the market; if not, it answers at once."""
        return self._view is None or time.monotonic() >= self._next_look

    def view(self) -> View:
        """The market as it is, or as it was a moment ago; while another process writes, as it was before.

        Raises:
            MarketError: there is no market, or it cannot be opened.
        """
        view = self._view
        if view is not None and time.monotonic() < self._next_look:
            return view
        if view is not None and not self._lock.acquire(blocking=False):
            return view
        if view is None:
            self._lock.acquire()
        try:
            return self._look()
        finally:
            self._lock.release()

    def forget(self) -> None:
        """Look at the market again at the next question: this process has written to it."""
        with self._lock:
            self._next_look = 0.0

    def _look(self) -> View:
        if self._view is None:
            market = Market.open(self.place, create=False)
            stamp = _stamp(market.path)
            self._view, self._stamp = View(market, read_state(market.path)), stamp
        else:
            market = self._view.market
            stamp = _stamp(market.path)
            if stamp != self._stamp:
                self._renew(market, stamp)
        away = is_copy(market.path)
        self._next_look = time.monotonic() + (LOOK_SECONDS_AWAY if away else LOOK_SECONDS)
        return self._view

    def _renew(self, market: Market, stamp: object) -> None:
        """Take in what has changed; a market that is being written to, or is away, is left for the next
        look."""
        if self._view is None:
            return
        try:
            state = read_state(market.path, timeout=HURRIED_SECONDS)
            tokens = tokens_in_force(market.path, timeout=HURRIED_SECONDS)
        except MarketError:
            if not market.path.exists():
                raise
            return
        self._view, self._stamp = self._view.carried_over(market, state, tokens), stamp


def _stamp(path: Path) -> object:
    """What changes with any write: size and time of the file and of what is written ahead of it. A local copy
    of a server's market is asked for every time."""
    if is_copy(path):
        return object()
    found: list[tuple[int, int, int] | None] = []
    for file in (path, path.with_name(path.name + ".wal")):
        try:
            known = file.stat()
            found.append((known.st_ino, known.st_mtime_ns, known.st_size))
        except OSError:
            found.append(None)
    return tuple(found)
