"""An outline of a car drawn for this project, a saloon of no make from its side: where to look, area by
area, and what was found there. As SVG in the variables of the style sheet; a page without them, and paper,
have the light palette."""

from dataclasses import asdict
from html import escape
from typing import Final

from pricing.charts.design import LIGHT
from pricing.condition.checks import AREAS, NOT_SEEN, STATES
from pricing.condition.inspection import Inspection
from pricing.words.language.locale import PLAIN, LocaleWords
from pricing.words.language.messages import noted

_BODY: Final = (
    "M38 172 C38 150 58 141 112 134 L196 122 C226 92 256 75 302 73 L392 73 C432 75 462 97 492 123 L562 133 "
    "C592 139 606 150 606 174 L598 188 L562 188 A46 46 0 0 0 470 188 L198 188 A46 46 0 0 0 106 188 L50 188 Z"
)
_LINES: Final = (
    "M214 122 C238 98 262 86 300 85 L338 85 L338 122 Z", "M350 85 L390 85 C424 87 446 102 468 122 L350 122 Z",
    "M344 85 L344 186", "M206 140 L488 140", "M60 158 L78 158", "M584 158 L600 158",
)  # fmt: skip
_WHEELS: Final = (152, 516)

_SEAT: Final = "M{0} 150 q5 -36 -9 -36 q-11 0 -12 18 l-3 12 h-26 q-9 0 -9 12 h52 q6 0 7 -6 Z"
_DISC: Final = "M{0} 188 m-22 0 a22 22 0 1 0 44 0 a22 22 0 1 0 -44 0 Z M{1} 170 h12 v22 h-12 Z"
_TYRE: Final = (
    "M{0} 188 m-36 0 a36 36 0 1 0 72 0 a36 36 0 1 0 -72 0 Z m14 0 a22 22 0 1 1 44 0 a22 22 0 1 1 -44 0 Z"
)
_TAG: Final = "M{0} {1} l12 -12 h34 v24 h-34 Z"

_SHAPES: Final = {
    "identity and papers": ("M470 22 h58 l18 18 v44 h-76 Z", "M176 116 h34 v16 h-34 Z"),
    "structure": (
        "M196 176 H472 V192 H196 Z", "M112 166 L198 176 V190 L112 180 Z", "M472 176 L574 162 V176 L472 190 Z",
        "M206 122 h10 v54 h-10 Z", "M338 85 h10 v91 h-10 Z", "M474 122 h10 v54 h-10 Z",
    ),
    "outer body and paint": (_BODY,),
    "engine": ("M96 146 v-14 h12 v-10 h44 v10 h14 v38 h-58 l-12 -12 Z",),
    "gearbox and final drive": (
        "M168 140 h28 l26 16 h14 v14 h-68 Z", "M236 161 H498 V169 H236 Z",
        "M500 166 m-18 0 a18 16 0 1 0 36 0 a18 16 0 1 0 -36 0 Z",
    ),
    "steering": (
        "M240 96 l10 -4 l22 44 l-10 4 Z", "M252 118 L166 168 L160 160 L248 108 Z",
        "M128 162 h56 v10 h-56 Z",
    ),
    "front suspension": (
        "M140 116 h24 v8 h-24 Z M142 130 h20 v6 h-20 Z M142 142 h20 v6 h-20 Z M142 154 h20 v6 h-20 Z",
        "M146 160 h12 v28 h-12 Z", "M146 184 h66 v9 h-66 Z",
    ),
    "rear suspension": ("M436 178 Q516 216 596 178 L596 188 Q516 228 436 188 Z", "M510 132 h12 v56 h-12 Z"),
    "brakes": (_DISC.format(152, 166), _DISC.format(516, 530), "M176 134 h30 v12 h-30 Z"),
    "wheels and tyres": (_TYRE.format(152), _TYRE.format(516)),
    "interior": (_SEAT.format(334), _SEAT.format(444), "M208 126 h38 v12 h-38 Z"),
    "electrics": (
        "M54 146 m-10 0 a10 12 0 1 0 20 0 a10 12 0 1 0 -20 0 Z", "M584 146 h16 v20 h-16 Z",
        "M166 130 h30 v20 h-30 Z", "M64 150 H166 V153 H64 Z M196 143 H584 V146 H196 Z",
    ),
    "hood or sunroof": (
        "M258 86 Q280 66 302 66 H392 Q430 66 462 92 L452 100 Q424 82 392 80 H302 Q286 80 268 94 Z",
    ),
    "upgrades and originality": (_TAG.format(92, 112), _TAG.format(300, 150), _TAG.format(128, 206)),
    "road test": (
        "M20 232 h70 v6 h-70 Z M120 232 h70 v6 h-70 Z M220 232 h70 v6 h-70 Z M320 232 h70 v6 h-70 Z",
        "M420 232 h70 v6 h-70 Z M520 232 h70 v6 h-70 Z",
        "M616 108 h34 v6 h-34 Z M622 130 h28 v6 h-28 Z M626 152 h24 v6 h-24 Z",
    ),
}  # fmt: skip
"""What each area is about, on the outline."""

_PLACES: Final = {
    "identity and papers": (344, 30), "structure": (270, 182), "outer body and paint": (400, 158),
    "engine": (128, 108), "gearbox and final drive": (344, 232), "steering": (220, 56),
    "front suspension": (100, 232), "rear suspension": (570, 232), "brakes": (212, 232),
    "wheels and tyres": (456, 232), "interior": (300, 108), "electrics": (52, 58),
    "hood or sunroof": (470, 56), "upgrades and originality": (562, 94), "road test": (594, 40),
}  # fmt: skip
"""Where each area is told, beside what it is about."""

_SHORT: Final = {
    "identity and papers": noted("identity"), "structure": noted("structure"),
    "outer body and paint": noted("outer body"), "engine": noted("engine"),
    "gearbox and final drive": noted("gearbox"), "steering": noted("steering"),
    "front suspension": noted("front suspension"), "rear suspension": noted("rear suspension"),
    "brakes": noted("brakes"), "wheels and tyres": noted("wheels"), "interior": noted("interior"),
    "electrics": noted("electrics"), "hood or sunroof": noted("hood"),
    "upgrades and originality": noted("upgrades"), "road test": noted("road test"),
}  # fmt: skip
"""Each area in a word or two."""


def area_counts(inspection: Inspection) -> dict[str, tuple[int, int, int]]:
    """Of each area of a sheet: checks seen, checks in all, and how many of those seen are not sound.

    >>> counts = area_counts(Inspection.start("monocoque", {}).record("body_paint", "worn"))
    >>> counts["outer body and paint"][0], counts["outer body and paint"][2], counts["engine"][0]
    (1, 1, 0)
    """
    counts = {}
    for area in AREAS:
        states = [inspection.state(check.id) for check in inspection.sheet.checks if check.area == area]
        if states:
            seen = [state for state in states if state != NOT_SEEN]
            counts[area] = (len(seen), len(states), sum(state != STATES[0] for state in seen))
    return counts


def outline_sentence(inspection: Inspection, words: LocaleWords = PLAIN) -> str:
    """What the drawing says, in words."""
    parts = []
    for area, (seen, checks, faults) in area_counts(inspection).items():
        message = (
            noted("{area}: {seen} of {checks} seen, {faults} not sound")
            if faults
            else noted("{area}: {seen} of {checks} seen")
        )
        parts.append(words.say(message, area=words.word(area), seen=seen, checks=checks, faults=faults))
    return f"{'; '.join(parts)}."


def car_outline(inspection: Inspection, words: LocaleWords = PLAIN) -> str:
    """The drawing as SVG, in the variables of the style sheet: in each area how many checks were seen, and
    in a filled disc how many of them are not sound. Its text is ``outline_sentence``.

    >>> drawn = car_outline(Inspection.start("monocoque", {}).record("body_paint", "worn"))
    >>> drawn.startswith("<svg") and ">1</text>" in drawn
    True
    """
    marks = "".join(_mark(area, *counts, words) for area, counts in area_counts(inspection).items())
    return (
        f'<svg viewBox="0 0 660 264" role="img" '
        f'aria-label="{escape(outline_sentence(inspection, words))}" '
        f'style="width:100%;max-width:44rem;height:auto;display:block">{_outline()}'
        f'<g font-family="Libre Franklin, sans-serif" font-size="19" text-anchor="middle" '
        f'fill="{_colour("ink")}">{marks}</g></svg>'
    )


def area_words(area: str, words: LocaleWords = PLAIN) -> str:
    """What ``area_drawing`` shows, in words."""
    return words.say("Where to look on the car: {area}", area=words.word(area))


def area_drawing(area: str, words: LocaleWords = PLAIN) -> str:
    """Where to look at an area: the outline, the parts of the area filled.

    >>> all(area_drawing(area).count("<path") > 6 for area in AREAS)
    True
    """
    shapes = "".join(f'<path d="{shape}"/>' for shape in _SHAPES[area])
    return (
        f'<svg viewBox="0 16 660 232" role="img" aria-label="{escape(area_words(area, words))}" '
        f'style="width:100%;max-width:22rem;height:auto;display:block">{_outline()}'
        f'<g fill="{_colour("main")}" fill-opacity="0.55" stroke="{_colour("main")}" stroke-width="2.4" '
        f'stroke-linejoin="round" fill-rule="evenodd">{shapes}</g></svg>'
    )


def _outline() -> str:
    thin = "".join(f'<path d="{line}"/>' for line in _LINES)
    wheels = "".join(f'<circle cx="{x}" cy="188" r="36"/><circle cx="{x}" cy="188" r="15"/>' for x in _WHEELS)
    return (
        f'<g fill="none" stroke="{_colour("quiet")}" stroke-width="1.4" stroke-linejoin="round">'
        f'<path d="{_BODY}" stroke-width="2.4"/>{thin}{wheels}</g>'
    )


def _colour(name: str) -> str:
    return f"var(--{name}, {asdict(LIGHT)[name]})"


def _mark(area: str, seen: int, checks: int, faults: int, words: LocaleWords) -> str:
    x, y = _PLACES[area]
    disc = ""
    if faults:
        disc = (
            f'<circle cx="{x + 46}" cy="{y - 7}" r="14" fill="{_colour("asked")}"/>'
            f'<text x="{x + 46}" y="{y}" fill="{_colour("paper")}" font-weight="600">{faults}</text>'
        )
    return (
        f'<rect x="{x - 31}" y="{y - 21}" width="62" height="28" rx="5" fill="{_colour("card")}" '
        f'stroke="{_colour("line")}"/><text x="{x}" y="{y}">{seen}/{checks}</text>'
        f'<text class="area" x="{x}" y="{y + 21}" font-size="14" fill="{_colour("quiet")}">'
        f"{escape(words.word(_SHORT[area]))}</text>{disc}"
    )
