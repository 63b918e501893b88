"""Facts as JSON answers: amounts as decimal texts, no number that JSON has no word for; long lists a page at
a time."""

from dataclasses import dataclass
from typing import Annotated, Any
from urllib.parse import urlencode

import polars as pl
import pydantic_core
from fastapi import Depends, Query
from pydantic import BaseModel, Field
from starlette.requests import Request
from starlette.responses import Response

from pricing.api.schemas import Row
from pricing.decisions.plain import plain


class JsonAnswer(Response):
    """Facts (dataclasses, frames, amounts, dates) as JSON; what is not a number is null."""

    media_type = "application/json"

    def render(self, content: Any) -> bytes:
        """The content as bytes of JSON; what is no number is null."""
        return pydantic_core.to_json(plain(content), inf_nan_mode="null")


class Page(BaseModel):
    """Some items of a list."""

    items: list[Row]
    total: int = Field(ge=0, description="Items of the whole list.")
    next: str | None = Field(
        description="Address of the next page.", examples=["/api/v1/batches?start=100&limit=100"]
    )


@dataclass(frozen=True)
class Paging:
    """Which page of a list a request is for."""

    request: Request
    start: int
    limit: int

    def answer(self, rows: pl.DataFrame) -> JsonAnswer:
        """That page of a frame; the address of the next keeps whatever else was requested."""
        following, end = None, self.start + self.limit
        if end < rows.height:
            queries = self.request.query_params.multi_items()
            others = [(name, value) for name, value in queries if name not in ("start", "limit")]
            queries = [*others, ("start", str(end)), ("limit", str(self.limit))]
            following = f"{self.request.url.path}?{urlencode(queries)}"
        return JsonAnswer({"items": rows[self.start : end], "total": rows.height, "next": following})


async def _paging(
    request: Request,
    start: Annotated[int, Query(ge=0, le=1_000_000_000, description="Place of the first item, from 0.")] = 0,
    limit: Annotated[int, Query(ge=1, le=1000, description="Items of a page at most.")] = 100,
) -> Paging:
    return Paging(request, start, limit)


Paged = Annotated[Paging, Depends(_paging)]
