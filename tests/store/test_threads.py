"""Readers never wait for a writer, and see each intake whole or not at all."""

from threading import Thread

from lineview.store.store import Store
from tests.store.made import at, export, readings


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
