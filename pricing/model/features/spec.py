"""Which columns of a frame play which part in the price model, and frames of other libraries."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Protocol, Self

import numpy as np
import polars as pl

from pricing.arrays import Floats
from pricing.errors import ModelError, TableError
from pricing.vocabulary import CONDITION_BANDS


@dataclass(frozen=True)
class FeatureSpec:
    """The part each column plays; any part may be empty but ``price``.

    Args:
        groups: nested groups, coarsest first, such as make, model and variant.
        condition: ordered condition column; its values are ``condition_bands``, worst first, null when
        ungraded.
        condition_score: continuous score, 0-100, refining the band where it is known.
        options: yes/no columns, each an option with a price of its own.
        option_lists: columns holding a list of option codes.
        numerics: columns with a smooth effect, such as year and odometer reading.
        categories: unordered columns, such as channel and country; null is a value of its own.
        event_date: date of the sale.
        price: the price, positive, in one currency and on one basis.
        outcome: column telling sold, unsold, asking and withdrawn apart; without it every row is a sale.
        lower_price: for an unsold row, a price the market is known to have offered.
        upper_price: for an unsold row, a price the market is known not to have given.
        asking_by: category on which the gap between asking and sold prices depends.

    Raises:
        ModelError: a column is named twice, no price column is named, or ``asking_by`` is no category.

    >>> FeatureSpec(price="price", groups=("make",)).groups
    ('make',)
    """

    price: str = "price"
    groups: tuple[str, ...] = ()
    condition: str | None = None
    condition_bands: tuple[str, ...] = CONDITION_BANDS
    condition_score: str | None = None
    options: tuple[str, ...] = ()
    option_lists: tuple[str, ...] = ()
    numerics: tuple[str, ...] = ()
    categories: tuple[str, ...] = ()
    event_date: str | None = None
    outcome: str | None = None
    lower_price: str | None = None
    upper_price: str | None = None
    asking_by: str | None = None

    def __post_init__(self) -> None:
        if not self.price:
            raise ModelError("a feature spec needs a price column; got none")
        named = [self.price, *self.features, *([self.event_date] if self.event_date else [])]
        twice = sorted({name for name in named if named.count(name) > 1})
        if twice:
            raise ModelError(f"each column plays one part in a feature spec; named twice: {', '.join(twice)}")
        if self.asking_by is not None and self.asking_by not in self.categories:
            raise ModelError(
                f"asking_by is one of the categories ({', '.join(self.categories) or 'there are none'}); "
                f"got {self.asking_by!r}"
            )

    @classmethod
    def cars(cls) -> Self:
        """The spec of the sale-record contract.

        >>> FeatureSpec.cars().groups
        ('make', 'model', 'variant')
        """
        return cls(
            price="price",
            groups=("make", "model", "variant"),
            condition="condition_band",
            condition_score="condition_score",
            option_lists=("options",),
            numerics=("year", "odometer_km"),
            categories=("channel", "country", "drive_side", "body_style", "matching_numbers", "history_file"),
            event_date="event_date",
            outcome="outcome",
            lower_price="lower_price",
            upper_price="upper_price",
            asking_by="channel",
        )

    @property
    def features(self) -> tuple[str, ...]:
        """Columns that describe a car, the date of the sale aside."""
        condition = [name for name in (self.condition, self.condition_score) if name]
        return (*self.groups, *condition, *self.options, *self.option_lists, *self.numerics, *self.categories)

    def days(self, frame: pl.DataFrame) -> Floats:
        """Day of each prepared row, since 1970; nought throughout where the spec has no dates."""
        if not self.event_date:
            return np.zeros(len(frame))
        return frame[self.event_date].to_physical().cast(pl.Float64).to_numpy()

    def prepared(self, frame: pl.DataFrame) -> pl.DataFrame:
        """The feature columns alone, in the types the design works on; absent columns are null throughout.

        Raises:
            TableError: a column has a type that cannot play its part.
        """
        types: dict[str, Any] = {
            **dict.fromkeys(self.groups + self.categories, pl.String),
            **({self.condition: pl.String} if self.condition else {}),
            **({self.condition_score: pl.Float64} if self.condition_score else {}),
            **dict.fromkeys(self.options + self.numerics, pl.Float64),
            **dict.fromkeys(self.option_lists, pl.List(pl.String)),
            **({self.event_date: pl.Date} if self.event_date else {}),
        }
        columns = [
            (pl.col(name) if name in frame.columns else pl.lit(None).alias(name)).cast(dtype)
            for name, dtype in types.items()
        ]
        try:
            return frame.select(columns) if columns else frame.select()
        except pl.exceptions.PolarsError as error:
            raise TableError(
                f"a column cannot play its part in the model: {str(error).splitlines()[0]}"
            ) from None

    def to_dict(self) -> dict[str, Any]:
        """The spec as plain values, for a saved fit."""
        return asdict(self)

    @classmethod
    def from_dict(cls, values: Mapping[str, Any]) -> Self:
        """The inverse of :meth:`to_dict`.

        >>> FeatureSpec.from_dict(FeatureSpec.cars().to_dict()) == FeatureSpec.cars()
        True
        """
        return cls(**{name: _frozen(value) for name, value in values.items()})


def _frozen(value: Any) -> Any:
    return tuple(value) if isinstance(value, Sequence) and not isinstance(value, str) else value


class ArrowFrame(Protocol):
    """A frame that is handed on by Arrow's PyCapsule interface, such as one of pandas or pyarrow."""

    def __arrow_c_stream__(self, requested_schema: Any = None) -> Any: ...


Frame = pl.DataFrame | pl.LazyFrame | ArrowFrame


def as_polars(frame: Frame) -> pl.DataFrame:
    """A polars frame from one of polars, pandas, pyarrow or any other library that hands frames on by Arrow's
    PyCapsule interface; what such a library takes for "not there" is null.

    Raises:
        TableError: it is no frame.

    >>> as_polars(pl.LazyFrame({"year": [1966]})).shape
    (1, 1)
    >>> as_polars({"year": [1966]})
    Traceback (most recent call last):
    pricing.errors.TableError: expected a frame of polars, pandas or pyarrow; got dict
    """
    if isinstance(frame, pl.DataFrame):
        return frame
    if isinstance(frame, pl.LazyFrame):
        return frame.collect()
    if not hasattr(frame, "__arrow_c_stream__") or isinstance(frame, pl.Series):
        raise TableError(f"expected a frame of polars, pandas or pyarrow; got {type(frame).__name__}")
    try:
        return pl.DataFrame(frame)
    except (ValueError, TypeError, pl.exceptions.PolarsError) as error:
        raise TableError(f"the frame cannot be read: {str(error).splitlines()[0]}") from None
