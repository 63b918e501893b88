"""The look, in one file: palette in light and dark, typefaces, type scale, spacing, the theme of charts,
and the style sheet that pages share.

Typefaces: Besley for headings and figures, Libre Franklin for text (SIL Open Font License 1.1, beside them).
Charts are drawn in the colours of the light palette; on a dark page ``IN_THE_DARK`` says what stands for
each. Contrast is held to WCAG 2.2 (1.4.3, 1.4.11), and telling colours apart to three kinds of colour
blindness, by ``tests/charts/test_design.py``. Meaning never rests on colour alone: shape, place and words
say it too.
"""

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Final

TYPEFACES: Final = Path(__file__).with_name("typefaces")
"""The folder of the typefaces, for programs that draw charts outside a browser."""

HEADS: Final = "Besley"
TEXT: Final = "Libre Franklin"


@dataclass(frozen=True)
class Palette:
    """Colours by what they are for, as ``#rrggbb``.

    ``paper``: the page; ``card``: what lies on it; ``ink``: text; ``quiet``: text of less weight; ``line``:
    rules and edges; ``main``: this car, and what can be pressed; ``pale``: what stands beside it;
    ``asked``: a price that somebody asks.
    """

    paper: str
    card: str
    ink: str
    quiet: str
    line: str
    main: str
    pale: str
    asked: str


LIGHT: Final = Palette(
    paper="#FBF7EE", card="#FFFDF8", ink="#1C2A30", quiet="#566169", line="#D8CFBC", main="#0B5A63",
    pale="#5F979B", asked="#A8400F",
)  # fmt: skip
"""Laid paper, ink, the blue-green of an enamelled sign, and oxide of iron."""

DARK: Final = Palette(
    paper="#11181B", card="#1A2327", ink="#EEE7D8", quiet="#AEB5B3", line="#3C494E", main="#7BCDD0",
    pale="#3C7F86", asked="#F0935A",
)  # fmt: skip

PAPER: Final = LIGHT.paper
INK: Final = LIGHT.ink
QUIET: Final = LIGHT.quiet
LINE: Final = LIGHT.line
MAIN: Final = LIGHT.main
PALE: Final = LIGHT.pale
ASKED: Final = LIGHT.asked

IN_THE_DARK: Final = dict(zip(asdict(LIGHT).values(), asdict(DARK).values(), strict=True))
"""Colours of charts, which are for paper and light pages, and what stands for them on a dark one."""

SIZES: Final = {"small": 0.875, "text": 1.0, "lead": 1.25, "head": 1.5, "title": 2.0, "figure": 2.25}
"""The type scale, in rem."""

SPACES: Final = {"hair": 0.25, "small": 0.5, "half": 0.75, "whole": 1.0, "wide": 1.5, "part": 2.5}
"""Distances, in rem."""

TARGET: Final = 2.75
"""Least height of what a thumb presses, in rem: 44 px (WCAG 2.2, 2.5.5)."""

NARROW: Final = 640
"""Pixels of width up to which a page is a phone's."""


def chart_theme() -> dict[str, Any]:
    """How every chart looks, in Vega-Lite's terms and the light palette.

    >>> chart_theme()["font"], chart_theme()["title"]["font"]
    ('Libre Franklin', 'Besley')
    """
    return {
        "background": "transparent",
        "font": TEXT,
        "padding": 4,
        "view": {"strokeWidth": 0},
        "title": {
            "font": HEADS, "fontSize": 16, "fontWeight": 600, "color": INK, "anchor": "start", "offset": 12,
            "subtitleFont": TEXT, "subtitleFontSize": 12, "subtitleColor": QUIET, "subtitlePadding": 4,
            "frame": "group",
        },
        "axis": {
            "labelColor": QUIET, "titleColor": QUIET, "labelFontSize": 12, "titleFontSize": 12,
            "titleFontWeight": 400, "gridColor": LINE, "gridOpacity": 0.7, "domainColor": LINE,
            "tickColor": LINE, "titlePadding": 8,
        },
        "axisQuantitative": {"labelSeparation": 10},
        "axisTemporal": {"labelSeparation": 10},
        "legend": {
            "labelColor": INK, "titleColor": QUIET, "labelFontSize": 12, "labelFont": TEXT,
            "symbolType": "square", "orient": "bottom", "fillColor": None, "strokeColor": None,
        },
        "text": {"fontSize": 12, "color": INK},
    }  # fmt: skip


def style_sheet() -> str:
    """The style sheet of every page: the palette as variables that follow light and dark, and what the pages'
    own parts look like.

    >>> "--main: light-dark(#0B5A63, #7BCDD0)" in style_sheet()
    True
    """
    dark = asdict(DARK)
    names = [f"--{name}: light-dark({light}, {dark[name]});" for name, light in asdict(LIGHT).items()]
    names += [f"--size-{name}: {size}rem;" for name, size in SIZES.items()]
    names += [f"--space-{name}: {space}rem;" for name, space in SPACES.items()]
    names += [f"--heads: '{HEADS}', serif;", f"--text: '{TEXT}', sans-serif;", f"--target: {TARGET}rem;"]
    return f":root {{ {' '.join(names)} }}\n{_STYLE.replace('NARROW', f'{NARROW}px')}"


def streamlit_theme() -> dict[str, Any]:
    """The same palette and typefaces as Streamlit's settings name them; ``.streamlit/config.toml`` says them
    again, as Streamlit reads no other file.

    >>> streamlit_theme()["light"]["primaryColor"]
    '#0B5A63'
    """
    return {
        "font": f"{TEXT}, sans-serif",
        "headingFont": f"{HEADS}, serif",
        **{
            mode: {
                "primaryColor": colours.main,
                "linkColor": colours.main,
                "backgroundColor": colours.paper,
                "secondaryBackgroundColor": colours.card,
                "textColor": colours.ink,
                "borderColor": colours.line,
                "dataframeBorderColor": colours.line,
                "dataframeHeaderBackgroundColor": colours.paper,
            }
            for mode, colours in (("light", LIGHT), ("dark", DARK))
        },
    }


_STYLE: Final = """
[data-testid="stHeader"] { pointer-events: none; background: var(--paper); border-bottom: 1px solid
    var(--line); }
[data-testid="stHeader"] * { pointer-events: auto; }
[data-testid="stMainBlockContainer"] { max-width: 76rem; padding-top: 3.25rem; }
[data-testid="stCaptionContainer"], [data-testid="stCaptionContainer"] p { color: var(--quiet) !important;
    opacity: 1; }
[data-testid="stMain"] h1, [data-testid="stMain"] h2, [data-testid="stMain"] h3 {
    scroll-margin-top: 5rem; line-height: 1.15; letter-spacing: -0.01em; text-wrap: balance;
}
[data-testid="stMain"] h1 { font-size: var(--size-title); padding-bottom: var(--space-small); }
[data-testid="stMain"] p { max-width: 46rem; text-wrap: pretty; }
[data-testid="stMain"] button[kind^="primary"]:not(:disabled),
[data-testid="stMain"] button[kind^="primary"]:not(:disabled) *,
[data-testid="stMain"] [data-tag], [data-testid="stMain"] [data-tag] * { color: var(--paper) !important; }
[data-testid="stSliderThumbValue"] p { white-space: nowrap; }
[data-testid="stMetricLabel"] p { color: var(--quiet); font-size: var(--size-small); }
[data-testid="stMetricValue"] { font-family: var(--heads); }
.st-key-menu, .st-key-pages { position: fixed; top: 0.5rem; left: 1rem; z-index: 999991; width: auto; }
.st-key-menu { display: none; }
.st-key-pages { gap: 0 !important; right: 4rem; flex-wrap: nowrap; overflow-x: auto; scrollbar-width: none; }
.st-key-pages a, .st-key-steps a { min-height: 1.5rem; white-space: nowrap; }
@media (max-width: 1200px) { .st-key-pages { display: none; } .st-key-menu { display: flex; } }
.st-key-verdict p { font-family: var(--heads); font-size: var(--size-head); font-weight: 600; line-height:
    1.25;
    max-width: 40rem; margin: 0; }
.st-key-verdict [data-testid="stMarkdownContainer"] { margin-bottom: 0; }
.st-key-verdict { border-left: 0.35rem solid var(--asked); padding-left: var(--space-whole); }
.st-key-range { gap: var(--space-wide) !important; align-items: flex-end; padding: var(--space-small) 0; }
.st-key-range [data-testid="stMetricValue"] { font-size: var(--size-head); }
.st-key-range > *:nth-child(2) [data-testid="stMetricValue"] { font-size: var(--size-figure); color:
    var(--main); }
.st-key-range [data-testid="stMetricLabel"] p { font-size: var(--size-small); }
.st-key-known { margin-bottom: var(--space-half); }
.st-key-known p { margin: 0; color: var(--quiet); }
.st-key-known strong { color: var(--ink); font-family: var(--heads); }
.st-key-condition [role="radiogroup"] { display: grid; grid-template-columns: repeat(4, minmax(0, 1fr));
    gap: var(--space-small); width: 100%; }
.st-key-condition, .st-key-condition_band, .st-key-condition [data-testid="stRadio"] { width: 100%
    !important; }
.st-key-condition [role="radiogroup"] > div { border: 1px solid var(--line); border-radius: 0.4rem;
    padding: var(--space-half); margin: 0; background: var(--card); align-items: flex-start; width: 100%;
    min-height: var(--target); }
.st-key-condition [role="radiogroup"] > div:has(input:checked) { border-color: var(--main);
    box-shadow: inset 0 0 0 1px var(--main); }
.st-key-condition [data-testid="stRadio"] label p { font-weight: 600; }
.st-key-condition [data-testid="stRadio"] [data-testid="stCaptionContainer"] p { font-weight: 400;
    line-height: 1.35; }
[class*="st-key-card-"] { background: var(--card); border: 1px solid var(--line); border-radius: 0.5rem;
    padding: var(--space-whole); }
.st-key-steps { gap: 0 !important; color: var(--quiet); border-bottom: 1px solid var(--line);
    padding-bottom: var(--space-hair); overflow-x: auto; flex-wrap: nowrap !important;
    align-items: center !important; scrollbar-width: none; }
.st-key-steps > * { flex: none !important; width: auto !important; }
.st-key-steps [data-testid="stMarkdownContainer"] { margin: 0; }
.st-key-steps p { font-size: var(--size-small); white-space: nowrap; margin: 0; }
.st-key-steps strong { color: var(--ink); padding: 0 var(--space-small); border-bottom: 2px solid
    var(--main); }
.st-key-journeys { gap: var(--space-small) !important; }
.st-key-journeys a { border: 1px solid var(--main); border-radius: 0.4rem; min-height: var(--target);
    padding: var(--space-small) var(--space-whole); align-items: center; }
.st-key-journeys a p { color: var(--main); font-weight: 600; }
[data-testid="stAlertContainer"] { background: var(--card); border: 1px solid var(--line); color: var(--ink);
    border-left: 0.35rem solid var(--pale); }
[data-testid="stAlertContainer"]:has([data-testid="stAlertContentError"]),
[data-testid="stAlertContainer"]:has([data-testid="stAlertContentWarning"]) { border-left-color:
    var(--asked); }
[data-testid="stAlertContainer"] * { color: var(--ink) !important; }
[class*="st-key-how-"] summary, [class*="st-key-how-"] summary p { opacity: 1 !important;
    color: var(--quiet) !important; }
[class*="st-key-card-"] strong { font-family: var(--heads); font-size: var(--size-lead); }
.side { border-collapse: collapse; width: 100%; }
.side th, .side td { text-align: left; vertical-align: top; padding: var(--space-small) var(--space-half);
    border-bottom: 1px solid var(--line); font-weight: 400; }
.side thead th { font-family: var(--heads); font-weight: 600; }
.side tbody th { color: var(--quiet); border-left: 0.35rem solid transparent; }
.side .differs th { color: var(--ink); font-weight: 600; border-left-color: var(--asked); }
.side .differs td { font-weight: 600; }
.side small { color: var(--quiet); font-weight: 400; margin-left: var(--space-hair); }
.terms { display: flex; flex-wrap: wrap; gap: 0 var(--space-whole); align-items: baseline;
    color: var(--quiet); font-size: var(--size-small); }
.terms summary { cursor: pointer; min-height: 1.75rem; padding: var(--space-hair) 0; list-style: none;
    text-decoration: underline dotted; text-underline-offset: 0.25em; color: var(--ink); }
.terms summary::-webkit-details-marker { display: none; }
.terms details[open] { flex-basis: 100%; }
.terms details p { margin: 0 0 var(--space-small); }
.rows { display: none; list-style: none; margin: 0 !important; padding: 0 !important; }
.rows li { background: var(--card); border: 1px solid var(--line); border-radius: 0.4rem;
    padding: var(--space-half) var(--space-whole); margin: 0 0 var(--space-small) !important; }
.rows li { display: flex; flex-wrap: wrap; gap: 0 var(--space-half); align-items: baseline;
    overflow-wrap: anywhere; }
.rows li details { flex-basis: 100%; }
.rows strong { font-family: var(--heads); font-size: var(--size-lead); flex-basis: 100%; }
.rows strong small { font-family: var(--text); font-size: var(--size-small); font-weight: 400;
    color: var(--quiet); margin-left: var(--space-hair); }
.rows b { flex-basis: 100%; font-weight: 600; }
.rows span { color: var(--quiet); font-size: var(--size-small); }
.rows summary { min-height: var(--target); display: flex; align-items: center; cursor: pointer;
    text-decoration: underline; text-underline-offset: 0.2em; color: var(--main); }
@media (max-width: NARROW) {
    [data-testid="stMainBlockContainer"] { padding: 2.75rem 1rem 3rem; }
    [data-testid="stMain"] h1 { font-size: 1.6rem; }
    .st-key-condition [role="radiogroup"] { grid-template-columns: 1fr; gap: var(--space-hair); }
    .st-key-condition [role="radiogroup"] > div { padding: 0.4rem var(--space-half); }
    .st-key-condition [data-testid="stCaptionContainer"] p { font-size: 0.8125rem; }
    .st-key-verdict p { font-size: var(--size-lead); }
    .st-key-range { gap: var(--space-whole) !important; }
    .st-key-range > *:nth-child(2) [data-testid="stMetricValue"] { font-size: 1.9rem; }
    [class*="st-key-wide-"] { display: none; }
    .rows { display: block; }
    .side thead { display: none; }
    .side, .side tbody, .side tr, .side th, .side td { display: block; width: auto; }
    .side tr { padding: var(--space-small) 0; border-bottom: 1px solid var(--line); }
    .side th, .side td { border-bottom: 0; padding: 0 var(--space-half) var(--space-hair); }
    .side td::before { content: attr(data-car) ": "; color: var(--quiet); font-weight: 400; }
    svg .area { display: none; }
}
@media (pointer: coarse) {
    [data-testid="stPills"] button, [data-testid="stButtonGroup"] button { min-height: var(--target); }
}
@media (prefers-reduced-motion: reduce) { * { animation: none !important; transition: none !important; } }
"""
"""Pages part their contents by containers of these names: ``verdict``, ``range``, ``known``, ``condition``,
``card-...``, ``steps``, and ``wide-...`` for a table that a phone shows as ``rows``."""
