"""The closed lists: every word that a record, a model term or a page may use for a state of the world.

Each list is a ``StrEnum``, whose members are the words themselves; the tuple beside it has them as plain
text, for columns and messages.

>>> ConditionBand("average") is ConditionBand.AVERAGE and ConditionBand.AVERAGE == "average"
True
"""

from enum import StrEnum
from typing import Final


def words(closed: type[StrEnum]) -> tuple[str, ...]:
    """The words of a closed list, in its order.

    >>> words(Channel)
    ('auction', 'dealer', 'private')
    """
    return tuple(word.value for word in closed)


class ConditionBand(StrEnum):
    """Condition bands, worst first. The order is that of price: each is worth no less than the one before."""

    PROJECT = "project"
    SOLID_RESTORABLE = "solid restorable"
    AVERAGE = "average"
    TOP_CONDITION = "top condition"


CONDITION_BANDS: Final = words(ConditionBand)

BAND_EDGES: Final = (0.0, 25.0, 50.0, 75.0, 100.0)
"""Edges of the condition score (0-100): band ``k`` holds the scores in ``[BAND_EDGES[k], BAND_EDGES[k +
1])``, the last one its upper edge too."""


class Outcome(StrEnum):
    """What came of an offer. Only ``sold`` is a price; ``withdrawn`` is no evidence."""

    SOLD = "sold"
    UNSOLD = "unsold"
    ASKING = "asking"
    WITHDRAWN = "withdrawn"


OUTCOMES: Final = words(Outcome)


class Channel(StrEnum):
    """Where the car was offered."""

    AUCTION = "auction"
    DEALER = "dealer"
    PRIVATE = "private"


CHANNELS: Final = words(Channel)


class PriceBasis(StrEnum):
    """What an amount includes: the hammer price alone; all that the buyer pays; what the seller keeps; what
    is asked."""

    HAMMER = "hammer"
    ALL_IN = "all-in"
    NET = "net"
    ASKING = "asking"


PRICE_BASES: Final = words(PriceBasis)


class DatePrecision(StrEnum):
    """How precisely the day of an event is known: a month or a year known is a span, stood for by its
    middle."""

    DAY = "day"
    MONTH = "month"
    YEAR = "year"


DATE_PRECISIONS: Final = words(DatePrecision)


class DriveSide(StrEnum):
    """Side of the car the driver sits on."""

    LEFT = "left"
    RIGHT = "right"


DRIVE_SIDES: Final = words(DriveSide)


class NumbersKnown(StrEnum):
    """How it is known that engine and chassis numbers belong together, weakest first."""

    CLAIMED = "claimed"
    DOCUMENTED = "documented"
    INSPECTED = "inspected"


MATCHING_NUMBERS: Final = words(NumbersKnown)


class Option(StrEnum):
    """Options and upgrades that a record may list, as codes."""

    AIR_CONDITIONING = "air_conditioning"
    ALLOY_WHEELS = "alloy_wheels"
    AUTOMATIC_GEARBOX = "automatic_gearbox"
    ELECTRONIC_IGNITION = "electronic_ignition"
    FACTORY_HARDTOP = "factory_hardtop"
    FACTORY_SUNROOF = "factory_sunroof"
    FIVE_SPEED_GEARBOX = "five_speed_gearbox"
    FRONT_DISC_BRAKES = "front_disc_brakes"
    HEATED_REAR_WINDOW = "heated_rear_window"
    LATER_ENGINE = "later_engine"
    LEATHER_INTERIOR = "leather_interior"
    LIMITED_SLIP_DIFFERENTIAL = "limited_slip_differential"
    OVERDRIVE = "overdrive"
    PERIOD_RADIO = "period_radio"
    POWER_STEERING = "power_steering"
    RUSTPROOFED = "rustproofed"
    SERVO_BRAKES = "servo_brakes"
    TOW_BAR = "tow_bar"
    TWIN_CARBURETTORS = "twin_carburettors"
    WIRE_WHEELS = "wire_wheels"


OPTION_CODES: Final = words(Option)

AMOUNT_UNITS: Final = {"one": 1, "thousand": 1000, "hundredth": 0.01}
"""Major units of a currency in one unit that a column of amounts is written in."""

DISTANCE_UNITS: Final = {
    "km": 1.0, "miles": 1.609344, "thousand km": 1000.0, "thousand miles": 1609.344, "mil": 10.0
}  # fmt: skip
"""Kilometres in one unit of an odometer reading (international mile: 1.609344 km exactly; the Swedish mil is
10 km)."""

UNKNOWN_UNIT: Final = "unknown"
"""In place of a unit: bare figures of an odometer are not known."""

FIRST_YEAR: Final = 1885
"""Model year of the oldest motor car."""

HIGHEST_ODOMETER_KM: Final = 2_000_000.0
"""Beyond this an odometer reading is a typing error."""

TRUE: Final = ("true", "yes", "y", "1")
FALSE: Final = ("false", "no", "n", "0")
"""Words for yes and no, in lower case."""

SPANS: Final = {"half": 0.5, "eight in ten": 0.8, "nearly all": 0.95}
"""What a stated span may be meant to hold of the sales; nearly all is nineteen in twenty."""
