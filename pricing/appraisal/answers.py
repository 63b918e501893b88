"""Answers of an appraisal record: each of a kind, read from whatever a file, a form or a command line has."""

from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from typing import Any, Final

from pricing.errors import AppraisalError, PricingError

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


def answer_of(where: str, kind: str, answer: Any) -> Any:
    """An answer, as TOML, JSON or a form has it, held as its kind: one of ``KINDS``; what is empty is none.

    >>> answer_of("assignment.premium_per_cent", "amount", 12.5)
    Decimal('12.5')

    Raises:
        AppraisalError: it is of another kind, too long, or out of bounds; the message begins with ``where``.
    """
    try:
        read = _read(kind, answer)
    except (ValueError, InvalidOperation, TypeError):
        raise AppraisalError(f"{where}: got {answer!r}, expected {KINDS[kind]}") from None
    except PricingError as error:
        raise AppraisalError(f"{where}: {error}") from None
    return read


def _read(kind: str, answer: Any) -> Any:
    if kind == "text":
        return "" if answer is None else _text(answer)
    if kind == "texts":
        if answer is not None and not isinstance(answer, list | tuple):
            raise TypeError
        if answer is not None and len(answer) > MOST_TEXTS:
            raise AppraisalError(f"a list has at most {MOST_TEXTS} texts; got {len(answer)}")
        return tuple(_text(part) for part in answer or ())
    if kind == "how":
        return {str(name): _text(how) for name, how in dict(answer or {}).items()}
    if answer is None or answer == "":
        return None
    if kind == "day":
        if isinstance(answer, datetime):
            raise TypeError
        return answer if isinstance(answer, date) else date.fromisoformat(answer)
    if kind == "yes or no":
        if not isinstance(answer, bool):
            raise TypeError
        return answer
    if isinstance(answer, bool):
        raise TypeError
    if kind == "whole":
        if not isinstance(answer, int) or abs(answer) > 100_000:
            raise TypeError
        return answer
    amount = Decimal(str(answer))
    if not amount.is_finite() or (kind == "amount" and amount < 0) or abs(amount) > Decimal(10) ** 15:
        raise ValueError
    if kind == "per cent" and not -95 < amount <= 100:
        raise ValueError
    return float(amount) if kind == "number" else amount


def _text(answer: object) -> str:
    if not isinstance(answer, str):
        raise TypeError
    if len(answer) > LONGEST_TEXT:
        raise AppraisalError(f"a text has at most {LONGEST_TEXT:,} characters; got {len(answer):,}")
    return answer.strip()


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
