"""The table of figures: every number that an answer can show, a row each.

A row is the figure's name (its key in JSON, with the unit at its end), and its label, unit, sources (ids in
data/sources.toml) and what its interval is. Places in braces are filled where the figure is added. What the
interval is may also come with the figure's estimate, where the data decide.
"""

from __future__ import annotations

from typing import NamedTuple

EXACT = "from exact counts"
CONFIDENCE = "95 % confidence"


class Row(NamedTuple):
    """What a figure is called, its unit ("" for none), its sources with blanks between, and its interval.

    `printed` figures stand on the one sheet on which a shift is handed over.
    """

    label: str
    unit: str = ""
    sources: str = ""
    interval: str = EXACT
    printed: bool = False


_TREND = "nist-handbook mil-hdbk-189"
_NEXT = "earliest: it never stops again; latest: 90 % prediction"
_REELS = "reel-order inventory-theory"
_ADVICE = "advice, no interval"
_CHANCE = "no interval: already a chance over demand and lead time"
_USE = "wrap-efficiency flexo-yield reel-formula"
_LEARNED = "printers-waste lawson-hanson-1974 mackinnon-white-1985"
_OF_LABEL_AND_COUNTER = "k = 2, from the label's and the counter's uncertainty"
_FROM_PLANT = "given in plant.toml, no interval"
_MODEL = "restricted-likelihood derived-rope"
_MODELLED = f"{CONFIDENCE}, averaged over the noise's autocorrelation"
_OF_DEVIATION = f"{CONFIDENCE}, of the deviation alone"
_SPREAD = "searle-casella-mcculloch weerahandi-1993"
_CAPABILITY = "iso-22514-2 weerahandi-1993"
_SHARES = "derived-spread-sources weerahandi-1993"
_DECLARED = "declared in plant.toml"

#: Of every answer.
_ALL = {
    "good_pieces": Row("good pieces{of}", "pieces", "derived-counters"),
    "good_pieces_outside_shifts": Row("good pieces made outside every shift", "pieces", "derived-counters"),
}

_SHIFT = {
    "pieces_made": Row("pieces made{of}", "pieces", "derived-counters"),
    "rejects": Row("rejects", "pieces", "derived-counters"),
    "effective_rate_per_min": Row("effective rate", "pieces/min", "trade-practice"),
    "running_rate_per_min": Row("rate while it ran", "pieces/min", "derived-timeline"),
    "nominal_low_per_min": Row("nominal band, low end", "pieces/min", "", _DECLARED),
    "nominal_high_per_min": Row("nominal band, high end", "pieces/min", "", _DECLARED),
    "set_per_min": Row("set rate", "pieces/min", "", _DECLARED),
    "design_per_min": Row("design rate", "pieces/min", "", _DECLARED),
    "planned_min": Row("planned", "min"),
    "running_min": Row("running", "min", "derived-timeline"),
    "slow_min": Row("slow", "min", "derived-timeline"),
    "short_stop_min": Row("short stops", "min", "derived-timeline"),
    "stop_min": Row("stops", "min", "derived-timeline"),
    "changeover_min": Row("changeovers", "min", "derived-timeline"),
    "break_min": Row("breaks", "min", "derived-timeline"),
    "unseen_min": Row("not seen", "min", "derived-timeline"),
    "own_stop_min": Row("the machine's own stops", "min", "isa-tr88 derived-timeline"),
    "blocked_min": Row("blocked", "min", "isa-tr88 derived-timeline"),
    "starved_min": Row("starved", "min", "isa-tr88 derived-timeline"),
    "outside_min": Row("other outside causes", "min", "isa-tr88 derived-timeline"),
    "cleaning_min": Row("cleaning", "min", "isa-tr88 derived-timeline"),
    "maintenance_min": Row("maintenance", "min", "isa-tr88 derived-timeline"),
    "coded_min": Row("known from the machine's states alone", "min", "derived-timeline"),
    "uptime_percent": Row("uptime", "%", "derived-timeline"),
    "pieces_lost_{key}": Row("pieces lost: {cause}", "pieces"),
    "stops": Row("stops"),
    "short_stops": Row("short stops"),
    "changeovers": Row("changeovers"),
    "mtbf_min": Row("mean running time between stops", "min", "nist-handbook derived-past-shifts"),
    "mttr_min": Row("mean time to restore", "min", "derived-past-shifts"),
    "pace_needed_per_min": Row("pace needed for the plan", "pieces/min"),
    "projected_pieces": Row("good pieces at the end if it goes on like this", "pieces", "derived-past-shifts"),
    "batch_end": Row("{event}", "", "derived-projection", _NEXT),
    "reel_end_{web}": Row("{event}", "", "derived-projection", _NEXT),
    "iso_availability_percent": Row("Availability", "%", "iso-22400-2", printed=True),
    "iso_effectiveness_percent": Row("Effectiveness", "%", "iso-22400-2", printed=True),
    "iso_quality_ratio_percent": Row("Quality ratio", "%", "iso-22400-2", printed=True),
    "iso_oee_index_percent": Row("Overall equipment effectiveness index", "%", "iso-22400-2", printed=True),
    "iso_nee_index_percent": Row("Net equipment effectiveness index", "%", "iso-22400-2", printed=True),
    "iso_allocation_efficiency_percent": Row("Allocation efficiency", "%", "iso-22400-2"),
    "iso_utilization_efficiency_percent": Row("Utilization efficiency", "%", "iso-22400-2"),
    "iso_technical_efficiency_percent": Row("Technical efficiency", "%", "iso-22400-2"),
    "iso_setup_ratio_percent": Row("Setup ratio", "%", "iso-22400-2"),
    "iso_scrap_ratio_percent": Row("Scrap ratio", "%", "iso-22400-2"),
    "iso_rework_ratio_percent": Row("Rework ratio", "%", "iso-22400-2"),
    "tpm_availability_percent": Row("Availability, short stops placed as TPM places them", "%", "willmott-mccarthy"),
    "tpm_performance_percent": Row("Performance, short stops placed as TPM places them", "%", "willmott-mccarthy"),
    "stops_trend_laplace": Row("trend of stops, Laplace", "", _TREND),
    "stops_trend_handbook": Row("trend of stops, MIL-HDBK-189C", "", _TREND),
    "stops_power_law_shape": Row("power law of stops, shape (above 1: more often)", "", _TREND, f"{CONFIDENCE}, exact"),
    "stops_after_{event}_ratio": Row(
        "rate of stops in {minutes:g} running minutes after a {event}, over other times",
        "",
        "conditional-rate-ratio holm-1979",
        f"{CONFIDENCE}, exact",
    ),
    "efficiency_all_causes_percent": Row("efficiency, all causes", "%", "din-en-415-11"),
    "efficiency_machine_only_percent": Row("efficiency, this machine only", "%", "din-en-415-11"),
    "pieces_in_maintenance": Row("pieces counted in maintenance, taken out", "pieces", "derived-counters isa-tr88"),
}

#: By web.
_ORDER = {
    "plan_in_conflict_pieces": Row("planned pieces that two plans disagree on", "pieces"),
    "reels_needed_{web}": Row(
        "reels of {web} for {basis}",
        "reels",
        "reel-order printers-waste",
        "whole reels for that number of pieces, no interval",
    ),
    "use_reels_per_week_{web}": Row("reels of {web} in the coming week", "reels/week", _REELS, "90 % of weeks"),
    "reels_on_hand_{web}": Row("reels of {web} on hand", "reels", "", "counted, less what was wrapped since"),
    "reorder_point_{web}": Row(
        "reorder point of {web}", "reels", "renewal-undershoot snyder-shen", "a rule, no interval"
    ),
    "order_by_{web}": Row("day to order by, {web}", "", _REELS, _ADVICE),
    "order_quantity_{web}": Row("reels to order, {web}", "reels", _REELS, _ADVICE),
    "chance_of_running_out_{web}": Row(
        "chance of running out before that order comes (with open orders), {web}", "", _REELS, _CHANCE
    ),
    "chance_waiting_a_week_{web}": Row("chance of running out if ordered a week later, {web}", "", _REELS, _CHANCE),
    "chance_if_ordered_today_{web}": Row("chance of running out if ordered at once, {web}", "", _REELS, _CHANCE),
    "chance_before_open_delivery_{web}": Row(
        "chance of running out before an open delivery, {web}", "", _REELS, _CHANCE
    ),
    "days_of_cover_{web}": Row("days until it first runs out, at the expected need, {web}", "days", _REELS, _ADVICE),
    "safety_reels_{web}": Row("reels expected on hand when the order comes, {web}", "reels", _REELS, _ADVICE),
    "order_money_{web}": Row("cost of the order, {web}", "{currency}", _REELS, _ADVICE),
    "halving_reels_{web}": Row("extra reels that would halve the chance, {web}", "reels", _REELS, _ADVICE),
    "halving_money_{web}": Row("money tied up by those reels, {web}", "{currency}", _REELS, _ADVICE),
}

#: By kind of web.
_WRAP = {
    "wrap_good_pieces": Row("good pieces behind these figures", "pieces"),
    "{kind}_{unit}_per_thousand": Row("{kind} per thousand good pieces", "{shown}/1000 pieces", _USE),
    "{kind}_{unit}_per_thousand_{part}": Row("{kind} per thousand good pieces, {part}", "{shown}/1000 pieces", _USE),
    "blanks_per_restart": Row("blank wraps at a restart", "wraps", "", CONFIDENCE),
    "{kind}_m_per_restart": Row("{kind}: metres beyond counted blank wraps at a restart", "m", _LEARNED, CONFIDENCE),
    "{kind}_m_per_reel_start": Row("{kind}: metres lost threading a reel", "m", _LEARNED, CONFIDENCE),
    "{kind}_m_per_reel_end": Row("{kind}: metres thrown away with a core", "m", _LEARNED, CONFIDENCE),
    "{kind}_m_per_splice": Row("{kind}: metres lost at a splice", "m", _LEARNED, CONFIDENCE),
    "{kind}_m_per_changeover": Row("{kind}: metres lost at a changeover", "m", _LEARNED, CONFIDENCE),
    "{kind}_running_waste_percent": Row("{kind}: waste in proportion", "%", _LEARNED, CONFIDENCE),
    "{kind}_reconciled_m": Row(
        "{kind}: metres of {reels}, reconciled",
        "m",
        "vdi-2048 narasimhan-jordache-2000 gum",
        "95 % (GUM, k = 2), from the uncertainties of the three views",
    ),
    "{kind}_reels_wrong": Row("{kind}: reels whose measurements disagree", "reels", "narasimhan-jordache-2000"),
    "{kind}_reel_left_m": Row("{kind}: left on the reel that is on", "m", "", _OF_LABEL_AND_COUNTER),
    "{kind}_reel_left_min": Row("{kind}: until that reel ends", "min", "", _OF_LABEL_AND_COUNTER),
}

_ROPE = {
    "target_mm": Row("target diameter", "mm", "", _FROM_PLANT),
    "tolerance_low_mm": Row("tolerance, low end", "mm", "", _FROM_PLANT),
    "tolerance_high_mm": Row("tolerance, high end", "mm", "", _FROM_PLANT),
    "drift_mm_per_h": Row("drift of the rope", "mm/h", _MODEL, _MODELLED),
    "drift_since": Row("drift unchanged since", "", _MODEL, "the last step, or the first batch"),
    "hours_to_tolerance": Row("running hours until the batch mean leaves tolerance", "h", _MODEL, "90 % interval"),
    "hours_to_first_out": Row("running hours until the first batch is out of tolerance", "h", _MODEL, "90 % interval"),
    "hours_to_share_out": Row(
        "running hours until {share} of pieces are out of tolerance", "h", _MODEL, "90 % interval"
    ),
    "leaves_tolerance_at": Row("leaves tolerance at, under the planned shifts", "", _MODEL, "90 % interval"),
    "batch_to_batch_sd_mm": Row("one batch to the next, standard deviation", "mm", _MODEL, "95 % interval"),
    "temperature_mm_per_c": Row("effect of rope temperature", "mm/°C", _MODEL, _MODELLED),
    "level_mm": Row("rope diameter now", "mm", _MODEL, _MODELLED),
    "deviation_mm": Row("deviation from target now", "mm", _MODEL, _MODELLED),
    "weight_effect_g_per_piece": Row("weight effect of the deviation", "g/piece", _MODEL, _OF_DEVIATION),
    "weight_effect_kg_per_week": Row("weight effect of the deviation", "kg/week", _MODEL, _OF_DEVIATION),
    "weight_effect_money_per_week": Row("cost of the deviation", "{currency}/week", _MODEL, _OF_DEVIATION),
    "average_effect_kg_per_week": Row("weight effect of the average deviation", "kg/week", _MODEL, _OF_DEVIATION),
    "average_effect_money_per_week": Row("cost of the average deviation", "{currency}/week", _MODEL, _OF_DEVIATION),
    "adjustment_{i}_mm": Row("effect of: {what}", "mm", _MODEL, _MODELLED),
    "product_{i}_mm": Row("{product} against {other}", "mm", _MODEL, _MODELLED),
    "within_batch_sd_mm": Row(
        "within a batch, standard deviation", "mm", _MODEL, f"{CONFIDENCE}, averaged over the readings' autocorrelation"
    ),
    "taper_mm": Row("from a batch's start to its end", "mm", _MODEL, f"{CONFIDENCE}, from the change between batches"),
}

_LEDGER = "derived-ledger derived-ladder"
_HISTORY = "restricted-likelihood"
_SEQUENTIAL = "obrien-fleming-1979 lan-demets-1983"

_WEEK = {
    "compared_{what}": Row(
        "{what}, {first} less {second}, same products", "{unit}", f"benjamini-hochberg-1995 {_HISTORY}", CONFIDENCE
    ),
    "compared_{what}_pieces_per_min": Row(
        "lost to {what}, {first} less {second}, same products",
        "pieces/min",
        f"benjamini-hochberg-1995 {_HISTORY}",
        CONFIDENCE,
    ),
    "trial_planned_shifts": Row("shifts planned", "shifts", "obrien-fleming-1979", "a plan, no interval"),
    "trial_shifts_before": Row("whole shifts before", "shifts"),
    "trial_shifts_since": Row("whole shifts since", "shifts"),
    "trial_before": Row("{measure} before", "{unit}"),
    "trial_since": Row("{measure} since", "{unit}"),
    "trial_change": Row("change of {measure}", "{unit}", f"{_SEQUENTIAL} {_HISTORY}", "95 % over all looks together"),
    "trial_seeable": Row(
        "change of {measure} that the planned shifts show", "{unit}", _SEQUENTIAL, "with a chance of 80 %, no interval"
    ),
    "{cause}_lost_min": Row("{cause}: minutes lost", "min", _LEDGER),
    "{cause}_not_made_pieces": Row("{cause}: pieces not made", "pieces", _LEDGER),
    "{cause}_not_made_kg": Row("{cause}: candy not made", "kg", _LEDGER),
    "{cause}_candy_lost_kg": Row("{cause}: candy used and not sold", "kg", "derived-ledger gum"),
    "{cause}_film_lost_m": Row("{cause}: film beyond what good pieces need", "m", "derived-ledger wrap-efficiency"),
    "{cause}_paper_lost_m": Row(
        "{cause}: wax paper beyond what good pieces need", "m", "derived-ledger wrap-efficiency"
    ),
    "{cause}_cost_money": Row("{cause}: cost", "{currency}", _LEDGER),
    "{cause}_change_min_per_h": Row(
        "{cause}: change against the weeks before", "min/h", f"benjamini-hochberg-1995 {_HISTORY}", CONFIDENCE
    ),
    "{cause}_slope_min_per_h_per_week": Row(
        "{cause}: rise each week, over all weeks", "min/h/week", f"benjamini-hochberg-1995 {_HISTORY}", CONFIDENCE
    ),
    "{cause}_level_{weeks}_weeks_min_per_h": Row(
        "{cause}: lost on average over {weeks} weeks", "min/h", _HISTORY, CONFIDENCE
    ),
    "{cause}_slope_{weeks}_weeks_min_per_h_per_week": Row(
        "{cause}: rise each week, over {weeks} weeks", "min/h/week", _HISTORY, CONFIDENCE
    ),
}

_WEIGHT = {
    "mean_g": Row("mean mass of a piece", "g", _SPREAD, f"{CONFIDENCE}, from batch means"),
    "target_g": Row("target mass of a piece", "g", "", "set in plant.toml"),
    "deviation_g": Row("mean deviation from target", "g", _SPREAD, f"{CONFIDENCE}, from batch means"),
    "sd_within_g": Row("spread within batches", "g", _SPREAD, CONFIDENCE),
    "sd_between_g": Row("spread between batches", "g", _SPREAD, CONFIDENCE),
    "sd_total_g": Row("spread of all pieces", "g", _SPREAD, CONFIDENCE),
    "sd_samples_g": Row("spread between sample times in a batch", "g", _SPREAD, CONFIDENCE),
    "sd_piece_g": Row("spread piece to piece", "g", _SPREAD, CONFIDENCE),
    "sd_lines_g": Row("spread between lines", "g", _SPREAD, CONFIDENCE),
    "batches": Row("batches weighed"),
    "pieces": Row("pieces weighed"),
    "set_aside": Row("weights set aside"),
    "cp": Row("capability Cp, within batches", "", _CAPABILITY, CONFIDENCE),
    "cpk": Row("capability Cpk, within batches", "", _CAPABILITY, CONFIDENCE),
    "pp": Row("performance Pp, all pieces", "", _CAPABILITY, CONFIDENCE),
    "ppk": Row("performance Ppk, all pieces", "", _CAPABILITY, CONFIDENCE),
    "below_tolerance_percent": Row("pieces below their tolerance", "%", _CAPABILITY, CONFIDENCE),
    "giveaway_g_per_piece": Row("giveaway a piece", "g", _SPREAD, CONFIDENCE),
    "giveaway_kg_per_week": Row("giveaway a week{of}", "kg", _SPREAD, CONFIDENCE),
    "yield_percent": Row("yield of the batches", "%", "gum", f"{CONFIDENCE} (GUM, k = 2)"),
    "unexplained_kg": Row("unexplained loss of mass", "kg", "gum", f"{CONFIDENCE} (GUM, k = 2)"),
    "share_diameter": Row("share of the spread from rope diameter", "%", _SHARES, CONFIDENCE),
    "share_cut_length": Row("share from cut length, batch to batch", "%", _SHARES, CONFIDENCE),
    "share_density": Row("share from density (air), batch to batch", "%", _SHARES, CONFIDENCE),
    "share_rest_between": Row("share left between batches: density and cut length", "%", _SHARES, CONFIDENCE),
    "share_rest_within": Row("share left within batches: single cuts, air, the scale", "%", _SHARES, CONFIDENCE),
    "transport_delay_s": Row("delay from sizer to scale", "s", _SHARES, f"{CONFIDENCE}, by profile, in steps of 5 s"),
    "pp_quantile": Row("performance Pp by quantiles", "", "iso-22514-2", CONFIDENCE),
    "ppk_quantile": Row("performance Ppk by quantiles", "", "iso-22514-2", CONFIDENCE),
    "giveaway_money_per_week": Row("giveaway in money a week{on}", "{currency}", "gum", CONFIDENCE),
    "giveaway_money_priced_per_week": Row(
        "giveaway in money a week on {products} alone", "{currency}", "gum", CONFIDENCE
    ),
    "achievable_target_g": Row(
        "lowest safe mean of a piece at the present spread",
        "g",
        "derived-bag-plan",
        "by convolution at the spread found, no interval",
    ),
    "batches_outside": Row("batches beyond control limits", "", "nist-handbook iso-7870-2"),
}

FIGURES: dict[str, Row] = _ALL | _SHIFT | _ORDER | _WRAP | _ROPE | _WEIGHT | _WEEK
