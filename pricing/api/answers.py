"""Facts as JSON answers: amounts as decimal texts, no number that JSON has no word for."""

from typing import Any

import pydantic_core
from starlette.responses import Response

from pricing.decisions.plain import plain


class Answer(Response):
    """Facts (dataclasses, frames, amounts, dates) as JSON; what is not a number is null."""

    media_type = "application/json"

    def render(self, content: Any) -> bytes:
        """The content as bytes of JSON; what is no number is null."""
        return pydantic_core.to_json(plain(content), inf_nan_mode="null")
