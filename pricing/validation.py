"""What is wrong with a table that was read from outside, in one sentence."""

from pydantic import ValidationError


def sentence_of(error: ValidationError) -> str:
    """The first thing that pydantic found wrong: where, what was expected, what is there.

    >>> from pydantic import TypeAdapter
    >>> try:
    ...     TypeAdapter(dict[str, int]).validate_python({"weight": "heavy"})
    ... except ValidationError as error:
    ...     print(sentence_of(error))
    weight should be a valid integer, unable to parse string as an integer; got 'heavy'
    """
    first = error.errors(include_url=False)[0]
    where = ".".join(str(part) for part in first["loc"] if part != "[key]")
    if first["type"] == "missing":
        return f"{where} is missing"
    if first["type"] in ("extra_forbidden", "unexpected_keyword_argument"):
        return f"unknown key {where!r}"
    told = first["msg"].removeprefix("Value error, ").replace("Input should be", "should be")
    if first["type"] == "value_error":
        return f"{where}: {told}" if where else told
    return f"{where} {told[0].lower()}{told[1:]}; got {str(first['input'])[:80]!r}"
