"""What is done to a chart before it is drawn without a browser."""

from typing import Any

from pricing.words.locale import shown


def drawable(specification: Any) -> Any:
    """A chart in Vega-Lite's terms, any part of it, in whose texts nothing acts unseen.

    A text of the records may hold a character that XML cannot (XML 1.0, section 2.2), at which the converter
    of charts into pictures does not raise but ends the process.

    >>> drawable({"title": "Corvane\\x07", "width": 300})
    {'title': 'Corvane[U+0007]', 'width': 300}
    """
    if isinstance(specification, str):
        return shown(specification)
    if isinstance(specification, dict):
        return {shown(name): drawable(part) for name, part in specification.items()}
    return [drawable(part) for part in specification] if isinstance(specification, list) else specification
