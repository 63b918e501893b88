"""What is not installed, and the extra of this package that installs it."""

from typing import Final

EXTRAS: Final = {
    "dashboard": ("itsdangerous", "streamlit"),
    "api": ("fastapi", "httptools", "multipart", "prometheus_client", "starlette", "uvicorn"),
    "documents": ("PIL", "docx", "typst", "vl_convert", "xlsxwriter"),
    "server": ("psycopg",),
    "client": ("httpx",),
    "library": (
        "altair", "babel", "currency_converter", "dataframely", "duckdb", "fastexcel", "jinja2",
        "markdown_it", "numpy", "polars", "pyarrow", "pycountry", "pydantic", "rapidfuzz", "rich", "sklearn",
        "scipy", "threadpoolctl", "tomlkit", "typer",
    ),
}  # fmt: skip
"""The top-level modules of each extra."""


def missing(error: ModuleNotFoundError) -> str:
    """What to install for a module that is not there; other modules' errors are raised again.

    >>> missing(ModuleNotFoundError("No module named 'typst'", name="typst"))
    "this needs typst, which is not installed: pip install 'classic-car-pricing[documents]'"
    """
    module = str(error.name).partition(".")[0]
    for extra, modules in EXTRAS.items():
        if module in modules:
            return f"this needs {module}, which is not installed: pip install 'classic-car-pricing[{extra}]'"
    raise error
