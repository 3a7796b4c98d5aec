"""Whether judging became milder or stricter, from old frames that were judged again without their old verdicts.

Nobody says the same of every frame twice, so some old rejects are kept and some old keepers rejected by a judge who did
not change. How many depends on how common each verdict is: where one frame in ten is kept, an old keeper was often a
lucky one, and nine times as large a share of keepers is rejected as of rejects is kept. Counting both kinds of flips as
equal, as McNemar's test does, therefore calls a steady judge changed unless half of the frames are keepers or the
sample holds both as they are; here each flip stands for the frames it was drawn from.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

#: Fewer old keepers, or rejects, say nothing. Source: simulation, `tests/analytics/statistics/test_strictness.py`: with
#: fifteen of each a change of a quarter of the spread between frames is found once in ten times.
ENOUGH_OF_EACH = 15
MILDER, STRICTER, NO_EVIDENCE, NOT_ENOUGH = "milder", "stricter", "no evidence", "not enough"


@dataclass(frozen=True, slots=True)
class JudgedAgain:
    """Counts of one round: the pool that was drawn from, by old verdict, and what was said of the drawn ones."""

    n_pool_keepers: int
    n_pool_rejects: int
    n_keepers: int
    n_keepers_rejected: int
    n_rejects: int
    n_rejects_kept: int


@dataclass(frozen=True, slots=True)
class Strictness:
    """The change of the keeper rate by judging alone, a share in [-1, 1]; above nought is milder."""

    change: float
    low: float
    high: float
    p_value: float
    verdict: str
    n_same: int
    n_judged: int

    @property
    def is_enough(self) -> bool:
        """Whether there is enough to say anything."""
        return self.verdict != NOT_ENOUGH


def strictness(counts: JudgedAgain, level: float = 0.95) -> Strictness:
    """Change of the keeper rate at equal frames: δ = π₀·b/n₀ − π₁·c/n₁.

    b of n₀ old rejects are kept now and c of n₁ old keepers rejected; π₀ and π₁ are the shares of rejects and keepers
    in the pool. The null is that first and second verdict on a frame are exchangeable (each is the same judgement of
    the same frame plus noise of whatever size, also noise that is larger near the border): then P(kept, rejected) =
    P(rejected, kept), so δ = 0, and of the b + c flips a share q = n₀π₁ / (n₀π₁ + n₁π₀) is expected to be rejects that
    are kept. b is compared with a binomial of b + c and q; with q = ½, as in a sample that holds both as they are, this
    is McNemar's test. It takes regression to the mean into account, for that is what q says.

    "milder" and "stricter" are said where the mid-p value is at most 1 − level and the interval leaves out nought. In
    simulation a judge without drift is called changed in 1 to 5 of 100 rounds at keeper rates of 15 to 85 of 100 and
    noise of 0.3 to 1 of the spread between frames. What looks like drift too is not in the null: a mood of the
    one day on which all is judged again, and old verdicts that compared the frames of a burst.

    Args:
        counts: the flips and what they were drawn from.
        level: coverage of the interval, in (0, 1).

    Returns:
        Strictness; not-a-number where nothing of one kind was judged again.

    Source:
        McNemar, Q. (1947), Psychometrika 12, for the test; mid-p: Fagerland, Lydersen, Laake (2013), BMC Medical
        Research Methodology 13:91. Interval: the limits of two shares combined, Newcombe (1998), Statistics in Medicine
        17, method 10, weighted as in Zou and Donner (2008), Statistics in Medicine 27, with Wilson's limits; to it is
        added (b/n₀ + c/n₁)²π₀π₁ / pool, for the pool's own shares are one noisy judging.

    Example:
        60 of each from a pool of as many: 20 rejects kept and 5 keepers rejected are δ = 0.5·20/60 − 0.5·5/60 = 0.125.
    """
    n_pool = counts.n_pool_keepers + counts.n_pool_rejects
    n_judged = counts.n_keepers + counts.n_rejects
    n_flips = counts.n_keepers_rejected + counts.n_rejects_kept
    if not (n_pool and counts.n_keepers and counts.n_rejects):
        nan = math.nan
        return Strictness(nan, nan, nan, nan, NOT_ENOUGH, n_judged - n_flips, n_judged)
    keepers, rejects = counts.n_pool_keepers / n_pool, counts.n_pool_rejects / n_pool
    z = NormalDist().inv_cdf((1 + level) / 2)
    kept = _wilson(counts.n_rejects_kept, counts.n_rejects, z)
    lost = _wilson(counts.n_keepers_rejected, counts.n_keepers, z)
    change = rejects * kept[0] - keepers * lost[0]
    of_pool = z * (kept[0] + lost[0]) * math.sqrt(keepers * rejects / n_pool)
    low = change - math.hypot(rejects * (kept[0] - kept[1]), keepers * (lost[2] - lost[0]), of_pool)
    high = change + math.hypot(rejects * (kept[2] - kept[0]), keepers * (lost[0] - lost[1]), of_pool)
    expected = counts.n_rejects * keepers / (counts.n_rejects * keepers + counts.n_keepers * rejects)
    p_value = mid_p(counts.n_rejects_kept, n_flips, expected)
    verdict = NO_EVIDENCE
    if min(counts.n_keepers, counts.n_rejects) < ENOUGH_OF_EACH:
        verdict = NOT_ENOUGH
    elif p_value <= 1 - level and (low > 0 or high < 0):
        verdict = MILDER if change > 0 else STRICTER
    return Strictness(change, max(low, -1.0), min(high, 1.0), p_value, verdict, n_judged - n_flips, n_judged)


def since(last: Strictness, now: Strictness) -> tuple[float, float, float]:
    """Change between two rounds with its interval: now.change − last.change.

    Both rounds are blind, so whatever sets blind judging apart from the ordinary one falls out: who used to keep at
    most three of eight alike frames always looks milder in one round, and in simulation differs between two in 5 of
    100.

    Args:
        last: the earlier round.
        now: the later one, at the same level.

    Returns:
        The change and its lower and upper limit, shares in [-2, 2].

    Source:
        Zou, G. Y. and Donner, A. (2008), Construction of confidence limits about effect measures, Statistics in
        Medicine 27: limits of a difference from the limits of both.

    Example:
        0.10 (0.05 to 0.15) after 0.00 (−0.05 to 0.05) is 0.10 (0.03 to 0.17).
    """
    change = now.change - last.change
    low = change - math.hypot(now.change - now.low, last.high - last.change)
    high = change + math.hypot(now.high - now.change, last.change - last.low)
    return change, low, high


def mid_p(n_hits: int, n_tries: int, share: float) -> float:
    """Two-sided mid-p value of a binomial: twice the smaller tail, of which the outcome itself counts half.

    Args:
        n_hits: how many of the tries.
        n_tries: how many in all; none give 1.
        share: expected share of hits, in [0, 1].

    Returns:
        The mid-p value, in [0, 1].

    Source:
        Lancaster, H. O. (1961), Significance tests in discrete distributions, Journal of the American Statistical
        Association 56.

    Example:
        3 of 3 at ½: 2 · (0.125 − 0.0625) = 0.125.
    """
    below = math.fsum(_chance(number, n_tries, share) for number in range(n_hits))
    here = _chance(n_hits, n_tries, share)
    tail = min(below, max(0.0, 1 - below - here))
    return min(1.0, 2 * (tail + here / 2))


def _chance(n_hits: int, n_tries: int, share: float) -> float:
    return math.comb(n_tries, n_hits) * share**n_hits * (1 - share) ** (n_tries - n_hits)


def _wilson(n_hits: int, n_tries: int, z: float) -> tuple[float, float, float]:
    """A share with Wilson's limits. Source: Wilson (1927), Journal of the American Statistical Association 22."""
    share, reach = n_hits / n_tries, z * z / n_tries
    middle = (share + reach / 2) / (1 + reach)
    half = math.sqrt(reach * (share * (1 - share) + reach / 4)) / (1 + reach)
    return share, min(share, middle - half), max(share, middle + half)
