"""Long lists a page at a time."""

from typing import Annotated, Any
from urllib.parse import urlencode

import polars as pl
from fastapi import Query
from pydantic import BaseModel, Field
from starlette.requests import Request

from pricing.api.schemas import Row

Start = Annotated[int, Query(ge=0, le=1_000_000_000, description="Place of the first item, from 0.")]
Limit = Annotated[int, Query(ge=1, le=1000, description="Items of a page at most.")]


class Page(BaseModel):
    """Some items of a list."""

    items: list[Row]
    total: int = Field(ge=0, description="Items of the whole list.")
    next: str | None = Field(
        description="Address of the next page.", examples=["/api/v1/batches?start=100&limit=100"]
    )


def page(request: Request, rows: pl.DataFrame, start: int, limit: int) -> dict[str, Any]:
    """A page of a frame; its next page keeps whatever else was asked for."""
    following = None
    if start + limit < rows.height:
        asked = [
            (name, value)
            for name, value in request.query_params.multi_items()
            if name not in ("start", "limit")
        ]
        following = f"{request.url.path}?{urlencode([*asked, ('start', start + limit), ('limit', limit)])}"
    return {"items": rows[start : start + limit], "total": rows.height, "next": following}
