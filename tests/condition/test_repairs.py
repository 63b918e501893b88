from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

import numpy as np
import polars as pl
import pytest
from scipy import stats

from pricing.condition.assessment import assess
from pricing.condition.budget import repair_budget
from pricing.condition.catalogue import Catalogue, Quote
from pricing.condition.inspection import Change, Inspection
from pricing.condition.repairs import RepairCosts, pert_mean, price_repairs
from pricing.errors import InspectionError, MoneyError
from tests.condition.walks import CAR, catalogue, walk

RATES = pl.DataFrame(
    {"currency": ["EUR"], "rate_date": [date(2020, 1, 1)], "rate": [Decimal("0.001")]},
    schema={"currency": pl.String, "rate_date": pl.Date, "rate": pl.Decimal(20, 6)},
)


def priced(found: Inspection, country: str = "DE", **options: Any) -> RepairCosts:
    return price_repairs(assess(found), catalogue(), country=country, **options)


def test_a_sound_car_costs_nothing() -> None:
    budget = repair_budget(priced(walk()))
    assert (budget.p10, budget.p50, budget.p80, budget.hidden) == (0, 0, 0, 0)
    assert budget.lines.is_empty()


def deviation(low: float, likely: float, high: float) -> float:
    """Standard deviation of the four-shape beta of a three-point estimate, by scipy."""
    width = high - low
    shapes = 1 + 4 * (likely - low) / width, 1 + 4 * (high - likely) / width
    return float(stats.beta(*shapes, scale=width).std())


def test_one_line_is_its_parts_and_hours_with_tax() -> None:
    found = walk(electrics_charging="needs repair")
    job = catalogue().job("charging_overhaul")
    rate = catalogue().labour_rate("DE", "electrical")
    tax = 1 + catalogue().tax_rate("DE")
    parts = [float(step * tax) for step in job.parts]
    work = [float(step * rate * tax) for step in job.hours]
    budget = repair_budget(priced(found))
    mean = float(pert_mean(*parts) + pert_mean(*work))
    low, high = deviation(*parts), deviation(*work)
    # the two costs of one area are correlated: the deviation lies between that of independent and equal ones
    assert float(budget.expected) == pytest.approx(mean, abs=5 * float(low + high) / len(budget.draws) ** 0.5)
    assert np.hypot(low, high) < budget.draws.std() < low + high
    assert parts[0] + work[0] <= budget.draws.min() <= budget.draws.max() <= parts[2] + work[2]
    assert budget.certain == budget.expected


def test_p10_p50_and_p80_are_quantiles_of_the_draws_in_the_smallest_unit() -> None:
    budget = repair_budget(priced(walk(state="needs repair")))
    assert budget.p10 < budget.p50 < budget.p80
    for money, level in ((budget.p10, 0.1), (budget.p50, 0.5), (budget.p80, 0.8)):
        assert float(money) == pytest.approx(np.quantile(budget.draws, level), abs=0.006)
        assert money == money.quantize(Decimal("0.01"))


def test_areas_and_lines_add_up_to_the_total() -> None:
    budget = repair_budget(priced(walk(state="needs repair", body_paint="not seen")))
    assert budget.areas["expected"].sum() == pytest.approx(float(budget.expected), abs=0.01)
    assert budget.lines["expected"].sum() == pytest.approx(float(budget.expected), abs=0.01)
    assert budget.top().height == 10
    assert budget.top()["expected"].is_sorted(descending=True)


def test_correlation_within_an_area_widens_the_total_and_not_its_mean() -> None:
    found = walk(state="needs repair")
    alone, together = (repair_budget(priced(found, correlation=level)) for level in (0.0, 0.8))
    assert together.draws.std() > 2 * alone.draws.std()
    assert together.draws.mean() == pytest.approx(alone.draws.mean(), rel=0.02)


def test_a_job_for_the_car_is_paid_once_and_one_for_a_place_each_time() -> None:
    def count(job: str, **found: str) -> int:
        costs = priced(walk(**found))
        times = costs.times(costs.result.states > 1).max(axis=0)
        return int(sum(times[line] for line, other in enumerate(costs.jobs) if other.id == job))

    assert (
        count(
            "engine_bottom_end",
            engine_crankshaft_end_float="needs repair",
            engine_oil_pressure="needs repair",
        )
        == 1
    )
    assert count("chassis_outrigger", chassis_outriggers="needs repair") == 1
    assert count("chassis_outrigger", chassis_outriggers="structural or missing") == 2
    assert count("paint_panel", body_doors="needs repair", body_bonnet="needs repair") == 2


def test_a_job_that_includes_another_makes_it_unnecessary() -> None:
    panels = repair_budget(priced(walk(body_doors="needs repair", body_paint="needs repair"))).lines["job"]
    assert "paint_whole_car" in panels
    assert "paint_panel" not in panels


def test_what_was_not_seen_is_in_the_budget_with_its_chance() -> None:
    seen = repair_budget(priced(walk(state="worn")))
    hidden = repair_budget(priced(walk(state="worn", chassis_rear_legs="not seen")))
    assert seen.hidden == 0
    assert hidden.hidden > 0
    assert hidden.certain == 0
    assert 0 < hidden.lines["chance"].max() < 1  # type: ignore[operator]
    assert not hidden.lines["certain"].any()


def test_a_change_done_badly_is_put_right() -> None:
    found = replace(walk(), changes=(Change("radio", done="badly"), Change("discs", done="well")))
    lines = repair_budget(priced(found)).lines
    assert lines["reason"].to_list() == ["radio"]


def test_wear_is_left_alone_unless_asked_for() -> None:
    costs = priced(walk(state="worn"))
    assert repair_budget(costs).expected == 0
    assert repair_budget(costs, least="worn").expected > 1000


def test_a_quote_overrides_parts_hours_and_tax() -> None:
    quote = Quote("charging_overhaul", (Decimal(80),) * 3, "EUR", "A workshop", date(2024, 5, 1))
    budget = repair_budget(priced(walk(electrics_charging="needs repair"), quotes=[quote]))
    assert budget.p10 == budget.p50 == budget.p80 == Decimal("80.00")
    assert budget.lines["quoted"].to_list() == [True]


def test_money_is_converted_at_the_dates_of_catalogue_and_quote() -> None:
    quote = Quote("charging_overhaul", (Decimal(100),) * 3, "EUR", "A workshop", date(2013, 3, 21))
    budget = repair_budget(priced(walk(electrics_charging="needs repair"), currency="USD", quotes=[quote]))
    assert budget.p50 == Decimal("129.10")  # ECB reference rate of 2013-03-21, 100 EUR = 129.1 USD


def test_a_missing_rate_is_named_and_the_users_own_rate_fills_it() -> None:
    found = walk(electrics_charging="needs repair")
    with pytest.raises(MoneyError, match="no rate from EUR to ARS on 2026-06-30"):
        priced(found, currency="ARS")
    plain = repair_budget(priced(found)).p50
    own = repair_budget(priced(found, currency="ARS", own_rates=RATES)).p50
    assert float(own) == pytest.approx(1000 * float(plain), rel=1e-3)


def test_the_same_seed_gives_the_same_budget() -> None:
    found = walk(state="needs repair")
    assert repair_budget(priced(found)).p50 == repair_budget(priced(found)).p50
    assert repair_budget(priced(found)).p50 != repair_budget(priced(found, seed=1)).p50


def test_a_finding_without_a_job_is_named_and_not_priced() -> None:
    found = walk(engine_smoke="needs repair")
    bare = tuple(
        replace(check, jobs={}) if check.id == "engine_smoke" else check for check in found.sheet.checks
    )
    budget = repair_budget(priced(replace(found, sheet=replace(found.sheet, checks=bare))))
    assert budget.without_job == ("engine_smoke",)
    assert budget.expected == 0


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"country": "XX"}, "no tax rate for country 'XX'"),
        ({"correlation": 1.0}, "correlation must be at least 0 and below 1"),
        ({"quotes": [Quote("x", (Decimal(1),) * 3, "EUR", "", date(2024, 1, 1))]}, "unknown job 'x'"),
    ],
)
def test_what_makes_no_sense_is_refused(options: dict[str, Any], message: str) -> None:
    with pytest.raises(InspectionError, match=message):
        priced(walk(), **options)


def test_a_catalogue_without_a_job_the_sheet_leads_to_is_refused_by_name() -> None:
    full: Catalogue = catalogue()
    jobs = {name: job for name, job in full.jobs.items() if name != "bulkhead_repair"}
    with pytest.raises(InspectionError, match="'bulkhead_repair', which check 'chassis_bulkhead_door_gap'"):
        price_repairs(assess(walk()), replace(full, jobs=jobs), country="DE")


def test_an_unknown_least_state_is_refused() -> None:
    with pytest.raises(InspectionError, match="unknown state 'sound'"):
        repair_budget(priced(walk()), least="sound")


def test_a_car_nobody_has_seen_has_a_wide_budget() -> None:
    budget = repair_budget(priced(Inspection.start("monocoque", CAR)))
    assert budget.p80 > 3 * budget.p50
    assert budget.notice == catalogue().notice
