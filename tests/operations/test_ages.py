"""How old backup, fit and rates are: the same in the gauges of a server and in the words of the doctor."""

import re
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import httpx
import pytest

from pricing.operations.doctor import GOOD, LOOK, HealthCheck, ages, examine
from pricing.operations.retention import named_by_time
from pricing.store.market import Market
from tests.api.servers import PATIENCE, copied, serving

RATES = "currency,rate_date,rate\nGBP,{day},0.85\n"


@pytest.fixture
def own(small_market: Market, tmp_path: Path) -> Market:
    return copied(small_market, tmp_path)


@pytest.fixture
def backups(tmp_path: Path) -> Path:
    """A folder with backups of two and of nine days ago, and what is none."""
    folder = tmp_path / "backups"
    folder.mkdir()
    for days in (2, 9):
        (folder / named_by_time(datetime.now(UTC) - timedelta(days=days))).touch()
    (folder / "notes.txt").touch()
    return folder


def gauges(text: str) -> dict[str, float]:
    """Seconds by what they are the age of."""
    return {
        name: float(value) for name, value in re.findall(r"^pricing_(\w+)_age_seconds (\S+)$", text, re.M)
    }


def test_a_server_tells_ages_and_the_doctor_the_same_in_days(
    own: Market, backups: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with serving(own.path, backups=str(backups)) as address:
        told = gauges(httpx.get(f"{address}/metrics", timeout=PATIENCE).text)
    assert set(told) == {"backup", "fit", "rates"}
    assert told["backup"] == pytest.approx(2 * 86_400, abs=PATIENCE)
    fitted = own.fits()["fitted_at"].max()
    assert isinstance(fitted, datetime)
    since = (datetime.now(UTC).replace(tzinfo=None) - fitted.replace(tzinfo=None)).total_seconds()
    assert told["fit"] == pytest.approx(since, abs=PATIENCE)
    monkeypatch.setenv("PRICING_BACKUPS", str(backups))
    found = {check.what: check for check in examine(own.path)}
    assert found["backup"].state == GOOD and "is 2 days old" in found["backup"].found
    days = round((told["rates"] - 86_400 / 2) / 86_400)
    assert f", {days} days ago" in found["currency rates"].found


def test_what_there_is_none_of_has_no_age(own: Market, tmp_path: Path) -> None:
    empty, at = Market.open(tmp_path / "empty.duckdb"), datetime.now(UTC)
    assert set(ages(empty, None, at)) == {"rates"}
    (tmp_path / "none").mkdir()
    assert "backup" not in ages(own, tmp_path / "none", at)
    assert "backup" not in ages(own, tmp_path / "absent", at)
    with serving(own.path) as address:
        assert set(gauges(httpx.get(f"{address}/metrics", timeout=PATIENCE).text)) == {"fit", "rates"}


def test_ages_grow_with_the_day_until_the_doctor_says_what_to_do(
    own: Market, backups: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rates of one's own count as well as those of the package."""
    monkeypatch.setenv("PRICING_BACKUPS", str(backups))
    today = datetime.now(UTC).date()
    (tmp_path / "rates.csv").write_text(RATES.format(day=today))
    own.add_rates(tmp_path / "rates.csv")
    at = datetime.combine(today, time(12))
    assert ages(own, backups, at)["rates"] == 43_200

    def looked(day: date) -> dict[str, HealthCheck]:
        return {check.what: check for check in examine(own.path, day)}

    now, later = looked(today), looked(today + timedelta(days=200))
    for what, do in (
        ("backup", "pricing backup"),
        ("fit's age", "pricing fit"),
        ("currency rates", "pricing rates"),
    ):
        assert now[what].state == GOOD and not now[what].do, what
        assert later[what].state == LOOK and do in later[what].do, what
