"""Personal limits: slowest hand-held time, slowest freezing time by subject pace, highest ISO by body.

A limit is where the `target` share of the frames has the fault. The curve is a cumulative normal between a base rate
(frames that are blamed for the fault at any setting) and a lapse rate (frames that a judge lets pass); its parameters
include the limit itself. Base rate and slope are shared by the keys of a kind, each key has its own limit.

Which frames may speak decides the bias: a frame counts for one fault only where another fault hardly occurs, for shake
and subject motion hide each other, and the judge writes down only one of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.special import expit, logit, ndtr, ndtri

from analytics.statistics.cells import Cells, cells_of, sums
from analytics.statistics.engine import EDGE, Fit, effective, fit, t_interval

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from analytics.statistics.engine import Curve, Floats, Integers, Interval

    Booleans = NDArray[np.bool_]

KINDS = ("hand-held", "freeze", "iso")
FAULT_OF = {"hand-held": "shake", "freeze": "motion", "iso": "noise"}
#: Frames with the fault that a judge lets pass at the worst settings.
LAPSE_RATE = 0.10
#: Base rate of a fault, and by how many logits photographers differ in it.
BASE_RATE, BASE_RATE_SD = 0.01, 1.0
#: A base rate is at most this share of the target, or there would be no limit.
HIGHEST_BASE = 0.95
#: Slope of the curves [probits per stop], and the spread of its logarithm.
SLOPE, LOG_SLOPE_SD = 0.8, 0.35
#: Slowest hand-held time without stabilisation [stops below the rule], and what stabilisation adds.
HAND_HELD, HAND_HELD_SD, STABILISED, STABILISED_SD = 0.0, 1.5, 2.5, 1.0
#: Slowest freezing time by subject pace [log2 s]; how much photographers and paces differ.
FREEZE: dict[bool | str, float] = {"still": 0.0, "slow": -3.5, "walking": -6.0, "running": -8.3, "fast": -10.0}
FREEZE_SD, FREEZE_SHARED_SD = 1.3, 1.0
#: Highest ISO [stops above ISO 100]; how much bodies and photographers differ.
ISO, ISO_SD, ISO_SHARED_SD = 5.8, 1.2, 0.7
#: Which kind of limit keeps the fault away that would hide this kind's, and what it is in most hands [stops].
HIDES = {"hand-held": "freeze", "freeze": "hand-held"}
USUAL: dict[str, Mapping[bool | str, float]] = {
    "hand-held": {False: HAND_HELD, True: HAND_HELD + STABILISED},
    "freeze": FREEZE,
    "iso": {},
}
#: Error of the model itself [stops], found beside truth in simulated careers.
MODEL_ERROR = 0.08
#: Spread between sessions is trusted like this many sessions of three times the binomial variance.
PRIOR_SESSIONS, PRIOR_DESIGN_EFFECT = 8.0, 3.0
#: A session is near a limit with frames between this far on the safe and on the risky side [stops].
NEAR_BELOW, NEAR_ABOVE = 1.5, 2.0
#: Below this many sessions near a limit, or beyond this half-width [stops], there is not enough to say.
ENOUGH_NEAR, WIDEST_HALF = 3, 1.0
#: A time is safe from the other fault when it is this much faster than the other limit [stops].
SAFE_STOPS = 0.5

COLUMNS = (
    "key", "estimate", "low", "high", "is_enough", "is_told", "bound", "reach", "n_frames", "n_bursts", "n_sessions",
    "n_near", "n_faults", "fault_rate",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Rows:
    """Cells that may speak about a kind of limit.

    Attributes:
        keys: the names of the limits, in order; key: (m,) number of each row's limit.
        dose: (m,) the setting on the kind's scale [stops]; n, y: (m,) frames that show whether they have the fault,
            and those that have it; session, burst: (m,); cell: (m,) which of the cells each row is.
    """

    keys: tuple[bool | str, ...]
    key: Integers
    dose: Floats
    n: Floats
    y: Floats
    session: Integers
    burst: Integers
    cell: Integers


@dataclass(frozen=True, slots=True)
class LimitFit:
    """The curves of one kind with everything known about them."""

    kind: str
    target: float
    rows: Rows
    fitted: Fit

    def limit(self, key: int) -> float:
        """The limit of the key with this number, on the kind's scale [stops]."""
        return float(self.gradient(key) @ self.fitted.theta) + _centre(self.kind, self.rows.keys[key])

    def gradient(self, key: int) -> Floats:
        """Gradient of a key's limit in the parameters, shape (P,)."""
        gradient = np.zeros(len(self.fitted.theta))
        gradient[2] = 1.0
        gradient[3 + key] = 1.0
        return gradient

    def limits(self) -> dict[bool | str, float]:
        """All limits by key [stops]."""
        return {name: self.limit(number) for number, name in enumerate(self.rows.keys)}


def limits(frames: pd.DataFrame, kind: str, target: float = 0.10, level: float = 0.95) -> pd.DataFrame:
    """The photographer's own limits of one kind.

    Args:
        frames: one row per judged frame, as `analytics.dataset` makes it.
        kind: 'hand-held' (key: whether stabilised; stops slower than 1 / focal length), 'freeze' (key: subject pace;
            log2 of the exposure time / 1 s) or 'iso' (key: body; log2(ISO / 100)).
        target: share of frames with the fault at the limit, in (0, 0.5).
        level: coverage of the interval.

    Returns:
        One row per key that frames speak about: `key`, `estimate`, `low`, `high` [stops], `is_enough`, `is_told` (there
        are sessions enough to have some near it, and frames reach as far as `low`; else the numbers are only what most
        hands have), `bound` ('both'; 'at least' where no frame goes beyond the limit, so that only `low` says
        something), `reach` (the riskiest setting of its frames), `n_frames`, `n_bursts`, `n_sessions`, `n_near`
        (sessions with frames near the limit), `n_faults`, `fault_rate` (of frames beyond it).

    Raises:
        ValueError: an unknown kind.

    Source: Wichmann and Hill 2001 and Schütt et al. 2016 for the curve with base and lapse rate; MacKinnon, Nielsen
    and Webb 2024 for the jackknife.
    """
    return limits_from_cells(cells_of(frames), kind, target, level)


def limits_from_cells(cells: Cells, kind: str, target: float = 0.10, level: float = 0.95) -> pd.DataFrame:
    """The same from cells."""
    return limits_of(fit_limits(cells, kind, target), level)


def limits_of(found: LimitFit, level: float = 0.95) -> pd.DataFrame:
    """The same from fitted curves."""
    lines = [_line(found, number, level) for number in range(len(found.rows.keys))]
    return pd.DataFrame([line for line in lines if line[COLUMNS.index("n_frames")]], columns=list(COLUMNS))


def fit_limits(cells: Cells, kind: str, target: float = 0.10) -> LimitFit:
    """Fits the curves of one kind.

    Raises:
        ValueError: an unknown kind.
    """
    if kind not in KINDS:
        raise ValueError(f"{kind!r} is no kind of limit; kinds are {', '.join(KINDS)}")
    safe = dict(USUAL[kind])
    if kind in HIDES:
        other = HIDES[kind]
        found = _fit_rows(rows_of(cells, other, USUAL[kind]), other, target)
        safe = {**USUAL[other], **found.limits()}
    return _fit_rows(rows_of(cells, kind, safe), kind, target)


def _fit_rows(rows: Rows, kind: str, target: float) -> LimitFit:
    fitted = fit(_curve(rows, kind, target), (rows.n, rows.y), rows.session, _prior(rows, kind, target))
    return LimitFit(kind, target, rows, fitted)


def rows_of(cells: Cells, kind: str, safe: Mapping[bool | str, float]) -> Rows:
    """The cells that speak about a kind of limit, with their dose.

    Args:
        cells: all judged frames.
        kind: of limit.
        safe: limits of the fault that would hide this one, by their keys [stops]; not used for 'iso'.
    """
    n, y = cells.seen(FAULT_OF[kind])
    no_flash = ~(cells.used_flash == 1)
    if kind == "hand-held":
        key, dose = cells.is_stabilised, cells.stops_below_rule
        keys: tuple[bool | str, ...] = (False, True)
        speaks = cells.support.where("hand-held") & no_flash & np.isfinite(key) & _is_safe_from_motion(cells, safe)
        numbers = np.where(np.isfinite(key), key, 0).astype(np.int64)
    elif kind == "freeze":
        dose = cells.time_stops
        keys = tuple(pace for pace in FREEZE if pace in cells.subject_pace.names)
        numbers = _renumbered(cells.subject_pace.codes, cells.subject_pace.names, keys)
        speaks = (numbers >= 0) & no_flash & _is_safe_from_shake(cells, safe)
    else:
        keys = cells.body.names
        numbers = cells.body.codes
        under = np.nan_to_num(np.maximum(-cells.exposure_error_stops, 0))
        dose = cells.iso_stops + np.where(no_flash, under, 0)
        speaks = numbers >= 0
    chosen = speaks & np.isfinite(dose) & (n > 0)
    session, burst, cell = cells.session[chosen], cells.burst[chosen], np.flatnonzero(chosen)
    return Rows(keys, numbers[chosen], dose[chosen], n[chosen], y[chosen], session, burst, cell)


def _renumbered(codes: Integers, names: tuple[str, ...], keys: tuple[bool | str, ...]) -> Integers:
    places = np.array([keys.index(name) if name in keys else -1 for name in names] + [-1])
    return places[codes]


def _is_safe_from_motion(cells: Cells, freeze: Mapping[bool | str, float]) -> Booleans:
    """Times that freeze the subject; an unknown pace is taken for still."""
    slowest = np.array([freeze.get(name, np.inf) for name in cells.subject_pace.names] + [np.inf])
    return cells.time_stops <= slowest[cells.subject_pace.codes] - SAFE_STOPS


def _is_safe_from_shake(cells: Cells, hand_held: Mapping[bool | str, float]) -> Booleans:
    """A tripod, or a time that the hands hold."""
    slowest = np.where(cells.is_stabilised == 1, hand_held[True], hand_held[False])
    return cells.support.where("tripod") | (cells.stops_below_rule <= slowest - SAFE_STOPS)


def _centre(kind: str, key: bool | str) -> float:
    """Where the prior expects a limit [stops]."""
    return USUAL[kind].get(key, ISO)


def _prior(rows: Rows, kind: str, target: float) -> tuple[Floats, Floats]:
    """Of (logit of the base rate over the target, log slope, shared shift, shift of each key)."""
    shared, own = {
        "hand-held": (HAND_HELD_SD, [1e-3, STABILISED_SD]),
        "freeze": (FREEZE_SHARED_SD, [FREEZE_SD] * len(rows.keys)),
        "iso": (ISO_SHARED_SD, [ISO_SD] * len(rows.keys)),
    }[kind]
    mean = np.zeros(3 + len(rows.keys))
    mean[:2] = logit(min(BASE_RATE / (HIGHEST_BASE * target), 0.9)), np.log(SLOPE)
    return mean, np.array([BASE_RATE_SD, LOG_SLOPE_SD, shared, *own])


def _curve(rows: Rows, kind: str, target: float) -> Curve:
    """Chance of the fault: g + (1 - g - lapse) Φ(s (x - limit) + z), with z such that at x = limit it is the target."""
    centres = np.array([_centre(kind, key) for key in rows.keys] or [0.0])[rows.key]
    n_keys = len(rows.keys)

    def curve(theta: Floats) -> tuple[Floats, Floats]:
        most = HIGHEST_BASE * target
        base, slope = most * expit(theta[0]), np.exp(theta[1])
        away = rows.dose - centres - theta[2] - theta[3:][rows.key]
        room = 1 - LAPSE_RATE - base
        share = (target - base) / room
        z = ndtri(share)
        eta = slope * away + z
        risen, density = ndtr(eta), np.exp(-(eta**2) / 2) / np.sqrt(2 * np.pi)
        d_z = (share - 1) / room / (np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi))
        gradient = np.zeros((len(eta), 3 + n_keys))
        gradient[:, 0] = (1 - risen + room * density * d_z) * base * (1 - base / most)
        gradient[:, 1] = room * density * slope * away
        gradient[:, 2] = -room * density * slope
        gradient[np.arange(len(eta)), 3 + rows.key] = gradient[:, 2]
        return np.clip(base + room * risen, EDGE, 1 - EDGE), gradient

    return curve


def _line(found: LimitFit, number: int, level: float) -> tuple[object, ...]:
    rows, mine = found.rows, found.rows.key == number
    estimate = found.limit(number)
    interval = limit_interval(found, number, level)
    near = mine & (rows.dose > estimate - NEAR_BELOW) & (rows.dose < estimate + NEAR_ABOVE)
    n_near = len(np.unique(rows.session[near]))
    beyond = mine & (rows.dose > estimate)
    is_reached = bool(beyond.any())
    is_enough = n_near >= ENOUGH_NEAR and interval.half_width <= WIDEST_HALF
    n_sessions = len(np.unique(rows.session[mine]))
    reach = float(rows.dose[mine].max(initial=-np.inf))
    is_told = n_sessions >= ENOUGH_NEAR and np.round(3 * reach) >= np.round(3 * interval.low)
    return (
        rows.keys[number],
        estimate,
        interval.low,
        interval.high,
        bool(is_enough),
        bool(is_told),
        "both" if is_reached else "at least",
        reach,
        int(rows.n[mine].sum()),
        len(np.unique(rows.burst[mine])),
        n_sessions,
        n_near,
        int(rows.y[mine].sum()),
        float(rows.y[beyond].sum() / rows.n[beyond].sum()) if is_reached else np.nan,
    )


def limit_interval(found: LimitFit, number: int, level: float = 0.95) -> Interval:
    """Interval of one limit: binomial and between-session variance weighed against each other, priors, model error."""
    return interval_of(found, found.limit(number), found.gradient(number), found.rows.key == number, level)


def interval_of(found: LimitFit, estimate: float, gradient: Floats, mine: Booleans, level: float) -> Interval:
    """The same for any number that follows from the curves, with the rows that are about it.

    The model's error is one of the limits: the number has as much of it as it moves when they do.
    """
    model, prior, jack, n_sessions = variance_parts(found, gradient, mine)
    variance = blended(model, jack, n_sessions) + prior
    return t_interval(estimate, variance + (MODEL_ERROR * gradient[2]) ** 2, 7 + n_sessions, level)


def variance_parts(found: LimitFit, gradient: Floats, mine: Booleans) -> tuple[float, float, float, float]:
    """(binomial variance, the priors' part, jackknife variance, effective sessions) of a number with this gradient."""
    rows, fitted = found.rows, found.fitted
    moves = fitted.deleted @ gradient
    moved = moves[moves != 0]
    jack = (len(moved) - 1) / len(moved) * float((moved**2).sum()) if len(moved) > 1 else 0.0
    weights = sums(rows.session[mine], rows.n[mine], int(rows.session[-1]) + 1) if mine.any() else np.zeros(1)
    return fitted.model_variance(gradient), fitted.prior_variance(gradient), jack, effective(weights)


def blended(model: float, jack: float, n_sessions: float) -> float:
    """Variance of the data's part: expected for clustered frames with the weight of eight sessions, and as seen."""
    expected = PRIOR_DESIGN_EFFECT * model
    return max((PRIOR_SESSIONS * expected + n_sessions * jack) / (PRIOR_SESSIONS + n_sessions), model)


def limit_curve(
    frames: pd.DataFrame, kind: str, key: bool | str, target: float = 0.10, level: float = 0.95
) -> pd.DataFrame:
    """The fitted curve of one limit.

    Returns:
        `dose` [stops], `estimate`, `low` and `high` (shares of frames with the fault), in quarters of a stop over the
        range of the key's frames; empty where no frame speaks about the key.
    """
    return curve_of(fit_limits(cells_of(frames), kind, target), key, level)


def curve_of(found: LimitFit, key: bool | str, level: float = 0.95) -> pd.DataFrame:
    """The same from fitted curves.

    A share's interval is symmetric in its logit and a limit's in stops, and the one also reckons with how steep the
    curve is; so where the band crosses the target need not be where the limit's interval ends. It is never nearer the
    limit, for the band holds the curves through both ends of that interval: far from a limit that is hardly known,
    what the straightened curve says of a share is too narrow.
    """
    rows = found.rows
    mine = rows.key == rows.keys.index(key) if key in rows.keys else rows.key < 0
    if not mine.any():
        return pd.DataFrame(columns=["dose", "estimate", "low", "high"])
    number = rows.keys.index(key)
    doses = np.arange(np.floor(rows.dose[mine].min()), np.ceil(rows.dose[mine].max()) + 0.25, 0.25)
    p, gradient = _shares(found, number, doses)
    at_logit = [
        interval_of(found, float(logit(share)), slope / (share * (1 - share)), mine, level)
        for share, slope in zip(p, gradient, strict=True)
    ]
    limit = limit_interval(found, number, level)
    slowest, _ = _shares(found, number, doses - (limit.high - limit.estimate))
    fastest, _ = _shares(found, number, doses + (limit.estimate - limit.low))
    low = np.minimum(expit([interval.low for interval in at_logit]), slowest)
    high = np.maximum(expit([interval.high for interval in at_logit]), fastest)
    return pd.DataFrame({"dose": doses, "estimate": p, "low": low, "high": high})


def _shares(found: LimitFit, number: int, doses: Floats) -> tuple[Floats, Floats]:
    """Shares with the fault at doses of one key, and their gradients in the parameters."""
    empty, nothing = np.zeros(len(doses)), found.rows.cell[:0]
    grid = Rows(found.rows.keys, np.full(len(doses), number), doses, empty, empty, nothing, nothing, nothing)
    return _curve(grid, found.kind, found.target)(found.fitted.theta)


def limit_counts(frames: pd.DataFrame, kind: str) -> pd.DataFrame:
    """What the curve is fitted to: `key`, `dose` in thirds of a stop, `n_frames`, `n_faults`, `n_sessions`."""
    return counts_of(fit_limits(cells_of(frames), kind))


def counts_of(found: LimitFit) -> pd.DataFrame:
    """The same from fitted curves."""
    rows = found.rows
    table = pd.DataFrame(
        {
            "key": np.array(rows.keys, dtype=object)[rows.key],
            "dose": np.round(rows.dose * 3) / 3,
            "n_frames": rows.n,
            "n_faults": rows.y,
            "session": rows.session,
        }
    )
    grouped = table.groupby(["key", "dose"], sort=True)
    counted = grouped[["n_frames", "n_faults"]].sum().astype(int)
    return counted.assign(n_sessions=grouped["session"].nunique()).reset_index()
