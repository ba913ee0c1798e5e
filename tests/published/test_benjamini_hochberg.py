"""Benjamini and Hochberg (1995), section 3.2: 15 p-values of a trial in myocardial infarction; from memory."""

from lineview.stats.multiple_tests import adjusted_p

P = [
    0.0001,
    0.0004,
    0.0019,
    0.0095,
    0.0201,
    0.0278,
    0.0298,
    0.0344,
    0.0459,
    0.3240,
    0.4262,
    0.5719,
    0.6528,
    0.7590,
    1.0,
]


def test_the_procedure_rejects_four_where_bonferroni_rejects_three() -> None:
    assert sum(q <= 0.05 for q in adjusted_p(P)) == 4
    assert sum(p <= 0.05 / len(P) for p in P) == 3


def test_the_fifth_is_compared_with_its_own_limit() -> None:
    # The fourth p-value, 0.0095, is the first from the top below its limit 4/15 × 0.05 = 0.013.
    q = adjusted_p(P)
    assert q[3] == 15 * 0.0095 / 4
    assert q[4] > 0.05


def test_order_does_not_matter() -> None:
    assert sorted(adjusted_p(P[::-1])) == sorted(adjusted_p(P))
