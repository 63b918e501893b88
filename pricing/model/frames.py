"""Frames of other libraries, taken where a polars frame is."""

from typing import Any, Protocol

import polars as pl

from pricing.errors import TableError


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
