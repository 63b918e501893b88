"""Long work: done once for all who ask, told as it goes, and its fault a sentence."""

import threading
import time
from collections.abc import Iterator

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from dashboards import jobs
from pricing.errors import MarketError
from pricing.progress import Progress

WAIT = 30.0


@pytest.fixture(autouse=True)
def none_yet() -> Iterator[None]:
    st.cache_resource.clear()
    yield
    st.cache_resource.clear()


def ended(job: jobs.BackgroundJob) -> jobs.BackgroundJob:
    deadline = time.monotonic() + WAIT
    while not job.ended:
        assert time.monotonic() < deadline, "the job did not end"
        time.sleep(0.005)
    return job


def test_work_is_told_as_it_goes_and_its_outcome_taken_once() -> None:
    told, go_on = threading.Event(), threading.Event()

    def work(tell: Progress) -> int:
        tell("counting", 1, 4)
        told.set()
        assert go_on.wait(WAIT)
        return 42

    job = jobs.start("a", "Counting", work)
    assert told.wait(WAIT)
    assert (job.share, job.words, job.ended) == (0.25, "Counting: counting: 1 of 4", False)
    assert jobs.take("a") is None  # not while it is under way
    assert jobs.find("a") is job
    go_on.set()
    ended(job)
    taken = jobs.take("a")
    assert taken is job and taken.outcome == 42 and taken.error is None
    assert jobs.take("a") is None and jobs.find("a") is None


def test_what_is_under_way_is_not_begun_again() -> None:
    begun, go_on = [], threading.Event()

    def work(tell: Progress) -> None:
        begun.append(1)
        assert go_on.wait(WAIT)

    found = [jobs.start("a", "One", work) for _ in range(5)]
    assert all(job is found[0] for job in found)
    other = jobs.start("b", "Other", work)
    assert other is not found[0]
    go_on.set()
    ended(found[0])
    ended(other)
    assert len(begun) == 2
    assert jobs.start("a", "One", work) is not found[0]  # once ended, asked for anew


def test_a_fault_of_the_person_is_a_sentence_and_one_of_ours_tells_nothing_of_itself(
    caplog: pytest.LogCaptureFixture,
) -> None:
    def refused(tell: Progress) -> None:
        raise MarketError("the file is another's")

    def broken(tell: Progress) -> None:
        raise ZeroDivisionError("the secret of the house")

    assert ended(jobs.start("a", "One", refused)).error == "the file is another's."
    found = ended(jobs.start("b", "Two", broken))
    assert found.error is not None and "secret" not in found.error and "log" in found.error
    assert "the secret of the house" in caplog.text


def test_only_so_many_ended_jobs_are_remembered_and_none_under_way_is_forgotten() -> None:
    go_on = threading.Event()
    slow = jobs.start("slow", "Slow", lambda tell: go_on.wait(WAIT))
    for number in range(jobs.MOST_KEPT + 10):
        ended(jobs.start(f"quick {number}", "Quick", lambda tell: None))
    assert jobs.find("slow") is slow
    assert jobs.find("quick 0") is None
    assert jobs.find(f"quick {jobs.MOST_KEPT + 9}") is not None
    go_on.set()
    ended(slow)


def test_a_bar_shows_how_far_it_is() -> None:
    page = AppTest.from_string(
        "from dashboards import jobs\njobs.show(jobs.BackgroundJob('Fit', 'reading', 3, 4))",
        default_timeout=WAIT,
    ).run()
    assert not page.exception
    (bar,) = page.get("progress")
    assert (bar.proto.value, bar.proto.text) == (75, "Fit: reading: 3 of 4")
