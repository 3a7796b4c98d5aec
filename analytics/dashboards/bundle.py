"""The chart library as one JavaScript file, made by vl-convert at first use and kept in the platform's cache folder.

Third-party code is neither committed nor fetched: vl-convert carries it.
"""

from __future__ import annotations

from importlib.metadata import version
from pathlib import Path

from platformdirs import user_cache_path

#: The Vega-Lite version that the charts are written for.
VEGA_LITE = "6.4"


def chart_bundle() -> Path:
    """The file, made if it is not there yet; a file that was half written is never taken for whole."""
    folder = user_cache_path("thirdstop", appauthor=False)
    path = folder / f"charts-{VEGA_LITE}-{version('vl-convert-python')}.js"
    if not path.exists():
        import vl_convert

        folder.mkdir(parents=True, exist_ok=True)
        part = path.with_suffix(".part")
        script = vl_convert.javascript_bundle(vl_version=VEGA_LITE)  # type: ignore[call-arg]  # the snippet is optional
        part.write_text(script, encoding="utf-8")
        part.replace(path)
    return path
