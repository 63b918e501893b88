"""Currencies at a date."""

from typing import Final

import pycountry

MINOR_UNITS: Final = {
    **dict.fromkeys("BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF".split(), 0),
    **dict.fromkeys("BHD IQD JOD KWD LYD OMR TND".split(), 3),
}
"""Decimal places of the currencies that do not have two (ISO 4217 list one; amounts are kept to three places)."""

WITHDRAWN_CURRENCIES: Final = frozenset(
    "ATS BEF BGN CYP DEM EEK ESP FIM FRF GRD HRK IEP ITL LTL LUF LVL MTL NLG PTE ROL SIT SKK TRL".split()
)
"""Currencies no longer in use that old sales were made in (ISO 4217 list three, a part)."""

CURRENCIES: Final = WITHDRAWN_CURRENCIES | {
    currency.alpha_3 for currency in pycountry.currencies if not currency.alpha_3.startswith(("XA", "XB", "XT"))
} - {"XDR", "XPD", "XPT", "XSU", "XUA", "XXX"} | {"XAF"}
"""ISO 4217 codes of money that a car can be paid in (metals, funds and test codes left out)."""

SMALL_UNIT_CURRENCIES: Final = frozenset(
    "BIF CLP COP GNF GRD HUF IDR IQD IRR ITL JPY KHR KRW LAK LBP MGA MMK PTE PYG ROL RSD RWF SLE TRL TZS UGX UZS VND "
    "XAF XOF".split()
)
"""Currencies whose unit is worth so little that a fine car costs millions of them."""
