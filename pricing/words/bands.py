"""What a car in each condition band looks like, for a person who stands in front of one.

Common practice, no source: in the project's own words, and what the catalogue of checks asks for.
"""

from typing import Final

from pricing.vocabulary import CONDITION_BANDS

BAND_LOOKS: Final = dict(
    zip(
        CONDITION_BANDS,
        (
            "Rust through the structure, paint gone, trim missing, does not run.",
            "Structure can be saved and all is there; paint and trim are finished, the engine turns.",
            "Structure sound, paint and trim show their age, drives well with small faults.",
            "Structure like new, paint even and deep, trim complete, wants nothing mechanical.",
        ),
        strict=True,
    )
)
"""Structure, paint, trim and mechanics of each band, the lowest first."""


def band_looks(band: str) -> str:
    """What a car of a band looks like.

    >>> band_looks("average")
    'Structure sound, paint and trim show their age, drives well with small faults.'
    """
    return BAND_LOOKS[band]
