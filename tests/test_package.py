"""The package as a stranger gets it: what stands in the wheel, and the library without its extras."""

import json
import re
import shutil
import subprocess
import sys
import tomllib
import zipfile
from email import message_from_bytes
from pathlib import Path

import pytest
from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator
from packaging.requirements import Requirement

from pricing.operations.extras import EXTRAS
from tests.constraints import bill_of_materials
from tests.constraints import tested as versions_of

ROOT = Path(__file__).parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
DISTRIBUTIONS = {"PIL": "pillow", "currency_converter": "CurrencyConverter", "markdown_it": "markdown-it-py",
                 "sklearn": "scikit-learn", "docx": "python-docx", "vl_convert": "vl-convert-python",
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


def test_the_library_works_without_the_extras(tmp_path: Path) -> None:
    program = f"""
sys.path.insert(0, {str(ROOT)!r})
import polars as pl
from pathlib import Path
from pricing import FeatureSpec, Market, PriceModel
from pricing.car import Car
from pricing.car_names import Names
from pricing.decisions.valuation import value_car
from tests.small_market import common_car, write_sales
write_sales(Path("sales.parquet"), rows=300)
market = Market.open("market.duckdb")
market.load(["sales.parquet"])
model = PriceModel(FeatureSpec.cars()).fit(market.sales())
car = Car.checked(common_car(market), known=Names.of(market.sales()))
print(value_car(market, model, car).mid > 0)
"""
    others = {module for extra, modules in EXTRAS.items() if extra != "library" for module in modules}
    done = without(others - {"pydantic"}, program, tmp_path)  # typer takes it too
    assert (done.returncode, done.stdout.strip()) == (0, "True"), done.stderr[-2000:]


@pytest.mark.soak
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
    for module in EXTRAS[extra]:
        name = DISTRIBUTIONS.get(module, module)
        assert name in required(extra)
    assert f"`{extra}`" in (ROOT / "pricing/handbook/installing.md").read_text(encoding="utf-8")


def test_all_is_every_extra_that_a_person_uses() -> None:
    (everything,) = (Requirement(line) for line in PROJECT["optional-dependencies"]["all"])
    assert everything.extras == set(PROJECT["optional-dependencies"]) - {"all", "test", "bench"}


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the source distribution, and the wheel built from it."""
    folder = tmp_path_factory.mktemp("built")
    source = folder / "source"
    for name in ("pricing", "dashboards", "data_demo"):
        shutil.copytree(ROOT / name, source / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md"):
        shutil.copy(ROOT / name, source)
    done = subprocess.run(
        [sys.executable, "-m", "build", "--outdir", folder, source], capture_output=True, text=True
    )
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    return folder


def test_the_wheel_holds_licence_changes_and_a_description_that_stands_alone(built: Path) -> None:
    (wheel,) = built.glob("*.whl")
    with zipfile.ZipFile(wheel) as archive:
        names = set(archive.namelist())
        (metadata,) = (name for name in names if name.endswith(".dist-info/METADATA"))
        told = message_from_bytes(archive.read(metadata))
    folder = metadata.rpartition("/")[0]
    assert f"{folder}/licenses/pricing/LICENSE" in names
    expected = {"CHANGELOG.md", "py.typed", "constraints.txt", "lock.txt", "sbom.cdx.json",
                "bundled/dashboards/.streamlit/config.toml",
                "bundled/data_demo/raw/quenmoor_register.csv", "bundled/dashboards/app.py"}  # fmt: skip
    assert {f"pricing/{name}" for name in expected} <= names
    assert {name.partition("/")[0] for name in names} == {"pricing", folder}, "one name in the environment"
    assert not [name for name in names if "/truth/" in name or "__pycache__" in name]
    assert told["License-Expression"] == "MIT" and told["Author"] and told["Keywords"]
    assert len(told.get_all("Classifier", [])) > 5
    text = told.get_payload()
    assert told["Description-Content-Type"] == "text/markdown"
    assert not re.search(r"\]\((?!https://)|<img|src=", str(text)), "a package index has no files beside it"
    assert f"## {PROJECT['version']} " in (ROOT / "pricing/CHANGELOG.md").read_text(encoding="utf-8")


def test_every_module_is_in_the_wheel(built: Path) -> None:
    (wheel,) = built.glob("*.whl")
    with zipfile.ZipFile(wheel) as archive:
        held = set(archive.namelist())
    written = {
        str(place / path.relative_to(ROOT / folder))
        for folder, place in (
            ("pricing", Path("pricing")),
            ("dashboards", Path("pricing/bundled/dashboards")),
            ("data_demo", Path("pricing/bundled/data_demo")),
        )
        for path in (ROOT / folder).rglob("*.py")
    }
    assert written <= held


def test_a_package_index_takes_both_distributions(built: Path) -> None:
    files = [*built.glob("*.whl"), *built.glob("*.tar.gz")]
    assert len(files) == 2
    done = subprocess.run(
        [sys.executable, "-m", "twine", "check", "--strict", *files], capture_output=True, text=True
    )
    assert done.returncode == 0 and done.stdout.count("PASSED") == 2, done.stdout


def test_the_constraints_name_a_version_that_every_requirement_allows() -> None:
    pinned = dict(line.split("==") for line in pins("constraints.txt"))
    for extra in ("library", "dashboard", "api", "documents", "server", "client", "signin"):
        for needed in map(Requirement, PROJECT["optional-dependencies"][extra]):
            if needed.name != PROJECT["name"]:
                version = pinned[needed.name.lower().replace("_", "-")]
                assert needed.specifier.contains(version), f"{needed} and {version}"
    assert PROJECT["dependencies"] == []


def test_the_lock_has_every_version_with_digests_and_the_bill_of_materials_names_them() -> None:
    """The schema is that of CycloneDX 1.6 (ECMA-424), out of its own library."""
    pinned = dict(line.split("==") for line in pins("constraints.txt"))
    locked = {}
    for entry in re.split(r"\n(?=\S)", (ROOT / "pricing/lock.txt").read_text(encoding="utf-8")):
        if not entry.startswith("#"):
            name, _, version = entry.split()[0].partition("==")
            locked[name] = version
            assert re.search(r"--hash=sha256:[0-9a-f]{64}", entry), name
    assert {name: locked[name.replace(".", "-")] for name in pinned} == pinned
    text = (ROOT / "pricing/sbom.cdx.json").read_text(encoding="utf-8")
    assert JsonStrictValidator(SchemaVersion.V1_6).validate_str(text) is None
    bill = json.loads(text)
    assert {part["name"]: part["version"] for part in bill["components"]} == pinned
    assert bill["metadata"]["component"]["version"] == PROJECT["version"]
    needs = {entry["ref"]: set(entry["dependsOn"]) for entry in bill["dependencies"]}
    reached, waiting = set(), [PROJECT["name"]]
    while waiting:
        reached |= {name := waiting.pop()}
        waiting += needs[name] - reached
    assert reached == {PROJECT["name"], *pinned}, "every part is there because another needs it"


def test_the_command_of_a_release_writes_that_bill_of_materials() -> None:
    """By what is installed here: the same as the one kept, where the versions are the tested ones."""
    versions, needs = versions_of(PROJECT["name"], ("all",))
    made = bill_of_materials(versions, needs)
    assert JsonStrictValidator(SchemaVersion.V1_6).validate_str(json.dumps(made)) is None
    kept = json.loads((ROOT / "pricing/sbom.cdx.json").read_text(encoding="utf-8"))
    assert [part["name"] for part in made["components"]] == [part["name"] for part in kept["components"]]
    same = [
        one["version"] == two["version"]
        for one, two in zip(made["components"], kept["components"], strict=True)
    ]
    assert not all(same) or made == kept


def pins(name: str) -> list[str]:
    lines = (ROOT / "pricing" / name).read_text(encoding="utf-8").splitlines()
    return [line for line in lines if not line.startswith("#")]


def test_what_the_thin_client_needs_is_small(built: Path, tmp_path: Path) -> None:
    """`[client]` is installed alone; it asks, and the command line says what else to install."""
    (wheel,) = built.glob("*.whl")
    command = [sys.executable, "-m", "pip", "install", "-q", "--target", str(tmp_path), f"{wheel}[client]"]
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr[-2000:]
    size = sum(path.stat().st_size for path in tmp_path.rglob("*") if path.is_file())
    assert size < 20_000_000, f"{size / 1e6:.1f} MB"
    program = f"""
import sys
sys.path.insert(0, {str(tmp_path)!r})
import pricing
from pricing.api.client import Client
try:
    Client("http://127.0.0.1:9").market()
except pricing.PricingError as error:
    print(error.code)
try:
    pricing.Market
except ModuleNotFoundError as error:
    print(error)
sys.argv = ["pricing", "fits"]
from pricing.cli.program import run
run()
"""
    asked = subprocess.run(
        [sys.executable, "-S", "-c", program], cwd=tmp_path, capture_output=True, text=True
    )
    told = "which is not installed: pip install 'classic-car-pricing[library]'"
    code, named = asked.stdout.splitlines()
    assert (asked.returncode, code) == (1, "server-away"), asked.stderr
    assert named.endswith(told) and asked.stderr.strip().endswith(told)
