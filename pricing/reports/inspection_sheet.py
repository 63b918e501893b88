"""The inspection sheet as one page: to print for a clipboard, or to fill in on a phone beside the car.

The page needs no network. Its button saves the findings as the JSON file that ``inspection_files`` opens.
With a result, the page also says what was concluded. Facts come in; only words are made here.
"""

from html import escape
from importlib.resources import files
from string import Template

import polars as pl

from pricing.charts.car_outline import area_drawing, car_outline
from pricing.condition.assessment import InspectionResult
from pricing.condition.budget import RepairBudget
from pricing.condition.checks import NOT_SEEN, PAPER_STATES, STATES, Check, found_words
from pricing.condition.inspection import Inspection
from pricing.condition.inspection_files import to_json
from pricing.words.condition import (
    budget_sentence,
    hidden_sentence,
    score_sentence,
    structure_sentence,
)


def inspection_page(
    inspection: Inspection, result: InspectionResult | None = None, budget: RepairBudget | None = None
) -> str:
    """An inspection as an HTML page of its own, every text in it escaped.

    >>> page = inspection_page(Inspection.start("monocoque", {"make": "Wexcombe", "model": "Marram <b>"}))
    >>> "Marram &lt;b&gt;" in page, "Marram <b>" in page, "jack alone" in page
    (True, False, True)
    """
    template = (
        files("pricing.reports").joinpath("templates/inspection_sheet.html").read_text(encoding="utf-8")
    )
    last = next((found for found in reversed(inspection.findings.values()) if found.seen_by), None)
    return Template(template).substitute(
        title=escape(_title(inspection)),
        facts=_facts(inspection),
        cautions=_cautions(inspection),
        result="" if result is None else _result(result) + ("" if budget is None else _budget(budget)),
        areas="\n".join(_areas(inspection)),
        seen_by=escape(last.seen_by) if last else "",
        seen_on=last.seen_on.isoformat() if last and last.seen_on else "",
        inspection=to_json(inspection).replace("<", "\\u003c"),
    )


def _title(inspection: Inspection) -> str:
    named = [
        str(inspection.car[key]) for key in ("year", "make", "model", "variant") if key in inspection.car
    ]
    return f"Inspection: {' '.join(named)}" if named else "Inspection"


def _facts(inspection: Inspection) -> str:
    rows = [("construction", inspection.sheet.construction), ("sheet", ", ".join(inspection.sheet.names))]
    rows += [
        (key.replace("_", " "), ", ".join(value) if isinstance(value, list | tuple) else value)
        for key, value in inspection.car.items()
    ]
    rows.append(("preservation", inspection.preservation or "not stated"))
    rows.append(("seen", f"{inspection.seen_share:.0%} of what counts towards the score"))
    changes = "".join(
        f"<li>{escape(change.item)}: {'of the period' if change.period else 'later'}, "
        f"{'can be undone' if change.reversible else 'cannot be undone'}, "
        f"{'workmanship not seen' if change.done == NOT_SEEN else f'done {change.done}'}"
        f"{escape(f', by {change.done_by}') if change.done_by else ''}</li>"
        for change in inspection.changes
    )
    table = "".join(
        f"<tr><th>{escape(str(key))}</th><td>{escape(str(value))}</td></tr>" for key, value in rows
    )
    return f"<table>{table}</table>" + (
        f"<h2>Changes from the factory state</h2><ul>{changes}</ul>" if changes else ""
    )


def _cautions(inspection: Inspection) -> str:
    general = "".join(f"<p>{escape(text)}</p>" for text in inspection.sheet.general_cautions)
    return f'<h2>Before you start</h2><div class="caution">{general}</div>'


def _areas(inspection: Inspection) -> list[str]:
    parts: list[str] = []
    area = ""
    for check in inspection.sheet.checks:
        if check.area != area:
            area = check.area
            parts.append(
                f'<h2 class="area"><span>{escape(area[0].upper() + area[1:])}</span>'
                f'<span class="drawn">{area_drawing(area)}</span></h2>'
            )
        parts.append(_check(inspection, check))
    return parts


def _check(inspection: Inspection, check: Check) -> str:
    name, state, found = (
        escape(check.id, quote=True),
        inspection.state(check.id),
        inspection.findings.get(check.id),
    )
    boxes = "".join(
        f'<label class="state"><input type="radio" name="state-{name}" value="{escape(option)}"'
        f"{' checked' if option == state else ''}> {escape(found_words(check.role, option))}</label>"
        for option in (*STATES, NOT_SEEN)
    )
    caution = inspection.sheet.cautions.get(check.caution, "")
    note, photo = (escape(found.note), escape(found.photo)) if found else ("", "")
    return (
        f'<div class="check" id="{name}"><h3>{escape(check.title)} '
        f'<span class="quiet">weight {check.weight:g}</span></h3>'
        f'<p>{escape(check.where)}</p><p class="how">{escape(check.act)}</p>'
        f'<p class="how">{escape(check.bad_sign)}</p>'
        + (f'<p class="caution">{escape(caution)}</p>' if caution else "")
        + f"<fieldset><legend>{escape(check.title)}: found</legend>{boxes}</fieldset>"
        f'<label class="quiet">Note <input type="text" name="note-{name}" value="{note}"></label>'
        '<label class="quiet photo">Photo, name of the file '
        f'<input type="text" name="photo-{name}" value="{photo}"></label>'
        "</div>"
    )


def _result(result: InspectionResult) -> str:
    shares = "".join(
        f'<tr><td>{band}</td><td class="number">{share:.0%}</td></tr>'
        for band, share in result.band_shares.items()
    )
    said = result.inspection.sheet.general_cautions  # before the round
    cautions = "".join(f"<li>{escape(text)}</li>" for text in result.cautions if text not in said)
    settled = result.papers.with_columns(pl.col("state").replace(PAPER_STATES))
    papers = _rows(settled, ("title", "state", "note"))
    return (
        '<h2>Result</h2><div class="result">'
        f'{car_outline(result.inspection)}</div><p class="quiet">In each area: checks seen, of all. A filled '
        "disc counts what is not sound.</p>"
        f"<p>{score_sentence(result)} {structure_sentence(result)}</p>"
        f'<table><tr><th>band</th><th class="number">share</th></tr>{shares}</table>'
        + '<div class="told">'
        + _section("What holds it there", result.holding.head(8))
        + _section("What would lift it to the next band", result.lifting)
        + _section("What to look at next", result.look_next.head(8))
        + (f"<h2>Identity and papers to settle</h2>{papers}" if result.papers.height else "")
        + f"<h2>Originality</h2><p>{escape(result.originality)}</p>"
        + f"</div><h2>Cautions</h2><ul class='cautions'>{cautions}</ul>"
    )


def _budget(budget: RepairBudget) -> str:
    return (
        f"<h2>Repair budget</h2><p>{escape(budget_sentence(budget))} {escape(hidden_sentence(budget))}</p>"
        f'<p class="caution">{escape(budget.notice)}</p>'
        + _rows(budget.top(), ("title", "reason", "expected"))
    )


def _section(heading: str, frame: pl.DataFrame) -> str:
    """A heading and the rows below it; nothing when there are none."""
    return f"<h2>{heading}</h2>{_rows(frame, ('title', 'state', 'points'))}" if frame.height else ""


def _rows(frame: pl.DataFrame, columns: tuple[str, ...]) -> str:
    number = {column for column in columns if frame.schema[column].is_float()}
    head = "".join(
        f"<th{' class=number' if column in number else ''}>{escape(column)}</th>" for column in columns
    )
    body = "".join(
        "<tr>"
        + "".join(
            f'<td class="number">{value:,.0f}</td>'
            if isinstance(value, float)
            else f"<td>{escape(str(value))}</td>"
            for value in row
        )
        + "</tr>"
        for row in frame.select(columns).iter_rows()
    )
    return f"<table><tr>{head}</tr>{body}</table>"
