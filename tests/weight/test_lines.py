"""Lines compared by the products that they share."""

from __future__ import annotations

import polars as pl
import pytest

from lineview.weight.lines import _components, compare_lines, line_notes, line_table
from tests.simulate.weighed_line import plant


def test_with_one_batch_a_line_the_difference_is_said_to_be_unknown() -> None:
    """The means stand, their limits do not: no two batches of a line show how far batches lie apart."""
    columns = ["line", "product", "batch", "sample", "net_g", "target_g", "pieces"]
    rows = [(line, "a", line, line, net, 6.5, 1) for line, net in (("1", 6.6), ("1", 6.7), ("2", 6.5), ("2", 6.6))]
    found, works = compare_lines(pl.DataFrame(rows, schema=columns, orient="row"), "1"), plant()
    assert "is not known: too few batches or pieces" in line_notes(found, works)[0]
    first, second = line_table(found, works).rows
    assert (first["batches"], first["pieces"], round(first["off_g"], 9)) == (1, 2, 0.15)
    assert (second["off_low"], round(second["apart_g"], 9), second["apart_low"]) == (None, -0.1, None)
    assert first["apart_g"] is None


@pytest.mark.parametrize(("net_g", "known"), [([6.6, 6.7, 6.5, 6.4, 6.8], True), ([6.6, 6.5, 6.4, 6.8], False)])
def test_lines_differ_by_what_is_known_as_soon_as_one_batch_has_a_second_piece(net_g: list[float], known: bool) -> None:
    rows = ([("1", "a")] if known else []) + [("1", "a"), ("1", "b"), ("2", "c"), ("2", "d")]
    frame = pl.DataFrame(rows, schema=["line", "_unit"], orient="row").with_columns(
        net_g=pl.Series(net_g), target_g=6.6, pieces=1
    )
    spread, between, within = _components(frame)
    assert (spread.value is not None, between is not None, within is not None) == (known,) * 3
    assert spread.why_none == ("" if known else "not known: too few batches or pieces on each line")
