"""One page of HTML of each page of the handbook, without a network: Markdown by markdown-it-py, a plain
template, and pages written from what the package itself says (glossary, reference, changes, codes)."""

import inspect
import re
from collections.abc import Iterator
from dataclasses import asdict
from functools import cache
from html import escape
from pathlib import Path
from typing import Any, Final

from markdown_it import MarkdownIt

from pricing import errors
from pricing.appraisal.register import Entry
from pricing.car import Car
from pricing.charts.design import DARK, HEADS, LIGHT, TEXT
from pricing.decisions.valuation import Valuation
from pricing.errors import FileError, PricingError
from pricing.evidence.comparison.comparables import Comparables
from pricing.evidence.indices.index import PriceIndex
from pricing.market import Market
from pricing.model.distribution import PriceDistribution
from pricing.model.features.spec import FeatureSpec
from pricing.model.price_model import PriceModel
from pricing.words.language.glossary import TERMS

FOLDER: Final = Path(__file__).parent
CHANGES: Final = FOLDER.parent / "CHANGELOG.md"

PUBLIC: Final = (
    Market, Car, FeatureSpec, PriceModel, PriceDistribution, Valuation, Comparables, PriceIndex, Entry,
    PricingError,
)  # fmt: skip
"""What the Python reference tells of: the public names, and the facts that they lead to."""

_PAGE: Final = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>{title}</title><style>
:root {{color-scheme: light dark; {colours}}}
body {{font: 1.05rem/1.55 '{text}', sans-serif; max-width: 46rem; margin: 0 auto; padding: 1rem;
  color: var(--ink); background: var(--paper)}}
h1, h2, h3 {{font-family: '{heads}', serif; line-height: 1.2; overflow-wrap: anywhere}} h1 {{font-size: 2rem}}
pre {{background: var(--card); border: 1px solid var(--line); border-radius: .4rem; padding: .7rem;
  white-space: pre-wrap}} code {{font-size: .92em; overflow-wrap: anywhere}}
table {{border-collapse: collapse; display: block; overflow-x: auto}} td code {{overflow-wrap: normal}}
th, td {{border: 1px solid var(--line); padding: .3rem .5rem; text-align: left; vertical-align: top}}
nav {{display: flex; gap: 1rem; justify-content: space-between; padding: .5rem 0}} a {{color: var(--main)}}
header nav {{border-bottom: 1px solid var(--line)}}
footer nav {{border-top: 1px solid var(--line); margin-top: 2rem}}
</style></head><body><header><nav><a href="index.html">Handbook</a></nav></header><main>
{body}</main><footer><nav>{around}</nav></footer></body></html>
"""

_COLOURS: Final = " ".join(
    f"--{name}: light-dark({light}, {asdict(DARK)[name]});" for name, light in asdict(LIGHT).items()
)


def markdown_pages() -> dict[str, str]:
    """Every page by its name, as Markdown."""
    written = {path.stem: path.read_text(encoding="utf-8") for path in sorted(FOLDER.glob("*.md"))}
    written["developer"] = written["developer"].replace("{codes}", _codes())
    return written | {
        "glossary": _glossary(), "reference": _reference(), "changes": CHANGES.read_text(encoding="utf-8"),
    }  # fmt: skip


@cache
def html_pages() -> dict[str, str]:
    """Every page by the name of its file, as HTML; links between pages lead to those files."""
    parser = MarkdownIt("commonmark").enable("table")
    pages, made = markdown_pages(), {}
    titles = {name: escape(text.partition("\n")[0].removeprefix("# ")) for name, text in pages.items()}
    for name, text in pages.items():
        body = re.sub(r'href="(\w+)\.md(#[\w-]+)?"', r'href="\1.html\2"', parser.render(text))
        made[f"{name}.html"] = _PAGE.format(
            title=titles[name],
            body=body,
            around=_around(name, titles),
            colours=_COLOURS,
            heads=HEADS,
            text=TEXT,
        )
    return made


def _around(name: str, titles: dict[str, str]) -> str:
    """Links to the pages before and after one, in the order in which the first page names them."""
    index = (FOLDER / "index.md").read_text(encoding="utf-8")
    order = ["index", *re.findall(r"\((\w+)\.md\)", index)]
    place = order.index(name)
    others = (order[place - 1] if place else None), (order[place + 1] if place + 1 < len(order) else None)
    links = [
        "<span></span>" if other is None else f'<a href="{other}.html">{arrow.format(titles[other])}</a>'
        for other, arrow in zip(others, ("← {}", "{} →"), strict=True)
    ]
    return "".join(links)


def write_pages(folder: Path) -> Path:
    """Write the handbook into a folder; returns its first page.

    Raises:
        FileError: the folder cannot be written to.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in html_pages().items():
            (folder / name).write_text(text, encoding="utf-8")
    except OSError as error:
        raise FileError(f"{folder}: cannot be written: {error.strerror}") from None
    return folder / "index.html"


def _glossary() -> str:
    lines = [f"- **{term}**: {meaning}" for term, meaning in sorted(TERMS.items(), key=_in_order)]
    return "# Glossary\n\n" + "\n".join(lines) + "\n"


def _in_order(term: tuple[str, str]) -> str:
    return term[0].casefold()


def _codes() -> str:
    kinds = [
        kind for kind in vars(errors).values() if inspect.isclass(kind) and issubclass(kind, PricingError)
    ]
    lines = [f"| `{kind.code}` | `{kind.__name__}` | {' '.join(_doc(kind).split())} |" for kind in kinds]
    return "| code | error | when |\n|---|---|---|\n" + "\n".join(lines)


def _reference() -> str:
    return "# Python reference\n\nFrom the docstrings.\n\n" + "\n".join(
        "\n".join(_told(kind)) for kind in PUBLIC
    )


def _told(kind: type[Any]) -> Iterator[str]:
    yield f"## {kind.__name__}\n\n{_markdown(_doc(kind))}\n"
    for name, member in inspect.getmembers(kind):
        if name.startswith("_") or not inspect.getdoc(member):
            continue
        if inspect.isfunction(member) or inspect.ismethod(member):
            yield f"### {kind.__name__}.{name}\n\n`{name}{_signature(member)}`\n\n{_markdown(_doc(member))}\n"
        elif isinstance(member, property):
            yield f"### {kind.__name__}.{name}\n\n{_markdown(_doc(member))}\n"


def _signature(member: Any) -> str:
    """How it is called, without types: those the docstring tells."""
    parts = [
        part.replace(annotation=inspect.Parameter.empty)
        for part in inspect.signature(member).parameters.values()
    ]
    return str(inspect.Signature(parts))


def _doc(member: Any) -> str:
    docstring = inspect.getdoc(member)
    return "" if docstring is None else docstring


def _markdown(doc: str) -> str:
    """A docstring as Markdown: what is indented under `Args:` and `Raises:` as a list, examples as code."""
    lines: list[str] = []
    fenced = False
    for line in doc.splitlines():
        example = line.lstrip().startswith((">>>", "..."))
        if example and not fenced:
            lines += ["", "```python-example"]
            fenced = True
        elif fenced and not line.strip():
            lines.append("```")
            fenced = False
        if fenced:
            lines.append(line)
        elif re.match(r" {4}[\w, *]+: ", line):
            lines.append(f"- {line.strip()}")
        else:
            lines.append(line.strip())
    return "\n".join([*lines, *(["```"] if fenced else [])])
