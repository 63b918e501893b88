"""The settings of a market: what its texts in the market file mean."""

import json
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Final

from pricing.condition.catalogue import LABOUR_KINDS, Catalogue
from pricing.errors import InspectionError, MarketError
from pricing.money import minor_unit_places
from pricing.service.access import EVERYONE, ROLES
from pricing.service.condition_commands import DEMO
from pricing.vocabulary import DISTANCE_UNITS

DEMO_CATALOGUE: Final = DEMO / "repair_catalogue.toml"
LARGEST_CATALOGUE: Final = 500_000
"""Characters."""

_LONGEST_NAME: Final = 254
"""Characters of an address that signs in (RFC 5321, 4.5.3.1.3, path without its brackets)."""


@dataclass(frozen=True)
class Settings:
    """How a market is shown and reckoned.

    ``distance_unit`` of odometers; ``other_currency``: one to show price ranges in beside the market's own;
    ``country`` of the work: labour rates and tax; ``catalogue``: the text of a repair catalogue in place of the
    demo one; ``labour``: own rates an hour without tax, by country and kind of work, in the catalogue's currency
    of that country; ``roles`` of people by the address they sign in with.
    """

    distance_unit: str = "km"
    other_currency: str | None = None
    country: str = "GB"
    catalogue: str | None = None
    labour: Mapping[str, Mapping[str, Decimal]] = field(default_factory=dict)
    roles: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def __post_init__(self) -> None:
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
        plain = {name: texts[name] for name in ("distance_unit", "country") if name in texts}
        try:
            labour = json.loads(texts.get("labour", "{}"))
            roles = json.loads(texts.get("roles", "{}"))
            return cls(
                **plain,
                other_currency=texts.get("other_currency"),
                catalogue=texts.get("catalogue"),
                labour={
                    country: {kind: Decimal(rate) for kind, rate in rates.items()}
                    for country, rates in labour.items()
                },
                roles={person: tuple(held) for person, held in roles.items()},
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
            "distance_unit": self.distance_unit,
            "other_currency": self.other_currency,
            "country": self.country,
            "catalogue": self.catalogue,
            "labour": json.dumps(labour) if labour else None,
            "roles": json.dumps(self.roles) if self.roles else None,
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
    if text is None:
        return Catalogue.open(DEMO_CATALOGUE)
    if len(text) > LARGEST_CATALOGUE:
        raise InspectionError(
            f"the repair catalogue has {len(text):,} characters, at most {LARGEST_CATALOGUE:,}"
        )
    with tempfile.TemporaryDirectory(prefix="pricing-") as folder:
        path = Path(folder) / "catalogue.toml"
        path.write_text(text, encoding="utf-8")
        try:
            return Catalogue.open(path)
        except InspectionError as error:
            raise InspectionError(str(error).replace(f"{folder}/", "")) from error


def catalogue_text(settings: Settings) -> str:
    """The text of the repair catalogue in force, to be edited and given back."""
    return DEMO_CATALOGUE.read_text(encoding="utf-8") if settings.catalogue is None else settings.catalogue
