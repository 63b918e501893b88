"""A client of the JSON API, for programs in Python: a thin shell that names, sends and reads.

Needs httpx: ``pip install 'classic-car-pricing[client]'``.
"""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self
from urllib.parse import quote
from uuid import uuid4

import httpx

from pricing.errors import PricingError, ServerAwayError

PREFIX: Final = "/api/v1"
Facts = dict[str, Any]


class ProblemError(PricingError):
    """The server refused; ``status`` and ``facts`` are the problem details that it gave (RFC 9457), ``code``
    is the kind of error among them, as ``PricingError.code`` has it."""

    def __init__(self, status: int, facts: Facts) -> None:
        super().__init__(str(facts.get("detail", f"the server answered {status}")))
        self.status = status
        self.facts = facts
        self.code = str(facts.get("code", PricingError.code))


class Client:
    """Asks one server. Amounts come as decimal texts; every method raises ``ProblemError`` for what
    the server refused, and ``ServerAwayError`` when there is no answer.

    >>> with Client("http://127.0.0.1:8501", token="ccp_...") as client:  # doctest: +SKIP
    ...     client.value({"make": "Wexcombe", "model": "Sedge", "year": 1966})["mid"]
    '4650.00'
    """

    def __init__(self, address: str, token: str | None = None, seconds: float = 60.0) -> None:
        headers = {} if token is None else {"Authorization": f"Bearer {token}"}
        self._address = address
        self._http = httpx.Client(base_url=address, headers=headers, timeout=seconds)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._http.close()

    def ready(self) -> bool:
        """Whether the server can answer questions."""
        return self._sent("GET", "/ready").status_code == httpx.codes.OK

    def market(self) -> Facts:
        """The market that the server answers about."""
        return self._json("GET", "/market")

    def values(self, cars: Sequence[Mapping[str, Any]], **asked: Any) -> list[Facts]:
        """The values of cars, in their order; ``asked``: ``as_of``, ``coverage``, ``fit``."""
        facts = self._json("POST", "/values", json={"cars": _sent(cars), **_sent(asked)})
        values: list[Facts] = facts["values"]
        return values

    def value(self, car: Mapping[str, Any], **asked: Any) -> Facts:
        """The value of one car."""
        return self.values([car], **asked)[0]

    def valuation(self, car: Mapping[str, Any], **asked: Any) -> Facts:
        """Every fact about one car's price."""
        return self._json("POST", "/valuations", json={"car": _sent(car), **_sent(asked)})

    def standing(self, car: Mapping[str, Any], **asked: Any) -> Facts:
        """Where the price ``asking`` of a car stands."""
        return self._json("POST", "/standings", json={"car": _sent(car), **_sent(asked)})

    def contributions(self, car: Mapping[str, Any], **asked: Any) -> Facts:
        """What makes up a car's mid price."""
        return self._json("POST", "/contributions", json={"car": _sent(car), **_sent(asked)})

    def comparables(self, car: Mapping[str, Any], **asked: Any) -> Facts:
        """Comparable sales; ``asked``: ``as_of``, ``count``, ``coverage``."""
        return self._json("POST", "/comparables", json={"car": _sent(car), **_sent(asked)})

    def index(self, **asked: Any) -> Facts:
        """A price index; ``asked``: ``make``, ``model``, ``method``, ``period``, ``coverage``, ``as_of``."""
        return self._json("GET", "/index", params=_sent(asked))

    def depth(self, **asked: Any) -> Facts:
        """How much is known of a make, a model or all."""
        return self._json("GET", "/depth", params=_sent(asked))

    def buying(self, car: Mapping[str, Any], **asked: Any) -> Facts:
        """Facts for a buyer; ``asked``: ``certainty``, ``asking``, ``currency`` and what else is stated."""
        return self._json("POST", "/buying", json={"car": _sent(car), **_sent(asked)})

    def selling(self, car: Mapping[str, Any], **asked: Any) -> Facts:
        """Facts for a seller; ``asked``: ``own_value``, ``reserve``, ``asking`` and what else is stated."""
        return self._json("POST", "/selling", json={"car": _sent(car), **_sent(asked)})

    def mending(self, car: Mapping[str, Any], inspection: Mapping[str, Any], **asked: Any) -> Facts:
        """Mend an inspected car, or buy better; ``asked``: ``work_in``, ``asking``, ``quotes``, ``least``."""
        sent = {"car": _sent(car), "inspection": inspection, **_sent(asked)}
        return self._json("POST", "/mending", json=sent)

    def score(self, inspection: Mapping[str, Any]) -> Facts:
        """The condition score of an inspection."""
        return self._json("POST", "/inspections/score", json=inspection)

    def budget(self, inspection: Mapping[str, Any], **asked: Any) -> Facts:
        """What its repairs cost; ``asked``: ``country``, ``least``."""
        return self._json("POST", "/inspections/budget", json={"inspection": inspection, **asked})

    def load(
        self, files: Sequence[str | Path], *, mapping: str | None = None, dry_run: bool = False,
        key: str | None = None,
    ) -> Facts:  # fmt: skip
        """Load files of sale records; asked again with the same ``key`` the load is not done again."""
        sent = [("files", (Path(file).name, Path(file).read_bytes())) for file in files]
        form = {} if mapping is None else {"mapping": mapping}
        params = {"dry_run": str(dry_run).lower()}
        return self._json("POST", "/batches", files=sent, data=form, params=params, headers=_key(key))

    def undo(self, batch_id: str, *, key: str | None = None) -> Facts:
        """Take a load back."""
        return self._json("DELETE", f"/batches/{_part(batch_id)}", headers=_key(key))

    def fit(self, *, key: str | None = None) -> Facts:
        """Fit the price model; waits until that is done."""
        return self._json("POST", "/fits", headers=_key(key))

    def items(self, noun: str, **asked: Any) -> Iterator[Facts]:
        """All items of a list, page by page: ``batches``, ``quarantine``, ``records``, ``fits``, ``models``,
        ``appraisals``."""
        page = self._json("GET", f"/{noun}", params=_sent(asked))
        while True:
            yield from page["items"]
            if page["next"] is None:
                return
            page = self._read(self._sent("GET", page["next"]))

    def enter_appraisal(
        self, record: Mapping[str, Any], *, reason: str = "entered", key: str | None = None
    ) -> Facts:
        """Enter an appraisal."""
        return self._json("POST", "/appraisals", json={"record": record, "reason": reason}, headers=_key(key))

    def change_appraisal(
        self, appraisal_id: str, answers: Mapping[str, str], *, after: int, reason: str = "edited",
        key: str | None = None,
    ) -> Facts:  # fmt: skip
        """Change fields of an appraisal, ``after`` the revision that was read."""
        content = {"answers": dict(answers), "after": after, "reason": reason}
        where = f"/appraisals/{_part(appraisal_id)}"
        return self._json("PATCH", where, json=content, headers=_key(key))

    def complete_appraisal(
        self, appraisal_id: str, name: str, certification: Mapping[str, str], *, after: int,
        key: str | None = None,
    ) -> Facts:  # fmt: skip
        """Complete an appraisal as its valuer, ``after`` the revision that was read."""
        content = {"name": name, "certification": dict(certification), "after": after}
        where = f"/appraisals/{_part(appraisal_id)}/completion"
        return self._json("POST", where, json=content, headers=_key(key))

    def appraisal(self, appraisal_id: str) -> Facts:
        """An appraisal and what it still lacks."""
        return self._json("GET", f"/appraisals/{_part(appraisal_id)}")

    def document(self, appraisal_id: str, name: str = "report.pdf", **asked: Any) -> bytes:
        """A document of an appraisal; ``asked``: ``paper``, ``locale``, ``revision``."""
        where = f"{PREFIX}/appraisals/{_part(appraisal_id)}/documents/{_part(name)}"
        answer = self._sent("GET", where, params=_sent(asked))
        if answer.is_error:
            self._read(answer)
        return answer.content

    def _json(self, method: str, path: str, **sent: Any) -> Facts:
        return self._read(self._sent(method, PREFIX + path, **sent))

    def _sent(self, method: str, path: str, **sent: Any) -> httpx.Response:
        try:
            return self._http.request(method, path, **sent)
        except (httpx.HTTPError, httpx.InvalidURL) as error:
            raise ServerAwayError(
                f"no answer from {self._address}: {error or type(error).__name__}"
            ) from error

    def _read(self, answer: httpx.Response) -> Facts:
        if answer.is_error:
            kind = answer.headers.get("content-type", "")
            raise ProblemError(answer.status_code, answer.json() if "json" in kind else {})
        try:
            facts: Facts = answer.json()
        except ValueError:
            detail = f"{self._address} answers with something else than JSON: is it this API?"
            raise ProblemError(answer.status_code, {"detail": detail}) from None
        return facts


def _part(name: str) -> str:
    """A name as a part of a path."""
    return quote(name, safe="")


def _key(key: str | None) -> dict[str, str]:
    """The header of a write; every write has a key, so that sending it again is harmless."""
    return {"Idempotency-Key": uuid4().hex if key is None else key}


def _sent(value: Any) -> Any:
    """A value as JSON has it: amounts and dates as texts, what is not said left out."""
    if isinstance(value, Mapping):
        return {name: _sent(part) for name, part in value.items() if part is not None}
    if isinstance(value, list | tuple):
        return [_sent(part) for part in value]
    return str(value) if isinstance(value, Decimal) or hasattr(value, "isoformat") else value
