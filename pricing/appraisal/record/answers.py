"""Answers of an appraisal record: each of a kind, read from whatever a file, a form or a command line has."""

from decimal import Decimal
from typing import Annotated, Any, Final

from pydantic import BeforeValidator, Field, Strict, StringConstraints, TypeAdapter, ValidationError

from pricing.errors import AppraisalError
from pricing.validation import Day

KINDS: Final = {
    "text": "a text", "texts": "a list of texts", "whole": "a whole number", "number": "a number",
    "day": "a day such as 2026-06-30", "amount": "an amount such as 12500", "yes or no": "true or false",
    "how": "lines of the form field = text", "per cent": "per cent above -95 and up to 100, such as -35",
}  # fmt: skip
"""The kinds of answers, and what is expected of each, in words."""

LONGEST_TEXT: Final = 20_000
"""Characters of one answer."""

MOST_TEXTS: Final = 200
"""Texts in a list of them."""


def _blank_as(nothing: object) -> BeforeValidator:
    """What is not said, or left blank, as the answer that says nothing."""
    return BeforeValidator(lambda answer: nothing if answer is None or answer == "" else answer)


def _no_truth(answer: object) -> object:
    if isinstance(answer, bool):
        raise ValueError("true and false are no numbers")
    return answer


_Text = Annotated[str, StringConstraints(strip_whitespace=True, max_length=LONGEST_TEXT)]
_Number = Annotated[Decimal, Field(ge=-(10**15), le=10**15), BeforeValidator(_no_truth)]

_READERS: Final[dict[str, TypeAdapter[Any]]] = {
    "text": TypeAdapter(Annotated[_Text, _blank_as("")]),
    "texts": TypeAdapter(Annotated[tuple[_Text, ...], Field(max_length=MOST_TEXTS), _blank_as(())]),
    "how": TypeAdapter(Annotated[dict[str, _Text], _blank_as({})]),
    "whole": TypeAdapter(
        Annotated[Annotated[int, Strict(), Field(ge=-100_000, le=100_000)] | None, _blank_as(None)]
    ),
    "number": TypeAdapter(Annotated[_Number | None, _blank_as(None)]),
    "amount": TypeAdapter(Annotated[Annotated[_Number, Field(ge=0)] | None, _blank_as(None)]),
    "per cent": TypeAdapter(Annotated[Annotated[_Number, Field(gt=-95, le=100)] | None, _blank_as(None)]),
    "day": TypeAdapter(Annotated[Day | None, _blank_as(None)]),
    "yes or no": TypeAdapter(Annotated[Annotated[bool, Strict()] | None, _blank_as(None)]),
}


def answer_of(where: str, kind: str, answer: Any) -> Any:
    """An answer, as TOML, JSON or a form has it, held as its kind: one of ``KINDS``; what is empty is none.

    >>> answer_of("assignment.premium_per_cent", "amount", 12.5)
    Decimal('12.5')

    Raises:
        AppraisalError: it is of another kind, too long, or out of bounds; the message begins with ``where``.
    """
    try:
        read = _READERS[kind].validate_python(answer)
    except ValidationError as error:
        wrong = error.errors(include_url=False)[0]
        if wrong["type"] == "string_too_long":
            length = f"{len(wrong['input'].strip()):,}"
            raise AppraisalError(
                f"{where}: a text has at most {LONGEST_TEXT:,} characters; got {length}"
            ) from None
        if wrong["type"] == "too_long":
            raise AppraisalError(
                f"{where}: a list has at most {MOST_TEXTS} texts; got {len(answer)}"
            ) from None
        raise AppraisalError(f"{where}: got {answer!r}, expected {KINDS[kind]}") from None
    return float(read) if kind == "number" and read is not None else read


def typed(answer: str, kind: str) -> Any:
    """A text typed on a command line, as its kind is written in a file.

    >>> typed("wire_wheels; overdrive", "texts"), typed("yes", "yes or no"), typed("1966", "whole")
    (['wire_wheels', 'overdrive'], True, 1966)
    """
    text = answer.strip()
    if kind == "texts":
        return [part.strip() for part in text.split(";") if part.strip()]
    if kind == "yes or no" and text in ("yes", "no", "true", "false"):
        return text in ("yes", "true")
    if kind == "whole":
        number = text.removesuffix(".0")  # as spreadsheets give whole numbers
        return int(number) if number.lstrip("-").isdecimal() else (text or None)
    return text
