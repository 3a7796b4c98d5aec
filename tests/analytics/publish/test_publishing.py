"""What is published: private words stay in the journal unless asked for by name, and pictures are only pixels."""

from __future__ import annotations

import io
import json
import re
from dataclasses import fields
from datetime import date
from typing import TYPE_CHECKING

import pytest
from journals import PREVIEW, changed, empty_journal, small_journal
from PIL import Image
from secrets_planted import journal_of_secrets, picture_with_secrets, secrets_in, unpacked

from analytics.charts.bundle import vega_bundle
from analytics.dataset import OpenJournal
from analytics.pages.bare_picture import only_pixels
from analytics.pages.privacy import Asked
from analytics.pages.session import session_page
from analytics.publish.blocks import Block, Heading, Page, Table, Text
from analytics.publish.material import Chosen, choose, local_moment
from analytics.publish.packing import FILES, for_script, one_file, write_file, write_folder
from analytics.publish.pictures import by_worth
from analytics.publish.publication import Publication, Request, compose
from journal.cli import load_commands, run
from journal.errors import JournalError
from journal.store.opening import open_journal
from journal.store.summaries import refresh_all

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

#: Names of bodies and lenses are shown always: without them no limit could be said.
ALWAYS = {"bodies.model", "lenses.model"}
#: Which fields each option adds.
ADDS = {
    "intents": {"sessions.intent"},
    "light": {"sessions.light"},
    "notes": {"sessions.notes"},
    "places": {"sessions.place", "sessions.time_zone"},
    "positions": {"sessions.sunlight"},
    "serials": {"bodies.serial_number"},
    "file_names": {"frames.file_name"},
}
DAY = date(2026, 4, 1)


@pytest.fixture(scope="module")
def secret(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, set[str]]:
    return journal_of_secrets(tmp_path_factory.mktemp("secret") / "secret.journal")


def published(path: Path, asked: Asked | None = None, n_pictures: int = 400) -> Publication:
    with OpenJournal(path) as journal:
        chosen = choose(journal, (), (), {"since": None, "until": None})
        return compose(journal, Request(chosen, asked or Asked(), n_pictures, DAY))


def contents(publication: Publication, folder: Path) -> list[bytes]:
    write_folder(publication.document, folder)
    files = [path.read_bytes() for path in folder.rglob("*") if path.is_file() and path.name != "vega.js"]
    bundle = vega_bundle().decode()
    whole = one_file(publication.document)
    assert bundle in whole
    return [*files, whole.replace(bundle, "").encode()]


def test_the_journal_of_secrets_holds_one_in_every_free_text(secret: tuple[Path, set[str]]) -> None:
    assert {
        "sessions.intent",
        "sessions.place",
        "frames.keywords",
        "frames.label",
        "files.path",
        "verdicts.judged_by",
        "problems.path",
        "imports.paths",
        "suggestions.evidence",
        "advice.advice",
        "settings.value",
        "comments.body",
        "comments.mentor",
        "mentor_links.mentor",
        "reviews.questions",
        "bodies.serial_number",
    } <= secret[1]
    assert len(secret[1]) >= 30


def test_nothing_private_is_published_unasked(secret: tuple[Path, set[str]], tmp_path: Path) -> None:
    texts = contents(published(secret[0]), tmp_path / "out")
    assert secrets_in(texts) == ALWAYS
    assert not [text for text in unpacked(texts) if re.search(rb"4[1-4]\.[2345]\d\d", text)]
    assert not [text for text in texts if str(secret[0].parent).encode() in text]


@pytest.mark.parametrize("name", [field.name for field in fields(Asked)])
def test_what_is_asked_for_adds_that_and_nothing_else(secret: tuple[Path, set[str]], tmp_path: Path, name: str) -> None:
    texts = contents(published(secret[0], Asked(**{name: True})), tmp_path / "out")
    assert secrets_in(texts) == ALWAYS | ADDS[name]
    has_position = any(b"43.45679, 44.56789" in text for text in texts)
    assert has_position == (name == "positions")


def test_the_report_counts_what_was_left_out_and_names_the_option(secret: tuple[Path, set[str]]) -> None:
    assert published(secret[0], Asked(notes=True)).report() == [
        "In it: 4 sessions, 44 frames, 1 picture.",
        "Left out: intents in words of 4 sessions (--with-intents).",
        "Left out: the light in words of 4 sessions (--with-light).",
        "Shown, as asked: notes of 4 sessions.",
        "Left out: places and time zones of 4 sessions (--with-places).",
        "Left out: positions and the sun's height of 4 sessions (--with-positions).",
        "Left out: serial numbers of 1 body (--with-serials).",
        "Left out: file names of 44 frames (--with-file-names).",
        "Never published: file paths, keywords and labels, ids of pictures, who judged, positions of single frames, "
        "and whatever stands in the pictures' own files.",
        "Before you hand this on: people who did not agree to it, and children in particular, come first, and so does "
        "the law of the place; of nests, dens and roosts publish no location, nor a picture that shows it.",
    ]


def test_a_picture_is_published_as_pixels_alone() -> None:
    made = only_pixels(picture_with_secrets())
    assert made is not None
    assert secrets_in([made]) == set()
    with Image.open(io.BytesIO(made)) as picture:
        assert picture.size == (60, 40)
        assert set(picture.info) <= {"loop", "background", "timestamp", "duration"}
        assert not picture.getexif()
        assert all(
            abs(a - b) < 6 for a, b in zip(picture.convert("RGB").getpixel((30, 20)), (90, 120, 90), strict=True)
        )  # type: ignore[arg-type]
    assert {name for name in (b"EXIF", b"XMP ", b"ICCP") if name in made} == set()


def test_a_preview_that_is_no_picture_has_none() -> None:
    for broken in (b"", b"RIFF", PREVIEW[:40], b"<svg/>"):
        assert only_pixels(broken) is None


def test_pictures_are_spread_over_bursts_before_a_burst_gets_two(tmp_path: Path) -> None:
    path = small_journal(tmp_path / "a.journal", 2)
    connection = open_journal(path)
    connection.execute("insert or ignore into previews select id, ? from frames", [PREVIEW])
    connection.close()
    with OpenJournal(path) as journal:
        order = by_worth(journal, [1, 2], [22])
    assert order[:5] == [22, 12, 1, 17, 6]  # the wanted one, then the first of each burst, the newest session first
    assert sorted(order) == list(range(1, 23))


def test_no_tag_can_begin_in_a_script() -> None:
    text = for_script({"a": "</script><!--<script>", "b": [float("nan"), 1.5], "c": "\u2028"})
    assert not set("<>&\u2028") & set(text)
    assert json.loads(text) == {"a": "</script><!--<script>", "b": [None, 1.5], "c": "\u2028"}


def test_a_session_is_published_with_the_charts_of_its_own_page(tmp_path: Path) -> None:
    path = small_journal(tmp_path / "a.journal", 4)
    document = published(path).document
    with OpenJournal(path) as journal:
        own = session_page(journal, 2).course
    assert own is not None and own.course is not None and own.faults is not None
    (session,) = [session for session in document.data["sessions"] if session["number"] == 2]
    by_heading = {part["heading"]: part for part in session["parts"]}
    for heading, drawn in (("Faults", own.faults), ("The course of the session", own.course)):
        part = by_heading[heading]
        chart = part["chart"]
        values = [dict(zip(chart["names"], row, strict=True)) for row in chart["rows"]]
        spec = {**document.data["shapes"][chart["shape"]], **chart["more"], "data": {"values": values}}
        assert spec | {"description": chart["said"]} == drawn.chart
        assert part["sentence"] == drawn.sentence
    assert by_heading["Planned, and used"]["sentence"] == own.plan_sentence
    assert by_heading["Planned, and used"]["rows"][0][0] == own.plan[0].setting
    # shapes that no session has are not carried along
    assert set(document.data["shapes"]) == {"faults", "course keeper reject"}


def test_simulated_data_are_said_on_the_page_and_in_its_title(tmp_path: Path) -> None:
    html = one_file(published(small_journal(tmp_path / "a.journal", is_simulated=True)).document)
    assert '<p class="notice" role="note">Simulated data.</p>' in html
    assert "<title>thirdstop (simulated data)</title>" in html


@pytest.fixture(scope="module")
def year(simulated_year: Path) -> dict[str, Page]:
    """The pages of the simulated year."""
    return {page.key: page for page in published(simulated_year, n_pictures=0).document.pages}


def texts(blocks: Sequence[Block]) -> list[str]:
    return [block.text for block in blocks if isinstance(block, Text)]


def test_a_page_of_advice_says_on_which_habit_and_how_many_sessions_are_compared(year: dict[str, Page]) -> None:
    heading, advice, left_out, table, compared, surer = year["advice"].blocks
    assert isinstance(heading, Heading) and re.fullmatch(r"Given [\d-]{10}: too slow for your hands", heading.text)
    assert isinstance(table, Table) and len(table.rows) == 3
    said = texts([advice, left_out, compared, surer])
    assert re.fullmatch(r"Left out, for they led to it: the sessions from [\d-]{10} to [\d-]{10}\.", said[1])
    assert re.fullmatch(r"Compared: \d+ sessions before, \d+ after\.", said[2])
    assert said[3].startswith("Nobody shot the same scenes without the advice")


def test_a_habit_is_named_once_and_one_without_a_cost_has_a_dash(year: dict[str, Page]) -> None:
    blocks = year["habits"].blocks
    table = next(block for block in blocks if isinstance(block, Table))
    costs = {row[-1]: row[1] for row in table.rows}
    assert costs["not seen"] == "–" and re.match(r"\d", str(costs["costs keepers"]))
    place = next(number for number, block in enumerate(blocks) if isinstance(block, Heading))
    assert re.match(r"[\d,]+ frames in \d+ sessions; of these you would have kept", texts(blocks[place:])[0])


def test_what_moved_the_plain_count_is_said_before_its_table(year: dict[str, Page]) -> None:
    blocks = year["progress"].blocks
    table = next(number for number, block in enumerate(blocks) if isinstance(block, Table))
    assert "the plain count" in texts(blocks[:table])[-1]
    assert len(texts(blocks[table:])) == 1  # what would make it surer


def test_an_empty_journal_and_an_unjudged_one_are_published_too(tmp_path: Path) -> None:
    empty = published(empty_journal(tmp_path / "a.journal"))
    assert empty.report()[0] == "In it: 0 sessions, 0 frames, 0 pictures."
    path = small_journal(tmp_path / "b.journal")
    connection = open_journal(path)
    connection.execute("update frames set verdict = 'unjudged'")
    refresh_all(connection)
    connection.close()
    assert "none is judged yet" in one_file(published(path).document)


def test_a_session_of_a_day_to_come_is_not_the_last_one_on_the_first_page(tmp_path: Path) -> None:
    path = small_journal(tmp_path / "a.journal", 4)
    before = one_file(published(path).document)
    newest = re.search(r"<h2>The last session</h2>\s*<p>Session (\d+), ", before)
    assert newest
    later = "update sessions set started_at = '2099-01-01T08:00:00Z', ended_at = '2099-01-01T09:00:00Z' where id = 1"
    assert newest[1] != "1"
    after = one_file(published(changed(path, later)).document)
    assert f"<h2>The last session</h2>\n<p>Session {newest[1]}, " in re.sub(r"</h2>\s*<p", "</h2>\n<p", after)
    assert "Session 1, 2099-01-01" in after


def test_a_published_sentence_sets_the_command_it_names_as_one(tmp_path: Path) -> None:
    pages = one_file(published(small_journal(tmp_path / "a.journal", 4)).document).split("<script>")[0]
    assert re.search(r'<code><span class="whole">thirdstop</span> <span class="whole">[a-z]', pages)
    assert ": thirdstop " not in pages


def test_a_moment_is_local_without_saying_where() -> None:
    assert local_moment("2026-03-01T06:40:00Z", "+02:00") == "2026-03-01 08:40"
    assert local_moment("2026-03-01T06:40:00Z", "Hidden") == "2026-03-01 06:40"
    assert local_moment("Hidden", "UTC") == "unknown"


def test_sessions_are_chosen_by_number_or_by_period(tmp_path: Path) -> None:
    with OpenJournal(small_journal(tmp_path / "a.journal", 6)) as journal:
        everything = {"since": None, "until": None}
        assert choose(journal, [4, 2], [7], everything) == Chosen([2, 4], [7])
        assert choose(journal, [], [], {"since": "2026-03-02", "until": "2026-03-04"}).sessions == [2, 3, 4]
        with pytest.raises(JournalError, match="There is no session 9 in this journal"):
            choose(journal, [9], [], everything)
        with pytest.raises(JournalError, match="There is no frame 900 in this journal"):
            choose(journal, [], [900], everything)
        with pytest.raises(JournalError, match="No session lies in this period"):
            choose(journal, [], [], {"since": "2027-01-01", "until": None})


def test_a_folder_of_somebody_else_is_left_alone(tmp_path: Path) -> None:
    document = published(small_journal(tmp_path / "a.journal")).document
    folder = tmp_path / "mine"
    folder.mkdir()
    (folder / "letter.txt").write_text("dear", encoding="utf-8")
    with pytest.raises(JournalError, match=r"holds something else: letter\.txt"):
        write_folder(document, folder, again=True)
    assert [path.name for path in folder.iterdir()] == ["letter.txt"]
    with pytest.raises(JournalError, match="There is a file at"):
        write_folder(document, folder / "letter.txt")
    with pytest.raises(JournalError, match="There is a file at"):
        write_file(document, folder / "letter.txt")


def test_publishing_again_removes_the_pictures_of_before(tmp_path: Path) -> None:
    path, folder = small_journal(tmp_path / "a.journal"), tmp_path / "out"
    write_folder(published(path).document, folder)
    assert [picture.name for picture in (folder / "pictures").iterdir()] == ["1.webp"]
    without = published(path, n_pictures=0).document
    with pytest.raises(JournalError, match="is published already"):
        write_folder(without, folder)
    write_folder(without, folder, again=True)
    assert list((folder / "pictures").iterdir()) == []
    assert {file.name for file in folder.iterdir() if file.is_file()} <= set(FILES)


def test_the_command_writes_a_folder_and_says_what_was_left_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    load_commands()
    path, folder = small_journal(tmp_path / "a.journal", is_simulated=True), tmp_path / "out"
    assert run(["publish", str(folder), "--journal", str(path), "--pictures", "0"]) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[0].startswith(f"Simulated data. Published: {folder / 'index.html'} (")
    assert said[1] == "In it: 4 sessions, 44 frames, 0 pictures."
    assert run(["publish", str(tmp_path / "a.html"), "--one-file", "--journal", str(path), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["n_bytes"] == (tmp_path / "a.html").stat().st_size
    assert {kind["option"]: kind["n"] for kind in found["left_out"]}["--with-serials"] == 1


def test_the_foot_speaks_of_one_file_or_of_several(tmp_path: Path) -> None:
    document = published(small_journal(tmp_path / "a.journal")).document
    write_folder(document, tmp_path / "out")
    (folder,) = re.findall("<footer>\n<p>(.*)</p>", (tmp_path / "out" / "index.html").read_text("utf-8"))
    (one,) = re.findall("<footer>\n<p>(.*)</p>", one_file(document))
    private = "intents in words, positions and the sun&#39;s height, serial numbers, file names."
    assert (
        folder == f"Made on 2026-04-01. These files ask no server and no network for anything. Not in them: {private}"
    )
    assert one == f"Made on 2026-04-01. This file asks no server and no network for anything. Not in it: {private}"


def test_every_page_says_who_you_is_and_the_first_one_what_is_counted(tmp_path: Path) -> None:
    pages = one_file(published(small_journal(tmp_path / "a.journal")).document).split('<section class="page"')[1:]
    notices = [re.findall('<p class="notice">(.*)</p>', page) for page in pages]
    who = "“You” is the photographer whose journal this is."
    judged = "A judged frame is a keeper, which the photographer would show, or a reject"
    to_run = who.replace(".", ", and commands are theirs to run.")
    whose = [to_run if "<code>" in page else who for page in pages]
    assert to_run in whose and who in whose
    assert notices == [[f"{whose[0]} {judged}; rates count judged frames only."], *([each] for each in whose[1:])]
    assert len(pages) >= 8


def test_numbers_below_nought_in_the_parts_of_sessions_have_a_minus_sign(simulated_year: Path) -> None:
    sessions = published(simulated_year).document.data["sessions"]
    along = [part for session in sessions for part in session["parts"] if part["heading"] == "As it went on"]
    assert any("−" in part["sentence"] for part in along)
    assert not [part["sentence"] for part in along if re.search(r"[ (]-\d", part["sentence"] + part["chart"]["said"])]


def test_of_a_session_without_verdicts_no_number_of_keepers_is_told(tmp_path: Path) -> None:
    path = changed(
        small_journal(tmp_path / "a.journal", 2),
        "delete from frame_faults where frame_id in (select id from frames where session_id = 1)",
        "update frames set verdict = 'unjudged' where session_id = 1",
    )
    (page,) = (page for page in published(path).document.pages if page.key == "sessions")
    (table,) = (block for block in page.blocks if isinstance(block, Table))
    keepers = table.columns.index("keepers")
    assert [row[keepers] for row in table.rows] == [5, "–"]
