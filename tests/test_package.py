"""The package as a stranger gets it: what stands in the wheel, and the library without its extras."""

import re
import shutil
import subprocess
import sys
import tomllib
import zipfile
from email import message_from_bytes
from pathlib import Path

import pytest
from packaging.requirements import Requirement

from pricing.operations.extras import EXTRAS

ROOT = Path(__file__).parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
DISTRIBUTIONS = {"PIL": "pillow", "docx": "python-docx", "vl_convert": "vl-convert-python",
                 "multipart": "python-multipart", "prometheus_client": "prometheus-client"}  # fmt: skip

BLOCK = """
import sys
class Blocked:
    def find_spec(self, name, path=None, target=None):
        if name.partition(".")[0] in BLOCKED:
            raise ModuleNotFoundError(f"No module named {name!r}", name=name)
sys.meta_path.insert(0, Blocked())
"""


def without(modules: set[str], program: str, folder: Path, *words: str) -> "subprocess.CompletedProcess[str]":
    """Run a program in which modules cannot be imported."""
    return subprocess.run(
        [sys.executable, "-c", f"BLOCKED = {modules!r}\n{BLOCK}\n{program}", *words],
        cwd=folder, capture_output=True, text=True,
    )  # fmt: skip


def required(extra: str) -> set[str]:
    return {Requirement(line).name for line in PROJECT["optional-dependencies"][extra]}


EXTRA_MODULES = {module for modules in EXTRAS.values() for module in modules}


def test_the_library_works_without_the_extras(tmp_path: Path) -> None:
    program = f"""
sys.path.insert(0, {str(ROOT)!r})
import polars as pl
from pathlib import Path
from pricing import FeatureSpec, Market, PriceModel
from pricing.car import Car, Names
from pricing.decisions.valuation import value_car
from tests.small_market import common_car, write_sales
write_sales(Path("sales.parquet"), rows=300)
market = Market.open("market.duckdb")
market.load(["sales.parquet"])
model = PriceModel(FeatureSpec.cars()).fit(market.sales())
car = Car.checked(common_car(market), known=Names.of(market.sales()))
print(value_car(market, model, car).mid > 0)
"""
    done = without(EXTRA_MODULES - {"pydantic"}, program, tmp_path)  # dataframely may take it where it is
    assert (done.returncode, done.stdout.strip()) == (0, "True"), done.stderr[-2000:]


@pytest.mark.parametrize(
    ("module", "words"),
    [("streamlit", ["dashboard", "--port", "0"]), ("uvicorn", ["serve"]), ("typst", ["appraise", "bulk"])],
)
def test_what_is_not_installed_is_named_with_its_extra(
    module: str, words: list[str], tmp_path: Path, small_market: object
) -> None:
    path = str(getattr(small_market, "path"))  # noqa: B009 - whatever market there is
    if words[0] == "appraise":
        (tmp_path / "shared.toml").write_text('[assignment]\neffective_date = "2099-01-01"\n')
        words = [*words, "cars.xlsx", "--form", "shared.toml", "--out", "out"]
    done = without({module}, "from pricing.cli.main import run; run()", tmp_path, *words, "--market", path)
    (extra,) = (name for name, modules in EXTRAS.items() if module in modules)
    assert done.returncode == 1
    assert done.stderr.splitlines()[-1] == (
        f"error: this needs {module}, which is not installed: pip install 'classic-car-pricing[{extra}]'"
    )


@pytest.mark.parametrize("extra", EXTRAS)
def test_every_extra_installs_the_modules_that_it_is_named_for(extra: str) -> None:
    core = {Requirement(line).name for line in PROJECT["dependencies"]}
    for module in EXTRAS[extra]:
        name = DISTRIBUTIONS.get(module, module)
        assert name in required(extra) and name not in core
    assert f"`{extra}`" in (ROOT / "README.md").read_text(encoding="utf-8")


def test_all_is_every_extra_that_a_person_uses() -> None:
    (everything,) = (Requirement(line) for line in PROJECT["optional-dependencies"]["all"])
    assert everything.extras == set(PROJECT["optional-dependencies"]) - {"all", "test", "bench"}


def test_the_wheel_holds_licence_changes_and_a_description_that_stands_alone(tmp_path: Path) -> None:
    source = tmp_path / "source"
    for name in ("pricing", "dashboards", "data_demo"):
        shutil.copytree(ROOT / name, source / name, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", source)
    built = subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "--wheel-dir", tmp_path, source],
        capture_output=True, text=True,
    )  # fmt: skip
    assert built.returncode == 0, built.stderr[-2000:]
    (wheel,) = tmp_path.glob("*.whl")
    with zipfile.ZipFile(wheel) as archive:
        names = set(archive.namelist())
        (metadata,) = (name for name in names if name.endswith(".dist-info/METADATA"))
        told = message_from_bytes(archive.read(metadata))
    folder = metadata.rpartition("/")[0]
    assert f"{folder}/licenses/pricing/LICENSE" in names
    assert {"pricing/CHANGELOG.md", "pricing/py.typed", "dashboards/.streamlit/config.toml"} <= names
    assert told["License-Expression"] == "MIT" and told["Author"] and told["Keywords"]
    assert len(told.get_all("Classifier", [])) > 5
    text = told.get_payload()
    assert told["Description-Content-Type"] == "text/markdown"
    assert not re.search(r"\]\((?!https://)|<img|src=", str(text)), "a package index has no files beside it"
    assert f"## {PROJECT['version']} " in (ROOT / "pricing/CHANGELOG.md").read_text(encoding="utf-8")
