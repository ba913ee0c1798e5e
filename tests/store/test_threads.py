"""Readers never wait for a writer, and see each intake whole or not at all."""

from threading import Thread

from lineview.store.store import Store
from tests.store.made import at, export, kind, readings, weights


def test_readers_see_whole_intakes_while_another_writes(tmp_path):
    seen, failed = [], []
    with Store.open(tmp_path / "store") as store:

        def read():
            try:
                while writer.is_alive():
                    seen.append(store.readings("wrap1", at(-1), at(1e6)).height)
            except Exception as error:  # noqa: BLE001  # whatever it is, the test must say so
                failed.append(error)

        def write():
            for i in range(8):
                rows = [(2 + j, 100 * i + j, "good", float(j)) for j in range(50)]
                receipt = store.record(export(tmp_path, f"{i}.csv", ("readings", readings(rows))))
                if i % 3 == 2:
                    store.undo(receipt.intake)

        writer = Thread(target=write)
        readers = [Thread(target=read) for _ in range(3)]
        for thread in (writer, *readers):
            thread.start()
        for thread in (writer, *readers):
            thread.join()
        assert not failed
        assert seen
        assert {height % 50 for height in seen} == {0}
        assert store.readings("wrap1", at(-1), at(1e6)).height == 300


def batch(name: str, seconds: float) -> dict:
    return {"line": "1", "batch": name, "start": at(seconds), "end": at(seconds + 10)}


def test_a_snapshot_stays_as_it_was_whatever_is_taken_in_or_undone(tmp_path):
    with Store.open(tmp_path / "store") as store:
        rows = ("readings", readings([(2, 0, "good", 1.0), (3, 5, "good", 2.0)]))
        first = store.record(export(tmp_path, "a.csv", rows, ("batches", kind("batches", [batch("b1", 0)]))))
        with store.snapshot() as still:
            before = still.version()
            later = ("readings", readings([(2, 20, "good", 3.0)]))
            sheet = ("batches", kind("batches", [batch("b2", 20)]))
            store.record(export(tmp_path, "b.csv", later, sheet))
            store.undo(first.intake)
            store.write("adjustment", "wrap1", at(3), "knife changed")
            assert still.readings("wrap1", at(-1), at(100))["value"].to_list() == [1.0, 2.0]
            assert still.batches("1", at(-1), at(100))["batch"].to_list() == ["b1"]
            assert still.adjustments("wrap1", at(0), at(10)).is_empty()
            assert still.span("wrap1").end == at(5)
            assert still.version() == before != store.version()
        assert store.readings("wrap1", at(-1), at(100))["value"].to_list() == [3.0]
        assert store.batches("1", at(-1), at(100))["batch"].to_list() == ["b2"]


def test_snapshots_never_mix_two_states_while_another_takes_in_and_undoes(tmp_path):
    """Each export says the same number by readings, by weighings and by a sheet; so must each snapshot."""
    seen, failed = [], []
    with Store.open(tmp_path / "store") as store:

        def read():
            try:
                while writer.is_alive():
                    with store.snapshot() as still:
                        counts = {
                            still.readings("wrap1", at(-1), at(1e6)).height,
                            still.batches("1", at(-1), at(1e6)).height,
                            still.weights("wrap1", at(-1), at(1e6)).height,
                        }
                    seen.append(counts)
            except Exception as error:  # noqa: BLE001  # whatever it is, the test must say so
                failed.append(error)

        def write():
            for i in range(10):
                parts = [
                    ("readings", readings([(2, 100 * i, "good", float(i))])),
                    ("weights", weights([(3, 100 * i, 7.0, 1)])),
                    ("batches", kind("batches", [batch(f"b{i}", 100 * i)])),
                ]
                receipt = store.record(export(tmp_path, f"{i}.csv", *parts))
                if i % 2:
                    store.undo(receipt.intake)

        writer = Thread(target=write)
        readers = [Thread(target=read) for _ in range(3)]
        for thread in (writer, *readers):
            thread.start()
        for thread in (writer, *readers):
            thread.join()
        assert not failed
        assert len(seen) > 10
        assert {len(counts) for counts in seen} == {1}
