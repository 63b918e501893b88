"""A market in one archive, and back: its file, the inspection sheets beside it, and digests of them all."""

import hashlib
import json
import os
import shutil
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from pricing.errors import FileError, PricingError
from pricing.operations.retention import ARCHIVE, named_by_time
from pricing.store.audit import now
from pricing.store.market import Market
from pricing.store.market_paths import market_path
from pricing.store.opening import replace_file
from pricing.store.place import server_address
from pricing.store.transfer import copy_market
from pricing.untrusted.door import read_untrusted
from pricing.untrusted.limits import Limits

FORMAT: Final = "classic car market backup 1"
MANIFEST: Final = "manifest.json"
MARKET: Final = "market.duckdb"
SHEETS: Final = "inspections"

LARGEST_MANIFEST: Final = 20_000_000
"""Bytes."""

_CHUNK: Final = 1 << 20


@dataclass(frozen=True)
class Backup:
    """An archive that was written or restored; ``digest`` is the market's, ``kept`` what was in its place."""

    path: Path
    digest: str
    files: int
    made_at: str
    kept: Path | None = None


def back_up(place: str | Path, target: str | Path) -> Backup:
    """Write the market at a place into an archive, and hold it to be good only once it has been restored from
    it and found the same.

    ``target``: the archive (``.zip``), or a folder to write one into, named by the time; the folder is made
    when it is not there. Loads may go on meanwhile.

    Raises:
        FileError: there is such a file already, or it cannot be written or does not restore to the same.
        MarketError: there is no market.
    """
    at = now()
    target = _archive(target, at)
    if target.exists():
        raise FileError(f"{target}: there is a file of that name already; nothing was written")
    with _folder(target.parent) as folder:
        copy_market(place, folder / MARKET)
        digest = Market.open(folder / MARKET, create=False).digest()
        files = {MARKET: folder / MARKET} | _sheets(market_path(place))
        manifest = {
            "format": FORMAT, "made_at": at.isoformat(), "digest": digest,
            "files": {name: _sha256(path) for name, path in files.items()},
        }  # fmt: skip
        part = folder / "archive.zip"
        with zipfile.ZipFile(
            part, "w", zipfile.ZIP_DEFLATED, compresslevel=1, strict_timestamps=False
        ) as archive:
            archive.writestr(zipfile.ZipInfo(MANIFEST), json.dumps(manifest, indent=1))
            for name, path in files.items():
                archive.write(path, name)
        (folder / "tried").mkdir()
        _unpack(part, folder / "tried")
        with part.open("rb") as written:
            os.fsync(written.fileno())
        part.rename(target)
    return Backup(target, digest, len(files), at.isoformat())


def _archive(target: str | Path, at: datetime) -> Path:
    """The archive to write: the target, or one in it, named by the time, where it is the name of a folder."""
    path = Path(target)
    if path.suffix.lower() == ARCHIVE and not path.is_dir() and not str(target).endswith(("/", os.sep)):
        return path
    try:
        path.mkdir(parents=True, exist_ok=True)
    except FileExistsError:
        raise FileError(
            f"{target}: is a file; name a folder, or an archive to write that ends in {ARCHIVE}"
        ) from None
    except OSError as error:
        raise FileError(f"{target}: no folder can be made there: {error.strerror or error}") from None
    return path / named_by_time(at)


def restore(source: Path, place: str | Path) -> Backup:
    """Bring a market back from an archive, in one step under the write lock. A market in its place is kept
    beside it, under a name with the time.

    Raises:
        MarketError: the market in its place stays in use.
        FileError: the archive cannot be read, was altered or cut short, or the place is a server's.
    """
    if server_address(place) is not None:
        raise FileError("a backup is restored to a file; bring it from there to a server with `pricing copy`")
    path = Path(place)
    with _folder(path.parent) as folder:
        manifest = _unpack(source, folder)
        kept = replace_file(path, folder / MARKET)
        if (folder / SHEETS).is_dir():
            shutil.copytree(folder / SHEETS, path.with_suffix(f".{SHEETS}"), dirs_exist_ok=True)
    return Backup(source, manifest["digest"], len(manifest["files"]), manifest["made_at"], kept)


def _unpack(source: Path, folder: Path) -> dict[str, Any]:
    """Unpack what the manifest names, each file held to its digest; nothing else leaves the archive. The
    market in it is opened and held to its digest where it can do no harm."""
    (answer,) = read_untrusted(unpacked, source, folder=str(folder))
    return answer.facts


def unpacked(name: str, limits: Limits, *, folder: str) -> Iterator[tuple[dict[str, Any], None]]:
    """The reader that ``restore`` has run in the reading process: the manifest, once its files lie in the
    folder."""
    source, into = Path(name), Path(folder)
    try:
        with zipfile.ZipFile(source) as archive:
            if archive.getinfo(MANIFEST).file_size > LARGEST_MANIFEST:
                raise FileError(f"{source}: its manifest is too large")
            manifest = _checked(source, json.loads(archive.read(MANIFEST)))
            _refuse_large(source, archive, manifest, into, limits)
            for inner, digest in manifest["files"].items():
                target = into / inner
                target.parent.mkdir(parents=True, exist_ok=True)
                with archive.open(inner) as packed, target.open("wb") as written:
                    shutil.copyfileobj(packed, written, _CHUNK)
                if _sha256(target) != digest:
                    raise FileError(f"{source}: {inner} was altered: it does not match its digest")
    except OSError as error:
        raise FileError(f"{source}: cannot be read: {error.strerror or error}") from None
    except (zipfile.BadZipFile, zlib.error, KeyError, ValueError, EOFError, RuntimeError) as error:
        raise FileError(f"{source}: is no whole backup: {str(error)[:120]}") from None
    try:
        digest = Market.open(into / MARKET, create=False).digest()
    except PricingError as error:
        why = str(error).splitlines()[0].partition(";")[0].replace(f"{into / MARKET}", "it")
        raise FileError(f"{source}: the market in it cannot be read: {why}") from None
    if digest != manifest["digest"]:
        raise FileError(f"{source}: the market in it is not the one that was backed up")
    yield manifest, None


def _checked(source: Path, manifest: Any) -> dict[str, Any]:
    """A manifest that holds all that a backup's does, before anything is done by it."""
    if not isinstance(manifest, dict):
        raise FileError(f"{source}: is no whole backup: its manifest is no JSON object")
    if manifest.get("format") != FORMAT:
        raise FileError(f"{source}: its format is {str(manifest.get('format'))[:60]!r}, expected {FORMAT!r}")
    files = manifest.get("files")
    texts = [manifest.get("made_at"), manifest.get("digest")]
    if not isinstance(files, dict) or MARKET not in files:
        raise FileError(f"{source}: is no whole backup: its manifest names no market")
    if not all(isinstance(text, str) for text in (*texts, *files.values())):
        raise FileError(f"{source}: is no whole backup: its manifest lacks the time or the digests")
    for name in files:
        if name != MARKET and not _is_sheet(name):
            raise FileError(f"{source}: names a file {name[:60]!r}, which no backup holds")
    return manifest


def _refuse_large(
    source: Path, archive: zipfile.ZipFile, manifest: dict[str, Any], into: Path, limits: Limits
) -> None:
    """Refuse an archive that unpacks to more than any true one, or than there is room for."""
    total, size = sum(archive.getinfo(name).file_size for name in manifest["files"]), source.stat().st_size
    most = limits.bytes_out(size)
    if total > most:
        raise FileError(f"{source}: unpacks to {total:,} bytes, and its {size:,} bytes to at most {most:,}")
    free = shutil.disk_usage(into).free
    if total > free:
        raise FileError(f"{source}: unpacks to {total:,} bytes, and there is room for {free:,}")


def _is_sheet(name: str) -> bool:
    parts = name.split("/")
    plain = all(part and not part.startswith(".") and "\\" not in part and "\0" not in part for part in parts)
    return len(parts) == 3 and parts[0] == SHEETS and plain


def _sheets(market: Path) -> dict[str, Path]:
    """Half-done inspections beside a market file, by their names in the archive."""
    beside = market.with_suffix(f".{SHEETS}")
    return {
        f"{SHEETS}/{path.parent.name}/{path.name}": path
        for path in sorted(beside.glob("*/*"))
        if path.is_file() and _is_sheet(f"{SHEETS}/{path.parent.name}/{path.name}")
    }


@contextmanager
def _folder(beside: Path) -> Iterator[Path]:
    """A folder to work in, on the file system where the work is to end up."""
    try:
        with tempfile.TemporaryDirectory(dir=beside, prefix=".backup-") as folder:
            yield Path(folder)
    except OSError as error:
        raise FileError(f"{beside}: cannot be written to: {error.strerror or error}") from None


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
