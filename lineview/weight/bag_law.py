"""The law of a bag's net mass from that of its pieces, by convolution, filled by count or by weight."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lineview.core.errors import Fault, MeasureError
from lineview.core.language import tr
from lineview.weight.contents import ContentsRules, Sampling

Floats = NDArray[np.float64]
#: Chances of a running total below this are dropped: together far less than a lot drawn can show.
NEGLIGIBLE = 1e-18


@dataclass(frozen=True, eq=False)
class Law:
    """Probabilities `p` of the masses start, start + step, ... [g]."""

    start_g: float
    step_g: float
    p: Floats

    @property
    def grid_g(self) -> Floats:
        """The masses [g]."""
        return np.asarray(self.start_g + self.step_g * np.arange(self.p.size), dtype=np.float64)

    @property
    def mean_g(self) -> float:
        """Mean [g]."""
        return float(self.p @ self.grid_g)

    @property
    def sd_g(self) -> float:
        """Standard deviation [g]."""
        return float(np.sqrt(self.p @ (self.grid_g - self.mean_g) ** 2))

    def even_masses(self, count: int) -> Floats:
        """So many evenly likely masses [g], in order, each grid mass spread over its own step."""
        ends = np.concatenate([[0.0], np.cumsum(self.p)])
        ends *= count / ends[-1]
        # the masses lie in the middles of even shares: of a grid mass they lie beside each other, evenly apart
        shares, places = np.diff(ends), np.ceil(ends - 0.5).astype(np.int64)
        many = places[1:] - places[:-1]
        apart_g = self.step_g / np.where(shares > 0, shares, 1.0)
        first_g = self.start_g + self.step_g * (np.arange(self.p.size) - 0.5) - apart_g * ends[:-1]
        masses = np.repeat(apart_g, many) * _middles(count)
        masses += np.repeat(first_g, many)
        return masses


@lru_cache(maxsize=1)
def _middles(count: int) -> Floats:
    return np.arange(0.5, count)


def piece_law(net_g: ArrayLike, mean_g: float, sd_g: float, step_g: float) -> Law:
    """The law of one piece from weighed ones, moved and stretched to a mean and a spread."""
    off = np.asarray(net_g, dtype=np.float64)
    if off.size < 2 or not step_g > 0:
        raise MeasureError(Fault(tr("too few pieces for a law"), "net_g", tr("two or more single pieces")))
    spread = float(np.std(off))
    # Sharing a mass between two grid masses adds a sixth of the step squared, on average, to the variance.
    inner = np.sqrt(max(sd_g**2 - step_g**2 / 6, 0.0))
    scaled = mean_g + (off - off.mean()) * (inner / spread if spread > 0 else 0.0)
    start = np.floor(scaled.min() / step_g) - 1
    place = scaled / step_g - start
    below = np.floor(place).astype(np.int64)
    p = np.zeros(int(below.max()) + 3)
    np.add.at(p, below, 1 - (place - below))
    np.add.at(p, below + 1, place - below)
    return Law(float(start * step_g), step_g, p / off.size)


def normal_offsets(count: int = 2001) -> Floats:
    """Give evenly spread normal offsets, for pieces of which only mean and spread are known."""
    from scipy.special import ndtri

    return np.asarray(ndtri((np.arange(count) + 0.5) / count), dtype=np.float64)


def bag_by_count(piece: Law, count: int) -> Law:
    """The law of the sum of so many pieces of one batch."""
    if count < 1:
        raise MeasureError(Fault(tr("a bag of {count} pieces", count=count), "count", tr("one or more")))
    size = (piece.p.size - 1) * count + 1
    padded = 1 << (size - 1).bit_length() if size > 1 else 1
    powered = np.fft.rfft(piece.p, padded) ** count
    p = np.maximum(np.fft.irfft(powered, padded)[:size], 0.0)
    likely = np.flatnonzero(p > 1e-15)
    first, last = int(likely[0]), int(likely[-1])
    p = p[first : last + 1]
    return Law(piece.start_g * count + first * piece.step_g, piece.step_g, p / p.sum())


class Filling:
    """Bags filled piece by piece, ready to be stopped at any mass up to a greatest one.

    `piece`: of one piece, all masses above 0; `greatest_g`: the greatest mass at which filling may stop [g].

    A running total comes by a mass r with chance u(r), the sum over k of the chance that k pieces weigh r. A bag
    stops at s when its total was some r below the goal and the next piece weighs s - r; so one sweep of
    convolutions serves every goal.
    Source: derived-bag-plan

    Raises
    ------
    MeasureError
        Where a piece may weigh nothing, or the mass is not above 0.
    """

    def __init__(self, piece: Law, greatest_g: float) -> None:
        first = round(piece.start_g / piece.step_g)
        self._least = first + int(np.flatnonzero(piece.p > 0)[0])
        self._p = np.trim_zeros(piece.p)
        self._step_g = piece.step_g
        if self._least < 1 or not greatest_g > 0:
            raise MeasureError(Fault(tr("pieces or the fill weigh nothing"), "piece, fill_g", tr("masses above 0 g")))
        goal = self._goal(greatest_g)
        self._comes_by = np.zeros(goal)
        current, at = np.ones(1), 0
        while current.size and float(current.sum()) > 1e-14:
            self._comes_by[at : at + current.size] += current
            current, at = np.convolve(current, self._p), at + self._least
            current = current[: max(goal - at, 0)]
            likely = np.flatnonzero(current > NEGLIGIBLE)
            if likely.size:
                current, at = current[likely[0] : likely[-1] + 1], at + int(likely[0])

    def _goal(self, fill_g: float) -> int:
        return int(np.ceil(fill_g / self._step_g - 1e-9))

    def means_g(self, fills_g: Floats) -> Floats:
        """Mean bags by the mass at which filling stops: the mean piece times the totals come by (Wald's identity)."""
        goals = np.maximum(np.ceil(fills_g / self._step_g - 1e-9), 0).astype(np.int64)
        piece_g = self._step_g * (self._least + float(self._p @ np.arange(self._p.size)))
        return np.asarray(piece_g * np.concatenate([[0.0], np.cumsum(self._comes_by)])[goals])

    def bag(self, fill_g: float) -> Law:
        """The law of a bag whose filling stops at this mass [g]."""
        goal = self._goal(fill_g)
        if not 0 < goal <= self._comes_by.size:
            raise MeasureError(Fault(tr("the fill is out of reach"), "fill_g", tr("above 0 g, up to the greatest")))
        reach = self._p.size - 1 + self._least
        before = self._comes_by[max(goal - reach, 0) : goal]
        # The last total before the goal ends `before`: one piece from there lands at goal - 1 + its mass.
        landed = np.convolve(before, self._p)
        begin = before.size - self._least
        done = landed[begin:] if begin >= 0 else np.concatenate([np.zeros(-begin), landed])
        return Law(goal * self._step_g, self._step_g, done / done.sum())


#: Evenly likely masses that stand for a bag's law when lots are drawn.
TABLE = 1 << 17
SEED = 133
#: Masses drawn at once at most, and looked at at once.
BLOCK, NEAR = 2_000_000, 100_000
#: Draws of up to so many masses are kept for the next call.
MOST_CACHED = 600_000


@dataclass(frozen=True, eq=False)
class BagPieces:
    """What bags are filled with and how they come to a lot.

    `piece`: of one piece within a batch of mean size; `sd_batch_g`: spread of a piece's mass between batches [g];
    it shifts all pieces of a bag alike; `batches`: batches that the lot's bags come from; each bag is filled from
    one of them. `about_mean`: the law of a piece's mass about its mean, where other pieces share it.
    """

    piece: Law
    sd_batch_g: float
    batches: int
    about_mean: Law | None = None


@dataclass(frozen=True)
class Chance:
    """Chance that a lot passes, and what most often fails it.

    `mean_fails`, `beyond_fails` are the shares of lots that fail by their mean or by single bags.
    """

    passing: float
    mean_fails: float
    beyond_fails: float
    bag_mean_g: float
    bag_sd_g: float


@dataclass(frozen=True)
class Lots:
    """What decides over each lot drawn [g]: how far its mean is above what it must reach, and single bags.

    `bags_spare` is the least that any bag which counts has above its own limit. `mean_g` and `sd_g` are of all bags
    of all lots.
    """

    mean_spare: Floats
    bags_spare: Floats
    mean_g: float
    sd_g: float

    def moved(self, by_g: float) -> Lots:
        """The same lots, each bag so much heavier."""
        return Lots(self.mean_spare + by_g, self.bags_spare + by_g, self.mean_g + by_g, self.sd_g)

    def chance(self) -> Chance:
        """The shares of lots that pass and fail."""
        mean_ok, bags_ok = self.mean_spare >= 0, self.bags_spare >= 0
        lots = self.mean_spare.size
        failed = [float((~ok).sum()) / lots for ok in (mean_ok, bags_ok)]
        return Chance(float((mean_ok & bags_ok).sum()) / lots, failed[0], failed[1], self.mean_g, self.sd_g)

    def lacking(self, confidence: float) -> float:
        """By how much [g] every bag would have to be heavier for this share of lots to pass."""
        spare = np.minimum(self.mean_spare, self.bags_spare)
        fail = spare.size - math.ceil(confidence * spare.size - 1e-9)
        return -float(np.partition(spare, fail)[fail])


def _draw(rng: np.random.Generator, lots: int, n: int, batches: int) -> tuple[Floats, NDArray[np.int64]]:
    """Draw the standard shift of each bag's batch, and its place in the law."""
    shifts = rng.standard_normal((lots, batches))
    shift = np.take_along_axis(shifts, rng.integers(0, batches, (lots, n)), axis=1)
    return shift, rng.integers(0, TABLE, (lots, n))


@lru_cache(maxsize=4)
def _draw_few(lots: int, n: int, batches: int) -> tuple[Floats, NDArray[np.int64]]:
    """Draw few lots as at every call, so that a search draws them once."""
    return _draw(np.random.default_rng(SEED), lots, n, batches)


def draw_lots(
    pieces: BagPieces, law: Law, shifted: int, label_g: float, plan: Sampling, rules: ContentsRules, lots: int
) -> Lots:
    """Draw lots and measure each by the rules.

    Source: derived-bag-plan
    """
    table = law.even_masses(TABLE)
    n = plan.packages or 1
    shift_g = shifted * pieces.sd_batch_g
    parts = []
    for shift, place in _drawn(lots, n, pieces.batches):
        net = np.take(table, place)
        if shift_g > 0:
            net += shift_g * shift
        parts.append(_inspect(net, label_g, plan, rules))
    mean_spare, bags_spare = np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts])
    off, square = (math.fsum(sums) / (lots * n) for sums in ([p[2] for p in parts], [p[3] for p in parts]))
    return Lots(mean_spare, bags_spare, label_g + off, math.sqrt(max(square - off**2, 0.0)))


def _drawn(lots: int, n: int, batches: int) -> Iterator[tuple[Floats, NDArray[np.int64]]]:
    """Draws of lots, so many at once as stay near the processor."""
    rng, block = np.random.default_rng(SEED), max(1, BLOCK // n)
    for begin in range(0, lots, block):
        size = min(block, lots - begin)
        few = lots * n <= MOST_CACHED
        shift, place = _draw_few(lots, n, batches) if few else _draw(rng, size, n, batches)
        step = max(1, NEAR // n)
        yield from ((shift[at : at + step], place[at : at + step]) for at in range(0, size, step))


def _inspect(net: Floats, label_g: float, plan: Sampling, rules: ContentsRules) -> tuple[Floats, Floats, float, float]:
    net -= label_g
    total, total_square = float(net.sum()), float(np.einsum("ij,ij->", net, net))
    mean_n = plan.mean_packages or plan.packages or 1
    first = net[:, :mean_n]
    spare, factor = first @ np.full(mean_n, 1.0 / mean_n), plan.mean_factor if mean_n > 1 else None
    if factor:
        squares = np.einsum("ij,ij->i", first, first) - mean_n * spare**2
        spare += factor * np.sqrt(np.maximum(squares, 0.0) / (mean_n - 1))
    allowance = rules.allowance_g(label_g)
    # So many bags may be short by more than the allowance: the next one is the lightest that counts.
    counts = min(plan.beyond, net.shape[1] - 1)
    net.partition(counts, axis=1)
    bags = np.full(net.shape[0], np.inf) if plan.beyond >= net.shape[1] else net[:, counts] + allowance
    if rules.never_beyond is not None:
        bags = np.minimum(bags, net[:, : counts + 1].min(axis=1) + rules.never_beyond * allowance)
    return spare, bags, total, total_square
