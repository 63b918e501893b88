"""Ids of kept cars: what they look like, as a value and where one ends a path (``{car_id:kept_car}``), so
that no other path below ``/kept-cars`` is taken for a car."""

from typing import Annotated

from pydantic import Field
from starlette.convertors import Convertor, register_url_convertor

CarId = Annotated[str, Field(min_length=8, max_length=8, pattern="^[0-9a-f]+$")]


class _KeptCarConvertor(Convertor[str]):
    regex = "[0-9a-f]{8}"

    def convert(self, value: str) -> str:
        return value

    def to_string(self, value: str) -> str:
        return value


register_url_convertor("kept_car", _KeptCarConvertor())
