"""Long work behind a page: in a thread of its own, with a progress bar, while others go on.

A job belongs to the server, not to a visitor: a closed tab does not stop it, and whoever looks sees how far
it is. What it writes to a market file it writes whole or not at all, over connections of its own.
"""

import logging
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import streamlit as st

from pricing.errors import PricingError
from pricing.progress import Progress
from pricing.words.language.plain_text import escaped
from pricing.words.language.reader import number_words

TICK: Final = "0.5s"
"""How often a progress bar is drawn anew."""

MOST_KEPT: Final = 30
"""Jobs remembered; the oldest ended ones are forgotten first."""


_LOG: Final = logging.getLogger(__name__)


@dataclass
class BackgroundJob:
    """One piece of work: how far it is, and what came of it once ``ended``."""

    title: str
    step: str = "starting"
    done: int = 0
    total: int = 0
    outcome: Any = None
    error: str | None = None
    ended: bool = False

    def tell(self, step: str, done: int, total: int) -> None:
        """Take in how far a step is."""
        self.step, self.done, self.total = step, done, total

    @property
    def succeeded(self) -> bool:
        """Whether it has ended, and nothing went wrong."""
        return self.ended and self.error is None

    @property
    def share(self) -> float:
        """How much of the step is done, 0..1."""
        return min(1.0, self.done / self.total) if self.total else 0.0

    @property
    def words(self) -> str:
        """What is being done, and how far it is."""
        count = f": {number_words(self.done)} of {number_words(self.total)}" if self.total > 1 else ""
        return f"{self.title}: {self.step}{count}"


@st.cache_resource(show_spinner=False)
def _all() -> tuple[threading.Lock, dict[str, BackgroundJob]]:
    """The jobs of this server, each under what it works on."""
    return threading.Lock(), {}


def start(key: str, title: str, work: Callable[[Progress], Any]) -> BackgroundJob:
    """Start work on ``key``, unless some is under way there already; gives the job that is."""
    lock, jobs = _all()
    with lock:
        known = jobs.get(key)
        if known is not None and not known.ended:
            return known
        for old in [name for name, other in jobs.items() if other.ended][: max(0, len(jobs) - MOST_KEPT)]:
            del jobs[old]
        job = jobs[key] = BackgroundJob(title)
    threading.Thread(target=_work, args=(job, work), name=title, daemon=True).start()
    return job


def find(key: str) -> BackgroundJob | None:
    """The job on ``key``, under way or ended and not yet taken."""
    return _all()[1].get(key)


def once(key: str, title: str, work: Callable[[Progress], Any]) -> BackgroundJob:
    """The job on ``key``, begun unless one is under way or has ended there."""
    return find(key) or start(key, title, work)


def take(key: str) -> BackgroundJob | None:
    """The ended job on ``key``, once."""
    lock, jobs = _all()
    with lock:
        job = jobs.get(key)
        return jobs.pop(key) if job is not None and job.ended else None


def show(job: BackgroundJob) -> bool:
    """How far the job is, and the page anew when it ends; or what went wrong. Whether it has succeeded."""
    if not job.ended:
        st.fragment(_bar, run_every=TICK)(job)
    elif job.error is not None:
        st.error(escaped(job.error))
    return job.succeeded


def _bar(job: BackgroundJob) -> None:
    with st.container(key="long_work"):  # told apart from the bars that say how much of a car was seen
        st.progress(job.share, job.words)
    if job.ended:
        st.rerun()


def _work(job: BackgroundJob, work: Callable[[Progress], Any]) -> None:
    try:
        job.outcome = work(job.tell)
    except PricingError as error:
        _LOG.warning("%s: %s", job.title, error, exc_info=True)
        job.error = f"{error}."
    except Exception:
        _LOG.exception("%s", job.title)
        job.error = "This went wrong in a way that was not foreseen; the server's log holds the whole of it."
    finally:
        job.ended = True
