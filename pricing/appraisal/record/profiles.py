"""Profiles: what a desk answers alike in many appraisals, kept in the market and taken over into a record.

What has to be thought of anew each time (conflicts of interest, earlier services, anything about the car) is
in no profile.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from pricing.appraisal.record.record import Appraisal, plain_record, with_answer
from pricing.clean_text import clean_name
from pricing.errors import AppraisalError
from pricing.store.market import Market

KINDS: Final[dict[str, tuple[str, ...]]] = {
    "valuer": ("valuer.name", "valuer.qualifications", "valuer.contact"),
    "firm": ("valuer.firm", "assignment.liability", "assignment.fee_basis"),
    "client": ("assignment.client", "assignment.intended_users", "assignment.currency"),
    "texts": (
        "assignment.scope", "assignment.not_done", "assignment.limits", "evidence.data_quality",
        "evidence.model_governance", "evidence.outside_factors",
        "opinion.approaches_left_out",
    ),
}  # fmt: skip
"""The kinds of profiles, and the fields of a record that each holds."""

LONGEST_NAME: Final = 100


@dataclass(frozen=True)
class Profile:
    """Answers under a ``kind`` (one of ``KINDS``) and a ``name``, by section.field."""

    kind: str
    name: str
    answers: dict[str, Any]


def keep_profile(market: Market, kind: str, name: str, record: Appraisal) -> Profile:
    """Keep what a record answers of a kind as a profile, in the place of one of that name.

    Raises:
        AppraisalError: there is no such kind, the name is empty or long, or the record answers nothing of it.
    """
    called = clean_name(name, "a profile", AppraisalError)
    if not 0 < len(called) <= LONGEST_NAME:
        raise AppraisalError(f"a profile has a name of 1 to {LONGEST_NAME} characters; got {len(called)}")
    made = Profile(_known(kind), called, answers_of(record, kind))
    if not made.answers:
        raise AppraisalError(f"the record answers none of {', '.join(KINDS[kind])}: answer one of them first")
    market.profiles.keep(kind, called, json.dumps(made.answers, ensure_ascii=True, sort_keys=True))
    return made


def answers_of(record: Appraisal, kind: str) -> dict[str, Any]:
    """What a record answers of a kind.

    >>> from pricing.appraisal.record.record import read_record
    >>> answers_of(read_record({"valuer": {"name": "A. Valuer"}}), "valuer")
    {'valuer.name': 'A. Valuer'}
    """
    content = plain_record(record)
    pairs = ((name, name.partition(".")) for name in KINDS[_known(kind)])
    answers = {name: content[section][field] for name, (section, _, field) in pairs}
    return {name: answer for name, answer in answers.items() if answer not in (None, "", [], {})}


def profiles(market: Market) -> list[Profile]:
    """Every profile of a market, by kind and name."""
    return [
        Profile(kind, name, json.loads(answers))
        for kind, name, answers, _ in market.profiles.all().iter_rows()
    ]


def profile(market: Market, name: str, kind: str | None = None) -> Profile:
    """The profile of a name; ``kind`` is needed where several kinds have one of that name.

    Raises:
        AppraisalError: there is none such, or there are several.
    """
    matches = [each for each in profiles(market) if each.name == name and kind in (None, each.kind)]
    if len(matches) == 1:
        return matches[0]
    if matches:
        raise AppraisalError(
            f"{name!r} is a profile of {' and of '.join(each.kind for each in matches)}: say which"
        )
    what = "profile" if kind is None else f"{kind} profile"
    raise AppraisalError(f"there is no {what} {name!r}; `pricing profiles list` lists those there are")


def with_profiles(record: Appraisal, taken: Sequence[Profile]) -> Appraisal:
    """The record with the answers of profiles in the place of its own.

    >>> one = Profile("client", "mutual", {"assignment.client": "A. Client"})
    >>> with_profiles(Appraisal(), [one]).assignment.client
    'A. Client'
    """
    for each in taken:
        for name in KINDS[_known(each.kind)]:
            if name in each.answers:
                record = with_answer(record, name, each.answers[name])
    return record


def _known(kind: str) -> str:
    if kind not in KINDS:
        raise AppraisalError(f"no kind of profile {kind!r}; expected one of: {', '.join(KINDS)}")
    return kind
