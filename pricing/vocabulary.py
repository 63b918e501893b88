"""The closed lists: every word that a record, a model term or a page may use for a state of the world.

The order of ``CONDITION_BANDS`` is the order of price: each band is worth no less than the one before it.
"""

from typing import Final

CONDITION_BANDS: Final = ("project", "solid restorable", "average", "top condition")
"""Condition bands, worst first."""

BAND_EDGES: Final = (0.0, 25.0, 50.0, 75.0, 100.0)
"""Edges of the condition score (0-100): band ``k`` holds the scores in ``[BAND_EDGES[k], BAND_EDGES[k +
1])``, the last one its upper edge too."""

OUTCOMES: Final = ("sold", "unsold", "asking", "withdrawn")
"""What came of an offer. Only ``sold`` is a price; ``withdrawn`` is no evidence."""

CHANNELS: Final = ("auction", "dealer", "private")
"""Where the car was offered."""

PRICE_BASES: Final = ("hammer", "all-in", "net", "asking")
"""What an amount includes: the hammer price alone; all that the buyer pays; what the seller keeps; what is
asked."""

SPANS: Final = {"half": 0.5, "eight in ten": 0.8, "nearly all": 0.95}
"""What a stated span may be meant to hold of the sales; nearly all is nineteen in twenty."""

DATE_PRECISIONS: Final = ("day", "month", "year")
"""How precisely the day of an event is known: a month or a year known is a span, stood for by its middle."""

DRIVE_SIDES: Final = ("left", "right")
"""Side of the car the driver sits on."""

MATCHING_NUMBERS: Final = ("claimed", "documented", "inspected")
"""How it is known that engine and chassis numbers belong together, weakest first."""

OPTION_CODES: Final = (
    "air_conditioning",
    "alloy_wheels",
    "automatic_gearbox",
    "electronic_ignition",
    "factory_hardtop",
    "factory_sunroof",
    "five_speed_gearbox",
    "front_disc_brakes",
    "heated_rear_window",
    "later_engine",
    "leather_interior",
    "limited_slip_differential",
    "overdrive",
    "period_radio",
    "power_steering",
    "rustproofed",
    "servo_brakes",
    "tow_bar",
    "twin_carburettors",
    "wire_wheels",
)
"""Options and upgrades that a record may list, as codes."""

AMOUNT_UNITS: Final = {"one": 1, "thousand": 1000, "hundredth": 0.01}
"""Major units of a currency in one unit that a column of amounts is written in."""

DISTANCE_UNITS: Final = {
    "km": 1.0, "miles": 1.609344, "thousand km": 1000.0, "thousand miles": 1609.344, "mil": 10.0
}  # fmt: skip
"""Kilometres in one unit of an odometer reading (international mile: 1.609344 km exactly; the Swedish mil is
10 km)."""

FIRST_YEAR: Final = 1885
"""Model year of the oldest motor car."""

HIGHEST_ODOMETER_KM: Final = 2_000_000.0
"""Beyond this an odometer reading is a typing error."""

TRUE: Final = ("true", "yes", "y", "1")
FALSE: Final = ("false", "no", "n", "0")
"""Words for yes and no, in lower case."""
