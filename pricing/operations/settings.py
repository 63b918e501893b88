"""The settings of a market: what its texts in the market file mean."""

import json
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Final, TypeVar

from pricing.condition.assessment import InspectionResult
from pricing.condition.catalogue import LABOUR_KINDS, Catalogue, quotes_of
from pricing.condition.repairs import RepairCosts, price_repairs
from pricing.decisions.buy.verdict import LIMITS, checked_limits
from pricing.errors import FileError, MarketError, PricingError
from pricing.money.charges import Schedule, read_schedule
from pricing.money.currencies import minor_unit_places
from pricing.operations.access import EVERYONE, ROLES
from pricing.operations.bundled import DEMO_CATALOGUE, DEMO_CHARGES
from pricing.snapshot import Snapshot
from pricing.vocabulary import DISTANCE_UNITS

EXAMPLE_CHARGES: Final = "example"
LONGEST_FILE: Final = 500_000
"""Characters of a catalogue or a schedule."""

Read = TypeVar("Read")

_TEXTS: Final = ("distance_unit", "other_currency", "country", "catalogue", "charges")
"""Settings that are texts as they are."""

_LONGEST_NAME: Final = 254
"""Characters of an address that signs in (RFC 5321, 4.5.3.1.3, path without its brackets)."""


@dataclass(frozen=True)
class Settings:
    """How a market is shown and reckoned.

    ``distance_unit`` of odometers; ``other_currency``: one to show price ranges in beside the market's own;
    ``country`` of the work: labour rates and tax; ``catalogue``: the text of a repair catalogue in place of
    the demo one; ``charges``: the text of a schedule of charges, or ``EXAMPLE_CHARGES``; ``labour``: own
    rates an hour without tax, by country and kind of work, in the catalogue's currency of that country;
    ``roles`` of people by the address they sign in with; ``verdict_limits``: shares of like cars that sell
    for less, at which one word of the verdict on a price ends and the next begins.
    """

    distance_unit: str = "km"
    other_currency: str | None = None
    country: str = "GB"
    catalogue: str | None = None
    charges: str | None = None
    labour: Mapping[str, Mapping[str, Decimal]] = field(default_factory=dict)
    roles: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    verdict_limits: tuple[float, ...] = LIMITS

    def __post_init__(self) -> None:
        checked_limits(self.verdict_limits)
        if self.distance_unit not in DISTANCE_UNITS:
            raise MarketError(f"the unit of distance is one of {', '.join(DISTANCE_UNITS)}")
        if self.other_currency is not None:
            minor_unit_places(self.other_currency)
        for country, rates in self.labour.items():
            for kind, rate in rates.items():
                if kind not in LABOUR_KINDS or not rate.is_finite() or not 0 <= rate < 10**6:
                    raise MarketError(f"labour rate {kind} of {country}: got {rate}, expected 0 to 999,999")
        for person, held in self.roles.items():
            if not (person == EVERYONE or "@" in person) or len(person) > _LONGEST_NAME:
                raise MarketError(
                    f"a role is given to {EVERYONE} or to an address that signs in; got {person[:80]!r}"
                )
            if wrong := [role for role in held if role not in ROLES]:
                raise MarketError(f"a role is one of {', '.join(ROLES)}; got {wrong[0]!r}")

    @classmethod
    def read(cls, texts: Mapping[str, str]) -> "Settings":
        """From the texts of a market file; a name that is not known here is left alone.

        >>> Settings.read({"distance_unit": "miles", "roles": '{"ann@mill.invalid": ["load"]}'}).roles
        {'ann@mill.invalid': ('load',)}
        """
        plain = {name: texts[name] for name in _TEXTS if name in texts}
        try:
            labour = json.loads(texts.get("labour", "{}"))
            roles = json.loads(texts.get("roles", "{}"))
            limits = json.loads(texts.get("verdict_limits", json.dumps(LIMITS)))
            return cls(
                **plain,
                labour={
                    country: {kind: Decimal(rate) for kind, rate in rates.items()}
                    for country, rates in labour.items()
                },
                roles={person: tuple(held) for person, held in roles.items()},
                verdict_limits=tuple(float(limit) for limit in limits),
            )
        except (ValueError, AttributeError, TypeError, InvalidOperation) as error:
            raise MarketError(f"the settings in the market file cannot be read: {error}") from None

    def texts(self) -> dict[str, str | None]:
        """As texts for the market file; inverse of ``read``."""
        labour = {
            country: {kind: str(rate) for kind, rate in rates.items()}
            for country, rates in self.labour.items()
        }
        return {
            **{name: getattr(self, name) for name in _TEXTS},
            "labour": json.dumps(labour) if labour else None,
            "roles": json.dumps(self.roles) if self.roles else None,
            "verdict_limits": None if self.verdict_limits == LIMITS else json.dumps(self.verdict_limits),
        }

    def with_labour(self, catalogue: Catalogue) -> Catalogue:
        """The catalogue with these labour rates in place of its own."""
        own = {
            (country, kind): rate for country, rates in self.labour.items() for kind, rate in rates.items()
        }
        return replace(catalogue, labour=catalogue.labour | own)


def catalogue_of(text: str | None) -> Catalogue:
    """The repair catalogue that a text holds; the demo one without.

    Raises:
        InspectionError: the text is too long or no catalogue.
    """
    return Catalogue.open(DEMO_CATALOGUE) if text is None else _read(Catalogue.open, text)


def catalogue_text(settings: Settings) -> str:
    """The text of the repair catalogue in force, to be edited and given back."""
    return DEMO_CATALOGUE.read_text(encoding="utf-8") if settings.catalogue is None else settings.catalogue


def schedule_of_text(text: str | None) -> Schedule | None:
    """The schedule of charges that a text holds, the example of ``EXAMPLE_CHARGES``, or none.

    Raises:
        FileError, MoneyError: the text is too long or no schedule.
    """
    if text is None:
        return None
    return read_schedule(DEMO_CHARGES) if text == EXAMPLE_CHARGES else _read(read_schedule, text)


def charges_text(settings: Settings) -> str:
    """The text of the schedule of charges in force, or of the example, to be edited and given back."""
    own = settings.charges is not None and settings.charges != EXAMPLE_CHARGES
    return str(settings.charges) if own else DEMO_CHARGES.read_text(encoding="utf-8")


def settings_of(snapshot: Snapshot) -> Settings:
    """The settings kept in the market."""
    return snapshot.by_write.get("settings", lambda: Settings.read(snapshot.state.settings))


def catalogue_in_force(snapshot: Snapshot) -> Catalogue:
    """The repair catalogue of the settings, its labour rates theirs too."""
    settings = settings_of(snapshot)
    return snapshot.by_write.get("catalogue", lambda: settings.with_labour(catalogue_of(settings.catalogue)))


def repairs_in_force(
    snapshot: Snapshot, result: InspectionResult, country: str, quotes: Mapping[str, Decimal]
) -> RepairCosts:
    """What every repair of an inspected car would cost in a country by the catalogue of the settings, in the
    market's currency; ``quotes`` by job replace its prices."""
    catalogue, base = catalogue_in_force(snapshot), snapshot.base_currency
    own = quotes_of(quotes, base, catalogue.price_date)
    return price_repairs(result, catalogue, country=country, currency=base, quotes=own)


def schedule_in_force(snapshot: Snapshot) -> Schedule | None:
    """The schedule of charges of the settings, if there is one."""
    return snapshot.by_write.get("schedule", lambda: schedule_of_text(settings_of(snapshot).charges))


def _read(read: Callable[[Path], Read], text: str) -> Read:
    """What a reader of files makes of a text."""
    if len(text) > LONGEST_FILE:
        raise FileError(f"the file has {len(text):,} characters, at most {LONGEST_FILE:,}")
    with tempfile.TemporaryDirectory(prefix="pricing-") as folder:
        path = Path(folder) / "file.toml"
        path.write_text(text, encoding="utf-8")
        try:
            return read(path)
        except PricingError as error:
            raise type(error)(str(error).replace(f"{folder}/", "")) from error
