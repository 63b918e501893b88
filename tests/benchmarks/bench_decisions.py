"""How many draws a second a simulated sale makes, how long a decision takes, and a page by the wire."""

import os
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from urllib.parse import urlsplit

import numpy as np
import pytest

import data_demo
from pricing.car import Car
from pricing.condition.assessment import assess
from pricing.condition.repairs import price_repairs
from pricing.decisions.buy.buying import BuyerTerms, buy_car
from pricing.decisions.sell.asking_plan import by_asking, ladder
from pricing.decisions.sell.auction import AuctionEvidence, Bidding, at_auction
from pricing.decisions.sell.seller_terms import SaleTerms, SellerTerms
from pricing.decisions.sell.selling import sell_car
from pricing.decisions.sell.selling_evidence import SellingEvidence, selling_evidence
from pricing.decisions.sell.time_to_sale import TimeToSale
from pricing.decisions.simulation import levels_of
from pricing.model.price_model import PriceModel
from pricing.model.saved import save
from pricing.money.charges import read_schedule
from pricing.operations.serving import address
from pricing.snapshot import Snapshot
from pricing.store.market import Market
from tests.benchmarks.wire_person import WirePerson, wire_person
from tests.condition.walks import catalogue, walk
from tests.dashboards.browser import served
from tests.ports import free_port

pytestmark = pytest.mark.benchmark

SIZE = 500_000
TIMES = TimeToSale(np.log([60.0, 50.0]), 2.0, 0.4, 100, 300, 1.2, 0.2, True)
EVIDENCE = SellingEvidence(AuctionEvidence(200, 40, 50, 0.8, 0.7, (-0.1, 0.25)), TIMES)
SCHEDULE = read_schedule(Path(data_demo.__file__).parent / "example_charges.toml")


def a_sale(model: PriceModel, car: Car, channel: str, seed: int) -> float:
    """Price, hammer, charges, sold or not, net, wait and what is left of ``SIZE`` draws on one channel."""
    snapshot_day = model.facts["last_date"]
    from datetime import date

    at = date.fromisoformat(snapshot_day)
    terms = SellerTerms("EUR")
    charges = SaleTerms.in_force(SCHEDULE, channel, at, "EUR")
    levels = levels_of(SIZE, seed)
    law = model.distribution(replace(car, channel=channel).frame(at))
    value, mid = law.ppf(levels.car[channel])[0], law.mid.item()
    if channel == "auction":
        bidding = Bidding.drawn(charges.hammer(value), None, levels.top)
        return float(at_auction(bidding, 0.8 * mid, charges, terms).left.mean())
    asks = ladder(1.1 * mid, 0.9 * mid)
    return float(by_asking(value, levels.wait, asks, mid, channel, TIMES, 1.2, charges, terms).left.mean())


def test_draws_a_second(demo_market: Market, demo_model: PriceModel) -> None:
    car = Snapshot.of(demo_market).car(_car())
    for seed in (0, 1):
        levels_of(SIZE, seed)  # shared by all cars, and made once
    began, busy = time.perf_counter(), time.process_time()
    with ThreadPoolExecutor(2) as threads:
        list(threads.map(lambda job: a_sale(demo_model, car, *job), [("auction", 0), ("private", 1)]))
    took, busy = time.perf_counter() - began, time.process_time() - busy
    print(
        f"\n{2 * SIZE / took:,.0f} draws a second on {os.cpu_count()} cores ({2 * SIZE:,} in {took:.2f} s); "
        f"{2 * SIZE / busy:,.0f} a processor second"
    )


def test_decisions_of_one_car(demo_market: Market, demo_model: PriceModel) -> None:
    snapshot = Snapshot.of(demo_market, demo_model)
    car = replace(snapshot.car(_car()), channel="private")
    evidence = selling_evidence(snapshot, demo_model)
    seen = assess(walk("monocoque", "worn", shell_outer_sills="needs repair"))
    seen = replace(seen, inspection=replace(seen.inspection, car={}))
    costs = price_repairs(seen, catalogue(), country="GB", currency="EUR")
    bare = replace(car, condition_band=None, condition_score=None)
    terms = BuyerTerms("EUR", 0.6)
    jobs = {
        "buy": lambda: buy_car(snapshot, demo_model, car, terms, asking=Decimal(4650)),
        "buy, inspected": lambda: buy_car(
            snapshot, demo_model, bare, terms, asking=Decimal(4650), inspection=seen, costs=costs
        ),
        "sell": lambda: sell_car(snapshot, demo_model, car, SellerTerms("EUR"), evidence=evidence),
        "sell, inspected": lambda: sell_car(
            snapshot, demo_model, bare, SellerTerms("EUR"), evidence=evidence, inspection=seen, costs=costs
        ),
    }
    print()
    for name, job in jobs.items():
        job()
        taken, busy = [], []
        for _ in range(7):
            began, worked = time.perf_counter(), time.process_time()
            job()
            taken.append(1000 * (time.perf_counter() - began))
            busy.append(1000 * (time.process_time() - worked))
        print(
            f"{name}: {np.median(taken):.0f} ms, {np.median(busy):.0f} ms of processor, at the median of "
            f"{len(taken)}"
        )


def test_a_decision_page_by_the_wire(demo_market: Market, demo_model: PriceModel, tmp_path: Path) -> None:
    copy = tmp_path / "demo.duckdb"
    copy.write_bytes(demo_market.path.read_bytes())
    save(demo_model, Market.open(copy))
    port = free_port()
    print()
    with served(copy, port):
        for page in ("buy", "sell"):
            query = urlsplit(address(port, _car() | {"channel": "private"}, Decimal(4650))).query
            with wire_person(port, query, page) as person:
                _warm(person)
                taken = [person.change(band) for band in ("average", "top condition") * 4]
            answers = [one.answer for one in taken]
            print(
                f"{page}: answer {np.median(answers):.0f} ms, whole {np.median([t.whole for t in taken]):.0f}"
                f" ms at the median of {len(taken)}; slowest answer {max(answers):.0f} ms"
            )


def _warm(person: WirePerson) -> None:
    """Until an answer comes at once: the records of how cars sell are read by a job, once."""
    for _ in range(60):
        try:
            person.change("average")
            person.change("top condition")
            return
        except KeyError:  # a run that shows how far the job is, and no number
            time.sleep(2)
    raise TimeoutError("the page never showed a number")


def _car() -> dict[str, object]:
    car = data_demo.example_car()
    car.pop("asking")
    return car
