"""The list of differences between two files of answers holds every one, and nothing else."""

import copy

from tests.bench import compare_answers

ANSWER = {
    "sentence": "This shift made 10 good pieces.",
    "soft": "",
    "notes": [],
    "scope": {"line": "1"},
    "figures": {"good_pieces": {"value": 10, "low": None, "high": None, "unit": "pieces", "n": 3}},
    "tables": {"stops": {"title": "Stops", "columns": [], "rows": [{"minutes": 1.5, "state": "stop"}]}},
    "series": {"timeline": [{"state": "running"}]},
}


def test_an_answer_equals_itself_and_one_that_differs_in_the_tenth_digit() -> None:
    other = copy.deepcopy(ANSWER)
    other["tables"]["stops"]["rows"][0]["minutes"] = 1.5 + 1e-12
    assert list(compare_answers.differences(ANSWER, other, series=True)) == []


def test_every_changed_part_is_listed_once() -> None:
    other = copy.deepcopy(ANSWER)
    other["sentence"] = "This shift made 11 good pieces."
    other["figures"]["good_pieces"].update(value=11, low=9)
    other["tables"]["stops"]["rows"] = [{"minutes": 2.0, "state": "stop"}, {"minutes": 3.0, "state": "stop"}]
    other["series"]["timeline"] = []
    listed = [(group, where) for group, where, *_ in compare_answers.differences(ANSWER, other, series=True)]
    assert listed == [
        ("text: sentence", "sentence"),
        ("figure good_pieces", "value"),
        ("figure good_pieces", "low"),
        ("table stops", "number of rows"),
        ("table stops", "row 0 minutes"),
        ("series timeline", "number of rows"),
    ]


def test_a_figure_or_an_answer_that_is_gone_or_new_is_listed() -> None:
    other = copy.deepcopy(ANSWER)
    other["figures"] = {"rejects": {"value": 1, "unit": "pieces"}}
    groups = compare_answers.grouped({"shift wrap1 all": ANSWER, "gone": {}}, {"shift wrap1 all": other})
    assert set(groups) == {"whole answers", "shift: figure good_pieces", "shift: figure rejects"}
    assert groups["whole answers"] == [("gone", "", "there", compare_answers.MISSING)]
