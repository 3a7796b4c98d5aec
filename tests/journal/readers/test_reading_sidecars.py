"""Sidecars in all their forms."""

from __future__ import annotations

import pytest

from journal.errors import Problem
from journal.readers import read_sidecar

RDF = """<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
 <rdf:Description rdf:about="" xmlns:xmp="http://ns.adobe.com/xap/1.0/" xmlns:dc="http://purl.org/dc/elements/1.1/"
   xmlns:exif="http://ns.adobe.com/exif/1.0/" xmp:Rating="4.0" exif:FNumber="28/10">
  <xmp:Label>dusk</xmp:Label>
  <dc:subject><rdf:Bag><rdf:li>waders</rdf:li><rdf:li>mud</rdf:li></rdf:Bag></dc:subject>
 </rdf:Description></rdf:RDF>"""
USUAL = f'<x:xmpmeta xmlns:x="adobe:ns:meta/">{RDF}</x:xmpmeta>'
DECLARED = '<?xml version="1.0" encoding="UTF-16"?>'


@pytest.mark.parametrize(
    "data",
    [
        USUAL.encode(),
        RDF.encode(),
        b"\xef\xbb\xbf" + USUAL.encode(),
        (DECLARED + USUAL).encode("utf-16"),
        RDF.encode("utf-16-le"),
        RDF.encode("utf-16-be"),
    ],
    ids=["usual", "bare RDF", "UTF-8 with mark", "UTF-16 with mark", "UTF-16 LE", "UTF-16 BE"],
)
def test_every_form_of_a_sidecar_says_the_same(tmp_path, data):
    path = tmp_path / "frame.xmp"
    path.write_bytes(data)
    facts = read_sidecar(path)
    assert not isinstance(facts, Problem), facts
    assert (facts.kind, facts.rating, facts.label, facts.keywords) == ("sidecar", 4.0, "dusk", ("waders", "mud"))
    assert (facts.f_number, facts.f_number_source) == (2.8, "xmp")


BOMB = '<!DOCTYPE a [<!ENTITY b "bbbb"><!ENTITY c "&b;&b;&b;&b;">]>' + USUAL


@pytest.mark.parametrize("data", [BOMB.encode(), BOMB.encode("utf-16")])
def test_a_sidecar_with_entities_is_refused_unread(tmp_path, data):
    path = tmp_path / "bomb.xmp"
    path.write_bytes(data)
    assert read_sidecar(path) == Problem(
        str(path),
        "The sidecar has a document type or entities, which XMP does not use.",
        "Write the sidecar again with the program that made it, or leave it out of the import.",
    )


@pytest.mark.parametrize("data", [b"\x89PNG\r\n\x1a\n\0\0", b"<a>", b"<a/>", b"<" * 5000, b"\xff\xfe<", b" "])
def test_what_is_no_sidecar_is_a_problem(tmp_path, data):
    path = tmp_path / "odd.xmp"
    path.write_bytes(data)
    assert isinstance(read_sidecar(path), Problem)


def test_deeply_nested_xml_neither_crashes_nor_hangs(tmp_path):
    path = tmp_path / "deep.xmp"
    path.write_bytes(b"<a>" * 100_000 + b"</a>" * 100_000)
    assert isinstance(read_sidecar(path), Problem)
