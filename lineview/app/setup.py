"""Setting a works up from its exports: what they show, what has to be asked, and the plant description."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from typing import cast
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineview.app.setup_layouts import ReadSoFar, Surveyed, read_so_far
from lineview.app.setup_machines import NUMBER, Readings, SetUpQuestion, as_counted, piece_counters
from lineview.core.errors import Fault, LineviewError
from lineview.core.language import in_digits, spoken, tr, tr_count
from lineview.machine.counter_limits import CounterLimits, counter_limits, odd_readings, web_unit_m
from lineview.machine.pieces import piece_counter
from lineview.machine.rhythm import DAY_MIN, Minutes, Rhythm, shifts_of
from lineview.plant import Gauge, Line, Machine, Plant
from lineview.plant.answers import lines_text, read_band, read_lines, read_shifts, shift_text
from lineview.plant.read import check_text
from lineview.plant.write import plant_text

#: A pieces counter is given at least this fastest rate [pieces/min]; common practice, no source.
LEAST_FASTEST = 450.0
NOMINAL, BAND = (300.0, 400.0), "300-400"
#: The least register in use for pieces; one that is read seldom turns unseen.
SIXTEEN_BITS = 65_536
#: A machine at less than this share of the slowest nominal pace may count in lots.
UNLIKELY_PACE = 0.15
#: Readings may lie so many times further apart than usual before it counts as unseen [times, s].
GAP_TIMES, USUAL_GAP_S = 4.0, 120.0
#: Two machines belong together from this agreement of their running minutes on, where it is better by so
#: much than the next best; below the last they do not.
TOGETHER, CLEARLY, APART = 0.5, 0.15, 0.25
#: An interval between readings up to this length [s] counts for the minute of its middle.
LONG_S = 90.0
#: A counter that takes longer from one value to the next hides stops [s].
COARSE_S = 60.0
#: A fall is a turn where the counter went on at up to so many times its fastest rate.
TURN_ROOM = 1.2
#: A pause of readings this many times the usual one is no running [times].
READ_ON = 8.0


@dataclass(frozen=True)
class LearnedChannel:
    """A counter or gauge of a machine as its readings show it: `example` is one value with its unit."""

    machine: str
    channel: str
    holds: str
    readings: int
    example: str
    limits: CounterLimits | None = None
    count_m: float | None = None


@dataclass(frozen=True)
class SetUp:
    """What a folder of exports shows, and what is to be asked.

    Parameters
    ----------
    read : ReadSoFar
        Groups of exports, their layouts and readings.
    learned : tuple of LearnedChannel
        Counters and gauges machine by machine.
    by_day : polars.DataFrame
        machine, day, pieces: what was counted, a first answer.
    questions : tuple of SetUpQuestion
        In the order to be asked.
    open : tuple of SetUpQuestion
        Those that the data suggest no answer to and nobody has answered yet.
    faults : tuple of Fault
        Files that cannot be read, and answers that do not fit.
    text : str
        plant.toml as it would be written; "" while a question without suggestion is open.
    """

    read: ReadSoFar
    learned: tuple[LearnedChannel, ...]
    by_day: pl.DataFrame
    questions: tuple[SetUpQuestion, ...]
    open: tuple[SetUpQuestion, ...]
    faults: tuple[Fault, ...]
    text: str


def set_up(surveyed: Surveyed, answers: Mapping[str, str]) -> SetUp:
    """Work out what exports show with the answers so far, by the key of each question; the rest is suggested."""
    answers = {key: text for key, text in answers.items() if not key.startswith("count ") or NUMBER.fullmatch(text)}
    zone = _known(answers.get("zone") or surveyed.here or "UTC")
    read = read_so_far(surveyed, zone, answers)
    tz = ZoneInfo(zone)
    counted = as_counted(read.draft, answers)
    learned = tuple(_learned(read.draft, read.readings, counted))
    rhythm = _rhythm(read.draft, read.readings, tz)
    questions = [_zone_question(surveyed.here), _shifts_question(rhythm), _band_question(read, counted)]
    if len(read.draft.machines) > 1:
        questions.append(_lines_question(read))
    lots = _lot_questions(learned, read, answers.get("band") or BAND)
    questions += [*_count_questions(learned), *lots, *read.questions]
    text, wrong = _text(surveyed, read, learned, questions, answers)
    by_day = _by_day(counted, read.readings, tz)
    still = tuple(q for q in questions if q.suggested is None and not answers.get(q.key))
    return SetUp(read, learned, by_day, tuple(questions), still, (*read.faults, *wrong), text)


def _known(name: str) -> str:
    try:
        return ZoneInfo(name).key
    except (ValueError, OSError, KeyError):
        return "UTC"


# What the readings show


def _learned(draft: Plant, readings: Readings, counted: Plant) -> list[LearnedChannel]:
    """Every counter and gauge that has readings."""
    learned = []
    for machine, answered in zip(draft.machines, counted.machines, strict=True):
        pieces = _pieces_counted(answered, readings)
        for counter in machine.counters:
            frame = readings.get((machine.id, counter.id))
            if frame is None or frame.height < 2:
                continue
            limits = counter_limits(_seconds(frame), frame["value"].to_numpy())
            is_web = counter.counts in ("film", "wax paper")
            known = counter.unit_value != 1.0 or not limits.whole
            count_m = web_unit_m(limits.total, pieces) if is_web and not known else counter.unit_value
            example = in_digits(f"{frame['value'][-1]:,.0f}")
            learned.append(
                LearnedChannel(machine.id, counter.id, counter.counts, frame.height, example, limits, count_m)
            )
        for gauge in machine.gauges:
            frame = readings.get((machine.id, gauge.id))
            if frame is not None and frame.height:
                learned.append(_gauge(machine, gauge, frame))
    return learned


def _gauge(machine: Machine, gauge: Gauge, frame: pl.DataFrame) -> LearnedChannel:
    values = frame["value"].drop_nulls()
    middle = values.median()
    text = in_digits(f"{middle:.2f}") if isinstance(middle, float) else ""
    example = f"{text} {gauge.unit}".strip() if text else str(frame["text"][-1])
    return LearnedChannel(machine.id, gauge.id, gauge.measures, frame.height, example)


def _seconds(frame: pl.DataFrame) -> NDArray[np.float64]:
    return frame["at"].dt.epoch("us").to_numpy() / 1e6


def _pieces_counted(machine: Machine, readings: Readings) -> float:
    counter = piece_counter(machine)
    frame = readings.get((machine.id, counter.id)) if counter else None
    if counter is None or frame is None or frame.height < 2:
        return 0.0
    return counter_limits(_seconds(frame), frame["value"].to_numpy()).total * counter.unit_value


def _steps(frame: pl.DataFrame) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """From and to of the intervals between readings [s], and in which the value moved; never in long ones."""
    at, value = _seconds(frame), frame["value"].to_numpy()
    step = np.diff(at)
    usual = float(np.median(step)) if len(step) else 0.0
    return at[:-1], at[1:], (np.diff(value) != 0) & (step <= max(READ_ON * usual, USUAL_GAP_S))


def _rhythm(draft: Plant, readings: Readings, tz: ZoneInfo) -> Rhythm:
    """Shifts by the minutes in which any machine counted pieces."""
    running: dict[str, dict[date, Minutes]] = {}
    ends: list[date] = []
    for machine in draft.machines:
        counter = piece_counter(machine)
        frame = readings.get((machine.id, counter.id)) if counter else None
        if frame is None or frame.height < 2:
            continue
        start, end, moves = _steps(frame)
        running[machine.id] = _minutes(start[moves], end[moves], tz)
        local = frame["at"].dt.convert_time_zone(tz.key).dt.date()
        ends += [local[0], local[-1]]
    return shifts_of(running, min(ends), max(ends)) if ends else Rhythm((), tr("nothing counts pieces"), False)


def _minutes(start_s: NDArray[np.float64], end_s: NDArray[np.float64], tz: ZoneInfo) -> dict[date, Minutes]:
    """By date, the minutes of the wall clock that intervals [s] lie in; a short one by its middle."""
    long = end_s - start_s > LONG_S
    spread = [np.arange(a, b, 60.0) for a, b in zip(start_s[long] + 30.0, end_s[long] - 15.0, strict=True)]
    moments = np.concatenate([(start_s[~long] + end_s[~long]) / 2.0, *spread])
    local = pl.Series("at", (moments * 1e6).astype(np.int64)).cast(pl.Datetime("us", "UTC"))
    local = local.dt.convert_time_zone(tz.key)
    minute = local.dt.hour().cast(pl.Int64) * 60 + local.dt.minute()
    frame = pl.DataFrame({"day": local.dt.date(), "minute": minute}).unique(maintain_order=True)
    running: dict[date, Minutes] = {}
    for key, rows in frame.partition_by("day", as_dict=True).items():
        minutes = np.zeros(DAY_MIN, bool)
        minutes[rows["minute"].to_numpy()] = True
        running[key[0]] = minutes
    return running


def _by_day(draft: Plant, readings: Readings, tz: ZoneInfo) -> pl.DataFrame:
    """Pieces that each machine counted by day; falls that are no turn are left out."""
    frames = []
    for machine in draft.machines:
        counter = piece_counter(machine)
        frame = readings.get((machine.id, counter.id)) if counter else None
        if counter is not None and frame is not None and frame.height > 1:
            frame = frame.filter(~pl.Series(odd_readings(frame["value"].to_numpy())))
            limits = counter_limits(_seconds(frame), frame["value"].to_numpy())
            step, minutes = pl.col("value").diff(), pl.col("at").diff().dt.total_seconds() / 60.0
            turn = step + (limits.modulus or 0)
            most = pl.max_horizontal(TURN_ROOM * limits.fastest_per_min * minutes, 2.0)
            is_turn = (turn >= 0) & (turn <= most) & (minutes <= 60.0)  # a long gap may hide anything
            turned = pl.when(is_turn).then(turn).otherwise(0.0)
            frames.append(
                frame.select(
                    machine=pl.lit(machine.label),
                    day=pl.col("at").dt.convert_time_zone(tz.key).dt.date(),
                    pieces=pl.when(step >= 0).then(step).otherwise(turned) * counter.unit_value,
                )
            )
    if not frames:
        return pl.DataFrame(schema={"machine": pl.String(), "day": pl.Date(), "pieces": pl.Float64()})
    by_day = pl.concat(frames).group_by("machine", "day", maintain_order=True)
    return by_day.agg(pl.col("pieces").sum()).sort("machine", "day")


# Questions


def _zone_question(here: str) -> SetUpQuestion:
    why = tr("the zone of this computer") if here else tr("this computer does not say where it is")
    return SetUpQuestion("zone", tr("In which time zone do the machines' clocks run?"), here or None, why)


def _shifts_question(rhythm: Rhythm) -> SetUpQuestion:
    text = tr("Which shifts and breaks are there?")
    suggested = "; ".join(map(shift_text, rhythm.shifts))
    if rhythm.sure:
        return SetUpQuestion("shifts", text, suggested, rhythm.why)
    likely = ((suggested, tr("likeliest, to be checked")),) if suggested else ()
    return SetUpQuestion("shifts", text, None, rhythm.why, likely)


def _band_question(read: ReadSoFar, counted: Plant) -> SetUpQuestion:
    text = tr("How many pieces a minute are nominal, from and to?")
    every = ((read.readings.get(key), counter.unit_value) for key, counter in piece_counters(counted).items())
    rates = [r for f, each in every if f is not None and f.height > 1 and (r := _running_rate(f) * each)]
    low, high = (round(min(rates)), round(max(rates))) if rates else (0, 0)
    pace = in_digits(f"{low:,}") if low == high else tr("{low:,} to {high:,}", low=low, high=high)
    why = tr("common practice; while running they made {pace} a minute", pace=pace)
    return SetUpQuestion("band", text, BAND, why if rates else tr("common practice"))


def _running_rate(frame: pl.DataFrame) -> float:
    """The middle rate while running [pieces/min]."""
    step, minutes = frame["value"].diff().to_numpy()[1:], np.diff(_seconds(frame)) / 60.0
    read_on = (step > 0) & (minutes < max(10.0, 1.5 * float(np.median(minutes))))
    rates = step[read_on] / np.maximum(minutes[read_on], 1.0 / 60.0)
    return float(np.median(rates)) if len(rates) else 0.0


def _count_questions(learned: Sequence[LearnedChannel]) -> list[SetUpQuestion]:
    """What one count of a web is, where neither header nor pieces say."""
    options = (("0.01", "1 cm"), ("0.1", "1 dm"), ("1", "1 m"), ("0.001", "1 mm"))
    questions = []
    for channel in learned:
        counted = channel.limits.total if channel.limits else 0.0
        if channel.count_m is None and counted:
            text = tr("{machine}: how long is one count of {web}?", machine=channel.machine, web=tr(channel.holds))
            key = f"count {channel.machine}/{channel.channel}"
            questions.append(SetUpQuestion(key, text, None, "", options))
    return questions


def _lot_questions(learned: Sequence[LearnedChannel], read: ReadSoFar, band: str) -> list[SetUpQuestion]:
    """What one count of pieces is, or whether it turns unseen, where its pace is far from any or half a nominal one."""
    low, high = NOMINAL
    with suppress(LineviewError):  # what is no band is said where it is needed
        low, high = read_band(band)
    options = tuple((str(n), tr_count("{count} piece", "{count:,} pieces", n)) for n in (1, 2, 10, 100, 1000))
    turns = ((str(SIXTEEN_BITS), tr("yes, it may have turned between readings")), ("unknown", tr("no, it goes on")))
    counters = piece_counters(read.draft)
    questions: list[SetUpQuestion] = []
    for channel in learned:
        key = (channel.machine, channel.channel)
        if key not in counters or channel.limits is None:
            continue
        frame, counter, modulus = read.readings[key], counters[key], channel.limits.modulus
        rate = _running_rate(frame) * counter.unit_value
        why = tr("by its counter it makes {rate:,.3g} a minute while it runs", rate=rate)
        between = LEAST_FASTEST * float(np.median(np.diff(_seconds(frame)))) / 60.0
        top, size = cast(float, frame["value"].max()), modulus or SIXTEEN_BITS
        unseen = between > size > top and rate < NOMINAL[0] / 2
        of_pairs = rate < low <= 2 * rate <= high and between <= 5 * LEAST_FASTEST  # over long rows it holds stops
        if (0 < rate < NOMINAL[0] * UNLIKELY_PACE and not unseen) or rate > NOMINAL[1] / UNLIKELY_PACE or of_pairs:
            text = tr("{machine}: how many pieces is one count of {what}?", machine=key[0], what=tr(counter.counts))
            questions.append(SetUpQuestion(f"count {key[0]}/{key[1]}", text, None, why, options))
        if unseen and modulus is None:
            text = tr("{machine}: does its counter start again at 0 after {top:,}?", machine=key[0], top=size - 1)
            questions.append(SetUpQuestion(f"turns {key[0]}/{key[1]}", text, None, why, turns))
    return questions


def _lines_question(read: ReadSoFar) -> SetUpQuestion:
    """Which sizer feeds which wrapper: those that run in the same minutes."""
    text = tr("Which machines work together on a line, and what are the lines called?")
    sizers = [m for m in read.draft.machines if m.kind == "sizer"]
    wrappers = [m for m in read.draft.machines if m.kind != "sizer"]
    partners = _partners(wrappers, sizers, read.readings)
    lines: list[list[str]] = []
    for wrapper in wrappers:
        sizer, _ = partners[wrapper.id]
        shared = next((machines for machines in lines if sizer and sizer in machines), None)
        if shared is None:
            lines.append([*([sizer] if sizer else []), wrapper.id])
        else:
            shared.append(wrapper.id)
    fed = {sizer for sizer, _ in partners.values()}
    lines += [[sizer.id] for sizer in sizers if sizer.id not in fed]
    likely = lines_text((tr("Line {number}", number=k + 1), machines) for k, machines in enumerate(lines))
    if all(sure for _, sure in partners.values()):
        why = tr("by the minutes in which both ran") if sizers and wrappers else tr("each machine by itself")
        return SetUpQuestion("lines", text, likely, why)
    why = tr("the minutes in which they ran do not say which")
    return SetUpQuestion("lines", text, None, why, ((likely, tr("a guess, to be checked")),))


def _partners(
    wrappers: Sequence[Machine], sizers: Sequence[Machine], readings: Readings
) -> dict[str, tuple[str, bool]]:
    """For each wrapper the sizer that feeds it ("" none), and whether anything says so."""
    if len(sizers) == 1 and len(wrappers) == 1:
        return {wrappers[0].id: (sizers[0].id, True)}
    runs = {m.id: _profile(m, readings) for m in (*wrappers, *sizers)}
    anything = sorted(set().union(*runs.values()))
    ran = {name: np.isin(anything, list(minutes)) for name, minutes in runs.items()}
    partners: dict[str, tuple[str, bool]] = {}
    for wrapper in wrappers:
        fit = sorted(((_agreement(ran[wrapper.id], ran[s.id]), s.id) for s in sizers), reverse=True)
        second = fit[1][0] if len(fit) > 1 else 0.0
        if fit and fit[0][0] >= TOGETHER and fit[0][0] - second >= CLEARLY:
            partners[wrapper.id] = (fit[0][1], True)
        elif not fit or fit[0][0] <= APART:
            partners[wrapper.id] = ("", True)
        else:
            digits = re.sub(r"\D", "", wrapper.id)
            of_number = [s.id for s in sizers if digits and re.sub(r"\D", "", s.id) == digits]
            partners[wrapper.id] = (of_number[0], True) if len(of_number) == 1 else (fit[0][1], False)
    return partners


def _agreement(first: NDArray[np.bool_], second: NDArray[np.bool_]) -> float:
    """How far two machines ran in the same of the minutes in which any did: 1 wholly, 0 as by chance."""
    if first.all() or second.all() or not first.any() or not second.any():
        return 0.0
    return float(np.corrcoef(first, second)[0, 1])


def _profile(machine: Machine, readings: Readings) -> set[int]:
    """The minutes since 1970 in which a machine ran: counted, or had a rope to measure."""
    counter = piece_counter(machine) or machine.counter("rope")
    frame = readings.get((machine.id, counter.id)) if counter else None
    if frame is not None and frame.height > 1:
        start, end, moves = _steps(frame)
        return set(((start + end)[moves] / 120.0).astype(np.int64).tolist())
    gauge = machine.gauge("rope diameter")
    frame = readings.get((machine.id, gauge.id)) if gauge else None
    if frame is None:
        return set()
    return set((_seconds(frame.filter(pl.col("value").is_not_null())) / 60.0).astype(np.int64).tolist())


# The plant description


def _text(
    surveyed: Surveyed,
    read: ReadSoFar,
    learned: Sequence[LearnedChannel],
    questions: Sequence[SetUpQuestion],
    answers: Mapping[str, str],
) -> tuple[str, list[Fault]]:
    """plant.toml, or "" and why there is none yet."""
    choices = {q.key: answers.get(q.key) or q.suggested for q in questions}
    machines = [m.id for m in read.draft.machines]
    faults = [*read.mixed, *(fault for channel in learned if (fault := _too_coarse(channel, read.readings)))]
    if not machines:
        headers = {column.header for group in read.groups for survey in group.surveys for column in survey.columns}
        do = tr(
            "Head the column of pieces 'Pieces' and each machine's apart ('Wrapper 1 pieces'). Found: {headers}.",
            headers=", ".join(f"'{header}'" for header in sorted(headers)[:8]) or "–",
        )
        faults.append(Fault(tr("no machine was recognised in these exports"), "", tr("counters with headers"), do))
    if faults or any(answer is None for answer in choices.values()):
        return "", faults
    try:
        shifts = read_shifts(choices["shifts"] or "")
        band = read_band(choices["band"] or "")
        lines = [(tr("Line {number}", number=1), machines)]
        lines = read_lines(choices["lines"] or "", machines) if "lines" in choices else lines
    except LineviewError as error:
        return "", list(error.faults)
    columns = [{t.to.rpartition("/")[2] for t in layout.columns.values()} for layout in read.layouts.values()]
    in_layouts = set().union(*(of for of in columns if not of.isdisjoint(c.channel for c in learned)))
    homes = {machine: str(k + 1) for k, (_, listed) in enumerate(lines) for machine in listed}
    plant = Plant(
        shop=answers.get("shop") or surveyed.shop,
        language=spoken(),
        zone=choices["zone"] or "UTC",
        gap_s=_gap_s(read.readings),
        shifts=shifts,
        lines=tuple(Line(id=str(k + 1), name=name) for k, (name, _) in enumerate(lines)),
        machines=tuple(_finished(m, homes[m.id], band, learned, choices, in_layouts) for m in read.draft.machines),
        layouts=tuple(read.layouts.values()),
    )
    remarks = {(m.id, c.id): tr("its column holds no number so far") for m in plant.machines for c in m.counters}
    remarks |= {(c.machine, c.channel): _remark(c.limits) for c in learned if c.limits}
    reasons = {q.key: q.why for q in questions if answers.get(q.key, q.suggested) == q.suggested}
    text = plant_text(plant, remarks, reasons)
    wrong = check_text(text)  # of what cannot be read it says only that its counters are missing
    return ("" if wrong else text), ([] if read.faults else wrong)


def _too_coarse(channel: LearnedChannel, readings: Readings) -> Fault | None:
    """The fault of a piece counter that moves so seldom that it hides stops which its readings would show."""
    limits = channel.limits
    if limits is None or channel.holds not in ("pieces", "good pieces"):
        return None
    at_s = _seconds(readings[channel.machine, channel.channel])
    per_s = max(NOMINAL[1] / 60.0, limits.total / float(at_s[-1] - at_s[0]))
    if limits.moves_by <= per_s * max(COARSE_S, float(np.median(np.diff(at_s)))):
        return None
    what = tr("its readings move by {count:,} at a time, so stops between cannot be seen", count=limits.moves_by)
    place, do = f"{channel.machine}/{channel.channel}", tr("Export all digits of the counter.")
    return Fault(what, place, tr("a counter read to the piece"), do)


def _finished(
    machine: Machine,
    line: str,
    band: tuple[float, float],
    learned: Sequence[LearnedChannel],
    choices: Mapping[str, str | None],
    in_layouts: set[str],
) -> Machine:
    """A machine with what was learned of its counters; those without readings go unless a file read names them."""
    of_machine = {channel.channel: channel for channel in learned if channel.machine == machine.id}
    counters = []
    for counter in machine.counters:
        channel = of_machine.get(counter.id)
        limits, learned_m = (channel.limits, channel.count_m) if channel is not None else (None, None)
        if limits is None and counter.id not in in_layouts:
            continue
        count_m = choices.get(f"count {machine.id}/{counter.id}") or learned_m or counter.unit_value
        pieces_fastest = max(LEAST_FASTEST, band[1] * 1.125) / float(count_m)
        fastest = (limits.fastest_per_min or 1.0) if limits is not None else counter.fastest_per_min
        if counter.counts in ("pieces", "good pieces", "rejects", "blank wraps"):
            fastest = pieces_fastest if limits is None else max(fastest, pieces_fastest)
        modulus, moves_by = (limits.modulus or "unknown", limits.moves_by) if limits is not None else ("unknown", 1)
        turns = choices.get(f"turns {machine.id}/{counter.id}") or "unknown"
        modulus = int(turns) if turns != "unknown" else modulus
        values = {"modulus": modulus, "fastest_per_min": fastest, "unit_value": float(count_m), "moves_by": moves_by}
        counters.append(counter.model_copy(update=values))
    gauges = tuple(gauge for gauge in machine.gauges if gauge.id in of_machine or gauge.id in in_layouts)
    nominal = band if machine.kind == "cut-and-wrap machine" else NOMINAL
    update = {"line": line, "counters": tuple(counters), "gauges": gauges, "nominal_per_min": nominal}
    return machine.model_copy(update=update)


def _gap_s(readings: Readings) -> float:
    """For how long no reading is usual [s]: longer where machines are read seldom."""
    whole = [frame for frame in readings.values() if frame.height > 20 and frame["value"].null_count() == 0]
    slowest = max((float(np.median(np.diff(_seconds(frame)))) for frame in whole), default=0.0)
    return USUAL_GAP_S if slowest * GAP_TIMES <= 2 * USUAL_GAP_S else round(slowest * GAP_TIMES)


def _remark(limits: CounterLimits) -> str:
    """What is known of a counter's turns, for the file."""
    if limits.modulus:
        return tr_count("seen to start again at 0 once", "seen to start again at 0 {count} times", limits.turns)
    if limits.resets:
        return tr("fell {count} times, not as a counter that starts again at 0 does", count=limits.resets)
    return tr("was not seen to start again at 0 yet")
