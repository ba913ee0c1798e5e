"""What the weight answer says of lines that make the same products: spread between lines, and each line."""

from __future__ import annotations

from lineview.answers.answer import Table
from lineview.answers.weight_figure import SPREAD_SOURCES, from_spread
from lineview.answers.weight_words import mass
from lineview.figure import Figure, Period
from lineview.measures.weight_lines import LineMean, LineSpread
from lineview.plant import Plant


def line_figures(across: LineSpread | None, period: Period) -> tuple[Figure, ...]:
    """Give the spread between lines.

    Parameters
    ----------
    across : LineSpread or None
        None where no weight can be used.
    period : Period
        Asked for.

    Returns
    -------
    tuple of Figure
        sd_lines_g.
    """
    if across is None:
        return ()
    lines = len(across.lines)
    few = "; two lines leave its upper limit far away" if lines == 2 else ""
    working = (
        f"restricted maximum likelihood, levels line / batch / piece, {across.weighings} weighings of "
        f"{', '.join(across.products)} on {lines} lines{few}"
    )
    return (
        from_spread(
            across.between, "sd_lines_g", "spread between lines", "g", n=lines, period=period,
            sources=SPREAD_SOURCES, working=working,
        ),
    )  # fmt: skip


def line_table(across: LineSpread | None, plant: Plant) -> Table:
    """Give each line's mean deviation from target, over the products that several lines made.

    Parameters
    ----------
    across : LineSpread or None
        None gives a table without rows.
    plant : Plant
        For the lines' names.

    Returns
    -------
    Table
        "lines".
    """
    columns = (
        ("line", "Line", ""),
        ("batches", "Batches", ""),
        ("pieces", "Pieces", ""),
        ("off_g", "Off target", "g"),
        ("off_low", "Low", "g"),
        ("off_high", "High", "g"),
        ("apart_g", "Apart from this line", "g"),
        ("apart_low", "Low", "g"),
        ("apart_high", "High", "g"),
    )
    rows = [
        {
            "line": line_name(plant, one.line),
            "batches": one.batches,
            "pieces": one.pieces,
            "off_g": one.off_g.value,
            "off_low": one.off_g.low,
            "off_high": one.off_g.high,
            "apart_g": one.apart.value if one.apart else None,
            "apart_low": one.apart.low if one.apart else None,
            "apart_high": one.apart.high if one.apart else None,
        }
        for one in (across.lines if across else ())
    ]
    of = f": {', '.join(across.products)}" if across and across.products else ""
    return Table("lines", f"Lines that made the same products{of}", columns, rows)


def line_name(plant: Plant, line: str) -> str:
    """Give what a person calls a line.

    Parameters
    ----------
    plant : Plant
        The works.
    line : str
        Its id.

    Returns
    -------
    str
        The name, else the id.
    """
    return next((one.name or one.id for one in plant.lines if one.id == line), line)


def line_notes(across: LineSpread | None, plant: Plant) -> tuple[str, ...]:
    """Say of each other line how much heavier or lighter its pieces of the same products are.

    Parameters
    ----------
    across : LineSpread or None
        As measured.
    plant : Plant
        For names and units.

    Returns
    -------
    tuple of str
        One sentence a line; none where only one line was weighed.
    """
    if across is None or not across.lines:
        return ()
    asked = line_name(plant, across.lines[0].line)
    return tuple(_note(one, asked, plant) for one in across.lines[1:])


def _note(one: LineMean, asked: str, plant: Plant) -> str:
    name, apart = line_name(plant, one.line), one.apart
    if apart is None or apart.value is None or apart.low is None or apart.high is None:
        return f"How far {name} differs from {asked} cannot be told: too few batches or pieces."
    between = f"{mass(apart.low, plant, signed=True)} to {mass(apart.high, plant, signed=True)}, 95 %"
    if apart.low <= 0 <= apart.high:
        return f"Pieces of the same products on {name} and {asked} are not told apart ({between})."
    more = "heavier" if apart.value > 0 else "lighter"
    return (
        f"Pieces of the same products are {mass(abs(apart.value), plant)} {more} on {name} than on {asked} "
        f"({between})."
    )
