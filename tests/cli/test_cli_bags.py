"""The lot check of weighed bags says pass or fail with its reasons, and defers to the authority."""

from pathlib import Path

import pytest

from lineview.cli_bags import print_lot
from lineview.errors import AskError, IntakeError


def bags(folder: Path, text: str) -> Path:
    file = folder / "bags.txt"
    file.write_text(text, encoding="utf-8")
    return file


@pytest.mark.parametrize(("mean", "verdict"), [(462, "The lot passes."), (448, "The lot does not pass.")])
def test_the_verdict_comes_with_reasons_and_caution(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], mean: int, verdict: str
) -> None:
    text = "# invented\n" + "\n".join(f"{mean + d},5" for d in (-1, 0, 1) * 17)
    print_lot(bags(tmp_path, text), label_g=454.0, lot=400, rules="eu", tare_g=0.5)
    printed = capsys.readouterr().out
    assert verdict in printed
    assert f"mean {mean}.00 g" in printed
    assert "authority" in printed


def test_every_bad_line_is_told_at_once(tmp_path: Path) -> None:
    with pytest.raises(IntakeError) as told:
        print_lot(bags(tmp_path, "454\nheavy\n455\nlight\n"), 454.0, 400, "eu", 0.0)
    assert [fault.where.split()[-1] for fault in told.value.faults] == ["2", "4"]


def test_unknown_rules_and_a_missing_file(tmp_path: Path) -> None:
    with pytest.raises(AskError, match="hb133"):
        print_lot(bags(tmp_path, "454"), 454.0, 400, "mine", 0.0)
    with pytest.raises(IntakeError):
        print_lot(tmp_path / "none.txt", 454.0, 400, "eu", 0.0)
