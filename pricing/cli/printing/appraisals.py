"""What the command line shows of appraisals."""

from collections.abc import Mapping, Sequence
from typing import Any

import polars as pl
from rich.text import Text

from pricing.appraisal.bases import BASES, Basis
from pricing.appraisal.collection import Item
from pricing.appraisal.collection_total import Total
from pricing.appraisal.consistency import contradictions
from pricing.appraisal.contents import Content, missing
from pricing.appraisal.record.profiles import Profile
from pricing.appraisal.register import Entry
from pricing.cli.printing.console import print_table, say
from pricing.evidence.comparison.comparables import Comparables
from pricing.reports.collection import collection_sentence
from pricing.words.photographs import removed_words


def show_entry(entry: Entry) -> None:
    """What was kept, and what is still missing."""
    say(f"{entry.appraisal_id}, revision {entry.revision}", style="bold")
    if entry.evidence is None:
        say("no evidence gathered yet: the record does not say enough of the car and the date")
    else:
        say(f"evidence frozen, digest {entry.evidence_digest}")
    if not entry.record.completed:
        say("a draft for a qualified valuer; only the valuer completes it: `pricing appraise complete`")
    show_open_points(entry)


def show_open_points(entry: Entry) -> None:
    """What the record lacks, with where each requirement comes from, and what contradicts itself."""
    lacking = missing(entry.record, entry.evidence)
    broken = contradictions(entry.record, entry.evidence)
    columns = {"what must hold": "{rule}", "does not, because": "{sentence}", "mend it": "{mends}"}
    print_table(columns, broken, empty="")
    if not lacking and not broken:
        say(f"{entry.appraisal_id}: every required content is there; a valuer decides whether it holds")
    print_table({"missing": "{name}", "part": "{part}", "required by": _source}, lacking, empty="")


def _source(named: Content | Basis) -> Text:
    return Text(named.source, style="dim")


def show_grid(comparables: Comparables) -> None:
    """The comparables by number, with their adjusted prices and weights, and the choices made on them."""
    columns: dict[str, Any] = {
        "No.": "{number}",
        "sold": "{event_date}",
        "car": lambda row: f"{row['year']} {row['model']} {row['variant'] or ''}",
        "condition": lambda row: row["condition_band"] or "not graded",
        "price": "{price:,.0f}",
        "gross": "{gross_per_cent:.0f}%",
        "adjusted": "{adjusted_price:,.0f}",
        "weight": "{weight:.0%}",
        "record": "{record_id}",
    }
    print_table(columns, comparables.table.with_row_index("number", 1))
    say(*(f"{choice.action} {choice.record_id}: {choice.reason}" for choice in comparables.choices))


def show_matches(frame: pl.DataFrame) -> None:
    """Sales that a search found, with the record by which each is added."""
    columns: dict[str, Any] = {
        "record": "{record_id}",
        "sold": "{event_date}",
        "car": lambda row: f"{row['year']} {row['make']} {row['model']} {row['variant'] or ''}",
        "condition": lambda row: row["condition_band"] or "not graded",
        "price": "{price:,.0f}",
        "source": "{source} {source_ref}",
    }
    print_table(columns, frame, empty="no sale by the effective date has these words")


def show_photographs(entry: Entry) -> None:
    """The photographs of an appraisal by number, and what is left out of what is shown of each."""
    columns: dict[str, Any] = {
        "No.": lambda row: f"{row['number']}{' cover' if row['cover'] else ''}",
        "file": "{file}",
        "taken": "{taken_on}",
        "caption": "{caption}",
        "finding": "{check}",
        "left out": lambda row: removed_words(row["removed"]),
        "digest": "{digest:.12}",
    }
    shots = ({"number": number, **vars(shot)} for number, shot in enumerate(entry.record.photographs, 1))
    none = f"{entry.appraisal_id} has no photographs: `pricing appraise photographs add` adds one"
    print_table(columns, shots, empty=none)


def show_appraisals(frame: pl.DataFrame) -> None:
    """The appraisals of a market file."""
    columns: dict[str, Any] = {
        "appraisal": "{appraisal_id}",
        "revision": "{revision}",
        "kind": lambda row: row["kind"] or "not said",
        "state": _state,
        "car": "{car}",
        "client": "{client}",
        "effective": "{effective_date}",
        "by": "{made_by}",
    }
    print_table(columns, frame, empty="no appraisals yet: `pricing appraise new FORM` enters one")


def _state(row: Mapping[str, Any]) -> str:
    """A draft waits for its valuer's act; a model report has none and stays as it is."""
    if row["completed"]:
        return "completed"
    return "as it stands" if row["kind"] == "model report" else "draft"


def show_history(entry: Entry, frame: pl.DataFrame) -> None:
    """Who changed what in one appraisal."""
    say(f"{entry.appraisal_id}, last revision {entry.revision}", style="bold")
    columns = {
        "revision": "{revision}", "made at (UTC)": "{made_at:%Y-%m-%d %H:%M}", "by": "{made_by}",
        "reason": "{reason}", "field": "{field}", "was": "{old}", "is": "{new}",
    }  # fmt: skip
    print_table(columns, frame)


def show_bases() -> None:
    """The bases of value, each with its wording and source."""
    columns: dict[str, Any] = {
        "basis": "{name}",
        "what it means": "{means}",
        "source": _source,
        "premises": lambda basis: ", ".join(basis.premises),
        "levels": lambda basis: ", ".join(basis.levels),
    }
    print_table(columns, BASES)


def show_profiles(profiles: Sequence[Profile]) -> None:
    """The profiles of a market, with what they hold."""
    rows = (
        {"kind": each.kind if place == 0 else "", "name": each.name if place == 0 else "", "answer": answer}
        for each in profiles
        for place, answer in enumerate(each.answers.items())
    )
    columns = {"kind": "{kind}", "name": "{name}", "field": "{answer[0]}", "answer": "{answer[1]}"}
    print_table(columns, rows, empty="no profiles yet: `pricing profiles keep` keeps one")


def show_collection(items: Sequence[Item], total: Total, currency: str) -> None:
    """How many cars were valued, what they come to, and which were not."""
    say(collection_sentence(items, total, currency))
    columns = {"row": "{row.number}", "reference": "{row.reference}", "not valued because": "{reason}"}
    print_table(columns, [item for item in items if item.facts is None], empty="")
