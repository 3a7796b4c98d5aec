"""What the fault suggestions are worth, and what they cost: PYTHONPATH=tests python tests/benchmarks/pixels.py
[--frames N].

Frames are generated from rendered scenes that the model was not fitted on, or from photographs of a folder of one's
own (`--photographs`). With `--series FOLDER` (where `degraded.train` keeps its frames) the same figures are told of
frames left out in the fit, scene by scene, with `--listed FOLDER` also of those of the listed photographs, and `--plot
FILE.svg` draws their calibration.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import altair as alt
import cv2
import numpy as np
from degraded.frames import Frame, clear_frame
from degraded.gathering import FIELD, OTHER, all_features
from degraded.plain import PLAIN_SETTINGS, plain_exposure
from degraded.scenes import rendered
from degraded.scores import Numbers, Scores, Truth, auc, calibration, confusion, right_among, scores, share
from degraded.sources import from_photograph, listed_digits
from degraded.train import Table, calibrated, model_of
from numpy.typing import NDArray

from analytics.pixels import measure
from analytics.pixels.model import FAULTS, FaultModel, parsed_model, probability_of

#: First rendered scene that no model is fitted on.
FIRST_SCENE = 1000
#: Sizes of blur that are told apart [px].
BLURS = ((3.5, 5.0), (5.0, 7.0), (7.0, 10.0), (10.0, 14.0), (14.0, 26.0))
BLURRED = {"shake": "shake", "focus": "focus", "missed focus": "focus", "subject motion": "subject_motion"}
#: Size from which a blur is clear, by kind [px], and an error of exposure [stops].
CLEAR_PX = {"shake": 4.0, "focus": 4.0, "missed focus": 6.0, "subject motion": 8.0}
CLEAR_STOPS = 2.0
#: Least errors of exposure that may count [stops].
LEAST_ERRORS = (1.0, 1.5, 2.0, 2.25, 2.5, 2.75)
#: Probabilities from which one might suggest.
OPERATING_POINTS = (0.35, 0.5, 0.6, 0.7, 0.8, 0.9)


def new_frame(index: int, photographs: list[Path]) -> Frame:
    """A frame that no fit has seen."""
    rng = np.random.default_rng([31, index])
    sizes = ((1200, 1600), (1600, 1200), (1066, 1600), (1400, 1050))
    if photographs:
        scene = from_photograph(photographs[index % len(photographs)], 5_000_000 + index)
    else:
        scene = rendered(FIRST_SCENE + index, *sizes[index % len(sizes)])
    return clear_frame(scene, rng)


def examined(frames: int, photographs: list[Path]) -> tuple[Numbers, Truth, list[dict[str, Any]]]:
    """Probabilities, truth and what else is known of each frame."""
    said, truth, known = [], [], []
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "frame.jpg"
        for index in range(frames):
            made = new_frame(index, photographs)
            path.write_bytes(made.data)
            found = measure(path, made.exif)
            said.append([found[fault] for fault in FAULTS])
            truth.append([bool(label) for label in made.labels])
            known.append({"kind": made.kind, "blur_px": made.blur_px, "ev": made.ev, "found": found, "made": made})
    return np.array(said), np.array(truth), known


def tell(title: str, probabilities: Numbers, truth: Truth) -> None:
    """Prints the scores."""
    found = scores(probabilities, truth)
    print(f"\n{title}: {found.n_frames} frames, {found.n_good} of them good")
    print("  fault            AUC  calibration error")
    for fault in FAULTS:
        print(f"  {fault:<15} {found.auc[fault]:.3f}  {found.calibration_error[fault]:.3f}")
    print("  from p >=   precision  first right  false alarms  suggested")
    for point in OPERATING_POINTS:
        each: Scores = scores(probabilities, truth, point)
        print(
            f"  {point:<11} {each.precision:.2f}       {each.first_right:.2f}         {each.false_alarms:.2f}"
            f"          {each.suggested:.2f}"
        )
    one, two = (right_among(probabilities, truth, n_likeliest) for n_likeliest in (1, 2))
    print(f"  a fault of a faulty frame is the likeliest in {one:.2f}, one of the two likeliest in {two:.2f}")
    names = [*FAULTS, "none"]
    print("  truth \\ first suggestion: " + ", ".join(names))
    for name, row in zip(names, confusion(probabilities, truth), strict=True):
        print(f"  {name:<15} " + " ".join(f"{count:5d}" for count in row))
    print("  calibration, frames: said -> was")
    for i, fault in enumerate(FAULTS):
        bins = calibration(probabilities[:, i], truth[:, i])
        print(f"  {fault:<15} " + "  ".join(f"{n}: {said:.2f}->{was:.2f}" for n, said, was in bins))


def tell_blur(probabilities: Numbers, kinds: NDArray[np.str_], blur_px: Numbers) -> None:
    """Prints which sizes of blur are found: the share suggested rightly, first."""
    print("\nblur that is found (share whose first suggestion is right, of n)")
    print("  kind            " + "  ".join(f"{low:g}-{high:g} px".rjust(12) for low, high in BLURS))
    first = np.array(FAULTS)[probabilities.argmax(axis=1)]
    is_suggested = probabilities.max(axis=1) >= 0.5
    for kind, fault in BLURRED.items():
        cells = []
        for low, high in BLURS:
            inside = (kinds == kind) & (blur_px >= low) & (blur_px < high)
            right = (first == fault) & is_suggested
            cells.append(f"{right[inside].mean():.2f} of {inside.sum()}" if inside.any() else "-")
        print(f"  {kind:<15} " + "  ".join(cell.rjust(12) for cell in cells))


def tell_error(error: Numbers, is_wrong: Truth) -> None:
    """Prints how far the exposure error is off."""
    whole, wrong = float(np.median(error)), float(np.median(error[is_wrong]))
    print(f"\nexposure error off by: median {whole:.2f} stops, of wrongly exposed frames {wrong:.2f}")


def tell_cost(folder: Path) -> None:
    """Prints time beside decoding alone and memory, of 24 and 60 megapixels."""
    cv2.setNumThreads(1)
    light = rendered(FIRST_SCENE + 2, 1000, 1500).light
    small = np.asarray(np.clip(light, 0, 1) ** (1 / 2.2) * 255, np.uint8)
    print("\ncost of one JPEG, CPU seconds, least of five")
    for megapixels, size in ((24, (6000, 4000)), (60, (9480, 6320))):
        large = cv2.resize(small, size, interpolation=cv2.INTER_CUBIC).astype(np.float32)
        large += np.random.default_rng(0).normal(0, 3, (*large.shape[:2], 1)).astype(np.float32)
        path = folder / f"{megapixels}.jpg"
        cv2.imwrite(str(path), np.clip(large, 0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 92])
        del large
        decode = least(lambda p=path: cv2.imread(str(p), cv2.IMREAD_GRAYSCALE))
        whole = least(lambda p=path: measure(p, {}))
        line = "import sys; from analytics.pixels import measure; measure(sys.argv[1], {}); "
        line += "from degraded.memory import peak_mib; print(round(peak_mib()))"
        done = subprocess.run([sys.executable, "-c", line, str(path)], capture_output=True, text=True, check=True)
        print(
            f"  {megapixels} MP, {path.stat().st_size / 1e6:.1f} MB: decoding {decode:.3f}, measuring {whole:.3f}, "
            f"{whole / decode:.2f} times; {done.stdout.strip()} MiB"
        )


def least(act: Callable[[], object]) -> float:
    """Least CPU time of five runs [s]."""
    times = []
    for _ in range(5):
        start = time.process_time()
        act()
        times.append(time.process_time() - start)
    return min(times)


def tell_left_out(folder: Path, frames: int, listed: Path | None) -> tuple[Numbers, Truth]:
    """Prints the scores of frames left out in the fit, with their settings."""
    kept = all_features(folder, frames, 1, listed)
    table = Table(kept)
    sums, _ = calibrated(table)
    n = table.n_frames
    probabilities = np.stack([np.vectorize(probability_of)(sums[fault][:n]) for fault in FAULTS], axis=1)
    truth = np.stack([table.truth[fault][:n] > 0 for fault in FAULTS], axis=1)
    tell("left out in the fit, scene by scene", probabilities, truth)
    sources, digits = table.source[:n], sorted(listed_digits())
    is_listed, is_other, is_field = np.isin(sources, digits), table.is_other[:n], table.is_field[:n]
    is_photograph = ~is_listed & ~is_other & ~is_field & ~np.char.startswith(sources, "rendered")
    tell("of these, photographs of the frames' folder", probabilities[is_photograph], truth[is_photograph])
    if is_listed.any():
        tell("of these, listed photographs", probabilities[is_listed], truth[is_listed])
        either = is_photograph | is_listed
        tell("of these, both kinds of photographs", probabilities[either], truth[either])
        for camera, rows in ((OTHER, is_other), (FIELD, is_field)):
            tell(f"of these, by the {camera}camera", probabilities[rows], truth[rows])
            tell_unknown_camera(kept, camera)
        either |= is_other | is_field
        tell("of these, all photographs, by all cameras", probabilities[either], truth[either])
        clear = either & _is_clear(kept)
        tell("of these, without frames whose fault is small", probabilities[clear], truth[clear])
        tell_exposure_by_size(table, probabilities[:, FAULTS.index("exposure")], either)
    tell_blur(probabilities, table.kind[:n], np.array([frame["blur_px"] for frame in kept]))
    tell_error(np.abs(sums["error"] - table.error)[:n], table.truth["exposure"][:n] > 0)
    return probabilities, truth


def _is_clear(kept: list[dict[str, Any]]) -> Truth:
    """Which frames have no fault so small that it is hard to see."""
    return np.array(
        [
            frame["blur_px"] >= CLEAR_PX.get(frame["kind"], 0.0)
            and (not frame["labels"]["exposure"] or abs(frame["ev"]) >= CLEAR_STOPS)
            for frame in kept
        ]
    )


def tell_exposure_by_size(table: Table, suggested: Numbers, rows: Truth) -> None:
    """Prints how wrong exposures are told from right ones by the least error that counts, beside plain fits that show
    how hard the frames are."""
    n = table.n_frames
    is_wrong, error = table.truth["exposure"][:n] > 0, np.abs(table.error[:n])
    by = {
        "tones alone, plain": plain_exposure(table)[:n],
        "settings alone, plain": plain_exposure(table, PLAIN_SETTINGS)[:n],
        "as suggested": suggested,
    }
    print("\nexposure by the least error that counts: AUC, and share found where 5 % of the right ones are suspected")
    for least_stops in LEAST_ERRORS:
        inside = rows & (~is_wrong | (error >= least_stops))
        cells = []
        for name, values in by.items():
            suspicious = np.quantile(values[inside & ~is_wrong], 0.95)
            found = share(values[inside & is_wrong] > suspicious)
            cells.append(f"{name} {auc(values[inside], is_wrong[inside]):.3f} {found:.2f}")
        print(f"  from {least_stops:g} stops, {(inside & is_wrong).sum()} frames: " + "; ".join(cells))


def tell_unknown_camera(kept: list[dict[str, Any]], camera: str) -> None:
    """Prints what is found in a camera's frames by a fit that had none of them."""
    others = [frame for frame in kept if frame["source"].startswith(camera)]
    fitted, _ = model_of(Table([frame for frame in kept if not frame["source"].startswith(camera)]))
    model = parsed_model(fitted)
    said = [list(said_of(frame, model).values()) for frame in others]
    truth = np.array([[bool(frame["labels"][fault]) for fault in FAULTS] for frame in others])
    tell(f"the {camera}camera's frames, by a fit without them", np.array(said), truth)


def said_of(frame: dict[str, Any], model: FaultModel) -> dict[str, float]:
    """Probabilities of a frame with its settings, near and from afar."""
    return model.probabilities(*(known(features) for features in (frame["features"][0], frame["afar"][0]) if features))


def known(features: dict[str, float | None]) -> dict[str, float]:
    """Features without those that the picture or its settings do not tell."""
    return {name: value for name, value in features.items() if value is not None}


def draw_calibration(probabilities: Numbers, truth: Truth, path: Path) -> None:
    """Draws how often each fault was there against how likely it was said to be; the diagonal is what should be."""
    rows = [
        {"fault": fault, "said": said, "was": was, "frames": frames}
        for i, fault in enumerate(FAULTS)
        for frames, said, was in calibration(probabilities[:, i], truth[:, i])
    ]
    x, y = alt.X("said:Q", title="said"), alt.Y("was:Q", title="was")
    ends = alt.Data(values=[{"said": 0, "was": 0}, {"said": 1, "was": 1}])
    diagonal = alt.Chart(ends).mark_line(strokeDash=[4, 4], color="grey").encode(x=x, y=y)
    dots = alt.Chart(alt.Data(values=rows)).mark_point(filled=True).encode(x=x, y=y, color="fault:N", size="frames:Q")
    alt.layer(diagonal, dots).properties(width=420, height=420, title="How often is what is said true?").save(str(path))


def main() -> None:
    """Runs the benchmark."""
    parser = argparse.ArgumentParser(description="What the fault suggestions are worth, and what they cost.")
    parser.add_argument("--frames", type=int, default=300)
    parser.add_argument("--photographs", type=Path)
    parser.add_argument("--series", type=Path)
    parser.add_argument("--series-frames", type=int, default=1500)
    parser.add_argument("--listed", type=Path, help="the folder with the listed photographs, if the fit had it")
    parser.add_argument("--plot", type=Path, help="where to draw the calibration of frames left out, as SVG")
    given = parser.parse_args()
    photographs = sorted(p for p in given.photographs.iterdir() if p.is_file()) if given.photographs else []
    if given.frames:
        probabilities, truth, known = examined(given.frames, photographs)
        tell("photographs of the folder" if photographs else "rendered scenes never fitted on", probabilities, truth)
        tell_blur(probabilities, np.array([each["kind"] for each in known]), np.array([k["blur_px"] for k in known]))
        error = np.array([abs(each["found"]["ev"] - each["ev"]) for each in known])
        tell_error(error, truth[:, FAULTS.index("exposure")])
        print(f"cannot tell: {np.mean([each['found']['cant_tell'] for each in known]):.1%} of the frames")
    if given.series:
        probabilities, truth = tell_left_out(given.series, given.series_frames, given.listed)
        if given.plot:
            draw_calibration(probabilities, truth, given.plot)
    with tempfile.TemporaryDirectory() as folder:
        tell_cost(Path(folder))


if __name__ == "__main__":
    main()
