"""Every error this project raises on purpose.

A message is one sentence a person can act on: what is wrong, where, what was got and what was expected.
The command line prints it and exits with 1; the dashboard shows it; nothing else catches it.
"""


class PricingError(Exception):
    """Base of every error raised on purpose; catching it catches them all.

    ``code`` names the kind of error and stays as it is when a message is worded anew; the API says it too.
    """

    code: str = "refused"

    def __init_subclass__(cls, *, code: str = "") -> None:
        cls.code = code or cls.code

    def __init__(self, message: str = "") -> None:
        """``message`` may hold what no output can: the halves of characters that names of files are made
        of."""
        super().__init__(message.encode("utf-8", "backslashreplace").decode())


class FileError(PricingError, code="file"):
    """A file or folder cannot be read or written as what it is said to be."""


class TableError(PricingError, code="table"):
    """A whole table is of the wrong shape: a required column is absent or of a type that cannot be used."""


class MappingError(PricingError, code="mapping"):
    """A column mapping names something that does not exist or contradicts itself."""


class DoubtError(PricingError, code="doubt"):
    """Figures of a file can hardly be what they are said to be; nothing was accepted."""


class MoneyError(PricingError, code="money"):
    """An amount cannot be turned into the price that was asked for: no rate, no schedule, unknown
    currency."""


class MarketError(PricingError, code="market"):
    """The market file cannot be opened, is held by another process, or is not a market file."""


class ServerAwayError(MarketError, code="server-away"):
    """The server that keeps a market cannot be reached, or was lost; the same may work in a while."""


class WriteFailedError(MarketError, code="unwritten"):
    """A write could not be kept for want of room or memory, or by a fault of the disk; nothing is changed."""


class InUseError(MarketError, code="in-use"):
    """Another process holds the market file, and did not let go of it in time."""


class DamagedError(MarketError, code="damaged"):
    """Pages of a market file are not as they were written: a checksum does not hold."""


class DoneMeanwhileError(MarketError, code="done-meanwhile"):
    """A write was asked for under a key under which something has been done already."""


class OpinionError(PricingError, code="opinion"):
    """A statement of what cars fetch cannot be kept as it is: a rule is broken, or its bands contradict
    themselves."""


class ModelError(PricingError, code="model"):
    """A price model was asked for something it cannot do: not fitted, no usable sales, a foreign saved
    fit."""


class CarError(PricingError, code="car"):
    """A car cannot be as it is described, or the market has no record of its make, model or variant."""


class InspectionError(PricingError, code="inspection"):
    """An inspection sheet, a set of findings or a repair catalogue does not make sense."""


class EvidenceError(PricingError, code="evidence"):
    """Market evidence cannot be given: too few sales, a date outside the records, an override without a
    reason."""


class DecisionError(PricingError, code="decision"):
    """A decision cannot be computed from what was given, such as a schedule with a gap."""


class AppraisalError(PricingError, code="appraisal"):
    """An appraisal record makes no sense, lacks what its document must hold, or its evidence was altered."""
