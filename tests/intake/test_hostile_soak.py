"""Mutated files and rows, over every format, through library, API and page: rows or a sentence, nothing lost.

``SOAK_SEED=0 .venv/bin/pytest -n 0 -s -m soak tests/intake/test_hostile_soak.py`` prints what became of
``SOAK_FILES`` files and ``SOAK_ROWS`` rows; ``SOAK_SECONDS`` bounds each of the two.
"""

import json
import os
import random
import resource
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import httpx
import polars as pl
import pytest
import xlsxwriter

from pricing.errors import DoubtError, PricingError
from pricing.intake.tables.readers import read_file
from pricing.intake.transfers import received
from pricing.store.market import Market
from tests.api.servers import serving
from tests.benchmarks.bench_intake import write_rows

FILES = int(os.environ.get("SOAK_FILES", "5000"))
ROWS = int(os.environ.get("SOAK_ROWS", "100000"))
SECONDS = float(os.environ.get("SOAK_SECONDS", "3600"))
SEED = int(os.environ.get("SOAK_SEED", "0"))
BOOKS = Path(__file__).parent / "books"

pytestmark = pytest.mark.soak

HOSTILE_CELLS = (
    "", " ", "=1+1", "-", "NaN", "inf", "-0", "1e999", "9" * 400, "0x10", "\t", "\r\n", '"',
    "'", ";",
    "a" * 5000, "\u202e", "\ufeff", "\U0001f697", "\ufffd", "\x1b[2J", "<script>", "{{1}}",
    "NULL", "None", "true",
    "1970-13-45", "0000-00-00", "9999-12-31", "-44-03-15", "31/12/1899", "1,2,3", "1.2.3",
    "£-5", "EUR", "½", "١٢٣", "１２", "\\x00",
    "../../etc/passwd", "%s%n", "DROP TABLE records",
    "O'Brien", "1 000 000 000 000 000 000", "1e-320", "Ⅻ",
)  # fmt: skip


def base_files(folder: Path) -> list[Path]:
    """A good file of every format."""
    write_rows(folder / "good.csv", 40, seed=SEED)
    table = pl.read_csv(folder / "good.csv", infer_schema=False)
    table.write_csv(folder / "good.tsv", separator="\t")
    table.write_csv(folder / "good.txt", separator=";")
    (folder / "wide.csv").write_bytes(table.write_csv().encode("utf-16"))
    table.write_parquet(folder / "good.parquet")
    table.write_ndjson(folder / "good.jsonl")
    table.write_excel(folder / "good.xlsx")
    cars = [
        {"@type": "Car", "brand": row["make"], "model": row["model"], "offers": {"price": row["amount"]}}
        for row in table.head(5).rows(named=True)
    ]
    text = "".join(f'<script type="application/ld+json">{json.dumps(car)}</script>' for car in cars)
    (folder / "good.html").write_text(f"<html>{text}</html>")
    made = [path for path in folder.iterdir() if path.is_file()]
    return sorted([*made, *(path for path in BOOKS.iterdir() if path.suffix in (".xls", ".xlsb", ".ods"))])


def mutated(raw: bytes, rng: random.Random) -> bytes:
    """Bytes of a file with some of them changed, cut, doubled, moved or put in."""
    content = bytearray(raw)
    for _ in range(rng.choice((1, 1, 2, 8, 64))):
        at, length = rng.randrange(len(content)), rng.randrange(1, 200)
        match rng.randrange(7):
            case 0:
                content[at] ^= 1 << rng.randrange(8)
            case 1:
                content[at : at + length] = bytes(length)
            case 2:
                content[at : at + length] = b""
            case 3:
                content[at:at] = content[at : at + length] * rng.randrange(1, 20)
            case 4:
                content[at:at] = rng.choice(
                    (b'"', b"\r", b"\0", b"\xff\xfe", b"\n\n", b"[", b"{", b"<", b",")
                )
            case 5:
                content[at:at] = rng.choice(HOSTILE_CELLS).encode()
            case _:
                del content[max(1, at) :]
        if not content:
            content += b"\n"
    return bytes(content)


class Doors:
    """Library, API and page, before one market that is read alone."""

    def __init__(self, market: Market, address: str) -> None:
        self.market, self.asked = market, httpx.Client(base_url=address, timeout=60)

    def library(self, path: Path) -> str:
        with suppress(DoubtError):
            report = self.market.load([path], dry_run=True, believe=True)
            assert report.read == report.accepted + report.rejected + report.known
            return "read"
        return "doubted"

    def page(self, path: Path) -> str:
        with received(path.name, path.read_bytes()) as kept:
            next(read_file(kept)).frame.head(50)
        return "read"

    def api(self, path: Path) -> str:
        sent = [("files", (path.name, path.read_bytes()))]
        answer = self.asked.post("/api/v1/batches?dry_run=true", files=sent)
        if answer.status_code >= 500:
            raise AssertionError((path.name, answer.status_code, answer.text[:500]))
        if answer.status_code >= 300:
            raise PricingError(answer.text)
        facts = answer.json()
        assert facts["read"] == facts["accepted"] + facts["rejected"] + facts["known"]
        return "read"


class Slowest:
    """The longest that one file took, on the clock and of this process's own seconds. Those of the child that
    reads it are bounded by the door; on a machine that others use the clock tells more of them than of us."""

    def __init__(self) -> None:
        self.clock, self.processor = 0.0, 0.0

    @contextmanager
    def of(self) -> Iterator[None]:
        begun, worked = time.perf_counter(), time.process_time()
        try:
            yield
        finally:
            self.clock = max(self.clock, time.perf_counter() - begun)
            self.processor = max(self.processor, time.process_time() - worked)


def told(counts: Counter[str], slowest: Slowest, start: float) -> None:
    own, of_children = (
        resource.getrusage(who).ru_maxrss / 1e6 for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )
    print(
        f"{dict(counts)}; slowest {slowest.clock:.1f} s, {slowest.processor:.1f} of a processor; "
        f"at most {own:.2f} GB here (the test's own included), "
        f"{of_children:.2f} GB in a child that was waited for; {time.perf_counter() - start:.0f} s"
    )


@pytest.fixture
def doors(tmp_path: Path) -> Iterator[Doors]:
    market = Market.open(tmp_path / "market.duckdb")
    with serving(market.path) as address:
        doors = Doors(market, address)
        with doors.asked:
            yield doors


def test_mutated_files(tmp_path: Path, doors: Doors) -> None:
    rng = random.Random(SEED)  # noqa: S311 - mutations, no secret
    ways: tuple[Callable[[Path], str], ...] = (doors.library, doors.library, doors.api, doors.page)
    good = tmp_path / "good"
    good.mkdir()
    bases = base_files(good)
    counts: Counter[str] = Counter()
    start, slowest = time.perf_counter(), Slowest()
    for number in range(FILES):
        if time.perf_counter() - start > SECONDS:
            break
        base = bases[number % len(bases)]
        path = tmp_path / f"file{number % 10}{base.suffix}"
        path.write_bytes(mutated(base.read_bytes(), rng))
        way = ways[rng.randrange(len(ways))]
        try:
            with slowest.of():
                outcome = way(path)
        except PricingError as error:
            outcome = "refused"
            assert "\n" not in str(error) or way is doors.api, (number, str(error))
        except Exception as error:
            kept = Path(f"/tmp/hostile-{SEED}-{number}{base.suffix}")  # noqa: S108 - to be looked at
            kept.write_bytes(path.read_bytes())
            raise AssertionError(f"{kept} by {way.__name__}: {error!r}") from error
        counts.update([f"{base.suffix} {outcome}", outcome, f"by {way.__name__}", "files"])
        if number % 500 == 499:
            print(f"{number + 1} files in {time.perf_counter() - start:.0f} s", flush=True)
    told(counts, slowest, start)
    assert slowest.processor < 30
    assert doors.market.batches().is_empty()


def _write(frame: pl.DataFrame, path: Path) -> None:
    match path.suffix:
        case ".csv" | ".tsv":
            frame.write_csv(path, separator="\t" if path.suffix == ".tsv" else ",")
        case ".xlsx":
            with xlsxwriter.Workbook(path, {"strings_to_formulas": False, "strings_to_urls": False}) as book:
                frame.write_excel(book)
        case ".parquet":
            frame.write_parquet(path)
        case _:
            frame.write_ndjson(path)


def test_mutated_rows(tmp_path: Path, doors: Doors) -> None:
    rng = random.Random(SEED + 1)  # noqa: S311 - mutations, no secret
    counts: Counter[str] = Counter()
    start, slowest, rows = time.perf_counter(), Slowest(), 0
    while rows < ROWS and time.perf_counter() - start < SECONDS:
        write_rows(tmp_path / "good.csv", 2_000, seed=rng.randrange(1 << 30))
        table = pl.read_csv(tmp_path / "good.csv", infer_schema=False).to_dict(as_series=False)
        for place in range(2_000):
            for name in rng.sample(sorted(table), rng.choice((1, 1, 2, 5))):
                table[name][place] = rng.choice(HOSTILE_CELLS)
        changed = pl.DataFrame(table)
        path = tmp_path / f"rows.{rng.choice(('csv', 'xlsx', 'parquet', 'jsonl', 'tsv'))}"
        _write(changed, path)
        with slowest.of():
            report: Any = doors.market.load([path], believe=True)
        assert report.read == report.accepted + report.rejected + report.known
        # A row of nothing but blanks is none, and a total or a remark is told as such.
        assert report.read + sum(report.set_aside.values()) >= 1_990
        rows += report.read
        counts.update({"rows": report.read, "accepted": report.accepted, "rejected": report.rejected,
                       "known": report.known, path.suffix: report.read})  # fmt: skip
    told(counts, slowest, start)
    assert slowest.processor < 30
    doors.market.sales()
    doors.market.quarantine()
