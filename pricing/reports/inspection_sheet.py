"""The inspection sheet as one page: to print for a clipboard, or to fill in on a phone beside the car.

The page needs no network. Its button saves the findings as the JSON file that ``inspection_files`` opens.
With a result, the page also says what was concluded. Facts come in; only words are made here.
"""

from html import escape
from importlib.resources import files
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
from pricing.words.condition import (
    budget_sentence,
    hidden_sentence,
    score_sentence,
    structure_sentence,
)
from pricing.words.language.locale import PLAIN, LocaleWords
from pricing.words.language.messages import noted
from pricing.words.language.plain_text import capital
from pricing.words.language.told import told
from pricing.words.sentences import option_words


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
    template = (
        files("pricing.reports").joinpath("templates/inspection_sheet.html").read_text(encoding="utf-8")
    )
    last = next((found for found in reversed(inspection.findings.values()) if found.seen_by), None)
    found = "" if result is None else _result(result, words)
    if result is not None and budget is not None:
        found += _budget(budget, words)
    return Template(template).substitute(
        language=escape(words.tag),
        title=escape(_title(inspection, words)),
        facts=_facts(inspection, words),
        cautions=_cautions(inspection, words),
        result=found,
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


def _title(inspection: Inspection, words: LocaleWords) -> str:
    named = [
        str(inspection.car[key]) for key in ("year", "make", "model", "variant") if key in inspection.car
    ]
    return words.say("Inspection: {car}", car=" ".join(named)) if named else words.say("Inspection")


def _facts(inspection: Inspection, words: LocaleWords) -> str:
    rows = [
        (words.say("construction"), words.word(inspection.sheet.construction)),
        (words.say("sheet"), ", ".join(words.word(name) for name in inspection.sheet.names)),
    ]
    rows += [(option_words(key, words), _said(key, value, words)) for key, value in inspection.car.items()]
    rows.append((words.say("preservation"), words.word(inspection.preservation or "not stated")))
    seen = words.say("{share} of what counts towards the score", share=words.share(inspection.seen_share))
    rows.append((words.say("seen"), seen))
    changes = "".join(f"<li>{escape(_change(change, words))}</li>" for change in inspection.changes)
    table = "".join(f"<tr><th>{escape(name)}</th><td>{escape(said)}</td></tr>" for name, said in rows)
    if not changes:
        return f"<table>{table}</table>"
    heading = _heading(words.say("Changes from the factory state"))
    return f"<table>{table}</table>{heading}<ul>{changes}</ul>"


def _said(key: str, value: Any, words: LocaleWords) -> str:
    """What is said of the car, the words of closed lists in the language of the page."""
    if key == "country":
        return words.country(str(value))
    if isinstance(value, list | tuple):
        return ", ".join(option_words(str(part), words) for part in value)
    return words.word(str(value)) if key in FIELDS and FIELDS[key].words else str(value)


def _change(change: Change, words: LocaleWords) -> str:
    """One change from the factory state in a line."""
    parts = [
        words.say("of the period") if change.period else words.say("later"),
        words.say("can be undone") if change.reversible else words.say("cannot be undone"),
        words.say("workmanship not seen")
        if change.done == NOT_SEEN
        else words.say("done {how}", how=words.word(change.done)),
        words.say("by {name}", name=change.done_by) if change.done_by else "",
    ]
    return words.say("{name}: {value}", name=change.item, value=", ".join(part for part in parts if part))


def _heading(text: str) -> str:
    return f"<h2>{escape(text)}</h2>"


def _cautions(inspection: Inspection, words: LocaleWords) -> str:
    general = "".join(f"<p>{escape(words.word(text))}</p>" for text in inspection.sheet.general_cautions)
    return _heading(words.say("Before you start")) + f'<div class="caution">{general}</div>'


def _areas(inspection: Inspection, words: LocaleWords) -> list[str]:
    parts: list[str] = []
    area = ""
    for check in inspection.sheet.checks:
        if check.area != area:
            area = check.area
            parts.append(
                f'<h2 class="area"><span>{escape(capital(words.word(area)))}</span>'
                f'<span class="drawn">{area_drawing(area, words)}</span></h2>'
            )
        parts.append(_check(inspection, check, words))
    return parts


def _check(inspection: Inspection, check: Check, words: LocaleWords) -> str:
    name, state, found = (
        escape(check.id, quote=True),
        inspection.state(check.id),
        inspection.findings.get(check.id),
    )
    states = {option: words.word(found_words(check.role, option)) for option in (*STATES, NOT_SEEN)}
    boxes = "".join(
        f'<label class="state{" unseen" if option == NOT_SEEN else ""}">'
        f'<input type="radio" name="state-{name}" value="{escape(option)}"'
        f"{' checked' if option == state else ''}> {escape(shown)}</label>"
        for option, shown in states.items()
    )
    caution = words.word(inspection.sheet.cautions.get(check.caution, ""))
    note, photo = (escape(found.note), escape(found.photo)) if found else ("", "")
    title = words.word(check.title)
    weight = words.say("weight {weight}", weight=f"{check.weight:g}")
    legend = words.say("{check}: found", check=title)
    asked = [escape(words.word(text)) for text in (_NOTE, _PHOTO)]
    where, act, bad_sign = (escape(words.word(text)) for text in (check.where, check.act, check.bad_sign))
    return (
        f'<div class="check" id="{name}"><h3>{escape(title)} '
        f'<span class="quiet">{escape(weight)}</span></h3>'
        f'<p>{where}</p><p class="how">{act}</p><p class="how">{bad_sign}</p>'
        + (f'<p class="caution">{escape(caution)}</p>' if caution else "")
        + f"<fieldset><legend>{escape(legend)}</legend>{boxes}</fieldset>"
        f'<label class="quiet">{asked[0]} <input type="text" name="note-{name}" value="{note}"></label>'
        f'<label class="quiet photo">{asked[1]} '
        f'<input type="text" name="photo-{name}" value="{photo}"></label>'
        "</div>"
    )


_NOTE: Final = noted("Note")
_PHOTO: Final = noted("Photo, name of the file")


def _result(result: InspectionResult, words: LocaleWords) -> str:
    shares = "".join(
        f'<tr><td>{escape(words.word(band))}</td><td class="number">{words.share(share)}</td></tr>'
        for band, share in result.band_shares.items()
    )
    general = result.inspection.sheet.general_cautions  # before the round
    cautions = "".join(
        f"<li>{escape(words.word(text))}</li>" for text in result.cautions if text not in general
    )
    settled = result.papers.with_columns(pl.col("state").replace(PAPER_STATES))
    papers = _rows(settled, ("title", "state", "note"), words)
    said = escape(f"{score_sentence(result, words)} {structure_sentence(result, words)}")
    band, share = escape(words.say("band")), escape(words.say("share"))
    outlined = words.say("In each area: checks seen, of all. A filled disc counts what is not sound.")
    return "".join(
        (
            _heading(words.say("Result")),
            f'<div class="result">{car_outline(result.inspection, words)}</div>',
            f'<p class="quiet">{escape(outlined)}</p>',
            f"<p>{said}</p>",
            f'<table><tr><th>{band}</th><th class="number">{share}</th></tr>{shares}</table>',
            '<div class="told">',
            _section(words.say("What holds it there"), result.holding.head(8), words),
            _section(words.say("What would lift it to the next band"), result.lifting, words),
            _section(words.say("What to look at next"), result.look_next.head(8), words),
            *((_heading(words.say("Identity and papers to settle")), papers) if result.papers.height else ()),
            _heading(words.say("Originality")),
            f"<p>{escape(told(result.originality, words))}</p>",
            "</div>",
            _heading(words.say("Cautions")),
            f"<ul class='cautions'>{cautions}</ul>",
        )
    )


def _budget(budget: RepairBudget, words: LocaleWords) -> str:
    said = escape(f"{budget_sentence(budget, words)} {hidden_sentence(budget, words)}")
    return (
        _heading(words.say("Repair budget"))
        + f'<p>{said}</p><p class="caution">{escape(words.word(budget.notice))}</p>'
        + _rows(budget.top(), ("title", "reason", "expected"), words)
    )


def _section(heading: str, frame: pl.DataFrame, words: LocaleWords) -> str:
    """A heading and the rows below it; nothing when there are none."""
    if not frame.height:
        return ""
    return _heading(heading) + _rows(frame, ("title", "state", "points"), words)


_HEADS: Final = {
    "title": noted("title"), "state": noted("state"), "note": noted("note"), "points": noted("points"),
    "reason": noted("reason"), "expected": noted("expected"),
}  # fmt: skip


def _rows(frame: pl.DataFrame, columns: tuple[str, ...], words: LocaleWords) -> str:
    number = {column for column in columns if frame.schema[column].is_float()}
    head = "".join(
        f"<th{' class=number' if column in number else ''}>{escape(words.word(_HEADS[column]))}</th>"
        for column in columns
    )
    body = "".join(
        "<tr>"
        + "".join(
            f'<td class="number">{words.number(value)}</td>'
            if isinstance(value, float)
            else f"<td>{escape(words.word(str(value)) if column != 'note' else str(value))}</td>"
            for column, value in zip(columns, row, strict=True)
        )
        + "</tr>"
        for row in frame.select(columns).iter_rows()
    )
    return f"<table><tr>{head}</tr>{body}</table>"
