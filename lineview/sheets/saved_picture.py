"""A picture to be kept by itself: in day's colours on white, with its title and what it is of, as SVG or PNG."""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from html import escape

from lineview.charts.render import pictures
from lineview.charts.style import DAY, ChartStyle, Picture
from lineview.charts.svg import LETTER, to_svg
from lineview.core.errors import AskError, Fault
from lineview.core.language import tr
from lineview.plant import Plant
from lineview.report import show
from lineview.report.answer import Answer

#: Width of a kept picture and the room around it [px]; sizes of its title and the line below that.
WIDTH, ROOM, TITLE, BELOW = 960, 16, 16, 13
#: Dots of a kept picture for each of its pixels: enough for a page of a report.
DENSITY = 2
PAGE = (
    b"#set page(width: auto, height: auto, margin: 0pt)\n"
    b'#image(bytes(sys.inputs.at("svg")), format: "svg", width: eval(sys.inputs.at("width")) * 1pt)'
)


def saved_picture(answer: Answer, plant: Plant, number: int, ending: str) -> bytes:
    """Draw one of an answer's pictures as a file.

    Parameters
    ----------
    answer : Answer
        Of any question.
    plant : Plant
        Units, zone and names.
    number : int
        Which of its pictures, from 1, in the order of the page.
    ending : str
        One of FORMS.

    Returns
    -------
    bytes
        The file's content.

    Raises
    ------
    AskError
        Where there is no such picture.
    """
    all_pictures = pictures(answer, ChartStyle(plant))
    if not 0 < number <= len(all_pictures):
        what = tr("there is no picture {number}", number=number)
        raise AskError(Fault(what, answer.question, tr("one of 1 to {most}", most=len(all_pictures))))
    period = show.period(answer.scope.period, plant)
    of = " · ".join((plant.shop, answer.about(plant), period, plant.zone))
    return FORMS[ending][0](_frame_svg(all_pictures[number - 1], of))


def _frame_svg(picture: Picture, of: str) -> str:
    """The picture on white, below its title and the line that says what it is of."""
    words = [(line, TITLE, DAY.ink, "600") for line in _lines(picture.title, TITLE)]
    words += [(line, BELOW, DAY.soft, "400") for line in _lines(of, BELOW)]
    down, texts = float(ROOM), ""
    for line, size, colour, weight in words:
        down += 1.3 * size
        face = f'font-size="{size}" font-weight="{weight}" fill="{colour}"'
        texts += f'<text x="{ROOM}" y="{down:.1f}" {face}>{escape(line)}</text>'
    inner = to_svg(picture, WIDTH - ROOM).replace("<svg ", f'<svg x="{ROOM / 2:g}" y="{down:.1f}" ', 1)
    high = round(down + picture.height + ROOM / 2)
    extent = f'width="{WIDTH}" height="{high}" viewBox="0 0 {WIDTH} {high}"'
    face = "font-family=\"'IBM Plex Sans', 'Helvetica Neue', Arial, sans-serif\""
    paper = f'<rect width="{WIDTH}" height="{high}" fill="{DAY.card}"/>'
    title = f"<title>{escape(picture.title)}</title>"
    return f'<svg xmlns="http://www.w3.org/2000/svg" {extent} {face} role="img">{title}{paper}{texts}{inner}</svg>'


def _lines(text: str, size: float) -> list[str]:
    return textwrap.wrap(text, int((WIDTH - 2 * ROOM) / (LETTER * size)))


def _png(svg: str) -> bytes:
    import typst

    inputs = {"svg": svg, "width": str(WIDTH)}
    png: bytes = typst.compile(PAGE, format="png", ppi=72 * DENSITY, sys_inputs=inputs)
    return png


#: By a file's ending: what makes it of an SVG, and its media type.
FORMS: dict[str, tuple[Callable[[str], bytes], str]] = {
    "png": (_png, "image/png"),
    "svg": (str.encode, "image/svg+xml"),
}
