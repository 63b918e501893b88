"""Which of the backups in a folder are kept: the last of each of so many days, weeks and months."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

from pricing.errors import FileError

ARCHIVE: Final = ".zip"

_FORM: Final = f"market-%Y%m%dT%H%M%SZ{ARCHIVE}"


@dataclass(frozen=True)
class Retention:
    """How many days, ISO weeks and months (UTC) keep their last backup: a rotation of sons, fathers and
    grandfathers, as backup programs commonly do it. Only periods that have a backup count, so that a machine
    that was off for a while loses none by it."""

    days: int = 0
    weeks: int = 0
    months: int = 0

    def __post_init__(self) -> None:
        if min(self.days, self.weeks, self.months) < 0 or self.days + self.weeks + self.months == 0:
            raise FileError("how many backups to keep is at least one day, week or month, and never below 0")

    def superseded(self, made: Iterable[datetime]) -> list[datetime]:
        """Those of the times that no period keeps, oldest first; the newest is always kept.

        >>> made = [datetime(2026, 6, day) for day in range(1, 11)]
        >>> [time.day for time in Retention(days=2, weeks=2).superseded(made)]
        [1, 2, 3, 4, 5, 6, 8]
        """
        times = sorted(made)
        periods: Mapping[Callable[[datetime], object], int] = {
            datetime.date: self.days,
            lambda time: time.isocalendar()[:2]: self.weeks,
            lambda time: (time.year, time.month): self.months,
        }
        retained = set(times[-1:])
        for period, count in periods.items():
            last = {period(time): time for time in times}
            retained |= set(sorted(last.values())[len(last) - min(count, len(last)) :])
        return [time for time in times if time not in retained]


def named_by_time(at: datetime) -> str:
    """The name of a backup made then.

    >>> named_by_time(datetime(2026, 6, 30, 2))
    'market-20260630T020000Z.zip'
    """
    return at.strftime(_FORM)


def remove_superseded(written: Path, retention: Retention) -> list[Path]:
    """Remove the backups beside one just written that no period keeps any more; only files that are named as
    backups are by their time are looked at. Returns what was removed.

    Raises:
        FileError: one cannot be removed, or the one just written is not named by its time.
    """
    if backup_time(written) is None:
        raise FileError(
            f"{written}: old backups are removed from a folder only; name a folder, not an archive"
        )
    times = {time: path for path in written.parent.iterdir() if (time := backup_time(path)) is not None}
    removed = []
    for time in retention.superseded(times):
        path = times[time]
        if path == written:
            continue
        try:
            path.unlink()
        except OSError as error:
            raise FileError(f"{path}: cannot be removed: {error.strerror or error}") from None
        removed.append(path)
    return removed


def backup_time(path: Path) -> datetime | None:
    """When a backup was made, by its name; None for a file of another name."""
    try:
        made = datetime.strptime(path.name, _FORM)
    except ValueError:
        return None
    return made if named_by_time(made) == path.name and path.is_file() else None
