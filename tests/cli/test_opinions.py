"""``pricing opinions`` as a person uses it, from nothing to a price with its mark."""

import io
from pathlib import Path

import pytest

from tests.cli.program import Call, caller
from tests.opinion_market import cells

CAR = ("--make", "Corvane", "--model", "Six")


@pytest.fixture
def call(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str], tmp_path: Path) -> Call:
    """Call ``pricing`` in an empty folder: exit code, standard output, standard error."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("PRICING_MARKET", raising=False)
    return caller(monkeypatch, capfd)


def test_from_a_file_of_statements_to_a_price(call: Call, tmp_path: Path) -> None:
    cells().write_csv(tmp_path / "said.csv")
    assert call("opinions", "load", "said.csv")[1].startswith("4 of 4 statements are kept")
    assert "4 were known already" in call("opinions", "load", "said.csv")[1]
    code, out, err = call("fit")
    assert (
        code == 0 and "4 statements; with 0 sales, too few for a price model, prices are opinion alone" in out
    )
    graded = (*CAR, "--year", 1966, "--condition-band", "average")
    code, out, err = call("value", *graded, "--asking", 4000)
    assert code == 0, err
    assert "between EUR 3,000 and EUR 5,000" in out and "Opinion alone: no sale confirms this range" in out
    assert "average: eight in ten from EUR 3,000 to EUR 5,000 all-in (A. Rowe, 1 May 2026)" in out
    assert "prices rest on what people say alone" in err
    code, out, err = call("buy", *graded, "--asking", 4000, "--certainty", 0.6)
    assert code == 0 and "opinion alone" in out.lower()
    code, out, err = call("sell", *graded)
    assert code == 0 and "Opinion alone" in out
    code, out, err = call("comparables", *graded)
    assert code == 1 and "priced by opinion alone" in err


def test_bands_typed_at_once_listed_withdrawn_and_scored(call: Call, tmp_path: Path) -> None:
    cells().write_csv(tmp_path / "said.csv")
    call("opinions", "load", "said.csv")
    said = ("opinions", "add", "--source", "B. Lane", *CAR, "--currency", "EUR", "--on", "2026-05-02")
    code, out, err = call(*said, "--holds", "half", "--average", "3200:3900:4800", "--top", "7000:9000")
    assert code == 0 and out.startswith("2 of 2 statements are kept"), err
    code, out, err = call(*said, "--holds", "half", "--score", "60=3100:4700", "--years", "1960-1966")
    assert code == 0, err
    listed = call("opinions", "list", "--source", "B. Lane")[1]
    assert "Corvane Six, average: half from EUR 3,200 to EUR 4,800 all-in (B. Lane, 2 May 2026)" in listed
    assert "Corvane Six, 1960 to 1966, score 60" in listed and "A. Rowe" not in listed
    code, _, err = call("opinions", "withdraw", listed.split()[0], "--reason", "mistyped")
    assert code == 0, err
    assert "withdrawn: mistyped" in call("opinions", "list", "--every")[1]
    out = call("opinions", "score", "--by", "price")[1]
    assert "B. Lane: no sales came after" in out and "gives way to sales" in out


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--holds", "half"), "nothing is said of any state"),
        (("--holds", "half", "--average", "3000"), "a span is LOW:HIGH"),
        (("--holds", "most", "--average", "3000:4000"), "holds is one of: half, eight in ten, nearly all"),
        (("--holds", "half", "--average", "3000:4000", "--top", "1000:2000"), "is that meant?"),
        (("--holds", "half", "--average", "3000:4000", "--basis", "asking"), "price_basis is one of"),
    ],
)
def test_slips_are_told_in_one_line(
    call: Call, tmp_path: Path, words: tuple[str, ...], sentence: str
) -> None:
    cells().write_csv(tmp_path / "said.csv")
    call("opinions", "load", "said.csv")
    code, out, err = call("opinions", "add", "--source", "B. Lane", *CAR, "--currency", "EUR", *words)
    assert code == 1 and out == "" and sentence in err and err.count("\n") == 1


def test_quartiles_are_asked_for_price_by_price(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A word that is no answer is asked again; what is taken back begins anew."""
    cells().write_csv(tmp_path / "said.csv")
    call("opinions", "load", "said.csv")
    said = (
        "opinions",
        "add",
        "--source",
        "B. Lane",
        *CAR,
        "--currency",
        "EUR",
        "--on",
        "2026-05-02",
        "--ask=average",
    )

    def answering(*lines: str) -> tuple[int, str, str]:
        monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
        return call(*said, "--holds", "half")

    code, out, err = answering("2000", "EUR 8.000", "cheap", "s", "same", "above", "same", "n",
                               "3000", "6000", "same", "same", "same", "y")  # fmt: skip
    assert code == 0, err
    assert "Of all cars in the state 'average', do more sell above or below EUR 4,000?" in out
    assert "Of those that sell above EUR 4,000, do more sell above or below EUR 6,800?" in out
    assert "So you would think one in ten sells above" in out
    listed = call("opinions", "list", "--source", "B. Lane")[1]
    assert "average: half from EUR 3,500 to EUR 5,000" in listed, listed
    code, _, err = call(*said, "--holds", "nearly all")
    assert (code, err) == (
        1,
        "error: half lies between quartiles: with --ask, holds is 'half'; got 'nearly all'\n",
    )
    code, _, err = answering("8000", "2000")
    assert code == 1 and "below the highest" in err
    code, _, err = call(*said[:-1], "--ask", "averge", "--holds", "half")
    assert code == 1 and "did you mean average?" in err
