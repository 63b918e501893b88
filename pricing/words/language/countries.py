"""Countries by name, as people know them, and not by their codes."""

from functools import cache

import pycountry


@cache
def country_words(code: str) -> str:
    """The name of a country of ISO 3166-1 alpha-2; the code itself where there is none.

    >>> country_words("GB"), country_words("XX")
    ('United Kingdom', 'XX')
    """
    country = pycountry.countries.get(alpha_2=code)
    return code if country is None else str(getattr(country, "common_name", country.name))
