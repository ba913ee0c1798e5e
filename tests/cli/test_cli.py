"""The command line: plain errors with exit status 2, nothing half written, help at once."""

import contextlib
import gc
import gzip
import io
import json
import os
import re
import struct
import subprocess
import sys
import time
from pathlib import Path

import pytest

from lineview.cli import main
from lineview.cli.answers import print_lot
from lineview.core.errors import AskError, IntakeError

PLANT = """
shop = "Invented Sweets"
zone = "Europe/Berlin"

[[lines]]
id = "1"

[[machines]]
id = "wrap1"
kind = "cut-and-wrap machine"
line = "1"
counters = [{ id = "pieces", counts = "pieces", modulus = 65536, fastest_per_min = 450 }]

[[layouts]]
id = "log"
files = "log*.csv"
machine = "wrap1"
time = "time"
time_format = "%Y-%m-%d %H:%M:%S"
decimal = "."
[layouts.columns]
"count" = { to = "pieces" }
"""


def run(*words: str | Path, cwd: Path, language: str = "en") -> subprocess.CompletedProcess[str]:
    """Run the command as a process of its own."""
    environment = {k: v for k, v in os.environ.items() if not k.startswith("LINEVIEW_")} | {
        "LINEVIEW_LANGUAGE": language
    }
    command = [sys.executable, "-c", "from lineview.cli.main import main; main()", *map(str, words)]
    return subprocess.run(command, cwd=cwd, env=environment, capture_output=True, text=True, check=False)


def run_here(*words: str | Path, cwd: Path) -> subprocess.CompletedProcess[str]:
    """Run the command in this process, which is left as it was: an error that would be a traceback fails the test."""
    printed, complaint, status, threshold = io.StringIO(), io.StringIO(), 0, gc.get_threshold()
    with pytest.MonkeyPatch.context() as patch, contextlib.chdir(cwd):
        patch.setattr(os, "environ", os.environ.copy() | {"LINEVIEW_LANGUAGE": "en"})
        patch.setattr(sys, "argv", ["lineview", *map(str, words)])
        try:
            with contextlib.redirect_stdout(printed), contextlib.redirect_stderr(complaint):
                main.main()
        except SystemExit as end:
            status = int(end.code or 0)
        finally:
            gc.set_threshold(*threshold)
    return subprocess.CompletedProcess(words, status, printed.getvalue(), complaint.getvalue())


@pytest.fixture
def works(tmp_path: Path) -> Path:
    (tmp_path / "plant.toml").write_text(PLANT, encoding="utf-8")
    return tmp_path


def good_export() -> str:
    rows = (f"2026-06-09 06:{s // 60:02d}:{s % 60:02d},{60000 + s * 6}\n" for s in range(0, 1800, 10))
    return "time,count\n" + "".join(rows)


def stored(works: Path) -> list[str]:
    """What stands in the store besides its empty frame."""
    listing = run_here("intake", "--list", cwd=works)
    return [line for line in listing.stdout.splitlines() if "csv" in line or "xlsx" in line]


def test_help_answers_within_a_second(tmp_path: Path) -> None:
    took = []
    for _ in range(3):
        start = time.perf_counter()
        assert "intake" in run("--help", cwd=tmp_path).stdout
        took.append(time.perf_counter() - start)
    print(f"lineview --help: {min(took):.2f} s, best of three")
    assert min(took) < 1.0


def test_help_is_in_the_language_of_the_terminal(tmp_path: Path) -> None:
    told = run("setup", "--help", cwd=tmp_path, language="de").stdout
    assert "Jeden Vorschlag ohne Rückfrage übernehmen." in " ".join(told.split())
    assert "--accept" in told
    assert "Take every suggestion" in run("setup", "--help", cwd=tmp_path, language="xx").stdout


def test_an_unknown_language_is_refused(tmp_path: Path) -> None:
    done = run("try", "--language", "xx", "--into", tmp_path / "works", cwd=tmp_path)
    assert (done.returncode, (tmp_path / "works").exists()) == (2, False)
    assert "unknown language 'xx'; expected one of en, de" in done.stderr


def bad_files(folder: Path) -> dict[str, tuple[Path, str]]:
    contents: dict[str, tuple[bytes, str]] = {
        "log-empty.csv": (b"", "empty"),
        "log-binary.csv": (bytes(range(256)) * 40, ""),
        "log-cut.csv.gz": (gzip.compress(good_export().encode())[:-40], ""),
        "log-cut.xlsx": (b"PK\x03\x04" + bytes(400), ""),
        "log-column.csv": (b"time,quantity\n2026-06-09 06:00:00,1\n", "count"),
    }
    for name, (content, _) in contents.items():
        (folder / name).write_bytes(content)
    return {name: (folder / name, word) for name, (_, word) in contents.items()}


@pytest.mark.parametrize(
    "name", ["log-empty.csv", "log-binary.csv", "log-cut.csv.gz", "log-cut.xlsx", "log-column.csv"]
)
def test_a_bad_file_gets_a_plain_error_and_nothing_is_kept(works: Path, name: str) -> None:
    path, word = bad_files(works)[name]
    done = (run if name == "log-cut.xlsx" else run_here)("intake", path, cwd=works)
    assert done.returncode == 2
    assert name in done.stderr and word in done.stderr
    assert "Traceback" not in done.stderr + done.stdout
    assert not stored(works)


def test_a_folder_without_exports_and_one_that_is_not_there(works: Path) -> None:
    (works / "empty").mkdir()
    done = run_here("intake", "empty", "missing", cwd=works)
    assert done.returncode == 2
    assert "empty" in done.stderr and "missing" in done.stderr  # both faults at once
    assert "Traceback" not in done.stderr


def test_a_good_file_beside_a_bad_one_is_still_taken_in(works: Path) -> None:
    bad_files(works)
    (works / "log-good.csv").write_text(good_export(), encoding="utf-8")
    done = run_here("intake", "log-good.csv", "log-empty.csv", cwd=works)
    assert done.returncode == 2
    assert len(stored(works)) == 1
    assert run_here("intake", "--list", "--csv", "list.csv", cwd=works).returncode == 0
    header, row = (works / "list.csv").read_text(encoding="utf-8").splitlines()
    assert dict(zip(header.split(","), row.split(","), strict=True))["file"] == "log-good.csv"


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("answer", "shift", "--machine", "wrap9"), "unknown machine 'wrap9'"),
        (("answer", "shift", "--line", "7"), "unknown line '7'"),
        (("answer", "yesterday"), "unknown question"),
        (("answer", "shift", "--period", "soon"), "unknown period"),
        (("answer", "shift", "--from", "2026-06-10", "--to", "2026-06-09"), "ends before it starts"),
        (("answer", "shift", "--from", "2026-06-09", "--to", "2026-06-09"), "has no length"),
        (("answer", "order", "--from", "2030-01-01", "--to", "2030-02-01"), "no history to order by"),
        (("answer", "rope"), "there is no sizer"),
        (("intake", "--undo", "99"), "99"),
        (("sheet", "shift", "page.doc"), ".pdf"),
        (("board", "--port", "99999"), "less than or equal to 65535"),
        (("restore", "nowhere.zip", "--works", "again"), "'nowhere.zip' does not exist"),
    ],
)
def test_a_wrong_question_gets_a_plain_error(works: Path, words: tuple[str, ...], expected: str) -> None:
    (works / "log-good.csv").write_text(good_export(), encoding="utf-8")
    assert run_here("intake", "log-good.csv", cwd=works).returncode == 0
    done = (run if words[1] == "yesterday" else run_here)(*words, cwd=works)
    assert done.returncode == 2
    assert expected in done.stderr
    assert "Traceback" not in done.stderr


def test_no_readings_yet_and_no_plant(works: Path, tmp_path: Path) -> None:
    done = run_here("answer", "shift", cwd=works)
    assert (done.returncode, "no readings yet" in done.stderr) == (2, True)
    (tmp_path / "elsewhere").mkdir()
    done = run_here("answer", "shift", cwd=tmp_path / "elsewhere")
    assert (done.returncode, "no plant description" in done.stderr) == (2, True)


def test_a_plant_with_five_faults_gets_all_five_with_their_lines(works: Path) -> None:
    text = PLANT.replace('zone = "Europe/Berlin"', 'zone = "Europe/Atlantis"')
    text = text.replace('kind = "cut-and-wrap machine"', 'kind = "wrapper"').replace('line = "1"', 'line = "9"')
    text = text.replace("modulus = 65536", "modulus = -1").replace('decimal = "."', 'decimal = "dot"')
    (works / "plant.toml").write_text(text, encoding="utf-8")
    done = run("check", cwd=works)
    assert done.returncode == 2
    faults = [line for line in done.stderr.splitlines() if line.startswith("lineview: ")]
    assert len(faults) >= 5, done.stderr
    assert all(" line " in fault for fault in faults), done.stderr


def test_counters_alone_go_the_whole_way_and_json_is_whole(works: Path) -> None:
    (works / "log-good.csv").write_text(good_export(), encoding="utf-8")
    assert run("intake", "log-good.csv", cwd=works).returncode == 0
    done = run("answer", "shift", "--json", cwd=works)
    assert done.returncode == 0, done.stderr
    read = json.loads(done.stdout)
    assert read["version"] == "lineview.answer/1"
    assert read["figures"]["good_pieces"]["value"] == 1790 * 6
    printed = " ".join(run_here("answer", "shift", cwd=works).stdout.split())
    assert re.search(r"Last reading \w{3} \d+ \w+ 20\d\d, \d\d:\d\d, [\d,]+ days? ago\.", printed)
    again = run_here("intake", "log-good.csv", cwd=works)
    assert "nothing changed" in again.stdout.replace("\n", " ") or "before" in again.stdout
    assert run("intake", "--undo", "1", cwd=works).returncode == 0
    assert run_here("answer", "shift", cwd=works).returncode == 2


def in_terminal(*words: str | Path, cwd: Path, columns: int) -> str:
    """What a terminal of so many columns shows of a command."""
    pty, termios, fcntl = (pytest.importorskip(name) for name in ("pty", "termios", "fcntl"))
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 40, columns, 0, 0))
    environment = {k: v for k, v in os.environ.items() if k not in ("COLUMNS", "NO_COLOR", "TERM")}
    command = [sys.executable, "-c", "from lineview.cli.main import main; main()", *map(str, words)]
    child = subprocess.Popen(command, cwd=cwd, env=environment | {"TERM": "xterm"}, stdout=theirs, stderr=theirs)
    os.close(theirs)
    output = b""
    while True:
        try:
            part = os.read(ours, 65536)
        except OSError:  # how the end of a terminal reads
            break
        if not part:
            break
        output += part
    os.close(ours)
    assert child.wait() == 0
    return output.decode()


def test_a_narrow_terminal_cuts_no_name_and_no_number_off(works: Path) -> None:
    (works / "log-good.csv").write_text(good_export(), encoding="utf-8")
    run_here("intake", "log-good.csv", cwd=works)
    wide, narrow = (in_terminal("intake", "--list", cwd=works, columns=n) for n in (200, 60))
    assert ";" not in wide
    assert "…" not in narrow
    assert max(map(len, narrow.splitlines())) <= 60
    row, named = wide.splitlines()[1].split(), " ".join(narrow.split())
    assert f"id: {row[0]}; file: {row[1]}; taken at: " in named


def test_an_answer_is_short_fits_the_terminal_and_is_plain_in_a_pipe(works: Path) -> None:
    (works / "log-good.csv").write_text(good_export(), encoding="utf-8")
    run_here("intake", "log-good.csv", cwd=works)
    colored = in_terminal("answer", "shift", cwd=works, columns=62)
    assert "\x1b[1m" in colored, "no terminal was seen"
    plain = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", colored).replace("\r\n", "\n")
    lines = [line.rpartition("\r")[2].rstrip() for line in plain.splitlines()]
    assert max(map(len, lines)) <= 62
    assert any("working out" in line for line in plain.splitlines())

    short, in_full = (run("answer", "shift", *more, cwd=works).stdout for more in ((), ("--all",)))
    for piped in (short, in_full, run("answer", "--help", cwd=works).stdout):
        assert not re.search("[\x1b\u2500-\u257f]", piped), piped
    assert " ".join(lines).split()[-20:] == short.split()[-20:], "the terminal says the same, broken by its width"
    assert short.splitlines()[0].endswith("."), "a sentence is one line in a pipe"
    answer = json.loads(run_here("answer", "shift", "--json", cwd=works).stdout)
    titles = [table["title"] for table in answer["tables"].values() if table["rows"]]
    assert [title in short for title in titles] == [True] + [False] * (len(titles) - 1)
    assert all(text in in_full for text in (*titles, *answer["notes"], *answer["cautions"]))
    assert answer["cautions"][0] in short


def test_version_and_completion(works: Path) -> None:
    assert re.fullmatch(r"lineview \d+\.\d+\S*", run("--version", cwd=works).stdout.strip())
    environment = os.environ | {
        "_LINEVIEW_COMPLETE": "complete_bash",
        "COMP_WORDS": "lineview answer w",
        "COMP_CWORD": "2",
    }
    code = "import sys; sys.argv[0] = 'lineview'; from lineview.cli.main import main; main()"
    done = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=False)
    assert done.stdout.split() == ["weight", "wrap", "week"]


@pytest.mark.parametrize("loading", ["typer", "polars", "lineview.board.serve"])
def test_ctrl_c_while_the_board_is_loaded_ends_plainly(works: Path, loading: str) -> None:
    code = f"""
import signal, sys
class Pressed:
    def find_spec(self, name, path=None, target=None):
        if name == {loading!r}:
            signal.raise_signal(signal.SIGINT)
sys.meta_path.insert(0, Pressed())
from lineview.cli.start import run
run()
"""
    command = [sys.executable, "-c", code, "board", "--port", "0"]
    done = subprocess.run(command, cwd=works, capture_output=True, text=True, check=False, timeout=120)
    assert (done.returncode, done.stderr) == (130, "")


def test_watch_takes_in_what_arrives(works: Path) -> None:
    (works / "arrivals").mkdir()
    (works / "arrivals" / "log-1.csv").write_text(good_export(), encoding="utf-8")
    done = run("watch", "arrivals", "--every-s", "0.2", "--looks", "3", cwd=works)
    assert done.returncode == 0, done.stderr
    assert "rows new" in done.stdout
    assert len(stored(works)) == 1


@pytest.mark.parametrize("name", ["page.pdf", "page.xlsx", "page.csv"])
def test_sheets_are_written(works: Path, name: str) -> None:
    (works / "log-good.csv").write_text(good_export(), encoding="utf-8")
    run_here("intake", "log-good.csv", cwd=works)
    within = ("--from", "2026-06-09 06:05", "--to", "2026-06-09 06:20")
    asked = run if name.endswith("pdf") else run_here
    assert asked("sheet", "shift", name, *within, cwd=works).returncode == 0
    if name.endswith("csv"):
        assert "5,400" in (works / name).read_text(encoding="utf-8").replace("5400", "5,400")
    assert (works / name).stat().st_size > 100


def test_an_adjustment_can_be_written_down(works: Path) -> None:
    assert run("adjusted", "wrap1", "knife changed", "--at", "2026-06-09 06:10", cwd=works).returncode == 0
    assert run_here("adjusted", "wrap9", "knife changed", "--at", "2026-06-09 06:10", cwd=works).returncode == 2
    assert run_here("adjusted", "wrap1", "knife changed", "--at", "teatime", cwd=works).returncode == 2


def test_brackets_of_an_export_are_printed_as_they_stand(works: Path) -> None:
    name = "log [red]x[bold].csv"
    (works / name).write_text("time,count\n2026-06-09 06:00:00,5\n[/red]7,7\n", encoding="utf-8")
    process = run_here("intake", name, cwd=works)
    assert process.returncode == 0
    assert name in process.stdout
    refused = run_here("intake", "--refusals", "0", cwd=works)
    assert refused.returncode == 0, refused.stderr[-300:]
    assert "[/red]7" in refused.stdout


def test_a_period_without_readings_is_not_told_as_none_made(works: Path) -> None:
    (works / "log-good.csv").write_text(good_export(), encoding="utf-8")
    assert run_here("intake", "log-good.csv", cwd=works).returncode == 0
    for question, name in (("shift", "good_pieces"), ("wrap", "wrap_good_pieces")):
        done = run_here("answer", question, "--period", "2030-01-01", "--json", cwd=works)
        figure = json.loads(done.stdout)["figures"][name]
        assert figure["value"] is None
        assert "not read" in figure["why_none"] or "no counter was read" in figure["why_none"]


def test_a_plant_nested_too_deep_is_a_plain_error(works: Path) -> None:
    (works / "plant.toml").write_text("a = " + "[" * 5000 + "]" * 5000, encoding="utf-8")
    done = run("check", cwd=works)
    assert done.returncode == 2
    assert "too deep" in done.stderr
    assert "Traceback" not in done.stderr


def test_all_readings_are_counted_exactly(works: Path) -> None:
    (works / "log-good.csv").write_text(good_export(), encoding="utf-8")
    assert run_here("intake", "log-good.csv", cwd=works).returncode == 0
    good = json.loads(run_here("answer", "shift", "--period", "all", "--json", cwd=works).stdout)["figures"][
        "good_pieces"
    ]
    assert (good["value"], good["low"], good["high"]) == (179 * 60, None, None)


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


@pytest.mark.parametrize(
    ("mean", "weighed", "status", "verdict"),
    [
        (456, 50, 0, "The lot passes."),
        (440, 50, 1, "The lot does not pass."),
        (456, 4, 3, "No verdict yet: weigh 46 more bags of this lot."),
        (440, 4, 3, "No verdict yet: weigh 46 more bags of this lot."),
    ],
)
def test_the_exit_status_says_how_the_lot_fares(
    tmp_path: Path, mean: int, weighed: int, status: int, verdict: str
) -> None:
    file = bags(tmp_path, "\n".join(f"{mean + k % 3}" for k in range(weighed)))
    done = (run if status == 1 else run_here)("bags", file, "--label-g", "454", "--lot", "400", cwd=tmp_path)
    assert done.stdout.splitlines()[0] == verdict
    assert done.returncode == status


def test_every_bad_line_is_told_at_once(tmp_path: Path) -> None:
    with pytest.raises(IntakeError) as error:
        print_lot(bags(tmp_path, "454\nheavy\n455\nlight\n"), 454.0, 400, "eu", 0.0)
    assert [fault.where.split()[-1] for fault in error.value.faults] == ["2", "4"]


def test_unknown_rules_and_a_missing_file(tmp_path: Path) -> None:
    with pytest.raises(AskError, match="hb133"):
        print_lot(bags(tmp_path, "454"), 454.0, 400, "mine", 0.0)
    with pytest.raises(IntakeError):
        print_lot(tmp_path / "none.txt", 454.0, 400, "eu", 0.0)
