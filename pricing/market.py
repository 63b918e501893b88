"""The market as a program in Python meets it: the store's, with the fits kept in it and the questions that
people ask of it. Each method asks the same function as every other door."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

from pricing.appraisal.record.form import read_form
from pricing.appraisal.record.record import read_record
from pricing.appraisal.register import Entry, enter, read
from pricing.car import Car
from pricing.decisions.valuation import Valuation, value_car
from pricing.errors import MarketError
from pricing.evidence.comparison.comparables import COUNT, Comparables, find_comparables
from pricing.evidence.comparison.comparables_index import ComparablesIndex
from pricing.evidence.indices.index import PriceIndex, price_index
from pricing.model.price_model import PriceModel
from pricing.model.saved import load
from pricing.operations.appraisal_files import evidence_for
from pricing.operations.opening import fitted_market
from pricing.snapshot import Snapshot
from pricing.snapshot_source import source_of
from pricing.store.market import Market as StoredMarket


class Market(StoredMarket):
    """One market file, opened by ``Market.open``: its records, the fits kept in it, and what people ask.

    >>> import tempfile
    >>> from pathlib import Path
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     Market.open(Path(folder) / "market.duckdb").model()  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    pricing.errors.MarketError: ... holds no fitted model; fit one first
    """

    def model(self, fit: str | None = None) -> PriceModel:
        """A fit that the market keeps, the newest unless an id of ``fits()`` is given.

        Raises:
            MarketError: it keeps no such fit.
            ModelError: the fit is of another format, or was altered.
        """
        return load(self, fit)

    def value(
        self,
        car: Car | Mapping[str, Any],
        *,
        asking: Decimal | None = None,
        as_of: date | None = None,
        coverage: float = 0.8,
        fit: str | None = None,
    ) -> Valuation:
        """What one car would sell for, as ``pricing value`` prints it. For many cars, ask ``model()``.

        Args:
            car: what is said of it, by the names of ``pricing.car_fields.FIELDS``: make, model and year at
                least.
            asking: an asking price, all-in, in the market's base currency.
            as_of: the effective date; the last sale's when not given. For one before the newest fit's last
                sale a model is fitted to what was known then, and not kept.
            coverage: share of like cars that low to high is to hold.
            fit: the id of a kept fit; the newest when not given.

        Raises:
            MarketError: the market keeps no such fit.
            CarError: the market does not know the car, or it cannot be.
        """
        snapshot = fitted_market(self.path, as_of, fit)
        checked = self._car(snapshot, car, as_of)
        return value_car(snapshot, snapshot.model, checked, asking=asking, as_of=as_of, coverage=coverage)

    def comparables(
        self,
        car: Car | Mapping[str, Any],
        *,
        as_of: date | None = None,
        count: int = COUNT,
        coverage: float = 0.8,
    ) -> Comparables:
        """The sales most like a car, adjusted to it line by line, and what they come to together; ``car``,
        ``as_of`` and ``coverage`` as for ``value``.

        Raises:
            MarketError: the market keeps no fit.
            CarError: the market does not know the car, or it cannot be.
            EvidenceError: there are too few sales.
        """
        snapshot = fitted_market(self.path, as_of)
        checked = self._car(snapshot, car, as_of)
        indexed = ComparablesIndex.build(
            snapshot.sales(as_of), snapshot.model, currency=snapshot.base_currency
        )
        return find_comparables(indexed, checked, as_of=as_of, count=count, coverage=coverage)

    def index(
        self, make: str | None = None, model: str | None = None, *, as_of: date | None = None, **asked: Any
    ) -> PriceIndex:
        """How prices moved at constant quality, of the whole market, a make or a model; ``asked`` as
        ``pricing.evidence.indices.index.price_index`` takes it: ``method``, ``period``, ``coverage`` and so
        on.

        Raises:
            CarError: the market does not know the make or the model.
            EvidenceError: there are too few sales.
        """
        snapshot = source_of(self.path).newest()
        return price_index(snapshot.sales(as_of), where=snapshot.names(as_of).where(make, model), **asked)

    def appraise(self, record: str | Path | Mapping[str, Any], *, by: str, reason: str = "entered") -> Entry:
        """Enter an appraisal and freeze the evidence for it; returns the entry.

        Args:
            record: a form (TOML, see ``pricing appraise new --blank``), or its sections as mappings.
            by: who does this; goes into the log.

        Raises:
            AppraisalError: the record makes no sense.
            PricingError: the evidence cannot be had.
        """
        entered = read_record(record) if isinstance(record, Mapping) else read_form(Path(record))
        (name,) = enter(self, [(entered, evidence_for(self.path, entered))], by=by, reason=reason)
        return read(self, name)

    def _car(self, snapshot: Snapshot, car: Car | Mapping[str, Any], at: date | None) -> Car:
        if isinstance(car, Car):
            return car
        if not isinstance(car, Mapping):
            raise MarketError(f"a car is a Car or a mapping of what is said of it; got {type(car).__name__}")
        return snapshot.car(car, at)
