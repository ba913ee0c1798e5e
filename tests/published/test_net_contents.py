"""Net contents. HB 133, OIML R 87: from memory. Directive 76/211/EEC, SI 2006/659 schedule 2: read."""

from __future__ import annotations

import pytest

from lineview.app.bags import net_contents_tables
from lineview.weight.bag_law import bag_by_count, normal_offsets, piece_law

TABLES = net_contents_tables()


def test_hb_133_table_2_1_correction_factors_from_memory() -> None:
    printed = {
        2: 8.984, 3: 2.484, 4: 1.591, 5: 1.242, 6: 1.049, 7: 0.925, 8: 0.836, 9: 0.769, 10: 0.715,
        11: 0.672, 12: 0.635, 24: 0.422, 48: 0.291,
    }  # fmt: skip
    rules = TABLES["hb133"]
    for lot, n in ((2, 2), (11, 11), (12, 12), (250, 12), (251, 24), (3200, 24), (3201, 48)):
        assert rules.plan(lot).mean_factor == printed[n]
    assert rules.correction == printed


def test_hb_133_factors_are_t_over_root_n_from_memory() -> None:
    """An outside check of the remembered column: t(0.975, n - 1) / √n, but for the last digit."""
    from scipy.stats import t

    for n, factor in TABLES["hb133"].correction.items():
        assert factor == pytest.approx(t.ppf(0.975, n - 1) / n**0.5, abs=8e-4)


def test_hb_133_table_2_1_samples_and_mavs_from_memory() -> None:
    plans = [TABLES["hb133"].plan(lot) for lot in (11, 250, 251, 3200, 3201)]
    assert [p.packages for p in plans] == [11, 12, 24, 24, 48]
    assert [p.beyond for p in plans] == [0, 0, 0, 0, 1]


def test_hb_133_table_2_5_from_memory() -> None:
    allowances = [TABLES["hb133"].allowance_g(g) for g in (20, 36, 113, 200, 454, 907)]
    assert allowances == pytest.approx([2.0, 3.6, 7.2, 10.8, 19.9, 31.7], abs=0.05)


def test_hb_133_mav_of_a_113_g_package_as_quoted() -> None:
    """Read in a quotation of the handbook: "The MAV for packages labeled 113 g is 7 g"."""
    assert round(TABLES["hb133"].allowance_g(113)) == 7


def test_76_211_annex_i_2_4_tolerable_negative_errors() -> None:
    labels = [30, 50, 75, 150, 250, 400, 750, 2000, 12000, 20000]
    allowances = [TABLES["eu"].allowance_g(g) for g in labels]
    assert allowances == pytest.approx([2.7, 4.5, 4.5, 6.8, 9, 12, 15, 30, 150, 200], abs=1e-9)


def test_gov_uk_percentages_are_rounded_up_to_the_next_tenth_of_a_gram() -> None:
    """Read on gov.uk, "Packaged goods": 4.5 % of 150 g is 6.75 g, so 6.8 g; 1.5 % of 1001 g is 15.015 g."""
    assert [TABLES["eu"].allowance_g(g) for g in (150, 1001)] == [6.8, 15.1]


def test_si_2006_659_schedule_2_paragraph_4_mean_factors() -> None:
    from scipy.stats import t

    assert [TABLES["eu"].plan(lot).mean_factor for lot in (100, 500, 501)] == [0.503, 0.503, 0.379]
    assert [TABLES["eu"].plan(lot).mean_packages for lot in (100, 500, 501)] == [30, 30, 50]
    for n, factor in ((30, 0.503), (50, 0.379), (20, 0.640)):
        assert factor == pytest.approx(t.ppf(0.995, n - 1) / n**0.5, abs=5e-4)


def test_si_2006_659_schedule_2_paragraph_3_5_single_plan() -> None:
    plans = [TABLES["eu"].plan(lot) for lot in (100, 500, 501, 3200, 3201)]
    assert [p.packages for p in plans] == [50, 50, 80, 80, 125]
    assert [p.beyond for p in plans] == [3, 3, 5, 5, 7]
    assert TABLES["eu"].plan(80).packages == 80
    assert TABLES["eu"].plan(80).beyond == 4


def test_oiml_r_87_2004_plan_from_memory() -> None:
    plans = [TABLES["r87"].plan(lot) for lot in (100, 500, 501, 3200, 3201)]
    assert [p.packages for p in plans] == [50, 50, 80, 80, 125]
    assert [p.mean_factor for p in plans] == [0.379, 0.379, 0.295, 0.295, 0.234]
    assert [p.beyond for p in plans] == [3, 3, 5, 5, 7]


def test_no_table_claims_to_have_been_compared() -> None:
    for rules in TABLES.values():
        assert not rules.compared_with_document
        assert "not compared with the document" in rules.banner
        assert "not compared with the document" in rules.short_banner


def test_bag_of_70_pieces_constructed() -> None:
    """70 pieces of 6.5738 g with 0.25 g within: 2.0917 g a bag; a batch 2 % light: 9.2033 g a bag."""
    law = bag_by_count(piece_law(normal_offsets(), 6.5738, 0.25, 0.01), 70)
    light = bag_by_count(piece_law(normal_offsets(), 6.5738 * 0.98, 0.25, 0.01), 70)
    assert law.sd_g == pytest.approx(2.0917, abs=2e-4)
    assert light.mean_g - law.mean_g == pytest.approx(-9.2033, abs=2e-4)
