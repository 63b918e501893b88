"""The invented names are no one's, and the catalogue is whole."""

import io
import re
import subprocess
import tomllib
from contextlib import suppress
from pathlib import Path

import polars as pl
import pytest
from mimesis.datasets import AUTO_MANUFACTURERS
from PIL import Image, ImageChops, ImageStat

import data_demo
from data_demo.drawn_pictures import CAR, FOLDER, GEARBOX, gearbox_from_below, side_view
from data_demo.market import EXCHANGE, SOURCES, read_catalogue
from data_demo.untidy import MISSPELT
from pricing.condition.checks import CONSTRUCTIONS, Sheet
from pricing.untrusted.photographs import read_photograph
from tests.data_demo.real_names import cars, digests, firms, is_known, likeness, makers, surnames

ROOT = Path(__file__).parent.parent.parent


def test_no_marque_is_or_resembles_a_real_one() -> None:
    names = [*read_catalogue()["make"].unique(), *MISSPELT.values()]
    near = {name: likeness(name, makers()) for name in names}
    assert max(near.values()) < 75, near
    assert not [name for name in names if is_known(name, "makers", or_a_letter_off=True)]


def test_the_lists_know_a_maker_and_a_car_by_a_letter_off() -> None:
    """The makers of the open lists, each with its second letter away."""
    assert len(makers()) > 60 and len(cars()) > 700 and len(digests("makers")) > 300
    assert all(likeness(name[0] + name[2:], makers()) > 75 for name in makers() if len(name) > 4)
    seen = [name for name in makers() if is_known(name, "makers")]
    assert len(seen) > 40
    assert all(is_known(name[0] + name[2:], "makers", or_a_letter_off=True) for name in seen)
    assert sum(is_known(name, "cars") for name in cars()) > 40


def test_no_model_is_a_real_one() -> None:
    """Nor near to one; a sedge is a plant, whatever other word is a letter from it."""
    names = [name for name in read_catalogue()["model"] if name != "Sedge"]
    near = {name: likeness(name, [*cars(), *makers()]) for name in names}
    assert max(near.values()) < 84, {name: value for name, value in near.items() if value >= 84}
    for name in (*names, "Sedge"):
        assert name.casefold() not in cars()
        assert not is_known(name, "cars") and not is_known(name, "makers")


def test_no_source_is_named_like_a_maker_or_a_firm() -> None:
    """Firms: the company names of mimesis; no open list of auction houses or clubs is known."""
    assert len(firms()) > 2000
    for name in (*SOURCES.values(), EXCHANGE, "Harrowfen Mutual"):
        assert likeness(name.split()[0], makers()) < 75
        assert not is_known(name.split()[0], "makers", or_a_letter_off=True)
        assert likeness(name, firms()) < 75
        assert name.split()[0].casefold() not in {word for firm in firms() for word in firm.split()}


def test_people_have_surnames_of_no_list() -> None:
    form = tomllib.loads((ROOT / "data_demo/appraisals/wexcombe_sedge.toml").read_text(encoding="utf-8"))
    people = [form["assignment"]["client"], form["inspection"]["by"], form["valuer"]["name"]]
    assert len(surnames()) > 10_000
    assert not [name for name in people if name.split()[-1].casefold() in surnames()]


def test_no_real_maker_stands_in_any_file() -> None:
    """Beside the published data of `tests/outside`; a seat is a part of a car."""
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    named = re.compile(rf"\b({'|'.join(map(re.escape, set(AUTO_MANUFACTURERS) - {'Seat'}))})\b")
    found = []
    for path in listed.splitlines():
        if not path.startswith("tests/outside/"):
            with suppress(UnicodeDecodeError, FileNotFoundError):
                found += [(path, name) for name in named.findall((ROOT / path).read_text(encoding="utf-8"))]
    assert found == []


def test_catalogue_is_whole() -> None:
    catalogue = read_catalogue()
    assert catalogue.shape == (120, 10)
    assert catalogue["model"].is_unique().all()
    assert catalogue["make"].rle().len() == catalogue["make"].n_unique() == 15
    assert set(catalogue["construction"]) == set(CONSTRUCTIONS)
    assert set(catalogue["origin"]) == {"GB", "DE", "FR", "IT", "SE"}
    assert catalogue.filter(pl.col("first_year") > pl.col("last_year")).is_empty()
    assert catalogue.filter((pl.col("average_price") <= 0) | (pl.col("weight") <= 0)).is_empty()


@pytest.mark.parametrize(("make", "model"), [("Wexcombe", "Sedge"), ("Wexcombe", "Marram")])
def test_two_models_have_weak_points_of_their_own(make: str, model: str) -> None:
    construction = read_catalogue().filter(make=make, model=model)["construction"][0]
    plain = Sheet.open(construction, make=make, model=model)
    own = Sheet.open(construction, make=make, model=model, extensions=data_demo.sheets())
    assert len(own.checks) >= len(plain.checks) + 3


def test_the_example_s_pictures_are_those_that_are_drawn() -> None:
    """By the mean difference of grey levels: another version of the library may write other bytes."""
    for name, drawn in ((CAR, side_view()), (GEARBOX, gearbox_from_below())):
        content = (FOLDER / name).read_bytes()
        assert len(content) < 30_000
        read = read_photograph(content, name)
        assert (read.removed[0], str(read.taken_on)) == ("place", "2026-06-24")
        shown = Image.open(io.BytesIO(read.shown))
        assert shown.size == drawn.size
        assert sum(ImageStat.Stat(ImageChops.difference(shown, drawn)).mean) < 12
