"""The one JavaScript bundle that draws charts: made on this machine at first use, kept in the cache, never fetched."""

from __future__ import annotations

import os
import tempfile
from importlib.metadata import version
from pathlib import Path

from platformdirs import user_cache_path

#: Vega-Lite of the installed Altair; vl-convert carries the same one.
VEGA_LITE = "6.4"
#: All that our pages use of the bundle.
SNIPPET = "window.vegaEmbed = vegaEmbed;"


def vega_bundle(folder: Path | None = None) -> bytes:
    """Vega, Vega-Lite and Vega-Embed as one script that sets `window.vegaEmbed`."""
    kept = folder or user_cache_path("thirdstop", appauthor=False)
    file = kept / f"vega-lite-{VEGA_LITE}-{version('vl-convert-python')}.js"
    if file.is_file():
        return file.read_bytes()
    import vl_convert

    script: bytes = vl_convert.javascript_bundle(SNIPPET, vl_version=VEGA_LITE).encode()
    _keep(file, script)
    return script


def _keep(file: Path, script: bytes) -> None:
    """Whole or not at all; a cache that cannot be written only costs the next start two seconds."""
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=file.parent, suffix=".part")
    except OSError:
        return
    part = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(script)
        part.replace(file)
    except OSError:
        part.unlink(missing_ok=True)
