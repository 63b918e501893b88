"""The facts of one appraisal, made once for the tests of this folder that read documents back."""

import pytest

from pricing.appraisal.facts import Facts, facts_of
from pricing.appraisal.register import Entry
from pricing.reports.formats.blocks import Pages
from pricing.reports.report import report
from pricing.store.market import Market
from pricing.words.language.locale import LocaleWords
from tests.appraisals import appraised_market, full_entry


@pytest.fixture(scope="session")
def entry(small_market: Market, tmp_path_factory: pytest.TempPathFactory) -> Entry:
    return full_entry(appraised_market(small_market, tmp_path_factory.mktemp("documents")))


@pytest.fixture(scope="session")
def facts(entry: Entry) -> Facts:
    return facts_of(entry)


@pytest.fixture(scope="session")
def words() -> LocaleWords:
    return LocaleWords.of("en_GB")


@pytest.fixture(scope="session")
def pages(facts: Facts, words: LocaleWords) -> Pages:
    return report(facts, words)
