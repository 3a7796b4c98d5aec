"""How well the methods keep their promises over many simulated careers: coverage, bias, width, false alarms, power.

Every figure is taken over careers whose truth is known. `calibrate` gives one row per figure; the short form runs with
the tests, the long one is `tests/benchmarks/calibration.py`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.statistics.advice_effect import advice_effect
from analytics.statistics.habits import habits
from analytics.statistics.limits import KINDS, limits
from analytics.statistics.progress import progress
from analytics.statistics.rates import keeper_rates
from careers.career import Career, career
from careers.people import World

#: Habits with a known truth in the simulation.
KNOWN_HABITS = (
    "slow_by_hand", "thin_focus", "needlessly_fast", "under_in_backlight", "slow_for_subject", "stopped_down",
    "long_burst", "first_bursts", "late_session", "weekend", "fiddling",
)  # fmt: skip
#: Keepers lost per 100 frames from which a habit should be found.
WORTH_FINDING = 0.5
ADVICE_DAY = 182.0


@dataclass(frozen=True)
class Figure:
    """One figure: what it is about, its value, and over how many answers it was taken."""

    question: str
    figure: str
    value: float
    n: int


def calibrate(n_sessions: int, seeds: range) -> list[Figure]:
    """All figures at one length of career."""
    return [
        *rate_figures(n_sessions, seeds),
        *limit_figures(n_sessions, seeds),
        *habit_figures(n_sessions, seeds),
        *progress_figures(n_sessions, seeds),
        *advice_figures(n_sessions, seeds),
    ]


def _interval_figures(question: str, rows: list[tuple[float, float, float, float]]) -> Iterator[Figure]:
    """Coverage, bias, root mean square error and median half-width of (estimate, low, high, truth)."""
    if not rows:
        return
    estimate, low, high, truth = np.array(rows).T
    yield Figure(question, "coverage", float(((low <= truth) & (truth <= high)).mean()), len(rows))
    yield Figure(question, "bias", float((estimate - truth).mean()), len(rows))
    yield Figure(question, "rmse", float(np.sqrt(((estimate - truth) ** 2).mean())), len(rows))
    yield Figure(question, "half-width", float(np.median((high - low) / 2)), len(rows))


def rate_figures(n_sessions: int, seeds: range) -> list[Figure]:
    """Keeper rates by lens; the truth is what the same scenes and settings keep over all sessions and bursts."""
    rows = []
    for seed in seeds:
        simulated = career(seed, n_sessions)
        truth = _expected_by(simulated, seed)
        for line in keeper_rates(simulated.frames, "lens").itertuples():
            if line.is_enough:
                rows.append((line.estimate, line.low, line.high, truth[line.key]))
    return list(_interval_figures("rates", rows))


def _expected_by(simulated: Career, seed: int, n_draws: int = 200) -> dict[str, float]:
    """Chance to be kept by lens, averaged over other luck of sessions and bursts."""
    rng = np.random.default_rng(seed)
    total = np.zeros(len(simulated.frames))
    n_sessions = int(simulated.table["session"].max()) + 1
    n_bursts = int(simulated.table["burst"].max()) + 1
    own = dict(simulated.effects)
    for _ in range(n_draws):
        for fault in own:
            of_session = rng.normal(0, simulated.who.session_sd[fault], n_sessions)[simulated.table["session"]]
            of_burst = rng.normal(0, simulated.who.burst_sd[fault], n_bursts)[simulated.table["burst"]]
            simulated.effects[fault] = of_session + of_burst
        total += simulated.keep_probability()
    simulated.effects.update(own)
    mean: dict[str, float] = pd.Series(total / n_draws).groupby(simulated.frames["lens"]).mean().to_dict()
    return mean


def limit_figures(n_sessions: int, seeds: range) -> list[Figure]:
    """Limits of the three kinds, where there is enough to say."""
    rows = defaultdict(list)
    for seed in seeds:
        simulated = career(seed, n_sessions)
        for kind in KINDS:
            for line in limits(simulated.frames, kind).itertuples():
                if line.is_enough and line.bound == "both":
                    rows[kind].append((line.estimate, line.low, line.high, simulated.limit(kind, line.key)))
    return [figure for kind in KINDS for figure in _interval_figures(kind, rows[kind])]


def habit_figures(n_sessions: int, seeds: range) -> list[Figure]:
    """Habits in two worlds: half of the photographers have each of them, or nobody has any."""
    found = []
    for name, world in (("habits", World(label_cost=0.5)), ("no habits", World(habits=0.0))):
        rows, worth, false = [], [], []
        for seed in seeds:
            simulated = career(seed, n_sessions, world)
            table = habits(simulated.frames).set_index("key").loc[list(KNOWN_HABITS)]
            per_100 = 100 / len(simulated.frames)
            answered = table[table["is_enough"]]
            truth = {key: per_100 * simulated.lost(str(key)) for key in answered.index}
            for key, line in answered.iterrows():
                rows.append((line["lost_per_100"], line["low_per_100"], line["high_per_100"], truth[key]))
            alarms = list(answered.index[answered["is_flagged"].astype(bool)])
            worth += [bool(answered.loc[key, "is_flagged"]) for key in answered.index if truth[key] >= WORTH_FINDING]
            false.append(sum(truth[key] <= 0 for key in alarms) / max(len(alarms), 1))
        found += list(_interval_figures(name, rows))
        found.append(Figure(name, "false discoveries", float(np.mean(false)), len(false)))
        found.append(Figure(name, "power", float(np.mean(worth)) if worth else np.nan, len(worth)))
    return found


def progress_figures(n_sessions: int, seeds: range) -> list[Figure]:
    """False alarms where only the scenes change, and power where the photographer learns."""
    found = []
    for name, world, verdict in (
        ("nothing changes: said better", World(), "better"),
        ("scenes get easier: said better", World(easier=1.0), "better"),
        ("scenes get harder: said worse", World(easier=-1.0), "worse"),
        ("skill grows: said better", World(skill=0.4), "better"),
        ("skill grows, scenes get harder: said better", World(skill=0.4, easier=-1.0), "better"),
    ):
        said = [progress(career(seed, n_sessions, world).frames).verdict == verdict for seed in seeds]
        found.append(Figure("progress", name, float(np.mean(said)), len(said)))
    return found


def advice_figures(n_sessions: int, seeds: range) -> list[Figure]:
    """Advice against slow times by hand: ignored in three worlds, and followed."""
    habit = ("slow_by_hand",)
    found = []
    for name, world in (
        ("ignored: said worked", World(starts_with=habit)),
        ("ignored, scenes get easier: said worked", World(starts_with=habit, easier=1.0)),
        ("ignored, skill grows: said worked", World(starts_with=habit, skill=0.4)),
        ("followed: said worked", World(starts_with=habit, stops_habit=habit[0], stops_at=ADVICE_DAY)),
    ):
        said = []
        for seed in seeds:
            effect = advice_effect(career(seed, n_sessions, world).frames, ADVICE_DAY, habit[0])
            said.append(effect.verdict == "worked")
        found.append(Figure("advice", name, float(np.mean(said)), len(said)))
    return found
