"""Words of closed lists, as types that pydantic checks and OpenAPI shows."""

from dataclasses import dataclass
from typing import Any

from pydantic import GetCoreSchemaHandler
from pydantic_core import CoreSchema, core_schema


@dataclass(frozen=True)
class OneOf:
    """Beside ``str`` in ``Annotated``: one of these words.

    >>> from typing import Annotated
    >>> from pydantic import TypeAdapter
    >>> TypeAdapter(Annotated[str, OneOf(("km", "miles"))]).json_schema()
    {'enum': ['km', 'miles'], 'type': 'string'}
    """

    words: tuple[str, ...]

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.literal_schema(list(self.words))
