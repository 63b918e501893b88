"""A photograph of a kept car as it is kept: small, upright, and without what else the camera wrote into
it."""

from pathlib import Path

from pricing.errors import FileError
from pricing.operations.drafts import LARGEST_PHOTO, small_photo
from pricing.untrusted.door import read_untrusted


def cleaned_photo(content: bytes) -> bytes:
    """A photograph read by the reading process, as a JPEG without place, time and owner.

    Raises:
        FileError: it is too large, or no photograph.
    """
    if len(content) > LARGEST_PHOTO:
        raise FileError(
            f"the photograph has {len(content):,} bytes, at most {LARGEST_PHOTO:,}: send a smaller one"
        )
    (smaller,) = read_untrusted(small_photo, Path("the photograph"), content=content)
    return bytes(smaller.content)
