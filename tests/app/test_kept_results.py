"""The latest results are kept within their bounds."""

from lineview.app.kept_results import KeptResults


def test_those_asked_longest_ago_go_first():
    kept: KeptResults[str] = KeptResults(2, 100, len)
    calls: list[str] = []

    def ask(key: str) -> None:
        kept.get(key, lambda: calls.append(key) or key)

    for key in ("a", "b", "a", "c", "a", "b"):
        ask(key)
    assert calls == ["a", "b", "c", "b"]


def test_bytes_are_bounded_and_one_too_large_is_given_but_not_kept():
    kept: KeptResults[str] = KeptResults(10, 5, len)
    assert kept.get("a", lambda: "xxx") == "xxx"
    assert kept.get("b", lambda: "yyy") == "yyy"
    assert kept.held_bytes == 3
    assert kept.get("c", lambda: "zzzzzz") == "zzzzzz"
    assert kept.held_bytes == 0
