"""What all tests share."""

import fcntl
import gc
import logging
import os
import shutil
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import hypothesis
import pytest

import data_demo
from pricing.model.features.spec import FeatureSpec
from pricing.model.price_model import PriceModel
from pricing.model.saved import from_bytes, to_bytes
from pricing.store.market import Market
from tests.postgres_server import PostgresServer, private_server
from tests.small_market import make_market

# A busy machine is no wrong answer: time is measured in tests/benchmarks.
hypothesis.settings.register_profile(
    "project", deadline=None, suppress_health_check=[hypothesis.HealthCheck.too_slow]
)
hypothesis.settings.load_profile("project")

# Tests ask what pages are made of without a visitor, of which Streamlit warns at every call.
logging.getLogger("streamlit.runtime.scriptrunner_utils.script_run_context").disabled = True


def pytest_collection_finish() -> None:
    """All modules and tests are here: no search for garbage need go through them again."""
    gc.collect()
    gc.freeze()


MAIN = sys.modules["__main__"]


@pytest.fixture(autouse=True)
def _main_module() -> Iterator[None]:
    """The program is pytest: a page that was run in it took the place of its main module, which every process
    that is started by ``multiprocessing`` would run again."""
    sys.modules["__main__"] = MAIN
    yield
    sys.modules["__main__"] = MAIN


@pytest.fixture(autouse=True)
def _settings_of_its_own() -> Iterator[None]:
    """What a command called in this process leaves in the environment for the server that it starts is not
    there for the next test."""
    before = {name: value for name, value in os.environ.items() if name.startswith("PRICING_")}
    yield
    for name in [name for name in os.environ if name.startswith("PRICING_")]:
        del os.environ[name]
    os.environ.update(before)


def made_once(tmp_path_factory: pytest.TempPathFactory, name: str, make: Callable[[Path], object]) -> Path:
    """A folder that the first worker of a run fills; the others wait for it."""
    own = tmp_path_factory.getbasetemp()
    common = own.parent if "PYTEST_XDIST_WORKER" in os.environ else own
    folder, being_made = common / name, common / f"{name} being made"
    with (common / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not folder.exists():
            shutil.rmtree(being_made, ignore_errors=True)
            being_made.mkdir()
            make(being_made)
            being_made.rename(folder)
    return folder


def make_demo(folder: Path) -> None:
    market = Market.open(folder / "demo.duckdb")
    market.load(data_demo.files())
    (folder / "model").write_bytes(to_bytes(PriceModel(FeatureSpec.cars()).fit(market.sales())))


@pytest.fixture(scope="session")
def small_market(tmp_path_factory: pytest.TempPathFactory) -> Market:
    """A small market with a fit; tests read it and never write to it. Each worker has its own."""
    made = made_once(tmp_path_factory, "small", lambda folder: make_market(folder / "small.duckdb"))
    return Market.open(shutil.copytree(made, tmp_path_factory.mktemp("market") / "own") / "small.duckdb")


@pytest.fixture(scope="session")
def demo_made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the demo market and of its price model."""
    return made_once(tmp_path_factory, "demo", make_demo)


@pytest.fixture(scope="session")
def demo_market(demo_made: Path, tmp_path_factory: pytest.TempPathFactory) -> Market:
    """The demo market, loaded; tests read it and never write to it."""
    path = tmp_path_factory.mktemp("demo") / "demo.duckdb"
    shutil.copy(demo_made / "demo.duckdb", path)
    return Market.open(path)


@pytest.fixture(scope="session")
def demo_model(demo_made: Path) -> PriceModel:
    """The demo market's price model."""
    return from_bytes((demo_made / "model").read_bytes())


@pytest.fixture(scope="session")
def postgres() -> Iterator[PostgresServer]:
    """A PostgreSQL server of the tests' own; each test makes a database of its own there."""
    with private_server() as server:
        yield server


@pytest.fixture
def address(postgres: PostgresServer) -> str:
    """The address of an empty database."""
    return postgres.database()


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, address: str) -> Callable[[str], Market]:
    """Opens the market as a program on another machine does: with a directory of copies of its own."""

    def open_at(place: str) -> Market:
        monkeypatch.setenv("PRICING_COPIES", str(tmp_path / place))
        return Market.open(address)

    return open_at
