"""Pictures from the originals: what is shown of which file, that nothing else can be read, and that nothing leaks."""

from __future__ import annotations

import asyncio
import io
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import httpx
import pytest
from journals import small_journal
from PIL import Image

from analytics.dashboards import DEFAULT_PORT
from analytics.dashboards.guard import Keys
from analytics.dashboards.reach import Reach
from analytics.dashboards.serving import application
from analytics.pages.subject_place import MIDDLE, subject_place
from journal.errors import Problem
from journal.readers.closer import PIECE_SIDE, WHOLE_SIDE, Closer, CloserLook, look_closer
from journal.readers.content_key import look_at
from journal.store.opening import open_journal

SIZE = (3000, 2000)


def picture(path: Path, orientation: int = 1) -> CloserLook:
    """A grey picture with one white pixel block at a quarter of the width and three quarters of the height."""
    image = Image.new("RGB", SIZE, (90, 90, 90))
    image.paste((255, 255, 255), (740, 1490, 760, 1510))
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010F] = "Tidewell"
    exif.get_ifd(0x8825)[1] = "N"
    image.save(path, "JPEG", quality=95, exif=exif, comment=b"a private remark", icc_profile=b"x" * 200)
    return CloserLook(str(path), look_at(str(path)).content_key, 0.75, 0.25)


def opened(data: bytes) -> Image.Image:
    return Image.open(io.BytesIO(data))


def closer(look: CloserLook) -> Closer:
    answer = look_closer(look)[1]
    assert isinstance(answer, Closer)
    return answer


def brightest(image: Image.Image) -> tuple[float, float]:
    """The middle of what is white, in shares of the width and height."""
    box = image.convert("L").point(lambda value: 255 * (value > 200)).getbbox()
    assert box is not None
    return (box[0] + box[2]) / 2 / image.width, (box[1] + box[3]) / 2 / image.height


def test_the_whole_is_reduced_and_the_piece_is_pixel_by_pixel(tmp_path: Path) -> None:
    found = closer(picture(tmp_path / "a.jpg"))
    whole, piece = opened(found.whole), opened(found.piece)
    assert max(whole.size) == WHOLE_SIDE
    assert brightest(whole) == pytest.approx((0.25, 0.75), abs=0.01)
    assert piece.size == (PIECE_SIDE, PIECE_SIDE)
    box = piece.convert("L").point(lambda value: 255 * (value > 200)).getbbox()
    assert box is not None and box[2] - box[0] == pytest.approx(20, abs=2)


def test_pictures_stand_upright_as_their_exif_says(tmp_path: Path) -> None:
    found = closer(picture(tmp_path / "a.jpg", orientation=6))  # turned a quarter to the right
    whole = opened(found.whole)
    assert whole.width < whole.height
    assert brightest(whole) == pytest.approx((0.25, 0.25), abs=0.01)
    assert brightest(opened(found.piece))[0] == pytest.approx(0.5, abs=0.06)


def test_no_metadata_goes_along(tmp_path: Path) -> None:
    found = closer(picture(tmp_path / "a.jpg"))
    for data in (found.whole, found.piece):
        assert set(opened(data).info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
        assert b"Tidewell" not in data and b"private remark" not in data and b"Exif" not in data


def test_a_file_that_is_another_one_now_is_not_shown(tmp_path: Path) -> None:
    look = picture(tmp_path / "a.jpg")
    Image.new("RGB", (200, 100)).save(look.path, "JPEG")
    answer = look_closer(look)[1]
    assert isinstance(answer, Problem)
    assert answer.problem == "The picture has changed since it was imported."
    Path(look.path).unlink()
    missing = look_closer(look)[1]
    assert isinstance(missing, Problem) and missing.problem == "The file is not there."


def test_what_is_no_picture_stays_closed(tmp_path: Path) -> None:
    secret = tmp_path / "notes.txt"
    secret.write_text("a private remark", encoding="utf-8")
    look = CloserLook(str(secret), look_at(str(secret)).content_key, 0.5, 0.5)
    assert isinstance(look_closer(look)[1], Problem)
    broken = tmp_path / "b.jpg"
    broken.write_bytes(Path(picture(tmp_path / "a.jpg").path).read_bytes()[:5000])
    cut = CloserLook(str(broken), look_at(str(broken)).content_key, 0.5, 0.5)
    assert isinstance(look_closer(cut)[1], Problem)


@pytest.mark.parametrize(
    ("measures", "fault", "place"),
    [
        (None, None, (0.5, 0.5)),
        ("{}", "noise", (0.5, 0.5)),
        ('{"subject": {"is_from_camera": true, "weights": [[0, 0.9], [0, 0.1]]}}', None, (0.25, 0.75)),
        ('{"subject": {"weights": [[1, 1], [1, 1]], "soft_place": {"cells": [[1, 0]]}}}', "missed focus", (0.75, 0.25)),
        ('{"subject": {"weights": [[1, 1], [1, 1]], "soft_place": {"cells": [[1, 0]]}}}', "noise", (0.5, 0.5)),
        ('{"subject": {"weights": [[1, 1], [1, 1]], "streaked_place": null}}', "subject motion", (0.5, 0.5)),
    ],
)
def test_the_piece_lies_where_the_subject_was_measured(
    measures: str | None, fault: str | None, place: tuple[float, float]
) -> None:
    found = subject_place(measures, fault)
    assert (found.row, found.column) == place
    assert (found is MIDDLE) == (place == (0.5, 0.5))


@pytest.fixture
def get(tmp_path: Path) -> Iterator[Any]:
    """Frame 1 has a picture; frame 2 a file that is none, frame 3 only a sidecar."""
    path = small_journal(tmp_path / "test.journal", 1)
    look = picture(tmp_path / "a.jpg")
    secret = tmp_path / "secret.jpg"
    secret.write_text("a private remark", encoding="utf-8")
    connection = open_journal(path)
    for frame, file, kind, key in (
        (1, look.path, "jpeg", look.content_key),
        (2, str(secret), "jpeg", look_at(str(secret)).content_key),
        (3, str(secret) + ".xmp", "sidecar", "k"),
    ):
        connection.execute(
            "insert into files (frame_id, path, file_name, kind, size_bytes, mtime_ns, content_key) "
            "values (?, ?, 'a.jpg', ?, 1, 1, ?)",
            [frame, file, kind, key],
        )
    connection.close()
    keys = Keys()
    with ExitStack() as stack:
        pages = stack.enter_context(application(path, Reach(DEFAULT_PORT), keys))

        def ask(place: str, is_in: bool = True, method: str = "GET") -> httpx.Response:
            async def asked() -> httpx.Response:
                transport = httpx.ASGITransport(app=pages)
                cookies = {f"thirdstop_{DEFAULT_PORT}": keys.cookie} if is_in else {}
                home = f"http://127.0.0.1:{DEFAULT_PORT}"
                async with httpx.AsyncClient(transport=transport, base_url=home, cookies=cookies) as client:
                    return await client.request(method, place)

            return asyncio.run(asked())

        yield ask


def test_pictures_are_served_by_frame_and_may_be_kept(get: Any) -> None:
    for what in ("whole", "piece"):
        answer = get(f"/frames/1/{what}.jpg")
        assert (answer.status_code, answer.headers["content-type"]) == (200, "image/jpeg")
        assert answer.headers["cache-control"].startswith("private, max-age=")
        assert opened(answer.content).format == "JPEG"


@pytest.mark.parametrize(
    "place",
    [
        "/frames/2/whole.jpg",
        "/frames/3/piece.jpg",
        "/frames/4/whole.jpg",
        "/frames/999/whole.jpg",
        "/frames/1/../../etc/passwd",
        "/frames/1/whole.jpg/..%2f..%2fsecret.jpg",
        "/frames/1/secret.jpg",
        "/frames/whole.jpg?path=/etc/passwd",
    ],
)
def test_no_other_file_can_be_reached(get: Any, place: str, tmp_path: Path) -> None:
    answer = get(place)
    assert answer.status_code == 404 or answer.headers.get("location", "").startswith("/")
    assert "private remark" not in answer.text
    assert str(tmp_path) not in answer.text


def test_no_picture_is_shown_to_strangers(get: Any) -> None:
    for what in ("whole", "piece"):
        assert get(f"/frames/1/{what}.jpg", is_in=False).status_code == 403
        assert get(f"/frames/1/{what}.jpg", method="POST").status_code == 405
