"""The written appraisal against the published outline of what a report must hold, and worked examples.

Sources: USPAP Standards 7 and 8 (personal property; the outline as read, in part) for the contents and the
points of a certification; International Valuation Standards 2025 for the bases of value; published guides to
comparable-sales adjustment for adjustments in sequence (per cents multiply; recomputed); IAAO Standard on
Ratio Studies, 2013, table 1.4, for the exact interval of a median.
"""

from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

import polars as pl
import pytest

from pricing.appraisal.bases import BASIS_NAMES
from pricing.appraisal.completion import CERTIFICATION
from pricing.appraisal.contents import CONTENTS, PRACTICE, missing
from pricing.appraisal.facts import facts_of
from pricing.appraisal.record.record import plain_record, read_record
from pricing.appraisal.register import Entry
from pricing.model.accuracy.ratio_study import ratio_study
from pricing.reports.formats.pdf import pdf
from pricing.reports.report import report
from pricing.store.market import Market
from pricing.words.language.locale import LocaleWords
from tests.appraisals import appraised_market, full_entry, pdf_text
from tests.reports.test_report import number, tables

OUTLINE: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "client": (("assignment.client",), ("Client Alpha",)),
    "intended users": (("assignment.intended_users",), ("Users Beta",)),
    "intended use": (("assignment.intended_use",), ("Use Gamma",)),
    "identity of the property": (("subject.chassis_number",), ("CH-55-Nu",)),
    "how identity was established": (("subject.established",), ("by chassis_number Xi", "by make Xi")),
    "interest valued": (("assignment.interest",), ("Interest Delta",)),
    "type of value": (("assignment.basis",), ("market value",)),
    "definition of the type of value": (("assignment.basis_definition",), ("Definition Epsilon",)),
    "source of that definition": (("assignment.basis_source",), ("Source Zeta",)),
    "exposure time": (("assignment.exposure_time",), ("Exposure Lambda",)),
    "effective date": (("assignment.effective_date",), ("Effective date",)),
    "report date": (("assignment.report_date",), ("2 November 2026",)),
    "scope of work": (("assignment.scope",), ("Scope Theta",)),
    "what was not done": (("assignment.not_done",), ("Omission Iota",)),
    "significant help": (("assignment.helpers",), ("Helper Kappa",)),
    "market, methods and evidence": ((), ("Comparable sales", "Price model", "Market")),
    "reasoning and reconciliation": (("opinion.reconciliation",), ("Reasoning Tau",)),
    "why an approach was left out": (("opinion.approaches_left_out",), ("Left out Upsilon",)),
    "the opinion": (("opinion.figure",), ("\u00a37,350",)),
    "extraordinary assumptions": (("conditions.extraordinary",), ("Assumption Rho",)),
    "hypothetical conditions": (("conditions.hypothetical",), ("Condition Sigma",)),
    "premise of value": (("assignment.premise",), ("current use",)),
    "appropriate market": (("assignment.market_level",), ("private",)),
    "why that market": (("assignment.level_reason",), ("Level Reason",)),
    "currency": (("assignment.currency",), ("GBP",)),
    "taxes": (("assignment.tax_status",), ("Tax Eta",)),
    "limits of use": (("assignment.limits",), ("Limit Mu",)),
    "liability": (("assignment.liability",), ("Liability Bound",)),
    "services before": (("assignment.prior_services",), ("Services Before",)),
    "conflicts of interest": (("assignment.conflicts",), ("Conflicts None Known",)),
    "basis of the fee": (("assignment.fee_basis",), ("Fee By The Hour",)),
    "quality of the data": (("evidence.data_quality",), ("Data Checked",)),
    "factors of environment, society and governance": (("evidence.outside_factors",), ("Outside Factors",)),
    "governance of the model": (("evidence.model_governance",), ("Model Kept",)),
    "material uncertainty": (("opinion.uncertainty",), ("Uncertainty Stated",)),
    "the valuer": (("valuer.name",), ("Valuer Phi",)),
    "status of the valuer": (("valuer.qualifications",), ("Titles Chi",)),
    "inspected or not": (("inspection.manner",), ("in person", "Looker Omicron", "Extent Pi")),
}  # fmt: skip
"""The outline's items: the fields that answer each, and what a document then shows."""

CERTIFIED = (
    "true",
    "impartial",
    "interest",
    "last three years",
    "bias",
    "fee",
    "inspected",
    "significant help",
)
"""What the outline wants certified: each a point of its own, by a word of it."""


@pytest.fixture(scope="module")
def entry(small_market: Market, tmp_path_factory: pytest.TempPathFactory) -> Entry:
    return full_entry(appraised_market(small_market, tmp_path_factory.mktemp("outline")), inspected=False)


@pytest.fixture(scope="module")
def said(entry: Entry) -> str:
    return " ".join(pdf_text(pdf(report(facts_of(entry), LocaleWords.of("en_GB")))).split())


@pytest.mark.parametrize("item", OUTLINE)
def test_each_item_of_the_outline_is_shown_and_its_absence_stops_the_document(
    entry: Entry, said: str, item: str
) -> None:
    names, shown = OUTLINE[item]
    assert [text for text in shown if text not in said] == []
    if not names:
        assert missing(entry.record, None) != []
        return
    content: dict[str, Any] = plain_record(entry.record)
    for name in names:
        section, field = name.split(".")
        empty: Any = {"established": {}, "extraordinary": [], "hypothetical": []}.get(field, None)
        content[section][field] = empty
    assert missing(read_record(content), entry.evidence) != []


def test_each_point_of_the_certification_is_an_empty_field(said: str) -> None:
    assert len(CERTIFICATION) == len(CERTIFIED)
    for point, word in zip(CERTIFICATION.values(), CERTIFIED, strict=True):
        assert word in point
        assert point[1:] in said
    assert "Signature" in said
    assert "I certify" not in said


def test_every_required_content_names_its_source_and_whether_it_is_from_memory() -> None:
    unsaid = [
        content.name
        for content in CONTENTS
        if not (content.source == PRACTICE or content.source.endswith("(from memory)"))
    ]
    assert unsaid == []
    assert {content.name for content in CONTENTS if content.source == PRACTICE} == {
        "reason for the market level", "buyer's premium", "tax status",
    }  # fmt: skip


def test_the_bases_of_value_of_the_standard_are_there() -> None:
    """IVS 2025: market, equitable, investment, liquidation (synergistic value is of no single car); in use
    beside them: agreed value, replacement value, probate."""
    for word in ("market", "equitable", "investment", "liquidation", "agreed", "replacement", "probate"):
        assert [basis for basis in BASIS_NAMES if word in basis], word


def example(entry: Entry, price: str, per_cents: tuple[float, ...]) -> Entry:
    """The entry with a first comparable of this price, adjusted by these per cents and by nothing else."""
    evidence = entry.evidence
    assert evidence is not None
    found = evidence.comparables
    assert found is not None
    record = found.table["record_id"][0]
    lines = found.lines.filter(pl.col("record_id") == record)
    at, rows, left = Decimal(price), [], list(per_cents)
    for row in lines.iter_rows(named=True):
        if row["step"] < 2:
            rows.append(row | {"price_after": at})
            continue
        size = left.pop(0) if left else 0.0
        after = (at * (1 + Decimal(str(size)) / 100)).quantize(Decimal("0.01"))
        rows.append(
            row | {"money": after - at, "price_after": after, "factor": 1 + size / 100, "per_cent": size}
        )
        at = after
    bent = pl.concat(
        [pl.DataFrame(rows, schema=lines.schema), found.lines.filter(pl.col("record_id") != record)]
    )
    first = pl.col("record_id") == record
    table = found.table.with_columns(
        price=pl.when(first).then(pl.lit(Decimal(price))).otherwise("price").cast(pl.Decimal(18, 2)),
        adjusted_price=pl.when(first).then(pl.lit(at)).otherwise("adjusted_price").cast(pl.Decimal(18, 2)),
    )
    return replace(entry, evidence=replace(evidence, comparables=replace(found, lines=bent, table=table)))


@pytest.mark.parametrize(
    ("price", "per_cents", "money", "adjusted"),
    [
        ("100000", (2.0, 100 * 5000 / 102000), ("2000.00", "5000.00"), "107000.00"),
        ("115500", (-8.0, 5.0, -10.0), ("-9240.00", "5313.00", "-11157.30"), "100415.70"),
        ("110000", (100 / 1.10 - 100,), ("-10000.00",), "100000.00"),
    ],
)
def test_the_printed_adjustments_follow_the_worked_examples(
    entry: Entry, price: str, per_cents: tuple[float, ...], money: tuple[str, ...], adjusted: str
) -> None:
    """100,000 +2,000, then +5,000: 107,000. On 115,500, -8 %, +5 % and -10 % multiplied make 100,415.70, and
    added up 100,485.00. A comparable that is 10 % better is divided by 1.10."""
    pages = report(facts_of(example(entry, price, per_cents)), LocaleWords.of("en_GB"))
    table = tables(pages, "Adjustments of comparables 1")[0]
    names = [row[0] for row in table.rows]
    first, last = names.index("Price, all-in"), names.index("Adjusted price")
    column = [row[2] for row in table.rows[first : last + 1]]
    assert number(column[0]) == Decimal(price)
    assert [number(cell) for cell in column[1:-1] if cell != "\u2013"] == [Decimal(part) for part in money]
    assert number(column[-1]) == Decimal(adjusted)


def test_the_printed_interval_of_the_median_is_the_exact_one(entry: Entry) -> None:
    """Table 1.4: 17 sales, median .8200, 95 % interval (.6954, .9333), ranks 5 and 13; COD 14.5."""
    ratios = (
        "87200/138720 38240/59700 96320/146400 68610/99000 32960/47400 50560/70500 61360/78000 47360/60000 "
        "56580/69000 47040/55500 136000/154500 98000/109500 56000/60000 159100/168000 128000/124500 "
        "132000/127500 "
        "160000/150000"
    ).split()
    values, prices = zip(
        *((float(a), float(b)) for a, b in (pair.split("/") for pair in ratios)), strict=True
    )
    assert entry.evidence is not None
    with_study = replace(entry, evidence=replace(entry.evidence, ratios=ratio_study(values, prices)))
    (table,) = tables(report(facts_of(with_study), LocaleWords.of("en_GB")), "Ratio study")
    rows = {row[0]: row[1:] for row in table.rows}
    assert rows["Median ratio"] == ("0.820", "0.695 to 0.933")
    assert rows["Weighted mean ratio"] == ("0.847", "0.759 to 0.935")
    assert rows["Coefficient of dispersion, %"][0] == "14.5"
    assert rows["Price-related bias"] == ("0.135", "0.013 to 0.258")
    few = replace(entry, evidence=replace(entry.evidence, ratios=ratio_study(values[:5], prices[:5])))
    (table,) = tables(report(facts_of(few), LocaleWords.of("en_GB")), "Ratio study")
    assert table.rows[1][2] == "none: too few sales"  # n = 5 has no exact interval at 95 %


def test_the_currency_is_that_of_the_reference_rate(entry: Entry) -> None:
    """The document's rate is the European Central Bank's of the day or the last before it."""
    facts = facts_of(entry)
    assert facts.currency == "GBP"
    assert date(2026, 1, 1) <= facts.evidence.conversion.rate_date <= facts.evidence.valuation.as_of
    assert Decimal("0.6") < facts.rate < Decimal("1.0")
