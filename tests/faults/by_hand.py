"""Faults written out by hand: each would reach the reader as a wrong level, side, unit, divisor or sign."""

from __future__ import annotations

#: Module, text that stands in it once, and what stands there instead.
BY_HAND = (
    ("rope/forecast.py", "\nLEVEL = 0.95", "\nLEVEL = 0.90"),
    ("rope/forecast.py", "FORECAST_LEVEL = 200.0, 0.90", "FORECAST_LEVEL = 200.0, 0.80"),
    ("rope/figures.py", "model.fit.interval(contrast)", "model.fit.interval(contrast, 0.8)"),
    ("rope/figures.py", "model.fit.sd_interval()", "model.fit.sd_interval(0.8)"),
    ("rope/mass.py", "low * pieces / 1000, high * pieces / 1000", "high * pieces / 1000, low * pieces / 1000"),
    ("order/figures.py", "(0.05, 0.95)", "(0.1, 0.9)"),
    ("order/policy.py", "share: float = 0.95", "share: float = 0.9"),
    ("order/policy.py", "reels /= 1.0 - web.under", "reels *= 1.0 + web.under"),
    ("order/reels_needed.py", "reel_m * (1.0 - under", "reel_m / (1.0 + under"),
    ("order/forecast.py", "1.0 / weeks) + wander)", "1.0 / weeks))"),
    ("weight/capability.py", "1 - abs(scaled.mean)", "1 - scaled.mean"),
    ("weight/capability.py", "1 - np.abs(means)", "1 - means"),
    ("weight/capability.py", "for side in (1, -1)", "for side in (1,)"),
    ("weight/contents.py", "v < label_g - allowance for", "v <= label_g - allowance for"),
    ("weight/contents.py", "v < label_g - rules.never_beyond", "v <= label_g - rules.never_beyond"),
    ("shift/figures.py", "100 * run / (planned - unseen)", "100 * run / planned"),
    ("shift/figures.py", "coded_run_min) / planned", "coded_run_min) / (planned - unseen)"),
    ("shift/key_figures.py", "account.planned_min - account.unseen_min,", "account.planned_min,"),
    ("shift/past.py", "confidence: float = 0.9", "confidence: float = 0.8"),
    ("core/units.py", "(12 * _INCH) ** 2", "12 * _INCH"),
    ("stats/change_points.py", "false_share / 2 / n", "false_share / n"),
    ("machine/calendar.py", "fold=0", "fold=1"),
    ("stats/means.py", "x.std(ddof=1)) / math", "x.std(ddof=0)) / math"),
    ("wrap/learning.py", "floor=0.0))\n    waste", "floor=0.0, level=0.9))\n    waste"),
)  # fmt: skip

#: Faults that survive and say nothing, each with why.
SAY_NOTHING: dict[str, str] = {
    "stats/optimum.py:_next_step: 2 * half * q → 2 * half / q": "the bracket halves all the same: the same root, later",
    "shift/past.py:project: max(min(high, most), rate, 0.0) → max(min(high, most), rate, 0.1)": (
        "no line has an upper rate below a tenth of a piece a minute"
    ),
    "weight/spread.py:_around: middle <= 0 → middle < 0": "draws whose middle is 0 have no width to spread",
    "shift/words.py:_no_plan_words: good.least < 0.5 → good.least <= 0.5": "the least of a count is whole",
    "wrap/words.py:soft_line: outside >= 0.5 → outside > 0.5": "the least of a count is whole",
    "wrap/words.py:needs_person: abs(rest.metres) <= _CALL_SHARE * use.geometry_m → "
    "abs(rest.metres) < _CALL_SHARE * use.geometry_m": "metres equal to the share to the last digit do not come",
    "report/show.py:_exact: power or 0 → power or 1": "without a power it is no number and has no decimals",
    "records/output.py:_frame: minutes.get(day, 0.0) > 0 → minutes.get(day, 0.0) > 1": "no day has one planned minute",
    "order/works_demand.py:works_need: 26 → 27": (
        "a choice that nothing outside holds: from then on the season stands still, and an order is due before"
    ),
    "wrap/reels.py:web_thickness_um: web.reel_outer_mm > web.reel_core_mm → web.reel_outer_mm >= web.reel_core_mm": (
        "plant.toml with a core as thick as its reel is refused"
    ),
    "order/words.py:_order: first.advice is None or first.order_by is None → "
    "first.advice is None and first.order_by is None": "a line that is due has both",
    "order/demand.py:planned_pieces: pieces.sum() > 0 → pieces.sum() > 1": "nobody plans one piece",
    "machine/state_codes.py:within: ends > begins → ends >= begins": "a stretch without length says nothing",
    "intake/cells/far_times.py:_apart: max(first - int(strays[0]), int(strays[-1]) - last) < _YEARS_D * "
    "_DAY_US → max(first - int(strays[0]), int(strays[-1]) - last) <= _YEARS_D * _DAY_US": (
        "times so many years apart to the microsecond do not come"
    ),
    "weight/spread.py:_sound_draws: follow * means.size ** 0.5 > _FOLLOWS → follow * means.size ** 0.5 >= "
    "_FOLLOWS": "a correlation equal to the limit to the last digit does not come",
    "shift/study.py:_events: measures.left_min <= 1e-06 → measures.left_min < 1e-06": (
        "minutes left are 0 or a second at least"
    ),
    "records/make.py:_output_columns: zip(OUTPUT, columns, strict=True) → zip(OUTPUT, columns, strict=False)": (
        "there are as many columns as names"
    ),
    "wrap/account.py:_stretches: at[1:] > at[:-1] → at[1:] >= at[:-1]": "a stretch without length holds nothing",
    "stats/generalized_intervals.py:: 20260609 → 20260610": "any seed will do",
    "intake/detect/encoding.py:_is_binary: :65536 → :65537": "so many bytes are enough, and one more is as good",
    "machine/speed.py:stamp_spread_s: len(inner) > 20000 → len(inner) >= 20000": (
        "of just so many each is taken either way"
    ),
    "week/material.py:target_masses_g: with_mass.filter(pl.col('mass').is_not_null()).group_by('place', "
    "maintain_order=True) → with_mass.filter(pl.col('mass').is_not_null()).group_by('place', "
    "maintain_order=False)": "each group goes to the place that it names",
    "machine/likeliest.py:likeliest: high <= SURE_SHARE * intervals.turn → high < SURE_SHARE * intervals.turn": (
        "a bound equal to the share to the last digit does not come"
    ),
    "weight/spread.py:_piece_draws: key * (float(column.max()) + 1.0) + column → key * (float(column.max()) "
    "+ 1.0) - column": "numbers the groups otherwise, no two alike",
    "machine/counter_repair.py:_by_words: np.abs(off) > WORD / 2 → np.abs(off) >= WORD / 2": (
        "half a word is no whole number of words, which is asked beside it"
    ),
    "report/show.py:unit_words: in_units(0.0, unit, system) → in_units(0.1, unit, system)": (
        "the unit's name alone is taken"
    ),
    "order/answer.py:_output_between: rows.group_by('product', maintain_order=True) → "
    "rows.group_by('product', maintain_order=False)": "sorted right after",
    "order/demand.py:quantile: np.where(sure, 1.0, (mean / np.where(sure, 1.0, sd)) ** 2) → "
    "np.where(sure, 1.1, (mean / np.where(sure, 1.0, sd)) ** 2)": "what is sure is the mean, whatever its shape",
    "order/orders.py:order_lines: used_since_m.get(web.id, 0.0) → used_since_m.get(web.id, 0.1)": (
        "only a web that was never counted is not there, and it has no stock"
    ),
    "order/answer.py:_metres_since_count: metres[moment].get(web, 0.0) → metres[moment].get(web, 0.1)": (
        "only a web without a need is not there, and it has no line"
    ),
    "machine/counters.py:_by_plan: planned > 0 → planned > 1": "no long gap has less than a second of planned time",
    "shift/words.py:_plan: measures.planned <= 0 → measures.planned <= 1": "nobody plans one piece",
    "wrap/reconcile.py:measured_length: Estimate.expanded(used_m + metres.label_m - metres.unwound, sd_m, 2, "
    "'95 % confidence (GUM, k = 2)') → Estimate.expanded(used_m + metres.label_m - metres.unwound, sd_m, 3, "
    "'95 % confidence (GUM, k = 2)')": "of how many a length was measured is shown nowhere: always of two",
    "weight/sources.py:_noise: z.size < 50 → z.size <= 50": "a choice that nothing outside holds: fifty, or one more",
    "weight/sources.py:_noise: np.abs(away - lag * cadence) < 0.5 * cadence → np.abs(away - lag * cadence) <= 0.5 * "
    "cadence": "readings half a step off to the last digit do not come",
    "report/show.py:_decimals_for: len(ends) > 1 → len(ends) >= 1": "one end alone has no width either way",
    "week/account.py:: timedelta(weeks=13) → timedelta(weeks=14)": "a choice that nothing outside holds",
    "rope/lead.py:_out: mean.low_h or 0.0 → mean.low_h or 0.1": "whole hours are written",
    "wrap/account.py:_has_wraps: float(count.high[0]) > 0 → float(count.high[0]) >= 0": (
        "what is not read may have counted something"
    ),
    "records/seams.py:_leave: rise < 0 and self._pairs.sized → rise < 0 or self._pairs.sized": (
        "what rose by more than fits stands above what fits, and is no least either way"
    ),
    "wrap/account.py:waste_ratios: geometry > 0 → geometry > 1": "no use is learned from a metre",
    "records/compose.py:_parts: zip(*(_arrays(read[name]) for name in ('edge_us', 'state', 'at_us', 'made')), "
    "strict=True) → zip(*(_arrays(read[name]) for name in ('edge_us', 'state', 'at_us', 'made')), strict=False)": (
        "columns of one frame are as long as each other"
    ),
    "weight/bag_law.py:: 1e-18 → 1.1000000000000001e-18": "either is far below what a chance is shown to",
    "order/demand.py:pace: max(seen_share, 1e-09) → max(seen_share, 1.1000000000000001e-09)": (
        "a share of days that were seen is of days at least"
    ),
    "report/tables.py:table_text: zip(table.columns, contents, strict=True) → "
    "zip(table.columns, contents, strict=False)": "there are as many contents as columns",
    "report/figures.py:count: total.high - low < NO_DOUBT → total.high - low <= NO_DOUBT": (
        "bounds so far apart to the last digit do not come"
    ),
    "shift/past.py:: (2000, 4, 50) → (2000, 4, 51)": "how many are drawn at a time changes no law",
    "week/trial_answer.py:_other: round(value, 6) → round(value, 7)": "more digits than are written",
    "wrap/words.py:_rest_words: 0.0 if rest is None else rest.value → 0.1 if rest is None else "
    "rest.value": "what needs a person is known",
    "wrap/reconcile.py:worst: size[v, k] <= critical → size[v, k] < critical": (
        "a view as far off as is allowed to the last digit does not come"
    ),
    "machine/pieces.py:_less_rejects: cycles.high - cycles.low > COUNTS_APART → cycles.high - cycles.low >= "
    "COUNTS_APART": ("bounds so far apart to the last digit do not come"),
    "weight/account.py:_piece_g: usable.group_by('product', maintain_order=True) → usable.group_by('product', "
    "maintain_order=False)": ("each mean goes to the product that it names"),
    "records/output.py:_share: parts[0] > 0 → parts[0] > 1": "a piece at the end of a shift or a day at most",
    "records/compose.py:_chain: ends['usual_us'] > 0 → ends['usual_us'] > 1": "nobody reads every microsecond",
    "order/demand.py:web_need: float(np.sqrt(level_variance)) / average if average > 0 else 0.0 → "
    "float(np.sqrt(level_variance)) / average if average > 0 else 0.1": (
        "how unsure the level of no need is moves nothing"
    ),
    "stats/tour.py:shortest_tour: bound + 1e-07 → bound - 1e-07": "a round more, to the same tour",
    "weight/faults.py:with_samples: (gap_s > GAP_S).fill_null(True) → (gap_s > GAP_S).fill_null(False)": (
        "samples are numbered from 0, no two alike"
    ),
    "order/supplier_orders.py:working_day: day <= now → day < now": "what is due now is ordered now either way",
    "stats/variance_components.py:_minimize: floor / 2 * layout.df_within → floor / 2 / layout.df_within": (
        "of pieces that are alike either lies below the least that is tried"
    ),
    "rope/watch.py:disagreement: portmanteau.p >= SURE → portmanteau.p > SURE": (
        "a chance equal to the limit to the last digit does not come"
    ),
    "week/trend.py:_largest_step: float(contrast[2:-2].max()) / spread if spread > 0 else 0.0 → "
    "float(contrast[2:-2].max()) / spread if spread > 0 else 0.1": (
        "either is far below what a step is looked for from"
    ),
    "rope/gauges.py:wanders: self.high < 0 → self.high <= 0": (
        "an interval that ends at 0 to the last digit does not come"
    ),
    "week/trend.py:_largest_step: n / (before * (n - before)) → n * (before * (n - before))": (
        "a step is looked for oftener, and is none"
    ),
    "wrap/tables.py:claim_table: wrong.share >= 0 → wrong.share > 0": "what is far off is not right to the last digit",
    "shift/past.py:: (2000, 4, 50) → (2001, 4, 50)": "how many are drawn changes no law",
    "weight/bag_law.py:means_g: fills_g / self._step_g - 1e-09 → fills_g / self._step_g - 1.1000000000000001e-09": (
        "either is far below a step and far above rounding"
    ),
    "report/tables.py:table_decimals: most + 1e-09 → most + 1.1000000000000001e-09": "neither is ever written",
    "report/tables.py:table_decimals: max(0, show.decimals_of(most + 1e-09) - 1) → "
    "max(1, show.decimals_of(most + 1e-09) - 1)": "the columns looked at have a place at least",
    "week/side_by_side.py:compared_sentence: cause.value > 0 → cause.value >= 0": (
        "of rates that differ the first cause is none of 0"
    ),
    "records/make.py:_flat: np.concatenate(some).astype(_NUMPY[dtype], copy=False) → "
    "np.concatenate(some).astype(_NUMPY[dtype], copy=True)": "a copy holds the same",
    "week/trend.py:weighted_fits: planned_min / planned_min.mean() → planned_min * planned_min.mean()": (
        "shifts weigh by how their minutes compare"
    ),
    "week/account.py:past_calendar: pl.col('end').max() <= end + timedelta(seconds=plant.gap_s) → "
    "pl.col('end').max() < end + timedelta(seconds=plant.gap_s)": (
        "a last reading just so long before a shift's end does not come"
    ),
    "rope/gauges.py:_preference: gauge.position_mm or 0.0 → gauge.position_mm or 0.1": "rounded to whole mm",
    "rope/products.py:kinds_by_name: names.drop_nulls().unique(maintain_order=True) → "
    "names.drop_nulls().unique(maintain_order=False)": "sorted right after",
    "machine/counter_repair.py:unfrozen: first < jumps → first <= jumps": (
        "a jump with no run before it is possible by nothing, which is asked next"
    ),
    "weight/sources.py:rope_variance: enough.height < 3 → enough.height <= 3": "a choice that nothing outside holds",
    "machine/timeline.py:steady_states: says[group] >= 0 → says[group] > 0": "0 is running, which is left out before",
    "order/orders.py:order_line: target - 1e-09 → target + 1e-09": "a need of whole reels to nine digits does not come",
}
