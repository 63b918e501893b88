"""Photographs of kept cars: small, upright, and without what else the camera wrote into them."""

from pathlib import Path

from pricing.errors import FileError
from pricing.store.kept.cars import KeptCar
from pricing.store.market import Market
from pricing.untrusted.photographs import KINDS, read_photograph


def cleaned_photo(content: bytes) -> bytes:
    """A photograph as a kept car shows it: a JPEG without place, time and owner.

    Raises:
        FileError: it is too large, or no photograph.
    """
    return read_photograph(content, "the photograph", tuple(KINDS)).shown


def written_photos(market: Market, kept_car: KeptCar, folder: Path) -> list[str]:
    """Write the photographs of a kept car into a folder, which is made where there is none; gives the files.

    Raises:
        FileError: the folder cannot be written to.
    """
    files = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for number in market.kept_cars.photo_numbers(kept_car.car_id):
            file = folder / f"{kept_car.car_id}_{number}.jpg"
            file.write_bytes(market.kept_cars.photo(kept_car.car_id, number))
            files.append(str(file))
    except OSError as error:
        raise FileError(f"{folder} cannot be written to ({error.strerror}): name another folder") from None
    return files
