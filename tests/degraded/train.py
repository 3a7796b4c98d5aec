"""Fits the fault model on generated frames and writes it: PYTHONPATH=tests python -m degraded.train FOLDER [--frames
N] [--photographs FOLDER].

The folder keeps frames and features, so a second fit is quick. With `--photographs` further frames are made from the
photographs that `photographs.txt` lists, and by two other cameras (`othercamera`, `fieldcamera`) from those that are
listed there: what three cameras have in common holds for a fourth sooner than what one does. Frames of one scene stay
together when the fit is tested, and the probabilities are calibrated on photographs that were left out. The same
sources and seed give the same model.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from analytics.pixels.metered import UNMETERED
from analytics.pixels.model import FAULTS, LOOKS, TOLD_FROM_AFAR
from degraded.fitting import Numbers, basis_for, least_absolute, logistic
from degraded.gathering import FIELD, FIELD_FRAMES, MORE_FRAMES, OTHER, OTHER_FRAMES, all_features, sources_in_words
from degraded.together import BLURS, Fit, any_of, by_both_looks, fitted_together, told

#: Version of the fit; raise it when another model is shipped.
MODEL_VERSION = 16
#: Weight of a frame of the two further cameras, for they are few.
FURTHER_WEIGHT = 2.0
#: Penalty of the curves, and how cheap a bend is beside a slope, by look. Source: least log loss on scenes left out;
#: but where a camera left out was told better by stiffer curves, two or four times as much (1, 2 and 4 were tried).
STIFFNESS = {
    "too_bright": (24.0, 1.0),
    "too_dark": (24.0, 1.0),
    "soft_all_over": (64.0, 0.6),
    "soft_at_subject": (64.0, 0.8),
    "shaken": (15.0, 0.7),
    "subject_streaked": (40.0, 1.0),
    "noisy": (4.0, 1.0),
    "error": (30.0, 1.0),
}
#: Weight of a frame whose settings were thinned out, beside one as the camera wrote it.
SPARSE_WEIGHT = 0.35
#: How far every fault's log-odds are lowered: a needless suggestion costs more trust than a missing one.
#: Source: own choice; of those left out one good frame of fourteen then gets a suggestion, instead of one of ten.
CAUTION = 0.35
#: Folds in which scenes are left out.
N_FOLDS = 8
TONES = ("tone", "white", "black")
#: What only exposure is asked about: colours, contrast by tone, and what the meter says of tones.
EXPOSURE_ONLY = ("colour", "contrast", "metered", "unmetered")
#: What a look of focus is not asked about: what lies around the subject, and how much there is to see at all.
AROUND = ("subject_detail", "subject_middle", "surroundings", "crests")
#: What of sharpness a look is not asked about. Source: log loss on scenes, and on cameras, left out was no worse, or
#: less, without it.
NOT_FOR = {
    "soft_all_over": ("streaked_", "swept_", "blurred_", "soft_", "moved_whole", *AROUND),
    "soft_at_subject": ("streaked_", "swept_", "blurred_", "detail", "moved_whole", *AROUND),
    "shaken": ("ring", "swept_", "blurred_", "soft_", "subject_detail", "pupil"),
    "subject_streaked": ("ring", "detail_", "soft_", "subject_detail", "pupil"),
}
#: What grows with light, with blur and with blur along one way.
BRIGHTER = (
    "tone_001", "tone_01", "tone_05", "tone_25", "tone_50", "tone_75", "tone_95", "tone_99", "tone_999", "tone_9997",
    "tone_mean", "tone_middle", "white", "white_middle", "white_whitest", "white_nearly", "white_piled",
    "colour_any_nearly", "colour_any_clipped", "colour_any_full", "colour_all_nearly", "metered_error",
    "metered_and_mean", "metered_or_mean", "metered_and_middle", "metered_or_middle",
    *(f"unmetered_{name}" for name in UNMETERED if name != "black"),
)  # fmt: skip
DARKER = ("black", "black_nearly", "black_piled", "unmetered_black")
BLURRIER = ("sharpest_cells", "sharp_cells", "middle_cells", "along_sharpest", "along_sharp", "whole", "whole_along")
DIRECTED = ("whole_directed", "half_directed", "shake_directed", "smeared_alike")
#: Features that can speak for a look only by growing, or only by falling, whatever else is known.
RISING: dict[str, tuple[str, ...]] = {
    "too_bright": (*BRIGHTER, "is_manual"),
    "too_dark": (*DARKER, "is_manual"),
    "error": BRIGHTER,
    "shaken": (*BLURRIER, *DIRECTED, "time", "stops_below_rule", "shake_by_both", "shake_by_most"),
    "soft_all_over": (*BLURRIER, "whole_across", "ring", "ring_least", "ring_most", "ring_subject", "pupil"),
    "soft_at_subject": (
        *("soft_softer", "soft_sureness", "subject_softer", "soft_unmoved", "soft_inside"),
        *("ring_place", "ring_place_inside", "ring_subject", "pupil"),
    ),
    "subject_streaked": (
        *("time", "streak_in_time", "motion_directed", "subject_in_time", "sweep_in_time", "moved_in_time"),
        *("moved_sureness", "moved_wider", "moved_short", "moved_middle", "moved_long", "moved_longest"),
        "wider_in_time",
    ),
    "noisy": ("noise", "noise_half", "noise_laplacian", "noise_shadows", "noise_middle", "iso"),
}
FALLING: dict[str, tuple[str, ...]] = {
    "too_bright": DARKER,
    "too_dark": BRIGHTER,
    "error": DARKER,
    "shaken": ("is_steadied", "sharp_share", "from_afar"),
    "soft_all_over": (*DIRECTED, "sharp_share", "from_afar"),
    "soft_at_subject": ("ring_place_outside", "ring_around", "from_afar"),
    "subject_streaked": ("from_afar",),
}
SETTINGS = ("time", "f_number", "iso", "stops_below_rule", "ev100", "metered_error", "is_manual", "is_steadied")
MODEL_FILE = Path(__file__).resolve().parents[2] / "analytics" / "pixels" / "model.json"


def chosen_features(look: str, names: list[str]) -> list[str]:
    """The features that may speak for a look of a fault, or for the exposure error."""
    tones = [name for name in names if name.startswith(TONES)]
    noise = [name for name in names if name.startswith("noise")]
    if look in {"too_bright", "too_dark", "error"}:
        only = [name for name in names if name.startswith(EXPOSURE_ONLY)]
        return [*tones, *only, "is_manual", "ev100", "noise_shadows", "iso", "time"]
    if look == "noisy":
        return [*noise, *tones, "iso", "whole", "crests", "ev100"]
    others, without = {*tones, *noise, *SETTINGS}, (*EXPOSURE_ONLY, *NOT_FOR[look])
    sharpness = [name for name in names if name not in others and not name.startswith(without)]
    return [*sharpness, *SETTINGS, "noise", "noise_coarse", "tone_range", "white"]


def directions(look: str, names: list[str]) -> dict[str, int]:
    """1 for the features that may only rise with a look, -1 for those that may only fall."""
    rising = {name: 1 for name in names if name in RISING.get(look, ())}
    return rising | {name: -1 for name in names if name in FALLING.get(look, ())}


class Table:
    """Features of many frames, near and from afar, and their truth; each frame twice: with its settings, and with few
    of them."""

    def __init__(self, frames: list[dict[str, Any]]) -> None:
        rows = [(frame, variant) for variant in (0, 1) for frame in frames]
        self.names = list(frames[0]["features"][0])
        near = [frame["features"][variant] for frame, variant in rows]
        afar = [frame["afar"][variant] if frame.get("afar") else None for frame, variant in rows]
        self.is_seen_afar = np.array([each is not None for each in afar])
        # all near looks, then all from afar
        self.features = {name: np.array([each and each[name] for each in (*near, *afar)], float) for name in self.names}
        self.truth = {fault: np.array([frame["labels"][fault] for frame, _ in rows], float) for fault in FAULTS}
        self.kind = np.array([frame["kind"] for frame, _ in rows])
        self.error = np.array([frame["ev"] for frame, _ in rows], float)
        self.source = np.array([frame["source"] for frame, _ in rows])
        self.is_other = np.char.startswith(self.source, OTHER)
        self.is_field = np.char.startswith(self.source, FIELD)
        self.weight = np.array([1.0 if variant == 0 else SPARSE_WEIGHT for _, variant in rows])
        self.weight[self.is_other | self.is_field] *= FURTHER_WEIGHT
        self.n_frames = len(frames)

    def folds(self) -> NDArray[np.intp]:
        """The fold of each row; frames of one scene share one."""
        scenes = sorted(set(self.source.tolist()))
        order = np.random.default_rng(8).permutation(len(scenes))
        fold = {scene: int(order[i]) % N_FOLDS for i, scene in enumerate(scenes)}
        return np.array([fold[scene] for scene in self.source.tolist()])

    def calibration_weight(self) -> Numbers:
        """Only photographs count where there are any: rendered scenes are easier, and nobody judges them."""
        is_rendered = np.char.startswith(self.source, "rendered")
        return self.weight if is_rendered.all() else np.where(is_rendered, 0.0, self.weight)

    def error_weight(self) -> Numbers:
        """Wrongly exposed frames weigh as much as the many right ones."""
        return self.weight * np.where(np.abs(self.error) > 0.8, 4.0, 1.0)

    def looks_like(self, look: str) -> Numbers:
        """1 where a frame has a fault that looks so; for the exposure error what it is."""
        if look == "error":
            return self.error
        fault = next(fault for fault, looks in LOOKS.items() if look in looks)
        has = self.truth[fault] > 0
        if fault == "exposure":
            has &= (self.error > 0) == (look == "too_bright")
        if fault == "focus":
            has &= (self.kind == "missed focus") == (look == "soft_at_subject")
        return has.astype(float)

    def fit_of(self, look: str, rows: NDArray[np.bool_]) -> Fit:
        """What a look is fitted with; knots lie where some of the frames are."""
        names = chosen_features(look, self.names)
        used = np.concatenate([rows, rows & self.is_seen_afar])
        penalty, bend = STIFFNESS[look]
        basis = basis_for({name: self.features[name][used] for name in names}, names, bend)
        direction = basis.direction(directions(look, basis.names))
        return Fit(basis, basis.columns(self.features), basis.pull(penalty), direction, self.looks_like(look))


def fitted(table: Table, rows: NDArray[np.bool_]) -> dict[str, tuple[Fit, Numbers]]:
    """All looks and the exposure error, and their coefficients, from some of the frames."""
    fits = {what: table.fit_of(what, rows) for what in STIFFNESS}
    near, blurs = np.flatnonzero(rows), {look: fits[look] for look in BLURS}
    found = fitted_together(blurs, rows, table.is_seen_afar, table.weight)
    for what in (each for each in fits if each not in BLURS):
        fit, weight = fits[what], table.error_weight() if what == "error" else table.weight
        solve = least_absolute if what == "error" else logistic
        found[what] = solve(fit.columns[near], fit.truth[near], weight[near], fit.pull, fit.direction)
    return {what: (fit, found[what]) for what, fit in fits.items()}


def left_out(table: Table) -> dict[str, Numbers]:
    """The sum of each look, near and then from afar, fitted without the frames of the scene."""
    fold, result = table.folds(), {what: np.zeros(2 * len(table.error)) for what in STIFFNESS}
    for each in range(N_FOLDS):
        out = np.tile(fold == each, 2)
        for what, (fit, coefficients) in fitted(table, fold != each).items():
            result[what][out] = fit.columns[out] @ coefficients
    return result


def model_of(table: Table) -> tuple[dict[str, Any], dict[str, Numbers]]:
    """The model in its JSON form, and for frames left out the calibrated log-odds by fault and the exposure error."""
    parts, knots = {}, {}
    for what, (fit, coefficients) in fitted(table, np.ones(len(table.error), bool)).items():
        parts[what] = rounded(fit.basis.as_curves(coefficients))
        knots |= fit.basis.knots
    sums, calibrations = calibrated(table)
    model = {
        "version": MODEL_VERSION,
        "how_trained": "",
        "knots": {name: [round(float(k), 3) for k in knots[name]] for name in sorted(knots)},
        "calibration": calibrations,
        "exposure_error": parts.pop("error"),
        "looks": parts,
    }
    return model, sums


def calibrated(table: Table) -> tuple[dict[str, Numbers], dict[str, list[float]]]:
    """Log-odds by fault for frames left out, made as often right as they say, and what makes them so."""
    found = left_out(table)
    sums, calibrations = {"error": found["error"][: len(table.error)]}, {}
    for fault, looks in LOOKS.items():
        if fault in TOLD_FROM_AFAR:
            log_odds = by_both_looks(told({look: found[look] for look in BLURS}, fault), table.is_seen_afar)
        else:
            log_odds = any_of(np.stack([found[look][: len(table.error)] for look in looks]))
        steepness, shift = calibration(log_odds, table.truth[fault], table.calibration_weight())
        shift -= CAUTION
        sums[fault] = steepness * log_odds + shift
        calibrations[fault] = [round(steepness, 3), round(shift, 3)]
    return sums, calibrations


def calibration(sums: Numbers, truth: Numbers, weight: Numbers) -> tuple[float, float]:
    """Steepness and shift that make left-out probabilities as often right as they say (Platt 1999)."""
    columns = np.stack([sums, np.ones_like(sums)], axis=1)
    steepness, shift = logistic(columns, truth, weight, 1e-6 * np.eye(2))
    return float(steepness), float(shift)


def rounded(part: dict[str, Any]) -> dict[str, Any]:
    """A sum with three decimals, so that it can be read."""
    return {
        "constant": round(part["constant"], 3),
        "curves": {name: [round(float(v), 3) for v in values] for name, values in part["curves"].items()},
        "missing": {name: round(value, 3) for name, value in part["missing"].items() if round(value, 3)},
    }


def as_text(model: dict[str, Any]) -> str:
    """JSON with one curve a line."""
    text = json.dumps(model, indent=1)
    lines: list[str] = []
    for line in text.splitlines():
        inside = bool(lines) and lines[-1].count("[") > lines[-1].count("]")
        if inside:
            lines[-1] += ("" if lines[-1].endswith("[") or line.strip().startswith("]") else " ") + line.strip()
        else:
            lines.append(line)
    return "\n".join(lines) + "\n"


def main() -> None:
    """Fits and writes the model."""
    parser = argparse.ArgumentParser(description="Fits the fault model on generated frames.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--frames", type=int, default=4000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--photographs", type=Path, help="a folder with the listed photographs, for further frames")
    given = parser.parse_args()
    cv2.setNumThreads(1)
    given.folder.mkdir(parents=True, exist_ok=True)
    table = Table(all_features(given.folder, given.frames, given.seed, given.photographs))
    model, sums = model_of(table)
    more = ""
    if given.photographs:
        n_others = sum(OTHER_FRAMES.values())
        more = f" --photographs FOLDER ({MORE_FRAMES} frames, and {n_others} and {FIELD_FRAMES} of two other cameras)"
    model["how_trained"] = (
        f"python -m degraded.train --frames {given.frames} --seed {given.seed}{more}: generated from "
        f"{sources_in_words(set(table.source.tolist()))}, calibrated on photographs left out ({N_FOLDS} folds)"
    )
    MODEL_FILE.write_text(as_text(model), encoding="utf-8")
    for fault in FAULTS:
        print(f"{fault}: left-out log loss {log_loss(sums[fault], table.truth[fault], table.weight):.4f}")
    print(f"exposure error: median absolute {np.median(np.abs(sums['error'] - table.error)):.2f} stops")


def log_loss(sums: Numbers, truth: Numbers, weight: Numbers) -> float:
    """Mean of the negative log likelihood."""
    return float(np.average(np.logaddexp(0, np.where(truth > 0, -sums, sums)), weights=weight))


if __name__ == "__main__":
    main()
