"""The week's words: the sentence, the soft line, notes and cautions."""

from __future__ import annotations

from lineview.core.estimate import Estimate
from lineview.core.language import mark, tr
from lineview.plant import Plant
from lineview.report import show
from lineview.report.answer import Scope, Span
from lineview.report.figures import outside_words
from lineview.week.account import WeekAccount
from lineview.week.ledger import FREIGHT, Ledger, LedgerRow
from lineview.week.losses import PACE, REASONED, REJECTS, SLOW, UNEXPLAINED, UNSEEN, cause_words
from lineview.week.trend import BETTER, FALSE_DISCOVERIES, STEADY, THAN_BEFORE, WORSE, CauseTrend, Trends

CAUTIONS = (
    mark(
        "Before reaching past a guard, clearing a jam at rollers, knife or twist heads, or changing rollers: "
        "stop and lock out by your site's procedure. This page does not show a safe state."
    ),
    mark("Figures come from counters and may be late or wrong; no interlock, stop or restart may depend on them."),
    mark(
        "Money is worked out from the prices in plant.toml; whether pieces may be lighter is for the local "
        "weights-and-measures authority."
    ),
)
#: How a cause stands at the head of a sentence.
_SUBJECT = {
    UNSEEN: mark("time without readings"),
    SLOW: mark("slow running"),
    PACE: mark("running below the nominal rate"),
    REJECTS: mark("rejects"),
}


def sentence(account: WeekAccount, plant: Plant, scope: Scope) -> tuple[Span, ...]:
    """Name the largest loss and its trend, in one sentence of 30 words at most."""
    ledger = account.ledger
    if ledger is None:
        return (Span(_nothing(account, scope)),)
    largest = ledger.largest
    if largest is None:
        return (Span(tr("Nothing was lost against the nominal rate in {period}.", period=_period(scope))),)
    trend = account.trends.of(largest.cause)
    worse = trend is not None and trend.verdict == WORSE
    lead = (
        Span(tr("{cause} cost most: ", cause=show.capital(subject_of(largest.cause)))),
        Span(_amount(ledger, largest, plant), call=worse),
        Span(f"; {_trend_words(trend, account.trends)}"),
    )
    others = [t.cause for t in account.trends.causes if t.verdict == WORSE]
    if trend is None or trend.verdict != STEADY or not others:
        return (*lead, Span("."))
    return (*lead, Span(tr(", but ")), Span(_is_worse(others[0]), call=True), Span("."))


def _period(scope: Scope) -> str:
    return scope.label or tr("this period")


def subject_of(cause: str) -> str:
    """A cause as the subject of a sentence."""
    reason = cause.removeprefix(REASONED.format(""))
    if reason != cause:
        return tr("stops for {reason}", reason=tr(reason))
    return tr(_SUBJECT.get(cause, cause))


def _is_worse(cause: str) -> str:
    subject = subject_of(cause)
    if cause.endswith("s") or cause.startswith(("stops", "short stops")):
        return tr("{cause} are worse", cause=subject)
    return tr("{cause} is worse", cause=subject)


def _nothing(account: WeekAccount, scope: Scope) -> str:
    where = _period(scope)
    if account.uncounted and not account.readings:
        return tr("No counter counts pieces, so what was lost in {period} is not known.", period=where)
    if account.uncounted:
        names = ", ".join(machine.label for machine in account.uncounted)
        return tr("No counter of pieces is declared for {machines}, so what was lost is not known.", machines=names)
    return tr("No planned minute of {period} is over or was read, so nothing was lost in it.", period=where)


def _amount(ledger: Ledger, row: LedgerRow, plant: Plant) -> str:
    minutes = row.value("minutes")
    money = row.amounts.get("money", Estimate.unknown(""))
    minute_words = tr("{minutes} minutes", minutes=show.number(minutes, 0)) if minutes and round(minutes) else ""
    total = ledger.total("minutes").value
    share = tr(" of {total} lost", total=show.number(total, 0)) if minute_words and total else ""
    if ledger.worth and money.value is not None:
        paid = f"{show.number(money.value, 0)} {plant.currency}"
        return tr("{money} and {minutes}", money=paid, minutes=f"{minute_words}{share}") if minute_words else paid
    return f"{minute_words}{share}"


def _trend_words(trend: CauseTrend | None, trends: Trends) -> str:
    if trend is None:
        return tr("too few shifts to say whether that is better or worse")
    if trend.verdict not in (BETTER, WORSE):
        return tr("not changed beyond chance")
    if trend.basis != THAN_BEFORE or trend.before <= 0:
        return tr("{verdict}, beyond chance", verdict=trend.words)
    change = show.number(100 * abs(trend.change.number) / trend.before, 0)
    if trend.verdict == BETTER:
        return tr("{percent} % better than before, beyond chance", percent=change)
    return tr("{percent} % worse than before, beyond chance", percent=change)


def soft_line(account: WeekAccount, plant: Plant) -> str:
    """The line below: what was made and lost in all, what is better or worse, what is not known."""
    ledger = account.ledger
    if ledger is None:
        return outside_words(account.outside, 0.0)
    parts = [_total_words(ledger, plant), outside_words(account.outside, ledger.balances["pieces"].was)]
    for verdict, words in (
        (WORSE, mark("Worse beyond chance: {causes}.")),
        (BETTER, mark("Better beyond chance: {causes}.")),
    ):
        names = [subject_of(t.cause) for t in account.trends.causes if t.verdict == verdict]
        if names:
            parts.append(tr(words, causes=", ".join(names[:4])))
    if account.trends.causes:
        parts.append(
            tr(
                "{now} shifts against {before} before, at most {percent:.0f} % false alarms over all rows.",
                now=account.trends.shifts_now,
                before=account.trends.shifts_before,
                percent=100 * FALSE_DISCOVERIES,
            )
        )
    return " ".join(part for part in parts if part)


def _total_words(ledger: Ledger, plant: Plant) -> str:
    pieces = ledger.balances["pieces"]
    share = 100 * pieces.was / pieces.possible if pieces.possible > 0 else 0.0
    rejects = [row.amounts["pieces"] for row in ledger.rows if row.cause == REJECTS and "pieces" in row.amounts]
    least = tr("at least ") if any(lost.value != lost.low for lost in rejects) else ""
    words = tr(
        "{made} good pieces of {possible} possible in {minutes} planned minutes at the nominal rate, {share:.1f} %.",
        made=f"{least}{show.number(round(pieces.was))}",
        possible=show.number(round(pieces.possible)),
        minutes=show.number(round(ledger.planned_min)),
        share=share,
    )
    words = words[:1].upper() + words[1:]
    money = ledger.known("money")
    if ledger.worth and money:
        least = "" if ledger.money_known else tr("at least ")
        money_words = f"{least}{show.number(round(money))} {plant.currency}"
        words += tr(" Lost in all: {money}.", money=money_words)
    return words


def notes(account: WeekAccount, plant: Plant) -> tuple[str, ...]:
    """What is not known, and what one number in plant.toml would add."""
    ledger = account.ledger
    remarks: list[str] = []
    if ledger is not None and not ledger.worth:
        remarks.append(
            tr(
                "What lost time costs is not known: no worth_per_kg_sold in plant.toml (what a kilogram sold is "
                "worth beyond its candy and wrap, {currency} per kg). With it every row has its money, and "
                "rows are ranked by it; until then they are ranked by minutes.",
                currency=plant.currency,
            )
        )
    if ledger is not None:
        remarks += _unknown_rows(ledger)
    for machine, first in account.joined:
        moment = show.moment(first, plant)
        words = {"machine": machine.label, "moment": moment}
        remarks.append(tr("{machine} counts from {moment}, its first reading; before, nothing was planned.", **words))
    uncounted = [machine.label for machine in account.uncounted]
    remarks += [tr("{machine} has no counter of pieces and is not in the ledger.", machine=name) for name in uncounted]
    if account.trends.why_none:
        remarks.append(tr("Better or worse is not known: {why}.", why=account.trends.why_none))
    elif account.trends.causes:
        mix = account.trends.mix
        same = tr("differences are as if the same had been made of {products}", products=_mix_words(mix))
        remarks.append(
            tr(
                "Better and worse are judged shift by shift, correlation between shifts allowed for; {how}. Rates and "
                "prices are those of plant.toml today for all weeks, so that a change of them is no change of the "
                "works.",
                how=same if mix else tr(_NO_MIX),
            )
        )
    return tuple(remarks)


_NO_MIX = mark("the products stayed much the same, or there are too few shifts to allow for them")


def _mix_words(mix: tuple[str, ...]) -> str:
    """What the columns of a mix are of: the first few by name."""
    names = [name.partition(" ")[2] or tr("unknown product") for name in mix]
    more = tr(" and {count} more", count=len(names) - 3) if len(names) > 3 else ""
    return f"{', '.join(names[:3])}{more}"


def _unknown_rows(ledger: Ledger) -> list[str]:
    """One note for each reason for which an amount is not known."""
    reasons: dict[str, list[str]] = {}
    for row in ledger.rows:
        for unit, amount in row.amounts.items():
            if amount.value is None and not (unit == "money" and row.cause != FREIGHT):
                reasons.setdefault(amount.why_none, []).append(cause_words(row.cause))
    remarks = [
        tr("Not known: {causes} ({why}).", causes=", ".join(dict.fromkeys(rows)), why=why)
        for why, rows in reasons.items()
    ]
    unexplained = next((row for row in ledger.rows if row.cause == UNEXPLAINED), None)
    if unexplained is not None and abs(unexplained.least("pieces")) >= 0.5:
        remarks.append(_unexplained_words(round(unexplained.least("pieces"))))
    return remarks


def _unexplained_words(pieces: int) -> str:
    count = show.number(abs(pieces))
    if pieces < 0:
        return tr("{pieces} more pieces were counted than the states and the other counters explain.", pieces=count)
    return tr(
        "{pieces} pieces fewer were counted as good than the states and the other counters explain.", pieces=count
    )
