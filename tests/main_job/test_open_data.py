"""Real open data the whole way, from a file to an answer, with the published limits coming out.

Piston-ring diameters and batch viscosities as printed in the vignette of R's package qcc (data: Montgomery,
Introduction to Statistical Quality Control); limits as printed there.
"""

from pathlib import Path

import pytest

from lineview.app.question import read_question
from lineview.app.works import Works
from lineview.report.answer import Answer
from tests.published.piston_rings import RINGS, VISCOSITY

PLANT = """
shop = "Invented Sweets"
zone = "UTC"

[[lines]]
id = "1"

[[machines]]
id = "sizer1"
kind = "sizer"
line = "1"
gauges = [{{ id = "diameter", measures = "rope diameter", unit = "mm" }}]

[[products]]
id = "ring"
flavour = "Ring"
mass_g = 6.6
mass_tolerance_g = 0.4
diameter_mm = {target}
diameter_tolerance_mm = {tolerance}
cut_length_mm = 30

[[layouts]]
id = "gauge"
files = "gauge.csv"
machine = "sizer1"
time = "time"
time_format = "iso"
decimal = "."
columns = {{ "reading" = {{ to = "diameter" }} }}

[[layouts]]
id = "batches"
kind = "batches"
files = "batches.csv"
line = "1"
time = "start"
time_format = "iso"
columns = {{ "batch" = {{ to = "batch" }}, "product" = {{ to = "product" }} }}
"""


def answered(folder: Path, batches: list[list[float]], target: float, tolerance: float) -> Answer:
    """Write the data as a gauge export and a batch sheet, ten minutes a batch, and ask for the rope."""
    (folder / "plant.toml").write_text(PLANT.format(target=target, tolerance=tolerance), encoding="utf-8")
    gauge, sheet = ["time,reading"], ["start,batch,product"]
    for b, readings in enumerate(batches):
        sheet.append(f"2026-06-{9 + b // 60:02d}T{6 + b % 60 // 6:02d}:{b % 6}0:00,{b + 1},Ring")
        for k, reading in enumerate(readings):
            gauge.append(f"2026-06-{9 + b // 60:02d}T{6 + b % 60 // 6:02d}:{b % 6}{3 + k}:00,{float(reading)!r}")
    (folder / "gauge.csv").write_text("\n".join(gauge) + "\n", encoding="utf-8")
    (folder / "batches.csv").write_text("\n".join(sheet) + "\n", encoding="utf-8")
    with Works(folder) as works:
        taken = works.take([folder / "batches.csv", folder / "gauge.csv"])
        kept = [one.receipt.kept for one in taken if one.receipt is not None]
        assert kept == [len(sheet) - 1, len(gauge) - 1]
        return works.ask(read_question("rope", period="all"))


def limits(answer: Answer) -> dict[str, dict[str, float]]:
    table = next(t for t in answer.tables if t.name == "limits")
    for row in table.rows:
        print({k: v for k, v in row.items() if k != "which"})
    return {row["chart"]: dict(row) for row in table.rows}


def test_piston_rings(tmp_path: Path) -> None:
    charts = limits(answered(tmp_path, RINGS[:25].tolist(), target=74.0, tolerance=0.05))
    means = charts["batch mean"]
    assert means["centre"] == pytest.approx(74.00118, abs=5e-6)
    assert (means["low"], means["high"]) == pytest.approx((73.98805, 74.0143), abs=8e-6)
    assert charts["range in a batch"]["centre"] == pytest.approx(0.02276, abs=1e-9)
    assert charts["range in a batch"]["high"] == pytest.approx(0.04812533, abs=1e-6)
    assert charts["standard deviation in a batch"]["high"] == pytest.approx(0.01930242, abs=6e-9)
    assert means["outside"] == 0


def test_batch_viscosities(tmp_path: Path) -> None:
    charts = limits(answered(tmp_path, [[v] for v in VISCOSITY[:20]], target=34.0, tolerance=3.0))
    single = charts["individuals"]
    assert single["centre"] == pytest.approx(34.088, abs=5e-6)
    assert (single["low"], single["high"]) == pytest.approx((32.56504, 35.61096), abs=6e-6)
    assert single["outside"] == 1  # batch 4
