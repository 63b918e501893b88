"""One snapshot of a market in memory, for pages, API and decisions: sales, fit, and what is made of them."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Any, Final

import polars as pl

from pricing.car import Car
from pricing.car_fields import NAMES
from pricing.car_names import Names
from pricing.evidence.comparison.comparables_index import ComparablesIndex
from pricing.intake.duplicates import choose_primary_records
from pricing.memo import Memo
from pricing.model.opinion_bands import OpinionBands
from pricing.model.price_model import PriceModel
from pricing.model.saved import from_bytes
from pricing.store.market import Market
from pricing.store.state import StoredState

FITS_KEPT: Final = 5
"""Fits kept in memory, the newest and others that were asked for by name."""


@dataclass(frozen=True, eq=False)
class Snapshot:
    """A market at one moment. What is dear to make is made when it is first asked for, once.

    Frames and models are shared by all who ask: read them and never change them.

    Args:
        market: for what is written, and for what nobody keeps in memory.
        state: what is small, as it was at that moment.
        by_records: what was made of the records, shared by all snapshots of these records; ``by_names``: of
            records and opinions; ``by_fit``: of records and newest fit; ``by_write``: of anything; ``fits``:
            the fits by their ids.
    """

    market: Market
    state: StoredState
    by_records: Memo = field(default_factory=Memo, repr=False)
    by_fit: Memo = field(default_factory=Memo, repr=False)
    by_write: Memo = field(default_factory=Memo, repr=False)
    by_names: Memo = field(default_factory=Memo, repr=False)
    fits: Memo = field(default_factory=Memo, repr=False)

    @classmethod
    def of(cls, market: Market, model: PriceModel | None = None) -> "Snapshot":
        """The market as it is now; with ``model`` in the place of its newest fit."""
        snapshot = cls(market, market.state())
        return snapshot if model is None else snapshot.fitted(model)

    def fitted(self, model: PriceModel) -> "Snapshot":
        """The same market with another model in the place of its newest fit."""
        fits = Memo()
        fits.get(_fit_key(self.state, self.state.fit), lambda: model)
        return Snapshot(self.market, self.state, self.by_records, by_names=self.by_names, fits=fits)

    @property
    def path(self) -> Path:
        """The market file."""
        return self.market.path

    @property
    def base_currency(self) -> str:
        """The currency that all prices are in (ISO 4217)."""
        return self.state.base_currency

    def sales(self, as_of: date | None = None, *, every_record: bool = False) -> pl.DataFrame:
        """The sales and offers, as ``Market.sales`` gives them."""
        if as_of is None:
            key = "every record" if every_record else "sales"
            return self.by_records.get(key, lambda: self.market.sales(every_record=every_record))
        known = pl.col("event_date") <= as_of
        all_days = self.sales(every_record=every_record)
        if every_record or self.links.is_empty() or all_days.filter(~known).is_empty():
            return all_days.filter(known)
        return self.by_records.get(("as of", as_of), lambda: self._primary_as_of(as_of), most=2)

    def opinions(self, as_of: date | None = None) -> pl.DataFrame:
        """What people say, as ``Market.opinions`` gives it."""
        statements = self.by_names.get("opinions", self.market.opinions)
        return statements if as_of is None else statements.filter(pl.col("stated_on") <= as_of)

    def _primary_as_of(self, as_of: date) -> pl.DataFrame:
        """One record a sale, of those known on a day: a link holds once both its records are known."""
        known = self.sales(as_of, every_record=True)
        ids = known["record_id"].implode()
        links = self.links.filter(pl.col("record_id").is_in(ids), pl.col("other_id").is_in(ids))
        behind = choose_primary_records(known, links).filter(pl.col("record_id") != pl.col("primary_id"))
        return known.join(behind, on="record_id", how="anti", maintain_order="left")

    @property
    def links(self) -> pl.DataFrame:
        """The links that hold between records of one sale: record_id, other_id."""
        return self.by_records.get(
            "links",
            lambda: (
                self.market.duplicates().filter(pl.col("parted_at").is_null()).select("record_id", "other_id")
            ),
        )

    def of_model(self, make: str, model: str) -> "ModelRecords":
        """The records of one model of car, for a valuation, in which the rest of the market has no part."""
        return ModelRecords(self, make, model)

    @property
    def model(self) -> PriceModel:
        """The newest price model kept in the market. Raises ``MarketError`` where there is none."""
        return self.fit(self.state.fit)

    def fit(self, fit_id: str | None) -> PriceModel:
        """A kept price model by its id. Raises ``MarketError`` where there is none such."""
        return self.fits.get(
            _fit_key(self.state, fit_id), lambda: from_bytes(self.market.load_fit(fit_id)[0]), most=FITS_KEPT
        )

    @property
    def comparables_index(self) -> ComparablesIndex:
        """The sales laid out to be held against a car."""
        return self.by_fit.get(
            "comparables index",
            lambda: ComparablesIndex.build(self.sales(), self.model, currency=self.base_currency),
        )

    @property
    def opinion_alone(self) -> bool:
        """Whether prices rest on what people say alone, so that there is nothing to adjust sales by."""
        return isinstance(self.model, OpinionBands)

    @property
    def indexed(self) -> ComparablesIndex | None:
        """The sales laid out, for whoever does without where prices rest on opinions alone."""
        return None if self.opinion_alone else self.comparables_index

    def names(self, as_of: date | None = None) -> Names:
        """Makes, models and variants on record or spoken of, or so by a day, found by any spelling."""
        if as_of is None or not (
            (self.sales()["event_date"] > as_of).any() or (self.opinions()["stated_on"] > as_of).any()
        ):
            return self.by_names.get("names", lambda: Names.of(self.sales(), self.opinions()))
        return self.by_names.get(
            ("names", as_of), lambda: Names.of(self.sales(as_of), self.opinions(as_of)), most=2
        )

    def car(self, values: Mapping[str, Any], as_of: date | None = None) -> Car:
        """The car that is said, held to the names of the market; raises as ``Car.checked`` does."""
        return Car.checked(values, known=self.names(as_of), at=as_of)

    @property
    def counts(self) -> pl.DataFrame:
        """Every make, model and variant on record or spoken of and its number of ``sales``, by name."""
        return self.by_names.get("counts", self._counted)

    def _counted(self) -> pl.DataFrame:
        statements = self.opinions().select(*NAMES, outcome=pl.lit(None, dtype=pl.String))
        return (
            pl.concat([self.sales().select(*NAMES, "outcome"), statements])
            .group_by(NAMES)
            .agg(sales=(pl.col("outcome") == "sold").fill_null(False).sum())
            .sort(NAMES)
        )

    def can_value(self, fit_id: str) -> bool:
        """Whether cars can be valued by a fit without reading anything first."""
        return _fit_key(self.state, fit_id) in self.fits and "names" in self.by_names

    def make_ready(self, fit_id: str) -> None:
        """Read what it takes to value cars by a fit; raises as ``fit`` does."""
        self.fit(fit_id)
        self.names()

    def renewed(self, state: StoredState) -> "Snapshot":
        """The snapshot after a change: what the change has left as it was is not made anew."""
        before = self.state
        same_money = state.base_currency == before.base_currency
        same_records = same_money and state.records == before.records
        same_fit = same_records and _fit_key(before, before.fit) == _fit_key(state, state.fit)
        return Snapshot(
            self.market,
            state,
            self.by_records if same_records else Memo(),
            self.by_fit if same_fit else Memo(),
            by_names=self.by_names if same_records and state.opinions == before.opinions else Memo(),
            fits=self.fits if same_money else Memo(),
        )


def _fit_key(state: StoredState, fit_id: str | None) -> tuple[str, str | None, datetime | None]:
    """What a fit is kept in memory by: a file put in the place of another has other fits of the same ids."""
    return "fit", fit_id, None if fit_id is None else state.fitted_at.get(fit_id)


@dataclass(frozen=True)
class ModelRecords:
    """See ``Snapshot.of_model``."""

    snapshot: Snapshot
    make: str
    model: str

    @property
    def base_currency(self) -> str:
        """See ``Snapshot.base_currency``."""
        return self.snapshot.base_currency

    def sales(self, as_of: date | None = None) -> pl.DataFrame:
        """See ``Snapshot.sales``."""
        of_model = pl.col("make") == self.make, pl.col("model") == self.model
        return self.snapshot.sales(as_of).filter(*of_model)

    def opinions(self, as_of: date | None = None) -> pl.DataFrame:
        """See ``Snapshot.opinions``."""
        return self.snapshot.opinions(as_of)
