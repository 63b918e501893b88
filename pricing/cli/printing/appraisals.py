"""What the command line shows of appraisals."""

from collections.abc import Sequence

import polars as pl
from rich.text import Text

from pricing.appraisal.bases import BASES
from pricing.appraisal.collection import Item
from pricing.appraisal.collection_total import Total
from pricing.appraisal.consistency import contradictions
from pricing.appraisal.contents import missing
from pricing.appraisal.record.profiles import Profile
from pricing.appraisal.register import Entry
from pricing.cli.printing.terminal import console, text_table
from pricing.evidence.comparison.comparables import Comparables
from pricing.reports.collection import collection_sentence
from pricing.words.photographs import removed_words


def show_entry(entry: Entry) -> None:
    """What was kept, and what is still missing."""
    out = console()
    out.print(Text(f"{entry.appraisal_id}, revision {entry.revision}", style="bold"))
    if entry.evidence is None:
        out.print("no evidence gathered yet: the record does not say enough of the car and the date")
    else:
        out.print(Text(f"evidence frozen, digest {entry.evidence_digest}"))
    if not entry.record.completed:
        out.print("a draft for a qualified valuer; only the valuer completes it: `pricing appraise complete`")
    show_open_points(entry)


def show_open_points(entry: Entry) -> None:
    """What the record lacks, with where each requirement comes from, and what contradicts itself."""
    out = console()
    lacking = missing(entry.record, entry.evidence)
    against = contradictions(entry.record, entry.evidence)
    if against:
        table = text_table("what must hold", "does not, because", "mend it")
        for found in against:
            table.add_row(Text(found.rule), Text(found.sentence), Text(found.mends))
        out.print(table)
    if not lacking:
        if against:
            return
        out.print(
            Text(f"{entry.appraisal_id}: every required content is there; a valuer decides whether it holds")
        )
        return
    table = text_table("missing", "part", "required by")
    for content in lacking:
        table.add_row(Text(content.name), Text(content.part), Text(content.source, style="dim"))
    out.print(table)


def show_grid(comparables: Comparables) -> None:
    """The comparables by number, with their adjusted prices and weights, and the choices made on them."""
    table = text_table("No.", "sold", "car", "condition", "price", "gross", "adjusted", "weight", "record")
    for number, row in enumerate(comparables.table.iter_rows(named=True), start=1):
        table.add_row(
            str(number), str(row["event_date"]), Text(f"{row['year']} {row['model']} {row['variant'] or ''}"),
            row["condition_band"] or "not graded", f"{row['price']:,.0f}", f"{row['gross_per_cent']:.0f}%",
            f"{row['adjusted_price']:,.0f}", f"{row['weight']:.0%}", Text(row["record_id"]),
        )  # fmt: skip
    out = console()
    out.print(table)
    for choice in comparables.choices:
        out.print(Text(f"{choice.action} {choice.record_id}: {choice.reason}"))


def show_found(frame: pl.DataFrame) -> None:
    """Sales that a search found, with the record by which each is added."""
    table = text_table("record", "sold", "car", "condition", "price", "source")
    for row in frame.iter_rows(named=True):
        table.add_row(
            Text(row["record_id"]), str(row["event_date"]),
            Text(f"{row['year']} {row['make']} {row['model']} {row['variant'] or ''}"),
            row["condition_band"] or "not graded", f"{row['price']:,.0f}",
            Text(f"{row['source']} {row['source_ref']}"),
        )  # fmt: skip
    console().print(table if table.row_count else "no sale by the effective date has these words")


def show_photographs(entry: Entry) -> None:
    """The photographs of an appraisal by number, and what is left out of what is shown of each."""
    table = text_table("No.", "file", "taken", "caption", "finding", "left out", "digest")
    for number, shot in enumerate(entry.record.photographs, 1):
        table.add_row(
            f"{number}{' cover' if shot.cover else ''}", Text(shot.file), str(shot.taken_on or ""),
            Text(shot.caption), Text(shot.check), Text(removed_words(shot.removed)), shot.digest[:12],
        )  # fmt: skip
    none = f"{entry.appraisal_id} has no photographs: `pricing appraise photographs add` adds one"
    console().print(table if table.row_count else none)


def show_appraisals(frame: pl.DataFrame) -> None:
    """The appraisals of a market file."""
    table = text_table("appraisal", "revision", "kind", "state", "car", "client", "effective", "by")
    for row in frame.iter_rows(named=True):
        table.add_row(
            row["appraisal_id"],
            str(row["revision"]),
            Text(row["kind"] or "not said"),
            _state(row["kind"], row["completed"]),
            Text(row["car"]),
            Text(row["client"]),
            "" if row["effective_date"] is None else row["effective_date"].isoformat(),
            Text(row["made_by"]),
        )
    console().print(table if table.row_count else "no appraisals yet: `pricing appraise new FORM` enters one")


def _state(kind: str, completed: bool) -> str:
    """A draft waits for its valuer's act; a model report has none and stays as it is."""
    if completed:
        return "completed"
    return "as it stands" if kind == "model report" else "draft"


def show_history(entry: Entry, frame: pl.DataFrame) -> None:
    """Who changed what in one appraisal."""
    table = text_table("revision", "made at (UTC)", "by", "reason", "field", "was", "is")
    for row in frame.iter_rows(named=True):
        table.add_row(
            str(row["revision"]),
            f"{row['made_at']:%Y-%m-%d %H:%M}",
            *(Text(row[name] or "") for name in ("made_by", "reason", "field", "old", "new")),
        )
    console().print(Text(f"{entry.appraisal_id}, last revision {entry.revision}", style="bold"))
    console().print(table)


def show_bases() -> None:
    """The bases of value, each with its wording and source."""
    table = text_table("basis", "what it means", "source", "premises", "levels")
    for basis in BASES:
        table.add_row(
            basis.name, basis.means, Text(basis.source, style="dim"), ", ".join(basis.premises),
            ", ".join(basis.levels),
        )  # fmt: skip
    console().print(table)


def show_profiles(profiles: Sequence[Profile]) -> None:
    """The profiles of a market, with what they hold."""
    table = text_table("kind", "name", "field", "answer")
    for each in profiles:
        for place, (field, answered) in enumerate(each.answers.items()):
            named = (each.kind, each.name) if place == 0 else ("", "")
            table.add_row(named[0], Text(named[1]), field, Text(str(answered)))
    console().print(table if table.row_count else "no profiles yet: `pricing profiles keep` keeps one")


def show_collection(items: Sequence[Item], total: Total, currency: str) -> None:
    """How many cars were valued, what they come to, and which were not."""
    out = console()
    out.print(Text(collection_sentence(items, total, currency)))
    table = text_table("row", "reference", "not valued because")
    for item in items:
        if item.facts is None:
            table.add_row(str(item.row.number), Text(item.row.reference), Text(item.reason))
    if table.row_count:
        out.print(table)
