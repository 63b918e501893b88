"""Tables that were read from outside: what is wrong with one, in one sentence, and types that they share."""

from collections.abc import Mapping
from datetime import date
from typing import Annotated, Any, Final

from pydantic import BeforeValidator, Strict, ValidationError


def _day(answer: object) -> object:
    if not isinstance(answer, str):
        return answer
    try:
        return date.fromisoformat(answer)
    except ValueError:
        raise ValueError(f"got {answer[:80]!r}, expected a day such as 2026-06-30") from None


Day = Annotated[date, Strict(), BeforeValidator(_day)]
"""A day, as TOML has it or as ISO 8601 text; never a number or a time of day."""

_WANTED: Final = {
    "dataclass_type": "a table", "model_type": "a table", "dict_type": "a table", "list_type": "a list",
    "tuple_type": "a list", "string_type": "a text", "bool_type": "true or false",
}  # fmt: skip
"""What pydantic expected, in the words of whoever writes such a table."""


def sentence_of(error: ValidationError, content: Any = None, *, named_by: str = "", within: str = "") -> str:
    """The first thing that pydantic found wrong: where, what was expected, what is there.

    Args:
        error: what pydantic raised.
        content: what it was given.
        named_by: the field by which a row of a list of tables is named; one without it is named by its
            number, from 1.
        within: the name of the table that was given, where it was one of several.

    >>> from pydantic import TypeAdapter
    >>> content = {"check": [{"id": "sills", "weight": "heavy"}]}
    >>> try:
    ...     TypeAdapter(dict[str, list[dict[str, int]]]).validate_python({"check": [{"weight": "heavy"}]})
    ... except ValidationError as error:
    ...     print(sentence_of(error))
    ...     print(sentence_of(error, content, named_by="id"))
    check.0.weight should be a valid integer, unable to parse string as an integer; got 'heavy'
    check 'sills': weight should be a valid integer, unable to parse string as an integer; got 'heavy'
    """
    first = error.errors(include_url=False)[0]
    steps, whole = ((within, *first["loc"]), {within: content}) if within else (first["loc"], content)
    row, where = _place(steps, whole, named_by)
    if first["type"] == "missing":
        return f"{row}{where} is missing"
    if first["type"] in ("extra_forbidden", "unexpected_keyword_argument"):
        return f"{row}unknown key {where!r}"
    if first["type"] == "value_error":
        wrong = first["msg"].removeprefix("Value error, ")
        return f"{row}{where}: {wrong}" if where else f"{row}{wrong}"
    wanted = _WANTED.get(first["type"])
    wrong = f"should be {wanted}" if wanted else first["msg"].replace("Input should be", "should be")
    return f"{row}{where or 'it'} {wrong[0].lower()}{wrong[1:]}; got {str(first['input'])[:80]!r}"


def _place(steps: tuple[int | str, ...], content: Any, named_by: str) -> tuple[str, str]:
    """The row of a list of tables that steps lead to, by its name, and where in it; else nothing and all."""
    row, where = "", list[str]()
    for step in steps:
        if step == "[key]":
            continue
        try:
            content = content[step]
        except (IndexError, KeyError, TypeError):
            content = None
        if named_by and isinstance(step, int) and isinstance(content, Mapping):
            name = content.get(named_by)
            named = repr(name[:80]) if isinstance(name, str) and name else str(step + 1)
            row, where = f"{row}{'.'.join(where)} {named}: ".lstrip(), []
        else:
            where.append(str(step))
    return row, ".".join(where)
