"""The files that the commands of the market evidence read and write."""

from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from pricing.cli.output import note
from pricing.errors import FileError
from pricing.untrusted.files import regular_size
from pricing.whole_files import write_whole

if TYPE_CHECKING:
    import polars as pl

LARGEST_SERIES: Final = 10_000_000
"""Bytes of a price series at most."""


def read_series(path: Path) -> "pl.DataFrame":
    """A price series: a CSV file with the columns date and value."""
    import polars as pl

    from pricing.intake.tables.readers import read_whole

    regular_size(path, LARGEST_SERIES)
    try:
        return read_whole(path).select(
            pl.col("date").str.strip_chars().str.to_date("%Y-%m-%d"),
            pl.col("value").str.strip_chars().cast(pl.Float64),
            pl.exclude("date", "value", "row_number"),
        )
    except pl.exceptions.PolarsError as error:
        raise FileError(f"{path}: no price series with the columns date (YYYY-MM-DD) and value: "
                        f"{str(error).splitlines()[0]}") from None  # fmt: skip


def write_frame(frame: "pl.DataFrame", path: Path) -> None:
    """Write a frame as CSV without formulas or as parquet, by the ending of the name."""
    import polars as pl

    from pricing.intake.exports import neutral_names, neutralised

    made = BytesIO()  # whole first: polars tells a full disk as a fault of the file it writes
    if path.suffix == ".csv":
        neutral_names(frame.with_columns(neutralised(pl.col(pl.String)))).write_csv(made)
    elif path.suffix == ".parquet":
        frame.write_parquet(made)
    else:
        raise FileError(f"{path}: is written as .csv or .parquet")
    write_whole(path, made.getvalue())


def draw(chart: Any, path: Path) -> None:
    """Draw a chart into a file, by the ending of its name."""
    if path.suffix not in (".svg", ".png", ".html", ".json"):
        raise FileError(f"{path}: a chart is drawn into .svg, .png, .html or .json")
    if path.suffix == ".html":
        from pricing.charts.drawing import chart_page

        drawn = chart_page(chart).encode()
    elif path.suffix == ".json":
        drawn = chart.to_json().encode()
    else:
        import vl_convert

        from pricing.charts.drawing import drawable

        picture = drawable(chart.to_dict())
        svg = path.suffix == ".svg"
        drawn = vl_convert.vegalite_to_svg(picture).encode() if svg else vl_convert.vegalite_to_png(picture)
    write_whole(path, drawn)
    note(f"drawn into {path}")
