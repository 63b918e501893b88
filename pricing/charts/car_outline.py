"""What was found, area by area, on an outline of a car drawn for this project: a saloon of no make, from
its side."""

from html import escape
from typing import Final

from pricing.condition.checks import AREAS, NOT_SEEN, STATES
from pricing.condition.inspection import Inspection

_BODY: Final = (
    "M38 172 C38 150 58 141 112 134 L196 122 C226 92 256 75 302 73 L392 73 C432 75 462 97 492 123 L562 133 "
    "C592 139 606 150 606 174 L598 188 L562 188 A46 46 0 0 0 470 188 L198 188 A46 46 0 0 0 106 188 L50 188 Z"
)
_LINES: Final = (
    "M214 122 C238 98 262 86 300 85 L338 85 L338 122 Z", "M350 85 L390 85 C424 87 446 102 468 122 L350 122 Z",
    "M344 85 L344 186", "M206 140 L488 140", "M60 158 L78 158", "M584 158 L600 158",
)  # fmt: skip
_WHEELS: Final = (152, 516)

_PLACES: Final = {
    "identity and papers": (344, 30), "structure": (270, 182), "outer body and paint": (400, 158),
    "engine": (128, 108), "gearbox and final drive": (344, 232), "steering": (220, 56),
    "front suspension": (100, 232), "rear suspension": (570, 232), "brakes": (212, 232),
    "wheels and tyres": (456, 232), "interior": (300, 108), "electrics": (56, 122),
    "hood or sunroof": (470, 56), "upgrades and originality": (562, 94), "road test": (606, 40),
}  # fmt: skip
"""Where each area is told, beside what it is about."""


def area_counts(inspection: Inspection) -> dict[str, tuple[int, int, int]]:
    """Of each area of a sheet: checks seen, checks in all, and how many of those seen are not sound.

    >>> counts = area_counts(Inspection.start("monocoque", {}).record("body_paint", "worn"))
    >>> counts["outer body and paint"][0], counts["outer body and paint"][2], counts["engine"][0]
    (1, 1, 0)
    """
    found = {}
    for area in AREAS:
        states = [inspection.state(check.id) for check in inspection.sheet.checks if check.area == area]
        if states:
            seen = [state for state in states if state != NOT_SEEN]
            found[area] = (len(seen), len(states), sum(state != STATES[0] for state in seen))
    return found


def outline_sentence(inspection: Inspection) -> str:
    """What the drawing says, in words."""
    parts = [
        f"{area}: {seen} of {checks} seen" + (f", {faults} not sound" if faults else "")
        for area, (seen, checks, faults) in area_counts(inspection).items()
    ]
    return f"{'; '.join(parts)}."


def car_outline(inspection: Inspection) -> str:
    """The drawing as SVG, in the variables of the style sheet: in each area how many checks were seen, and
    in a filled disc how many of them are not sound. Its text is ``outline_sentence``.

    >>> drawn = car_outline(Inspection.start("monocoque", {}).record("body_paint", "worn"))
    >>> drawn.startswith("<svg") and ">1</text>" in drawn
    True
    """
    thin = "".join(f'<path d="{line}"/>' for line in _LINES)
    wheels = "".join(f'<circle cx="{x}" cy="188" r="36"/><circle cx="{x}" cy="188" r="15"/>' for x in _WHEELS)
    marks = "".join(_mark(area, *counts) for area, counts in area_counts(inspection).items())
    return (
        f'<svg viewBox="0 0 660 264" role="img" aria-label="{escape(outline_sentence(inspection))}" '
        'style="width:100%;max-width:44rem;height:auto;display:block">'
        f'<g fill="none" stroke="var(--quiet)" stroke-width="1.4" stroke-linejoin="round"><path d="{_BODY}" '
        f'stroke-width="2.4"/>{thin}{wheels}</g><g font-size="19" text-anchor="middle" '
        f'fill="var(--ink)">{marks}</g>'
        "</svg>"
    )


def _mark(area: str, seen: int, checks: int, faults: int) -> str:
    x, y = _PLACES[area]
    disc = ""
    if faults:
        disc = (
            f'<circle cx="{x + 40}" cy="{y - 7}" r="14" fill="var(--asked)"/>'
            f'<text x="{x + 40}" y="{y}" fill="var(--paper)" font-weight="600">{faults}</text>'
        )
    short = area.split(" and ")[0].split(" or ")[0]
    return (
        f'<rect x="{x - 29}" y="{y - 21}" width="58" height="28" rx="5" fill="var(--card)" '
        f'stroke="var(--line)"/><text x="{x}" y="{y}">{seen}/{checks}</text>'
        f'<text class="area" x="{x}" y="{y + 21}" font-size="12" fill="var(--quiet)">{short}</text>{disc}'
    )
