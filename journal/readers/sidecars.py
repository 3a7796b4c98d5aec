"""XMP sidecars: exiv2 for the usual form, an XML parser for those that exiv2 refuses.

Refused by exiv2 are UTF-16 and a bare rdf:RDF without x:xmpmeta. A document type or an entity has no place in
XMP (ISO 16684-1 allows neither to matter) and can make a parser eat all memory, so either is refused unread.
"""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from pathlib import Path

import exiv2

from journal.readers.content_key import UnreadableFileError
from journal.readers.xmp_facts import MAX_KEYWORDS, XMP_KEYS, properties_of

#: Larger sidecars hold no notes about a frame.
MAX_SIDECAR_BYTES = 32 * 1024 * 1024

RDF = "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}"
#: Namespaces of the wanted properties (XMP specification part 1 and 2), by exiv2's prefix.
NAMESPACES = {
    "http://ns.adobe.com/xap/1.0/": "xmp",
    "http://purl.org/dc/elements/1.1/": "dc",
    "http://ns.adobe.com/exif/1.0/": "exif",
    "http://ns.adobe.com/tiff/1.0/": "tiff",
    "http://ns.adobe.com/exif/1.0/aux/": "aux",
}
_NEXT = "Write the sidecar again with the program that made it, or leave it out of the import."


def sidecar_properties(path: str) -> dict[str, tuple[str, ...]]:
    """The wanted properties of a sidecar.

    Raises:
        UnreadableFileError: it is too large, has a document type or an entity, or is no XMP.
    """
    try:
        with Path(path).open("rb") as file:
            data = file.read(MAX_SIDECAR_BYTES + 1)
    except OSError as error:
        raise UnreadableFileError(f"The sidecar could not be read: {error.strerror}.", _NEXT) from error
    if len(data) > MAX_SIDECAR_BYTES:
        raise UnreadableFileError("The sidecar is larger than 32 MiB.", _NEXT)
    return packet_properties(data)


def packet_properties(data: bytes) -> dict[str, tuple[str, ...]]:
    """The wanted properties of an XMP packet, wherever it was found.

    Raises:
        UnreadableFileError: it has a document type or an entity, or is no XMP.
    """
    text = _decoded(data)
    lowered = text.lower()
    if "<!doctype" in lowered or "<!entity" in lowered:
        raise UnreadableFileError("The sidecar has a document type or entities, which XMP does not use.", _NEXT)
    if "xmpmeta" in text:
        found = _by_exiv2(text)
        if found is not None:
            return found
    return _by_xml(text)


def _decoded(data: bytes) -> str:
    """Text of the sidecar in whichever UTF it is; a byte-order mark decides, else where the zeros are."""
    marks = (
        (b"\xff\xfe\0\0", "utf-32"),
        (b"\0\0\xfe\xff", "utf-32"),
        (b"\xff\xfe", "utf-16"),
        (b"\xfe\xff", "utf-16"),
        (b"\xef\xbb\xbf", "utf-8-sig"),
    )
    encoding = next((name for mark, name in marks if data.startswith(mark)), None)
    if encoding is None:
        encoding = {b"<\0": "utf-16-le", b"\0<": "utf-16-be"}.get(data[:2], "utf-8")
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        raise UnreadableFileError("The sidecar is not text.", _NEXT) from error
    if "<" not in text or "\0" in text.rstrip("\0"):
        raise UnreadableFileError("The sidecar is not XMP.", _NEXT)
    return text.rstrip("\0")


def _by_exiv2(text: str) -> dict[str, tuple[str, ...]] | None:
    """exiv2's reading, or None where it refuses or finds nothing."""
    try:
        image = exiv2.ImageFactory.open(_without_declaration(text).encode())
        image.readMetadata()
        data = image.xmpData()
        return None if data.empty() else properties_of(data)
    except exiv2.Exiv2Error:
        return None


def _without_declaration(text: str) -> str:
    """The text without `<?xml … ?>`, whose encoding no longer holds once the text is decoded."""
    stripped = text.lstrip("\ufeff \t\r\n")
    return stripped.partition("?>")[2].lstrip() if stripped.startswith("<?xml") else stripped


def _by_xml(text: str) -> dict[str, tuple[str, ...]]:
    try:
        root = ElementTree.fromstring(_without_declaration(text))  # noqa: S314 - no DTD, no entities
    except (ElementTree.ParseError, RecursionError) as error:
        raise UnreadableFileError("The sidecar is not well-formed XML.", _NEXT) from error
    rdf = root if root.tag == RDF + "RDF" else root.find(f".//{RDF}RDF")
    if rdf is None:
        raise UnreadableFileError("The sidecar is not XMP.", _NEXT)
    found: dict[str, tuple[str, ...]] = {}
    for description in rdf.findall(RDF + "Description"):
        for name, value in description.attrib.items():
            _keep(found, name, (value,))
        for element in description:
            items = tuple(item.text or "" for item in element.findall(f"*/{RDF}li"))
            _keep(found, element.tag, items or (element.text or "",))
    return found


def _keep(found: dict[str, tuple[str, ...]], name: str, values: tuple[str, ...]) -> None:
    namespace, _, local = name.lstrip("{").partition("}")
    key = f"Xmp.{NAMESPACES.get(namespace, '')}.{local}"
    if key in XMP_KEYS:
        found[key] = values[:MAX_KEYWORDS]
