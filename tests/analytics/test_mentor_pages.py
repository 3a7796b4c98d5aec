"""What a mentor sees and may say: nothing private, nothing else than comments, and only while the link counts."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from html import unescape
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from journals import HOSTILE, small_journal
from PIL import Image
from secrets_planted import journal_of_secrets, secrets_in, unpacked
from visiting import MENTOR, SECRET, Browser, Served, expire_link, new_link, plain, served, withdraw_link

from analytics.dashboards import DEFAULT_PORT
from analytics.dashboards.answering import PAGE_POLICY
from analytics.dashboards.comment_routes import MOST_BYTES, cleaned
from analytics.dashboards.guard import MENTOR_PAGES
from analytics.dashboards.visitors import COOKIE, FORM, LINK, Signatures
from analytics.dataset import OpenJournal
from analytics.pages.mentor import for_mentor
from analytics.pages.reviewed import reviewed_page
from journal.errors import JournalError
from journal.readers.content_key import look_at
from journal.store.mentors import MOST_SAID
from journal.store.opening import open_journal
from journal.store.verdicts import history

PAGES = [
    "/",
    "/standing",
    "/sessions/1",
    "/sessions/2",
    "/frames/1",
    "/frames/1/2",
    "/limits",
    "/habits",
    "/habits/slow_by_hand",
    "/progress",
    "/advice",
    "/comments",
    "/keepers",
    "/keepers?by=body&by2=lens",
    "/keepers?by=light&by2=session",
    "/keepers.json?by=camera-support&by2=month",
    "/frames?verdict=reject",
]
#: Texts that would do harm on a page that trusts them.
HARMFUL = [
    "<script>alert(1)</script>",
    "</textarea><img src=x onerror=alert(1)>",
    "{{7*7}} {% raw %} ${7*7}",
    '=HYPERLINK("http://evil.example")',
    "' or 1=1; drop table comments; --",
    "javascript:alert(1)",
    "&lt;b&gt; &amp;",
    "\u202egnp.exe",
    "a\x00b\x1bc",
    "😀" * 200,
]


#: As many addresses with the same path are followed.
MOST_ASKED = 3


class Links(HTMLParser):
    """Where a page leads to: every address in it."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: set[str] = set()
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found |= {value for name, value in attrs if name in ("href", "src", "action", "formaction") and value}


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return small_journal(tmp_path / "a.journal", 4)


@pytest.fixture
def place(path: Path) -> Iterator[Served]:
    with served(path) as found:
        yield found


@pytest.fixture
def mentor(place: Served) -> Browser:
    return place.mentor()


def rows(path: Path, sql: str) -> list[tuple[Any, ...]]:
    connection = open_journal(path)
    found = [tuple(row) for row in connection.execute(sql)]
    connection.close()
    return found


def test_a_mentor_sees_no_secret_that_is_planted_in_the_journal(tmp_path: Path) -> None:
    path, planted = journal_of_secrets(tmp_path / "hidden" / "secret.journal")
    connection = open_journal(path)  # what is JSON stays JSON, so that a frame can be explained at all
    connection.execute(
        """update suggestions set probabilities = '{}', evidence = '["Hidden-suggestions-evidence-1"]'"""
    )
    connection.execute("""update measurements set measures = '{"map": {"spread_px": [[1.5]]}}'""")
    connection.close()
    with served(path) as place:
        mentor = place.mentor()
        contents = []
        for page in [*PAGES, "/sessions/99", "/habits/nothing"]:
            answer = mentor.get(page)
            assert answer.status_code == (404 if page in ("/sessions/99", "/habits/nothing") else 200), page
            contents += [answer.content, str(answer.headers).encode()]
        pictures = [mentor.get("/previews/1.webp"), mentor.get("/frames/1/whole.jpg")]
        assert [answer.status_code for answer in pictures] == [200, 404]  # its file is not there, and nobody says which
        contents += [answer.content for answer in pictures]
        own = place.photographer()
        seen = secrets_in(own.get(page).content for page in PAGES)
    assert len(planted) >= 30
    assert secrets_in(contents) <= {"bodies.model", "lenses.model", "suggestions.evidence"}  # what limits are said of
    assert not [text for text in unpacked(contents) if re.search(rb"4[1-4]\.[2345]\d\d", text)]
    assert not [text for text in contents if str(path.parent).encode() in text or b"Hidden-exif" in text]
    assert {"sessions.intent", "sessions.notes", "sessions.place", "frames.file_name"} <= seen  # they were there to see


def test_a_mentors_picture_is_encoded_anew_whatever_stands_in_the_original(tmp_path: Path) -> None:
    path = small_journal(tmp_path / "a.journal", 1)
    original = tmp_path / "Hidden-folder-name" / "T0001.jpg"
    original.parent.mkdir()
    exif = Image.Exif()
    exif[0x010E], exif[0x013B], exif[0xA431] = "Hidden-exif-description", "Hidden-exif-artist", "Hidden-exif-serial"
    exif.get_ifd(0x8825)[1] = "N"
    Image.new("RGB", (1200, 800), (90, 120, 90)).save(original, "JPEG", exif=exif, comment=b"Hidden-comment-remark")
    assert len(secrets_in([original.read_bytes()])) >= 3
    connection = open_journal(path)
    connection.execute(
        "insert into files (frame_id, path, file_name, kind, size_bytes, mtime_ns, content_key) "
        "values (1, ?, 'T0001.jpg', 'jpeg', ?, 1, ?)",
        [str(original), original.stat().st_size, look_at(str(original)).content_key],
    )
    connection.close()
    with served(path) as place:
        mentor = place.mentor()
        answers = [mentor.get(f"/frames/1/{what}.jpg") for what in ("whole", "piece")]
        page = mentor.get("/frames/1")
        original.unlink()
        gone = place.mentor().get("/frames/1/whole.jpg")
    assert [answer.status_code for answer in answers] == [200, 200]
    for answer in answers:
        assert secrets_in([answer.content, str(answer.headers).encode()]) == set()
        with Image.open(io.BytesIO(answer.content)) as picture:
            assert not picture.getexif()
            assert set(picture.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    assert "Hidden-folder" not in page.text
    assert "T0001" not in page.text
    assert gone.status_code in (200, 404)  # kept in memory, or not: either way nobody says where it was
    assert b"Hidden" not in gone.content


def test_a_mentor_is_led_nowhere_that_is_refused(mentor: Browser) -> None:
    seen: set[str] = set()
    waiting = ["/"]
    while waiting:
        page = waiting.pop()
        answer = mentor.get(page)
        assert answer.status_code in (200, 404 if ".jpg" in page else 200), page
        seen.add(page)
        if "html" not in answer.headers["content-type"]:
            continue
        for link in {link.partition("#")[0] for link in Links(answer.text).found if not link.startswith("data:")}:
            asked = [other for other in seen | set(waiting) if other.partition("?")[0] == link.partition("?")[0]]
            if link and link not in asked and len(asked) < MOST_ASKED:  # one page under a few of its questions
                waiting.append(link)
    assert {"/standing", "/sessions/1", "/frames/1", "/frames/1/2", "/habits/slow_by_hand", "/keepers"} <= seen
    assert any(link.startswith("/frames?") for link in seen)
    assert not [link for link in seen if link.startswith(("/journal", "/judge", "/-/", "/plan", "/series"))]
    assert len(seen) > 60


@pytest.mark.parametrize("page", PAGES)
def test_a_mentors_page_says_who_reads_it_and_offers_nothing_of_the_photographers(mentor: Browser, page: str) -> None:
    answer = mentor.get(page)
    text = unescape(answer.text)
    assert f"Read by {MENTOR}, who may comment until " in text or ".json" in page
    assert answer.headers.get_list("content-security-policy") == [PAGE_POLICY]
    assert "All tables" not in text
    assert HOSTILE not in text  # a file name, and an intent
    assert "SERIAL-77" not in text
    assert "12.34" not in text


def test_a_link_lets_in_through_a_strict_cookie_of_its_own(place: Served) -> None:
    number, token = new_link(place.path)
    answer = place.nobody().get("/", params={"mentor": token})
    (cookie,) = answer.headers.get_list("set-cookie")
    assert re.fullmatch(
        rf"thirdstop_mentor_{DEFAULT_PORT}=[\w.-]+; Max-Age=\d+; Path=/; HttpOnly; SameSite=Strict", cookie
    )
    assert token not in cookie + answer.text
    assert answer.headers["referrer-policy"] == "no-referrer"
    assert number == 1


@pytest.mark.parametrize(
    ("end", "words"),
    [
        (withdraw_link, "This link was withdrawn. Ask the photographer for a new one.\n"),
        (expire_link, "This link has expired. Ask the photographer for a new one.\n"),
    ],
)
def test_a_link_that_ends_is_refused_at_once_and_for_good(place: Served, end: Any, words: str) -> None:
    number, token = new_link(place.path)
    mentor = place.nobody()
    mentor.get("/", params={"mentor": token})
    form = mentor.form("/sessions/1")
    assert mentor.get("/").status_code == 200
    end(place.path, number)
    for answer in (mentor.get("/"), mentor.get("/previews/1.webp"), mentor.post({**form, "body": "late"})):
        assert (answer.status_code, answer.text) == (403, words)
    assert place.nobody().get("/", params={"mentor": token}).text == words
    assert rows(place.path, "select * from comments") == []


def test_a_link_outlives_the_server_but_not_another_secret(path: Path) -> None:
    _, token = new_link(path)
    cookies: dict[str, str] = {}
    for _ in range(2):
        with served(path) as place:
            mentor = place.nobody()
            mentor.cookies = cookies
            if not cookies:
                mentor.get("/", params={"mentor": token})
            assert mentor.get("/standing").status_code == 200
            cookies = mentor.cookies
    assert Signatures(b"another").key_in(LINK, token) is None


def test_a_link_opens_no_other_journal(tmp_path: Path, place: Served) -> None:
    _, token = new_link(place.path)
    other = small_journal(tmp_path / "other.journal", 1)
    with served(other) as elsewhere:
        visitor = elsewhere.nobody()
        assert visitor.get("/", params={"mentor": token}).status_code == 403
        visitor.cookies = {f"thirdstop_mentor_{DEFAULT_PORT}": Signatures(SECRET).signed(COOKIE, "0" * 32)}
        words = "This link is not one of this journal. Ask the photographer for the whole link, or for a new one.\n"
        assert visitor.get("/").text == words


def test_what_is_signed_for_one_purpose_is_no_other(place: Served) -> None:
    connection = open_journal(place.path)
    _, token = new_link(place.path)
    key = connection.execute("select link_key from mentor_links").fetchone()[0]
    connection.close()
    signatures = Signatures(SECRET)
    for purpose in (COOKIE, FORM):
        assert place.nobody().get("/", params={"mentor": signatures.signed(purpose, key)}).status_code == 403
    visitor = place.nobody()
    visitor.cookies = {f"thirdstop_mentor_{DEFAULT_PORT}": token}
    assert visitor.get("/").status_code == 403
    for wrong in ("", "x", key, token[:-1], f"{token}A", "ü", "A" * 5000):
        assert place.nobody().get("/", params={"mentor": wrong}).status_code == 403


def test_the_photographer_stays_the_photographer_with_a_mentors_cookie_beside(place: Served) -> None:
    own = place.photographer()
    own.get("/", params={"mentor": new_link(place.path)[1]})
    assert own.get("/journal").status_code == 200


def test_a_page_that_nobody_has_thought_about_is_not_a_mentors() -> None:
    with pytest.raises(JournalError) as caught:
        for_mentor(object())
    assert caught.value.problem == "This page is the photographer's own."
    assert not MENTOR_PAGES.fullmatch("/something-new")


def test_a_comment_is_shown_to_its_mentor_and_beside_the_photographers_verdicts(place: Served, mentor: Browser) -> None:
    said = {
        "/": "the whole of it",
        "/sessions/2": "go nearer to the water",
        "/frames/7": "the wrist is sharp, the face is not",
        "/habits/slow_by_hand": "brace your elbows",
    }
    for page, words in said.items():
        answer = mentor.post({**mentor.form(page), "body": words})
        assert (answer.status_code, answer.headers["location"]) == (303, f"{page}#comments")
    own = place.photographer()
    for page, words in said.items():
        assert f'<p class="body">{words}</p>' in mentor.get(page).text
        text = own.get(page).text
        assert f'<p class="body">{words}</p>' in text
        assert f'<p class="by">{MENTOR}, ' in text
        assert "<form" not in text
        assert words in own.get("/comments").text
        assert words in mentor.get("/comments").text
    assert "What your mentor says" not in own.get("/sessions/1").text


def test_a_mentor_says_what_they_would_have_done_with_a_frame(place: Served, mentor: Browser) -> None:
    assert mentor.post({**mentor.form("/frames/7"), "verdict": "keeper", "body": ""}).status_code == 303
    faults = ["missed focus", "framing"]
    assert (
        mentor.post({**mentor.form("/frames/1"), "verdict": "reject", "fault": faults, "body": "x"}).status_code == 303
    )
    own = place.photographer()
    assert f"{MENTOR} would have kept it; your own verdict: reject: camera shake." in own.get("/frames/7").text
    text = own.get("/sessions/1").text
    assert f'<a href="/frames/1">Frame 1</a>: {MENTOR} would have rejected it for framing and missed focus; ' in text
    dark = {"verdict": "reject", "fault": ["underexposed", "noise"], "body": ""}
    assert mentor.post({**mentor.form("/frames/2"), **dark}).status_code == 303
    assert f"{MENTOR} would have rejected it as underexposed and for noise; " in own.get("/frames/2").text
    assert f"{MENTOR} would have kept it; the photographer: reject: camera shake." in mentor.get("/frames/7").text
    before = rows(place.path, "select verdict, count(*) from frames group by verdict")
    assert mentor.post({**mentor.form("/frames/7"), "verdict": "reject"}).status_code == 303  # the newer one counts
    assert f"{MENTOR} would have rejected it; the photographer" in mentor.get("/frames/7").text
    assert "would have kept it" not in mentor.get("/frames/7").text
    listed = mentor.get("/comments").text
    assert "Verdicts beside the photographer’s" in listed and "your own" not in listed
    assert plain(listed).count("reject: framing, missed focus") == 1 and '<a href="/frames/7">7</a>' in listed
    assert rows(place.path, "select verdict, count(*) from frames group by verdict") == before
    connection = open_journal(place.path)
    assert history(connection, 7) == []  # no verdict of the photographer's was written
    connection.close()


def test_marks_on_pages_count_in_the_agreement(tmp_path: Path) -> None:
    path = small_journal(tmp_path / "long.journal", 8)
    own = rows(path, "select id, verdict from frames where verdict <> 'unjudged' order by id limit 60")
    kept_as_well = [number for number, verdict in own if verdict == "reject"][:6]
    with served(path) as place:
        mentor = place.mentor()
        form = mentor.form("/frames/1")
        for number, verdict in own:
            given = "keeper" if number in kept_as_well else verdict
            fields = {**form, "which": str(number), "key": f"{number:032x}", "verdict": given}
            assert mentor.post(fields).status_code == 303
        text = plain(place.photographer().get("/comments").text)
    with OpenJournal(path) as journal:
        (agreed,) = reviewed_page(journal).agreements
    # 30 kept by both, 24 by neither, 6 by the mentor alone: (0.9 - 0.5) / (1 - 0.5)
    assert (agreed.mentor, agreed.found.n_frames, agreed.found.n_same) == (MENTOR, 60, 54)
    assert agreed.found.kappa == pytest.approx(0.8)
    assert "beyond chance that is kappa 0.80 (" in agreed.sentence
    assert agreed.sentence in text
    assert "0 comments and 60 verdicts came back; what came through a link is by whoever you gave it to." in text


def test_what_is_posted_again_is_stored_once(place: Served, mentor: Browser) -> None:
    form = {**mentor.form("/frames/7"), "verdict": "keeper", "body": "once"}
    assert [mentor.post(form).status_code for _ in range(3)] == [303] * 3
    assert rows(place.path, "select body, frame_id, mentor, source, link_id from comments") == [
        ("once", 7, MENTOR, "page", 1)
    ]
    assert rows(place.path, "select verdict, source, link_id from mentor_verdicts") == [("keeper", "page", 1)]
    assert mentor.form("/frames/7")["key"] != form["key"]


@pytest.mark.parametrize("text", HARMFUL)
def test_a_hostile_comment_is_text_on_every_page(place: Served, mentor: Browser, text: str) -> None:
    assert mentor.post({**mentor.form("/sessions/2"), "body": text}).status_code == 303
    stored = rows(place.path, "select body from comments")[0][0]
    assert stored == cleaned(text)
    own = place.photographer()
    for visitor, page in ((mentor, "/sessions/2"), (own, "/sessions/2"), (own, "/comments"), (mentor, "/comments")):
        html = visitor.get(page).text
        assert stored in unescape(html)
        assert "<script>alert" not in html
        assert "<img src=x" not in html
        assert "49" not in re.findall(r'<p class="body">(.*?)</p>', html, re.DOTALL)[0]


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"body": ""}, 400),
        ({"body": " \r\n "}, 400),
        ({"body": "x" * 4001}, 400),
        ({"body": "😀" * 4000}, 303),
        ({"body": "x" * MOST_BYTES}, 413),
        ({"key": "x"}, 400),
        ({"key": "g" * 32}, 400),
        ({"about": "question"}, 400),
        ({"about": "mentor_links"}, 400),
        ({"about": "whole"}, 400),
        ({"about": "habit"}, 400),
        ({"which": "99"}, 400),
        ({"which": "1 or 1"}, 400),
        ({"which": "9" * 30}, 400),
        ({"verdict": "keeper"}, 400),
        ({"verdict": "unjudged"}, 400),
        ({"fault": "noise"}, 400),
        ({"about": "frame", "verdict": "keeper", "fault": "noise"}, 400),
        ({"about": "frame", "verdict": "reject", "fault": "ugly"}, 400),
        ({"about": "frame", "verdict": "reject", "fault": ["noise"] * 30}, 400),
        ({"token": ""}, 403),
        ({"token": "x" * 90}, 403),
        ({"body": ["one", "two"]}, 400),
    ],
)
def test_a_form_that_makes_no_sense_is_refused(
    place: Served, mentor: Browser, change: dict[str, Any], status: int
) -> None:
    fields = {**mentor.form("/sessions/1"), "body": "x", **change}
    assert mentor.post(fields).status_code == status
    assert len(rows(place.path, "select * from comments")) == (status == 303)
    assert rows(place.path, "select * from mentor_verdicts") == []


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"origin": "http://evil.example"}, 403),
        ({"origin": "null"}, 403),
        ({"origin": None}, 403),
        ({"origin": f"http://localhost:{DEFAULT_PORT}"}, 403),
        ({"sec_fetch_site": "cross-site"}, 403),
        ({"sec_fetch_site": "same-site"}, 403),
        ({"sec_fetch_site": "same-origin"}, 303),
        ({"content_type": "text/plain"}, 415),
        ({"content_type": "application/json"}, 415),
    ],
)
def test_only_a_page_of_this_server_may_post(
    place: Served, mentor: Browser, headers: dict[str, str | None], status: int
) -> None:
    assert mentor.post({**mentor.form("/sessions/1"), "body": "x"}, **headers).status_code == status


def test_another_mentors_form_is_no_form(place: Served, mentor: Browser) -> None:
    other = place.mentor("Bo Ferris")
    assert mentor.post({**other.form("/sessions/1"), "body": "x"}).status_code == 403
    assert other.post({**other.form("/sessions/1"), "body": "mine"}).status_code == 303
    assert "mine" not in mentor.get("/sessions/1").text
    assert "mine" not in mentor.get("/comments").text


def test_a_page_may_name_its_own_origin_to_this_server_and_to_no_other(mentor: Browser) -> None:
    assert mentor.get("/sessions/1").headers["referrer-policy"] == "same-origin"


def test_a_link_cannot_fill_the_journal(place: Served, mentor: Browser) -> None:
    connection = open_journal(place.path)
    connection.executemany(
        "insert into comments (comment_key, about, body, mentor, said_at, read_at, source, link_id) "
        "values (?, 'whole', 'x', 'x', 'x', 'x', 'page', 1)",
        [[str(number)] for number in range(MOST_SAID)],
    )
    connection.close()
    assert mentor.post({**mentor.form("/sessions/1"), "body": "one more"}).status_code == 429


def test_a_journal_that_is_busy_says_so_without_its_path(place: Served, mentor: Browser, monkeypatch: Any) -> None:
    monkeypatch.setattr("journal.store.opening.BUSY_TIMEOUT_MS", 50)
    form = mentor.form("/sessions/1")
    connection = open_journal(place.path)
    connection.execute("begin immediate")
    answer = mentor.post({**form, "body": "now"})
    connection.rollback()
    connection.close()
    assert answer.status_code == 503
    assert answer.text == (
        "The comment could not be stored just now. Try again in a minute. What you wrote is still there when you go "
        "back.\n"
    )
    assert mentor.post({**form, "body": "now"}).status_code == 303


def test_a_link_lasts_as_long_as_it_was_made_for(place: Served) -> None:
    made = datetime.now(UTC) - timedelta(days=15)
    assert place.mentor(days=14, made=made).get("/").status_code == 403
    assert place.mentor(days=16, made=made).get("/").status_code == 200


def test_a_mentors_name_is_text_too(place: Served) -> None:
    mentor = place.mentor(HOSTILE)
    form = mentor.form("/frames/7")
    assert mentor.post({**form, "verdict": "keeper", "body": "x"}).status_code == 303
    own = place.photographer()
    for visitor, page in ((mentor, "/frames/7"), (own, "/frames/7"), (own, "/sessions/1"), (own, "/comments")):
        html = visitor.get(page).text
        assert HOSTILE in unescape(html)
        assert "<img src=x" not in html
