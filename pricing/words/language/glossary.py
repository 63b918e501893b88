"""What each term on a page means, in a sentence or two: the "what is this" beside it."""

from typing import Final

from pricing.errors import PricingError

TERMS: Final[dict[str, str]] = {
    "adjustment": "What a difference between the car sold and this car is worth, as a part of the price.",
    "all-in": "All that a buyer pays: the price with any premium and its tax.",
    "appraisal": "A reasoned opinion of value at a date, for a purpose, with the evidence behind it.",
    "asking price": "What a seller asks; it is no sale, and sales come out lower more often than not.",
    "base currency": "The currency that every price of this market is reckoned in, at the rate of its day.",
    "basis": "What an amount includes: the hammer price alone, all that the buyer pays, or what the seller "
    "keeps.",
    "batch": "The files that were loaded together; a batch can be taken back as a whole.",
    "COD": "Coefficient of dispersion: how far mid prices over prices paid stray from their median, on "
    "average, in per cent.",
    "comparable sale": "A sale of a car much like this one, brought to this car and to today line by line.",
    "condition band": "One of four steps of condition: project, solid restorable, average, top condition.",
    "condition score": "Condition from 0 to 100, from what was found at every check; each quarter is a band.",
    "coverage": "How often ranges hold the price that is paid: of 100 ranges of 80%, some 80 should.",
    "estimate": "The range of hammer prices that a sale room names before the sale.",
    "evidence depth": "How much is on record about cars like this one; the less, the wider the range.",
    "fit": "Learning the price model from the sales on record; it is kept, and made anew when records "
    "change.",
    "hammer price": "What the auctioneer called out at the end; the buyer pays a premium on top.",
    "how near": "Whether a sale is of the same variant, the same model, the same make, or of another make.",
    "index": "How prices moved while the cars stayed the same, the first period being 100.",
    "labour rate": "What an hour of that kind of work costs, without tax.",
    "low": "One car in ten like this one sells for less than the low price.",
    "high": "One car in ten like this one sells for more than the high price.",
    "mid": "Half of the cars like this one sell for less than the mid price, and half for more.",
    "mapping": "Which column of a file is which of ours, in what units and what order of dates.",
    "matching numbers": "Engine and chassis numbers that belong together, and how that is known.",
    "net and in all": "Adjustments added up with their signs, and without: the second says how unlike the "
    "cars are.",
    "net proceeds": "What is left for the seller after commission, fees and tax.",
    "option": "Equipment or a later change that the sale records tell apart.",
    "PRB": "Price-related bias: by how much the ratio changes each time the value doubles.",
    "PRD": "Price-related differential: above 1, dear cars are priced low beside cheap ones.",
    "premium": "What the sale room charges the buyer on top of the hammer price.",
    "quarantine": "Rows that broke a rule of the record contract: kept, listed, and waiting to be mended.",
    "range": "From low to high: where 80 of 100 cars like this one sell.",
    "ratio study": "How mid prices stand to prices paid: their level, their scatter, and whether dear cars "
    "differ.",
    "repair budget": "What it takes to put right what was found, and what may hide where nobody looked.",
    "reserve": "The lowest hammer price at which the seller has agreed to sell.",
    "standing": "The share of cars like this one that would sell for less than the price asked.",
    "suspicion": "A record that breaks no rule and is odd against the market, such as a price far off.",
    "weight": "How much a sale counts in the value: more for a recent sale of a car much like this one.",
}


def what_is(term: str) -> str:
    """What a term means.

    Raises:
        PricingError: the glossary has no such term.

    >>> what_is("mid")
    'Half of the cars like this one sell for less than the mid price, and half for more.'
    """
    if term not in TERMS:
        raise PricingError(f"the glossary has no term {term!r}")
    return TERMS[term]
