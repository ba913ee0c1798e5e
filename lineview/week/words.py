"""The week's words: the sentence, the soft line, notes and cautions."""

from __future__ import annotations

from lineview.core.estimate import Estimate
from lineview.plant import Plant
from lineview.report import show
from lineview.report.answer import Scope, Span
from lineview.report.figures import outside_words
from lineview.week.account import WeekAccount
from lineview.week.ledger import FREIGHT, Ledger, LedgerRow
from lineview.week.losses import PACE, REJECTS, SLOW, UNEXPLAINED, UNSEEN
from lineview.week.trend import BETTER, FALSE_DISCOVERIES, STEADY, WORSE, CauseTrend, Trends

CAUTIONS = (
    "Before reaching past a guard, clearing a jam at rollers, knife or twist heads, or changing rollers: "
    "stop and lock out by your site's procedure. This page does not show a safe state.",
    "Figures come from counters and may be late or wrong; no interlock, stop or restart may depend on them.",
    "Money is worked out from the prices in plant.toml; whether pieces may be lighter is for the local "
    "weights-and-measures authority.",
)
#: How a cause stands at the head of a sentence.
_SUBJECT = {
    UNSEEN: "time without readings",
    SLOW: "slow running",
    PACE: "running below the nominal rate",
    REJECTS: "rejects",
}


def sentence(account: WeekAccount, plant: Plant, scope: Scope) -> tuple[Span, ...]:
    """Name the largest loss and its trend, in one sentence of 30 words at most."""
    ledger = account.ledger
    if ledger is None:
        return (Span(_nothing(account, scope)),)
    largest = ledger.largest
    if largest is None:
        return (Span(f"Nothing was lost against the nominal rate in {scope.label or 'this period'}."),)
    trend = account.trends.of(largest.cause)
    worse = trend is not None and trend.verdict == WORSE
    lead = (
        Span(f"{_capital(subject_of(largest.cause))} cost most: "),
        Span(_amount(ledger, largest, plant), call=worse),
        Span(f"; {_trend_words(trend, account.trends)}"),
    )
    others = [t.cause for t in account.trends.causes if t.verdict == WORSE]
    if trend is None or trend.verdict != STEADY or not others:
        return (*lead, Span("."))
    return (*lead, Span(", but "), Span(f"{subject_of(others[0])} {_are(others[0])} worse", call=True), Span("."))


def subject_of(cause: str) -> str:
    """A cause as the subject of a sentence."""
    if cause.startswith("stops: "):
        return f"stops for {cause.removeprefix('stops: ')}"
    return _SUBJECT.get(cause, cause)


def _are(cause: str) -> str:
    return "are" if cause.endswith("s") or cause.startswith(("stops", "short stops")) else "is"


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _nothing(account: WeekAccount, scope: Scope) -> str:
    where = scope.label or "this period"
    if account.uncounted and not account.readings:
        return f"No counter counts pieces, so what was lost in {where} is not known."
    if account.uncounted:
        names = ", ".join(machine.shown for machine in account.uncounted)
        return f"No counter of pieces is declared for {names}, so what was lost is not known."
    return f"No planned minute of {where} is over or was read, so nothing was lost in it."


def _amount(ledger: Ledger, row: LedgerRow, plant: Plant) -> str:
    minutes = row.value("minutes")
    money = row.amounts.get("money", Estimate.unknown(""))
    lost = show.number(minutes, 0) + " minutes" if minutes and round(minutes) else ""
    total = ledger.total("minutes").value
    share = f" of {show.number(total, 0)} lost" if lost and total else ""
    if ledger.worth and money.value is not None:
        paid = f"{show.number(money.value, 0)} {plant.currency}"
        return f"{paid} and {lost}{share}" if lost else paid
    return f"{lost}{share}"


def _trend_words(trend: CauseTrend | None, trends: Trends) -> str:
    if trend is None:
        return "too few shifts to say whether that is better or worse"
    if trend.verdict in (BETTER, WORSE) and trend.basis == "than before" and trend.before > 0:
        change = 100 * abs(trend.change.number) / trend.before
        return f"{show.number(change, 0)} % {trend.verdict} than before, beyond chance"
    if trend.verdict in (BETTER, WORSE):
        return f"{trend.verdict} {trend.basis}, beyond chance"
    return "not changed beyond chance"


def soft_line(account: WeekAccount, plant: Plant) -> str:
    """The line below: what was made and lost in all, what is better or worse, what is not known."""
    ledger = account.ledger
    if ledger is None:
        return outside_words(account.outside, 0.0)
    parts = [_total_words(ledger, plant), outside_words(account.outside, ledger.balances["pieces"].was)]
    for verdict in (WORSE, BETTER):
        names = [subject_of(t.cause) for t in account.trends.causes if t.verdict == verdict]
        if names:
            parts.append(f"{_capital(verdict)} beyond chance: {', '.join(names[:4])}.")
    if account.trends.causes:
        parts.append(
            f"{account.trends.shifts_now} shifts against {account.trends.shifts_before} before, "
            f"at most {100 * FALSE_DISCOVERIES:.0f} % false alarms over all rows."
        )
    return " ".join(part for part in parts if part)


def _total_words(ledger: Ledger, plant: Plant) -> str:
    pieces = ledger.balances["pieces"]
    share = 100 * pieces.was / pieces.possible if pieces.possible > 0 else 0.0
    words = (
        f"{show.number(round(pieces.was))} good pieces of {show.number(round(pieces.possible))} possible in "
        f"{show.number(round(ledger.planned_min))} planned minutes at the nominal rate, {share:.1f} %."
    )
    money = ledger.known("money")
    if ledger.worth and money:
        least = "" if ledger.money_known else "at least "
        words += f" Lost in all: {least}{show.number(round(money))} {plant.currency}."
    return words


def notes(account: WeekAccount, plant: Plant) -> tuple[str, ...]:
    """What is not known, and what one number in plant.toml would add."""
    ledger = account.ledger
    remarks: list[str] = []
    if ledger is not None and not ledger.worth:
        remarks.append(
            "What lost time costs is not known: no worth_per_kg_sold in plant.toml (what a kilogram sold is "
            f"worth beyond its candy and wrap, {plant.currency} per kg). With it every row has its money, and "
            "rows are ranked by it; until then they are ranked by minutes."
        )
    if ledger is not None:
        remarks += _unknown_rows(ledger)
    for machine, first in account.joined:
        moment = show.moment(first, plant)
        remarks.append(f"{machine.shown} counts from {moment}, its first reading; before, nothing was planned.")
    remarks += [f"{machine.shown} has no counter of pieces and is not in the ledger." for machine in account.uncounted]
    if account.trends.why_none:
        remarks.append(f"Better or worse is not known: {account.trends.why_none}.")
    elif account.trends.causes:
        mix = account.trends.mix
        how = f"differences are as if the same had been made of {_mix_words(mix)}" if mix else _NO_MIX
        remarks.append(
            f"Better and worse are judged shift by shift, correlation between shifts allowed for; {how}. Rates and "
            "prices are those of plant.toml today for all weeks, so that a change of them is no change of the works."
        )
    return tuple(remarks)


_NO_MIX = "the products stayed much the same, or there are too few shifts to allow for them"


def _mix_words(mix: tuple[str, ...]) -> str:
    """What the columns of a mix are of: the first few by name."""
    names = [name.partition(" ")[2] or "unknown product" for name in mix]
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    return f"{', '.join(names[:3])}{more}"


def _unknown_rows(ledger: Ledger) -> list[str]:
    """One note for each reason for which an amount is not known."""
    reasons: dict[str, list[str]] = {}
    for row in ledger.rows:
        for unit, amount in row.amounts.items():
            if amount.value is None and not (unit == "money" and row.cause != FREIGHT):
                reasons.setdefault(amount.why_none, []).append(row.cause)
    remarks = [f"Not known: {', '.join(dict.fromkeys(rows))} ({why})." for why, rows in reasons.items()]
    unexplained = next((row for row in ledger.rows if row.cause == UNEXPLAINED), None)
    if unexplained is not None and abs(unexplained.least("pieces")) >= 0.5:
        pieces = round(unexplained.least("pieces"))
        direction = "more pieces were counted" if pieces < 0 else "pieces fewer were counted as good"
        remarks.append(f"{show.number(abs(pieces))} {direction} than the states and the other counters explain.")
    return remarks
