"""The styles of the word processor files: named, based on one another, and changed in one place by whoever
edits the document."""

from typing import Any, Final

from docx.enum.style import WD_STYLE_TYPE
from docx.oxml import OxmlElement
from docx.oxml.ns import qn
from docx.shared import Pt, RGBColor

INK: Final = "1D2B36"
BLUE: Final = "005A8E"
GREY: Final = "56616A"
VERMILION: Final = "A34700"
PALE: Final = "EAF2F7"
WARM: Final = "FBF1EA"
LINE: Final = "B9C4CC"

TEXT: Final = "Cambria"
HEADS: Final = "Calibri"

_OWN: Final[dict[str, tuple[str, float, str, float, float]]] = {
    "Small Print": ("Body Text", 8.5, GREY, 2, 6),
    "Caution": ("Body Text", 9.5, VERMILION, 2, 6),
    "Table Text": ("Normal", 9, INK, 1.5, 1.5),
    "After Table": ("Normal", 4, INK, 0, 4),
    "Picture": ("Normal", 10.5, INK, 6, 2),
    "Stated Value": ("Normal", 20, INK, 2, 2),
    "State Mark": ("Body Text", 11, VERMILION, 4, 12),
    "Field Label": ("Body Text", 9.5, INK, 8, 0),
    "Field Line": ("Normal", 12, INK, 2, 6),
}
"""Our styles: what each is based on, its size, its colour, and the points before and after it."""

CONTENTS_LINE: Final = ("Body Text", 10.5, INK, 0.0, 2.0)
"""The built-in style of a line of the table of contents."""

_BUILT_IN: Final[dict[str, tuple[str, float, str, float, float, bool]]] = {
    "Normal": (TEXT, 10.5, INK, 0, 0, False),
    "Body Text": (TEXT, 10.5, INK, 0, 6, False),
    "List Bullet": (TEXT, 10.5, INK, 0, 4, False),
    "Title": (HEADS, 27, BLUE, 0, 8, True),
    "Subtitle": (HEADS, 12, GREY, 90, 2, False),
    "Heading 1": (HEADS, 15, BLUE, 18, 8, True),
    "Heading 2": (HEADS, 11.5, BLUE, 12, 4, True),
    "Caption": (TEXT, 9, GREY, 6, 4, False),
    "Header": (TEXT, 8.5, GREY, 0, 0, False),
    "Footer": (TEXT, 8, GREY, 0, 0, False),
}
"""Built-in styles as we set them: typeface, size, colour, points before and after, bold."""


def lay_out_styles(document: Any, language: str) -> None:
    """Set the built-in styles, add ours, and say which language the text is in."""
    styles = document.styles
    for name, (face, size, colour, before, after, bold) in _BUILT_IN.items():
        style = styles[name]
        _set(style, face, size, colour, before, after)
        style.font.bold, style.font.italic = bold, False
    styles.add_style("toc 1", WD_STYLE_TYPE.PARAGRAPH, builtin=True)
    for name, (based, size, colour, before, after) in {**_OWN, "toc 1": CONTENTS_LINE}.items():
        style = styles.add_style(name, WD_STYLE_TYPE.PARAGRAPH) if name in _OWN else styles[name]
        style.base_style = styles[based]
        _set(style, TEXT, size, colour, before, after)
    for name in ("Stated Value", "State Mark"):
        styles[name].font.bold = True
    for name in ("Field Label", "Picture"):
        styles[name].paragraph_format.keep_with_next = True
    for name, weight, colour in (("Heading 1", "12", BLUE), ("Field Line", "4", GREY), ("Header", "4", LINE)):
        _ruled(styles[name], weight, colour)
    defaults = styles.element.find(qn("w:docDefaults")).find(qn("w:rPrDefault")).find(qn("w:rPr"))
    defaults.find(qn("w:lang")).set(qn("w:val"), language)


def _set(style: Any, face: str, size: float, colour: str, before: float, after: float) -> None:
    style.font.name, style.font.size = face, Pt(size)
    style.font.color.rgb = RGBColor.from_string(colour)
    fonts = style.element.get_or_add_rPr().get_or_add_rFonts()
    for script in ("asciiTheme", "hAnsiTheme", "eastAsiaTheme", "cstheme"):
        fonts.attrib.pop(qn(f"w:{script}"), None)
    fonts.set(qn("w:hAnsi"), face)
    style.paragraph_format.space_before, style.paragraph_format.space_after = Pt(before), Pt(after)
    style.paragraph_format.widow_control = True
    style.paragraph_format.tab_stops.clear_all()


def _ruled(style: Any, weight: str, colour: str) -> None:
    """A line under every paragraph of the style."""
    properties = style.element.get_or_add_pPr()
    for old in properties.findall(qn("w:pBdr")):
        properties.remove(old)
    border, line = OxmlElement("w:pBdr"), OxmlElement("w:bottom")
    for key, value in (("val", "single"), ("sz", weight), ("space", "2"), ("color", colour)):
        line.set(qn(f"w:{key}"), value)
    border.append(line)
    properties.insert_element_before(
        border, "w:shd", "w:tabs", "w:suppressAutoHyphens", "w:spacing", "w:ind", "w:jc", "w:outlineLvl"
    )
