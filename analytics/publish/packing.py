"""Packs pages as files: a folder with scripts, style and pictures beside the page, or one HTML file that holds all.

Opened from a disk, a browser lets a page load classic scripts and pictures, but nothing by `fetch`, no modules and no
workers; so data are scripts that set a value. In one file every script and the style stand inline and the policy names
their hashes; in a folder the policy allows files of the same place only. Neither allows code made from text.
"""

from __future__ import annotations

import base64
import hashlib
import json
import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, FileSystemLoader
from markupsafe import Markup

from analytics.charts.bundle import vega_bundle
from analytics.charts.look import drawing_script, style_sheet
from analytics.charts.stacking import stacking
from analytics.pages.commands import told
from journal.errors import JournalError

if TYPE_CHECKING:
    from datetime import date

    from analytics.publish.blocks import Page

HERE = Path(__file__).parent
#: Where pictures lie in a folder.
PICTURES = "pictures"
#: What a folder holds; anything else in it is somebody else's.
FILES = ("index.html", "style.css", "data.js", "pages.js", "review.js", "vega.js")


@dataclass(frozen=True, slots=True)
class Document:
    """All that is published. `not_in_it` names what is private and stays out; `review` is what a mentor's answer needs,
    `None` where nothing is asked.
    """

    title: str
    simulated: str | None
    pages: list[Page]
    data: dict[str, Any]
    pictures: dict[int, bytes]
    made_on: date
    not_in_it: list[str] = field(default_factory=list)
    review: dict[str, Any] | None = None


def one_file(document: Document) -> str:
    """The document as one HTML file."""
    embedded = {number: base64.b64encode(picture).decode() for number, picture in document.pictures.items()}
    scripts = _scripts(document) | {"data": _data(document, embedded)}
    texts = {name: _inside_a_tag(text) for name, text in scripts.items()}
    style = _style()
    policy = (
        f"default-src 'none'; script-src {' '.join(map(_hash, texts.values()))}; style-src {_hash(style)}; "
        "img-src data: blob:; base-uri 'none'; form-action 'none'"
    )
    return _html(document, policy, {"style": Markup(style)}, {name: Markup(text) for name, text in texts.items()})  # noqa: S704 - our own text, escaped for its tag


def write_file(document: Document, target: Path, again: bool = False) -> int:
    """Writes the document as one file; returns its size [bytes].

    Raises:
        JournalError: there is such a file already, or it cannot be written.
    """
    if target.exists() and not again:
        raise JournalError(f"There is a file at {target} already.", "Choose another name, or add --again.")
    content = one_file(document).encode()
    try:
        _replace(target, content)
    except OSError as error:
        raise JournalError(f"{target} cannot be written: {error.strerror}.", "Choose another place.") from error
    return len(content)


def write_folder(document: Document, folder: Path, again: bool = False) -> int:
    """Writes the document as files in a folder; returns their size [bytes]. Pictures of an earlier one are removed.

    Raises:
        JournalError: the folder holds something else, or an earlier publication (`again`), or cannot be written.
    """
    try:
        _refuse_foreign(folder, again)
        (folder / PICTURES).mkdir(parents=True, exist_ok=True)
        for old in (folder / PICTURES).glob("*.webp"):
            old.unlink()
        contents = {f"{PICTURES}/{number}.webp": picture for number, picture in document.pictures.items()}
        named = dict.fromkeys(document.pictures, "")
        contents["data.js"] = _data(document, named).encode()
        contents["style.css"] = _style().encode()
        contents |= {f"{name}.js": text.encode() for name, text in _scripts(document).items()}
        policy = (
            "default-src 'none'; script-src 'self' file:; style-src 'self' file:; img-src 'self' file: data: blob:; "
            "base-uri 'none'; form-action 'none'"
        )
        contents["index.html"] = _html(document, policy, {}, {}).encode()
        for name, content in contents.items():
            _replace(folder / name, content)
    except OSError as error:
        raise JournalError(f"{folder} cannot be written: {error.strerror}.", "Choose another place.") from error
    return sum(map(len, contents.values()))


def _refuse_foreign(folder: Path, again: bool) -> None:
    if not folder.exists():
        return
    if not folder.is_dir():
        raise JournalError(f"There is a file at {folder} already.", "Name a folder, or write one file with --one-file.")
    foreign = sorted(path.name for path in folder.iterdir() if path.name not in (*FILES, PICTURES))
    if foreign:
        raise JournalError(f"The folder {folder} holds something else: {foreign[0]}.", "Name a new or an empty folder.")
    if any(folder.iterdir()) and not again:
        raise JournalError(f"The folder {folder} is published already.", "Add --again to replace what is there.")


def _replace(target: Path, content: bytes) -> None:
    """Whole or not at all: a reader never sees half a file."""
    target.parent.mkdir(parents=True, exist_ok=True)
    part = target.with_name(f"{target.name}.part")
    part.write_bytes(content)
    part.replace(target)


def _scripts(document: Document) -> dict[str, str]:
    """Our scripts in the order in which they run: pages can be read before the charts' bundle is."""
    names = ("review", "pages") if document.review is not None else ("pages",)
    ours = {name: (HERE / "assets" / f"{name}.js").read_text(encoding="utf-8") for name in names}
    ours["pages"] = drawing_script() + ours["pages"]
    return {**ours, "vega": vega_bundle().decode()}


def _data(document: Document, embedded: dict[int, str]) -> str:
    """The data as a script: `window.thirdstopData`. A picture is its base64 text, or empty where it is a file."""
    value = {**document.data, "pictures": embedded, "review": document.review}
    return f"window.thirdstopData = {for_script(value)};\n"


def for_script(value: Any) -> str:
    """JSON that may stand in a script: no tag can begin in it, and not-a-number is null."""
    text = json.dumps(_finite(value), ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(key): _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _inside_a_tag(script: str) -> str:
    """A script's text between its tags: what would end it there is written so that it means the same."""
    return script.replace("</script", "<\\/script").replace("<!--", "\\x3c!--")


def _style() -> str:
    return style_sheet() + (HERE / "assets" / "publish.css").read_text(encoding="utf-8")


def _footer(document: Document, is_one_file: bool) -> str:
    said, it = ("This file asks", "it") if is_one_file else ("These files ask", "them")
    kept = f" Not in {it}: {', '.join(document.not_in_it)}." if document.not_in_it else ""
    return f"Made on {document.made_on.isoformat()}. {said} no server and no network for anything.{kept}"


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def _html(document: Document, policy: str, inline_style: dict[str, Markup], inline: dict[str, Markup]) -> str:
    loader = FileSystemLoader(HERE / "templates")
    environment = Environment(loader=loader, autoescape=True, trim_blocks=True, lstrip_blocks=True)
    environment.filters["for_script"] = lambda value: Markup(for_script(value))  # noqa: S704 - escaped there
    environment.filters.update(stacking=stacking, told=told)
    names = ["data", *(name for name in ("review", "pages") if name == "pages" or document.review is not None), "vega"]
    return environment.get_template("published.html").render(
        document=document,
        policy=policy,
        style=inline_style.get("style"),
        inline=inline,
        scripts=names,
        footer=_footer(document, bool(inline)),
    )
