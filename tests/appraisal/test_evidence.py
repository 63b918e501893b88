from dataclasses import replace
from datetime import timedelta

import polars as pl
import pytest

from pricing.appraisal.earlier_sales import earlier_sales
from pricing.appraisal.evidence import FROZEN_KINDS, Evidence, Known, gather, subject_of, terms_of, wanting
from pricing.appraisal.evidence_json import deserialise, serialise
from pricing.appraisal.record.record import plain_record, read_record, with_answer
from pricing.appraisal.register import Entry
from pricing.errors import AppraisalError, DecisionError, EvidenceError
from pricing.evidence.comparison.choices import Choice
from pricing.evidence.comparison.comparables import find_comparables
from pricing.model.features.spec import FeatureSpec
from pricing.model.price_model import PriceModel
from pricing.model.saved import load
from pricing.snapshot import Snapshot
from pricing.store.market import Market
from tests.appraisals import evidence_of, full_record, last_day
from tests.cars import car_of
from tests.small_market import common_car


def known(market: Market) -> Known:
    return Known.on(Snapshot.of(market), last_day(market), "fit-0001")


def test_the_evidence_is_what_the_library_says(market: Market) -> None:
    record = full_record(common_car(market), last_day(market))
    found = evidence_of(market, record)
    model = load(market)
    car = found.valuation.car
    frame = pl.DataFrame([car]).with_columns(event_date=pl.lit(last_day(market)))
    asked = model.price_range(frame.cast({"year": pl.Int16}))
    assert found.valuation.mid is not None
    assert float(found.valuation.mid) == pytest.approx(asked["mid"].item(), abs=0.01)
    indexed = known(market).comparables_index
    assert indexed is not None
    again = find_comparables(indexed, car_of(market, car), as_of=last_day(market))
    assert found.comparables is not None
    assert found.comparables.table["record_id"].to_list() == again.table["record_id"].to_list()
    assert (found.comparables.low, found.comparables.mid) == (again.low, again.mid)
    assert found.market.digest == market.digest()
    assert found.market.sales + found.market.offers == market.sales().height
    assert found.market.later == 0


def test_frozen_evidence_thaws_to_the_same_text(entry: Entry) -> None:
    text = serialise(entry.evidence)
    found = deserialise(text, FROZEN_KINDS)
    assert isinstance(found, Evidence)
    assert serialise(found) == text


def test_a_past_date_uses_only_what_was_known_then(market: Market) -> None:
    sales = market.sales()
    at = sales["event_date"].sort()[int(0.8 * sales.height)]
    model = PriceModel(FeatureSpec.cars()).fit(market.sales(as_of=at))
    record = full_record(common_car(market), at)
    found = gather(record, Known.on(Snapshot.of(market, model), at))
    assert found.fit_id is None
    assert found.market.later == sales.filter(pl.col("event_date") > at).height > 0
    assert found.market.last <= at
    assert found.valuation.sales["event_date"].max() <= at
    assert found.comparables is not None
    assert found.comparables.table["event_date"].max() <= at
    assert found.fit["last_date"] <= at.isoformat()


def test_a_model_that_has_seen_later_sales_is_refused(market: Market) -> None:
    at = last_day(market) - timedelta(days=400)
    with pytest.raises(DecisionError, match="has seen sales up to"):
        gather(full_record(common_car(market), at), Known.on(Snapshot.of(market), at))


def test_what_is_wanting_is_named(market: Market) -> None:
    record = with_answer(full_record(common_car(market), last_day(market)), "assignment.currency", "")
    assert wanting(record) == ["assignment.currency"]
    with pytest.raises(AppraisalError, match="without assignment.currency"):
        gather(record, known(market))


def test_evidence_of_another_day_is_refused(market: Market) -> None:
    record = full_record(common_car(market), last_day(market) - timedelta(days=1))
    with pytest.raises(AppraisalError, match="the effective date is"):
        gather(record, known(market))


def test_the_inspected_condition_takes_the_place_of_a_stated_one(entry: Entry) -> None:
    found = entry.evidence
    assert found is not None
    assert found.findings is not None
    assert found.budget is not None
    assert found.valuation.car["condition_band"] == found.findings.band
    assert sum(found.findings.bands.values()) == pytest.approx(1.0)
    assert found.budget.p10 <= found.budget.p50 <= found.budget.p80
    assert abs(found.budget.certain + found.budget.hidden - found.budget.expected) <= 1


def test_a_choice_is_followed_and_a_wrong_one_is_not_passed_over(market: Market) -> None:
    record = full_record(common_car(market), last_day(market))
    first = evidence_of(market, record)
    assert first.comparables is not None
    dropped = str(first.comparables.table["record_id"][0])
    chosen = replace(record, choices=(Choice(dropped, "drop", "a wreck on the photographs"),))
    second = evidence_of(market, chosen)
    assert second.comparables is not None
    assert dropped not in second.comparables.table["record_id"].to_list()
    with pytest.raises(EvidenceError):
        evidence_of(market, replace(record, choices=(Choice("no-such", "add", "seen"),)))


def test_only_what_the_evidence_depends_on_asks_for_it_anew(entry: Entry) -> None:
    record = entry.record
    for name in ("assignment.client", "opinion.figure", "subject.colour", "valuer.name", "assignment.scope"):
        assert terms_of(with_answer(record, name, "12")) == terms_of(record), name
    for name in ("subject.year", "assignment.effective_date", "assignment.currency", "evidence.count"):
        said = {"assignment.effective_date": "2020-01-01", "assignment.currency": "USD"}.get(name, "1960")
        assert terms_of(with_answer(record, name, said)) != terms_of(record), name


def test_the_car_is_offered_where_its_level_is(market: Market) -> None:
    content = plain_record(full_record(common_car(market), last_day(market)))
    for level, channel in (("auction hammer", "auction"), ("dealer", "dealer"), ("private", "private")):
        content["assignment"]["market_level"] = level
        assert subject_of(read_record(content))["channel"] == channel


def test_earlier_sales_of_the_car_are_found_by_its_chassis_number_however_typed(market: Market) -> None:
    sales = market.sales()
    car = common_car(market)
    other = sales.filter(pl.col("make") != car["make"])["record_id"][0]
    own = sales.filter(pl.col("make") == car["make"])["record_id"].to_list()[:2]
    number = (
        pl.when(pl.col("record_id") == own[0]).then(pl.lit("ch 55/nu"))
        .when(pl.col("record_id").is_in([own[1], other])).then(pl.lit("CH.55.NU"))
    )  # fmt: skip
    marked = sales.with_columns(chassis_number=number)
    found = earlier_sales(marked, {"chassis_number": "CH-55-Nu", "make": car["make"]})
    assert found is not None and set(found["record_id"]) == set(own)
    assert found["event_date"].is_sorted(descending=True)
    assert earlier_sales(marked, {"chassis_number": "CH-1", "make": car["make"]}) is None
    record = full_record(car, last_day(market))
    evidence = gather(record, replace(known(market), sales=marked))
    assert evidence.own_sales is not None and set(evidence.own_sales["record_id"]) == set(own)
    text = serialise(evidence)
    assert serialise(deserialise(text, FROZEN_KINDS)) == text
    assert earlier_sales(sales.clear(), vars(record.subject)) is not None
