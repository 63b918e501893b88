"""The handbook says what is: every block of it runs, every link leads somewhere, every page is made."""

import asyncio
import json
import re
import shlex
import shutil
import sys
from collections.abc import Sequence
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import httpx
import pytest

import pricing
from dashboards.serving.beside import Beside, handbook
from pricing.cli import main as cli
from pricing.handbook.pages import FOLDER, PUBLIC, html_pages, markdown_pages, write_pages
from pricing.model.price_model import PriceModel
from pricing.model.saved import save
from pricing.store.market import Market
from pricing.untrusted import door
from pricing.words.language.glossary import TERMS
from tests.postgres_server import PostgresServer
from tests.test_docs import COMMANDS, INSTALL_AND_RUN, README, TEST, UV

NAMED = {"index", "first_market", "buyer", "seller", "valuer", "club", "operator", "developer",
         "record_format", "numbers", "scale", "glossary", "reference", "changes", "commands", "dashboard",
         "installing", "opinions", "shared_market", "extending"}  # fmt: skip


@pytest.fixture(scope="session")
def demo_file(demo_market: Market, demo_model: PriceModel, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo market with its fit, as `pricing demo` leaves it; to be copied."""
    path = tmp_path_factory.mktemp("handbook") / "demo.duckdb"
    shutil.copy(demo_market.path, path)
    save(demo_model, Market.open(path, create=False))
    return path


@pytest.fixture
def folder(demo_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the demo market and nothing else."""
    shutil.copy(demo_file, tmp_path)
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("PRICING_MARKET", raising=False)
    return tmp_path


PAGES = {path.stem: path.read_text(encoding="utf-8") for path in FOLDER.glob("*.md")}
BLOCK = re.compile(r"```(sh|python)\n(.*?)```", re.DOTALL)
WITH_BLOCKS = sorted(name for name, text in PAGES.items() if BLOCK.search(text))


def test_every_page_is_there_and_every_block_is_of_a_kind_that_is_run() -> None:
    assert set(markdown_pages()) == NAMED
    for name, text in PAGES.items():
        fences = [line for line in text.splitlines() if line.startswith("```") and line != "```"]
        assert set(fences) <= {"```sh", "```python"}, name


SERVER = "postgresql://anna@desk.example/cars"
"""The address that stands in the handbook for a server of one's own."""


@pytest.mark.parametrize("name", WITH_BLOCKS)
def test_every_block_of_a_page_runs_in_order(
    name: str, folder: Path, request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    text = PAGES[name]
    if "sys.path" in text:  # what a page installs is for that page, and for a reading process that knows it
        monkeypatch.setattr(sys, "path", [*sys.path])
        door.stop()
        request.addfinalizer(door.stop)
    if SERVER in text:
        server: PostgresServer = request.getfixturevalue("postgres")
        monkeypatch.setenv("PRICING_COPIES", str(folder / "copies"))
        text = text.replace(SERVER, server.database())
    run_blocks(BLOCK.findall(text), monkeypatch, capsys)


def test_every_block_of_readme_runs_in_order(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """After its two set-up commands, whose market is the one in the folder."""
    blocks = BLOCK.findall(README)
    set_up = [[INSTALL_AND_RUN], [TEST], UV]
    assert [block.splitlines() for _, block in blocks[:3]] == set_up
    assert {path.name for path in folder.iterdir()} == {"demo.duckdb"}
    run_blocks(blocks[3:], monkeypatch, capsys)
    assert {"sheet.pdf", "sales.csv", "car.toml", "market.duckdb"} <= {path.name for path in folder.iterdir()}


def run_blocks(
    blocks: Sequence[tuple[str, str]], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Run blocks in the folder, in order; a line of commands that fails is shown with what it said."""
    names: dict[str, Any] = {}
    for kind, block in blocks:
        if kind == "python":
            exec(compile(block, "block", "exec"), names)  # noqa: S102 - our own document
            continue
        for line in block.splitlines():
            words = shlex.split(line)
            assert words[0] == "pricing", line
            monkeypatch.setattr(sys, "argv", words)
            with pytest.raises(SystemExit) as stopped:
                cli.run()
            assert stopped.value.code in (0, None), f"{line}\n{capsys.readouterr().err}"


def test_the_example_notebook_runs_and_its_cells_show_themselves(folder: Path) -> None:
    book = json.loads((FOLDER / "example.ipynb").read_text(encoding="utf-8"))
    names: dict[str, Any] = {}
    cells = [cell for cell in book["cells"] if cell["cell_type"] == "code"]
    assert len(cells) > 8
    for cell in cells:
        assert not cell["outputs"], "outputs are made, not kept"
        *before, last = "".join(cell["source"]).rstrip().split("\n")
        if last.startswith("car = "):
            before, last = [*before, last], "car"
        exec(compile("\n".join(before), "cell", "exec"), names)  # noqa: S102 - our own notebook
        found = eval(compile(last, "cell", "eval"), names)  # noqa: S307 - our own notebook
        if hasattr(found, "_repr_html_"):
            assert found._repr_html_().startswith("<")
        else:
            assert found.to_dict()["$schema"], "a chart"


class Links(HTMLParser):
    """Where the links of a page lead."""

    def __init__(self) -> None:
        super().__init__()
        self.found: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep a link."""
        if tag == "a":
            self.found.add(str(dict(attrs)["href"]))


def test_every_link_leads_to_a_page_and_none_out() -> None:
    pages = html_pages()
    for name, text in pages.items():
        parser = Links()
        parser.feed(text)
        assert parser.found <= set(pages), name
        assert "{codes}" not in text and "<script" not in text and "src=" not in text


def test_glossary_reference_and_codes_are_the_packages_own(tmp_path: Path) -> None:
    pages = markdown_pages()
    assert all(f"**{term}**" in pages["glossary"] for term in TERMS)
    assert all(f"## {kind.__name__}\n" in pages["reference"] for kind in PUBLIC)
    assert {name for name in pricing.__all__ if name != "charts"} <= {kind.__name__ for kind in PUBLIC}
    assert "`server-away`" in pages["developer"] and "### Market.value" in pages["reference"]
    assert write_pages(tmp_path / "pages").is_file()
    mentioned = set(re.findall(r"`pricing ([a-z]+)", "\n".join(PAGES.values())))
    assert mentioned <= {name.split()[0] for name in COMMANDS}


def test_the_handbook_stands_beside_the_dashboard_and_docs_lead_to_it() -> None:
    async def pages(*_: Any) -> None:
        raise AssertionError("the pages were asked")

    async def ask(*paths: str) -> list[httpx.Response]:
        way = httpx.ASGITransport(app=Beside(pages, handbook))
        async with httpx.AsyncClient(transport=way, base_url="http://desk", follow_redirects=True) as asked:
            return [await asked.get(path) for path in paths]

    *started, page, none = asyncio.run(
        ask("/docs", "/handbook", "/handbook/", "/handbook/numbers.html", "/handbook/none.html")
    )
    assert all("<h1>Handbook</h1>" in answer.text for answer in started)
    assert (page.status_code, none.status_code) == (200, 404)
