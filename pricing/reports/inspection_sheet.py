"""The inspection sheet as one page: to print for a clipboard, or to fill in on a phone beside the car.

The page needs no network. Its button saves the findings as the JSON file that ``inspection_files`` opens.
With a result, the page also says what was concluded. Facts come in; only words are made here.
"""

from collections.abc import Iterator
from html import escape
from importlib.resources import files
from itertools import groupby
from string import Template
from typing import Any, Final

import polars as pl

from pricing.car_fields import FIELDS
from pricing.charts.car_outline import area_drawing, car_outline
from pricing.condition.assessment import InspectionResult
from pricing.condition.budget import RepairBudget
from pricing.condition.checks import NOT_SEEN, PAPER_STATES, STATES, Check, found_words
from pricing.condition.inspection import Change, Inspection
from pricing.condition.inspection_files import to_json
from pricing.reports.wording import joined
from pricing.words.condition import budget_sentence, hidden_sentence, score_sentence, structure_sentence
from pricing.words.language.locale import PLAIN, LocaleWords
from pricing.words.language.messages import noted
from pricing.words.language.plain_text import capital
from pricing.words.language.told import told
from pricing.words.sentences import name_words, option_words


def inspection_page(
    inspection: Inspection,
    result: InspectionResult | None = None,
    budget: RepairBudget | None = None,
    words: LocaleWords = PLAIN,
) -> str:
    """An inspection as an HTML page of its own, every text in it escaped; what is saved by its button is the
    same in every language.

    >>> page = inspection_page(Inspection.start("monocoque", {"make": "Wexcombe", "model": "Marram <b>"}))
    >>> "Marram &lt;b&gt;" in page, "Marram <b>" in page, "jack alone" in page
    (True, False, True)
    """
    template = files("pricing.reports").joinpath("templates/inspection_sheet.html").read_text("utf-8")
    last = next((finding for finding in reversed(inspection.findings.values()) if finding.seen_by), None)
    concluded = "" if result is None else _result(result, words)
    if result is not None and budget is not None:
        concluded += _budget(budget, words)
    general = "".join(f"<p>{_text(words, caution)}</p>" for caution in inspection.sheet.general_cautions)
    before = _heading(words.say("Before you start"))
    return Template(template).substitute(
        language=escape(words.tag),
        title=escape(_title(inspection, words)),
        facts=_facts(inspection, words),
        cautions=f'{before}<div class="caution">{general}</div>',
        result=concluded,
        areas="\n".join(_areas(inspection, words)),
        unmarked=escape(words.say("What bears no mark was not seen.")),
        who=escape(words.say("Who looked, and when")),
        name=escape(words.say("Name")),
        day=escape(words.say("Date, YYYY-MM-DD")),
        save=escape(words.say("Save findings as a file")),
        seen_of=escape(words.say("{seen} of {total} seen", seen="{seen}", total="{total}"), quote=True),
        seen_by=escape(last.seen_by) if last else "",
        seen_on=last.seen_on.isoformat() if last and last.seen_on else "",
        inspection=to_json(inspection).replace("<", "\\u003c"),
    )


def _text(words: LocaleWords, text: str) -> str:
    """A text of the sheet in the language of the page."""
    return escape(words.word(text))


def _title(inspection: Inspection, words: LocaleWords) -> str:
    car = name_words(inspection.car)
    return words.say("Inspection: {car}", car=car) if car else words.say("Inspection")


def _facts(inspection: Inspection, words: LocaleWords) -> str:
    rows = [
        (words.say("construction"), words.word(inspection.sheet.construction)),
        (words.say("sheet"), ", ".join(map(words.word, inspection.sheet.names))),
        *((option_words(key, words), _fact(key, value, words)) for key, value in inspection.car.items()),
        (words.say("preservation"), words.word(inspection.preservation or "not stated")),
        (words.say("seen"),
         words.say("{share} of what counts towards the score", share=words.share(inspection.seen_share))),
    ]  # fmt: skip
    lines = "".join(f"<tr><th>{escape(name)}</th><td>{escape(answer)}</td></tr>" for name, answer in rows)
    if not inspection.changes:
        return f"<table>{lines}</table>"
    changes = "".join(f"<li>{escape(_change(change, words))}</li>" for change in inspection.changes)
    heading = _heading(words.say("Changes from the factory state"))
    return f"<table>{lines}</table>{heading}<ul>{changes}</ul>"


def _fact(key: str, value: Any, words: LocaleWords) -> str:
    """What is said of the car, the words of closed lists in the language of the page."""
    if key == "country":
        return words.country(str(value))
    if isinstance(value, list | tuple):
        return ", ".join(option_words(str(part), words) for part in value)
    return words.word(str(value)) if key in FIELDS and FIELDS[key].words else str(value)


def _change(change: Change, words: LocaleWords) -> str:
    """One change from the factory state in a line."""
    done = words.say("done {how}", how=words.word(change.done))
    parts = (
        words.say("of the period") if change.period else words.say("later"),
        words.say("can be undone") if change.reversible else words.say("cannot be undone"),
        words.say("workmanship not seen") if change.done == NOT_SEEN else done,
        words.say("by {name}", name=change.done_by) if change.done_by else "",
    )
    return words.say("{name}: {value}", name=change.item, value=joined(*parts))


def _heading(text: str) -> str:
    return f"<h2>{escape(text)}</h2>"


def _areas(inspection: Inspection, words: LocaleWords) -> Iterator[str]:
    for area, checks in groupby(inspection.sheet.checks, lambda check: check.area):
        yield (
            f'<h2 class="area"><span>{escape(capital(words.word(area)))}</span>'
            f'<span class="drawn">{area_drawing(area, words)}</span></h2>'
        )
        for check in checks:
            yield _check(inspection, check, words)


def _check(inspection: Inspection, check: Check, words: LocaleWords) -> str:
    name, state = escape(check.id, quote=True), inspection.state(check.id)
    finding = inspection.findings.get(check.id)
    boxes = "".join(
        f'<label class="state{" unseen" if option == NOT_SEEN else ""}">'
        f'<input type="radio" name="state-{name}" value="{escape(option)}"'
        f"{' checked' if option == state else ''}> {_text(words, found_words(check.role, option))}</label>"
        for option in (*STATES, NOT_SEEN)
    )
    caution = _text(words, inspection.sheet.cautions.get(check.caution, ""))
    note, photo = (escape(finding.note), escape(finding.photo)) if finding else ("", "")
    weight = escape(words.say("weight {weight}", weight=f"{check.weight:g}"))
    legend = escape(words.say("{check}: found", check=words.word(check.title)))
    return (
        f'<div class="check" id="{name}"><h3>{_text(words, check.title)} '
        f'<span class="quiet">{weight}</span></h3><p>{_text(words, check.where)}</p>'
        f'<p class="how">{_text(words, check.act)}</p><p class="how">{_text(words, check.bad_sign)}</p>'
        + (f'<p class="caution">{caution}</p>' if caution else "")
        + f"<fieldset><legend>{legend}</legend>{boxes}</fieldset>"
        f'<label class="quiet">{_text(words, _NOTE)} '
        f'<input type="text" name="note-{name}" value="{note}"></label>'
        f'<label class="quiet photo">{_text(words, _PHOTO)} '
        f'<input type="text" name="photo-{name}" value="{photo}"></label></div>'
    )


_NOTE: Final = noted("Note")
_PHOTO: Final = noted("Photo, name of the file")


def _result(result: InspectionResult, words: LocaleWords) -> str:
    shares = "".join(
        f'<tr><td>{_text(words, band)}</td><td class="number">{words.share(share)}</td></tr>'
        for band, share in result.band_shares.items()
    )
    general = result.inspection.sheet.general_cautions  # before the round
    cautions = "".join(f"<li>{_text(words, text)}</li>" for text in result.cautions if text not in general)
    papers = result.papers.with_columns(pl.col("state").replace(PAPER_STATES))
    score = escape(f"{score_sentence(result, words)} {structure_sentence(result, words)}")
    band, share = escape(words.say("band")), escape(words.say("share"))
    outlined = words.say("In each area: checks seen, of all. A filled disc counts what is not sound.")
    points = ("title", "state", "points")
    return "".join(
        (
            _heading(words.say("Result")),
            f'<div class="result">{car_outline(result.inspection, words)}</div>',
            f'<p class="quiet">{escape(outlined)}</p>',
            f"<p>{score}</p>",
            f'<table><tr><th>{band}</th><th class="number">{share}</th></tr>{shares}</table>',
            '<div class="told">',
            _section(words.say("What holds it there"), result.holding.head(8), points, words),
            _section(words.say("What would lift it to the next band"), result.lifting, points, words),
            _section(words.say("What to look at next"), result.look_next.head(8), points, words),
            _section(words.say("Identity and papers to settle"), papers, ("title", "state", "note"), words),
            _heading(words.say("Originality")),
            f"<p>{escape(told(result.originality, words))}</p>",
            "</div>",
            _heading(words.say("Cautions")),
            f"<ul class='cautions'>{cautions}</ul>",
        )
    )


def _budget(budget: RepairBudget, words: LocaleWords) -> str:
    costs = escape(f"{budget_sentence(budget, words)} {hidden_sentence(budget, words)}")
    return (
        _heading(words.say("Repair budget"))
        + f'<p>{costs}</p><p class="caution">{_text(words, budget.notice)}</p>'
        + _rows(budget.top(), ("title", "reason", "expected"), words)
    )


def _section(heading: str, frame: pl.DataFrame, columns: tuple[str, ...], words: LocaleWords) -> str:
    """A heading and the rows below it; nothing when there are none."""
    return _heading(heading) + _rows(frame, columns, words) if frame.height else ""


_HEADS: Final = {
    "title": noted("title"), "state": noted("state"), "note": noted("note"), "points": noted("points"),
    "reason": noted("reason"), "expected": noted("expected"),
}  # fmt: skip


def _rows(frame: pl.DataFrame, columns: tuple[str, ...], words: LocaleWords) -> str:
    head = "".join(
        f"<th{' class=number' if frame.schema[column].is_float() else ''}>{_text(words, _HEADS[column])}</th>"
        for column in columns
    )

    def cell(column: str, value: Any) -> str:
        if isinstance(value, float):
            return f'<td class="number">{words.number(value)}</td>'
        return f"<td>{escape(value) if column == 'note' else _text(words, str(value))}</td>"

    body = "".join(
        f"<tr>{''.join(map(cell, columns, row))}</tr>" for row in frame.select(columns).iter_rows()
    )
    return f"<table><tr>{head}</tr>{body}</table>"
