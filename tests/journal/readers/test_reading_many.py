"""Worker processes: hostile files, dying workers, and nothing left behind."""

from __future__ import annotations

import contextlib
import os
import random
import signal
import struct
import subprocess
import sys
import time
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

import exiv2
import pytest
from PIL import Image

from journal.errors import Problem
from journal.readers import read_many
from journal.readers.pool import BATCH, Pool, answers
from journal.records.files import FileFacts

linux_only = pytest.mark.skipif(not Path("/proc/self").exists(), reason="looks at /proc")


def children() -> set[int]:
    """Processes that this one started, zombies included."""
    found = set()
    for task in Path("/proc/self/task").iterdir():
        with contextlib.suppress(FileNotFoundError):  # a thread that ended meanwhile has no children
            found |= set(map(int, (task / "children").read_text().split()))
    return found


def test_every_path_is_answered_once(make_picture):
    paths = [make_picture(f"{i}.jpg", size=(20, 10)) for i in range(100)]
    found = list(read_many(paths, workers=2))
    assert sorted(facts.path for facts in found) == sorted(map(str, paths))
    assert all(isinstance(facts, FileFacts) for facts in found)


def test_no_paths_give_no_answers():
    assert list(read_many([])) == []


def hostile_files(folder: Path) -> list[Path]:
    """Truncated, mutated, random and lying files."""
    chance = random.Random(7)
    picture = BytesIO()
    Image.effect_noise((300, 200), 50).save(picture, "JPEG", exif=b"Exif\0\0" + bytes_of_tiff())
    whole = picture.getvalue()
    contents = [whole[:n] for n in (1, 3, 12, 30, 60, 200, len(whole) // 2)]
    for _ in range(60):
        mutated = bytearray(whole)
        for _ in range(chance.randint(1, 20)):
            mutated[chance.randrange(min(len(mutated), 600))] = chance.randrange(256)
        contents.append(bytes(mutated))
    for magic in (b"\xff\xd8\xff\xe1", b"II*\0\x08\0\0\0", b"MM\0*\0\0\0\x08", b"FUJIFILMCCD-RAW ", b"IIU\0\x18\0\0\0"):
        contents.append(magic + chance.randbytes(3000))
    for brand in (b"heic", b"avif", b"crx "):
        contents.append(struct.pack(">I", 24) + b"ftyp" + brand + bytes(4) + brand + b"mif1" + chance.randbytes(3000))
    contents.append(b"II*\0\x08\0\0\0" + struct.pack("<H", 65535) + chance.randbytes(65535 * 4))
    contents.append(b"II*\0\x08\0\0\0" + struct.pack("<HHHIII", 1, 0x8769, 4, 1, 8, 8))  # a directory inside itself
    contents.append(
        b"\xff\xd8\xff\xc0" + struct.pack(">HBHHB", 17, 8, 65535, 65535, 3) + b"\1\x22\0\2\x11\1\3\x11\1\xff\xd9"
    )
    paths = []
    for number, content in enumerate(contents):
        path = folder / f"hostile-{number}.{('jpg', 'nef', 'heic', 'xmp')[number % 4]}"
        path.write_bytes(content)
        paths.append(path)
    return paths


def bytes_of_tiff() -> bytes:
    """A little directory whose tags a mutation can turn into anything."""
    entries = [(0x0110, 2, 4, 0x41414100), (0x8769, 4, 1, 38)]
    first = struct.pack("<H", 2) + b"".join(struct.pack("<HHII", *entry) for entry in entries) + bytes(4)
    second = struct.pack("<HHHII", 1, 0x829D, 5, 1, 60) + bytes(8) + struct.pack("<II", 56, 10)
    return b"II*\0\x08\0\0\0" + first + second


def test_hostile_files_neither_crash_nor_hang_and_the_good_ones_go_in(tmp_path, make_picture):
    good = make_picture("good.jpg")
    hostile = hostile_files(tmp_path)
    started = time.monotonic()
    found = {answer[0].path if isinstance(answer[0], FileFacts) else answer[0].file: answer
             for answer in read_many([*hostile, good], previews=True)}  # fmt: skip
    assert time.monotonic() - started < 40
    assert found.keys() == {str(path) for path in [*hostile, good]}
    facts, preview = found[str(good)]
    assert isinstance(facts, FileFacts)
    assert preview is not None


def test_a_gigantic_declared_size_costs_no_memory(tmp_path):
    path = tmp_path / "huge.tif"
    tags = [(256, 4, 1, 1_000_000), (257, 4, 1, 1_000_000), (258, 3, 1, 8), (259, 3, 1, 1), (262, 3, 1, 1)]
    tags += [(273, 4, 1, 8), (277, 3, 1, 1), (278, 4, 1, 1_000_000), (279, 4, 1, 100)]
    path.write_bytes(
        b"II*\0\x08\0\0\0"
        + struct.pack("<H", len(tags))
        + b"".join(struct.pack("<HHII", *tag) for tag in tags)
        + bytes(4)
    )
    ((facts, preview),) = read_many([path], previews=True)
    assert isinstance(facts, FileFacts)
    assert (facts.width_px, facts.height_px, preview) == (1_000_000, 1_000_000, None)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_a_pipe_is_a_problem_and_does_not_block(tmp_path):
    path = tmp_path / "pipe.jpg"
    os.mkfifo(path)
    (problem,) = read_many([path])
    assert problem == Problem(
        str(path), "This is a folder, a pipe or a device, not a file.", "Leave it out of the import."
    )


def test_missing_empty_and_folder_are_problems(tmp_path):
    (tmp_path / "empty.jpg").touch()
    (tmp_path / "folder.jpg").mkdir()
    found = {Path(problem.file).name: problem.problem for problem in read_many(
        [tmp_path / "empty.jpg", tmp_path / "folder.jpg", tmp_path / "gone.jpg"])}  # fmt: skip
    assert found["empty.jpg"] == "The file is empty."
    assert found["gone.jpg"] == "The file is not there."
    assert "folder" in found["folder.jpg"]


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="nothing is forbidden to root")
def test_a_forbidden_file_is_a_problem(make_picture):
    path = make_picture("secret.jpg")
    path.chmod(0)
    (problem,) = read_many([path])
    assert problem == Problem(
        str(path), "You may not read this file.", "Give yourself permission to read it, then import again."
    )


@linux_only
def test_a_killed_worker_loses_no_file(make_picture):
    paths = [str(make_picture(f"{i}.jpg", size=(20, 10))) for i in range(200)]
    pool = Pool(paths, previews=False, quick=True, seconds=10)
    found = []
    for facts, _preview in pool.run(2):
        found.append(facts)
        if len(found) in (5, 90):
            for worker in pool.workers:
                if worker.process is not None:
                    os.kill(worker.process.pid, signal.SIGKILL)
    assert all(isinstance(facts, FileFacts) for facts in found)
    assert sorted(facts.path for facts in found) == sorted(paths)


@linux_only
def test_a_file_that_stalls_its_worker_becomes_a_problem_and_the_rest_goes_in(make_picture):
    paths = [str(make_picture(f"{i}.jpg", size=(20, 10))) for i in range(2 * BATCH)]
    pools: list[Pool] = []

    def with_a_stop_between_the_batches() -> Iterator[str]:
        yield from paths[:BATCH]
        # A stopped child owes its answer for ever, as one in an endless loop does.
        os.kill(pools[0].workers[0].process.pid, signal.SIGSTOP)
        yield from paths[BATCH:]

    pools.append(Pool(with_a_stop_between_the_batches(), previews=False, quick=True, seconds=1))
    found = [facts for facts, _preview in pools[0].run(1)]
    assert [facts for facts in found if isinstance(facts, Problem)] == [
        Problem(
            paths[BATCH],
            "The file could not be read within 1 s.",
            "Copy it from the card again, or leave it out of the import.",
        )
    ]
    assert len(found) == 2 * BATCH


class DeadlyPath(str):
    """A path that ends every worker that hears of it."""

    def __reduce__(self):
        return (os.abort, ())


def test_a_file_that_ends_its_worker_each_time_becomes_a_problem_and_the_rest_goes_in(make_picture):
    paths = [str(make_picture(f"{i}.jpg", size=(20, 10))) for i in range(5)]
    pool = Pool([DeadlyPath("deadly.jpg"), *paths], previews=False, quick=True, seconds=10)
    first, *rest = [facts for facts, _preview in pool.run(1)]
    assert first == Problem(
        "deadly.jpg",
        "The file is damaged in a way that ends the program which reads it.",
        "Copy it from the card again, or leave it out of the import.",
    )
    assert [facts.path for facts in rest] == paths


@linux_only
def test_nothing_is_left_running_after_an_early_end(make_picture):
    before = children()
    run = read_many([make_picture(f"{i}.jpg", size=(20, 10)) for i in range(100)])
    next(run)
    run.close()
    assert children() == before


@linux_only
def test_control_c_ends_quickly_and_leaves_no_process(make_picture, tmp_path):
    make_picture("a.jpg")
    code = f"""
import itertools
from journal.readers import read_many
try:
    for n, facts in enumerate(read_many(itertools.repeat({str(tmp_path / "a.jpg")!r}))):
        if n == 50:
            print("running", flush=True)
except KeyboardInterrupt:
    print("interrupted", flush=True)
"""
    process = subprocess.Popen(
        [sys.executable, "-c", code],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
        cwd=Path(__file__).parents[3],
    )
    assert process.stdout is not None
    assert process.stdout.readline() == b"running\n"
    os.killpg(process.pid, signal.SIGINT)
    out, err = process.communicate(timeout=10)
    assert (out, err) == (b"interrupted\n", b"")
    with pytest.raises(ProcessLookupError):
        os.killpg(process.pid, 0)


def test_a_preview_is_small_upright_and_without_metadata(make_picture):
    path = make_picture("a.jpg", {"Exif.Image.Orientation": "6", "Exif.Image.Make": "Tidewater"}, size=(800, 400))
    ((facts, preview),) = read_many([path], previews=True)
    assert facts.orientation == 6
    image = Image.open(BytesIO(preview))
    assert (image.format, image.size) == ("WEBP", (160, 320))
    assert b"Tidewater" not in preview
    assert b"EXIF" not in preview


def with_thumbnail(path, thumbnail: Image.Image) -> None:
    """Gives a picture a thumbnail of its own, as a camera would write it."""
    data = BytesIO()
    thumbnail.save(data, "JPEG", quality=95)
    source = exiv2.ImageFactory.open(str(path))
    source.readMetadata()
    exif = source.exifData()
    exiv2.ExifThumb(exif).setJpegThumbnail(data.getvalue())
    source.setExifData(exif)
    source.writeMetadata()


def preview_of(path) -> Image.Image:
    ((_facts, preview),) = read_many([path], previews=True)
    return Image.open(BytesIO(preview)).convert("RGB")


def test_a_thumbnail_that_was_not_turned_with_its_picture_is_not_shown(make_picture):
    path = make_picture("a.jpg", size=(300, 400))  # turned by a program: the top is green
    upright = Image.new("RGB", (300, 400), (10, 20, 200))
    upright.paste((20, 200, 10), (0, 0, 300, 200))
    upright.save(path, quality=95)
    with_thumbnail(path, upright.transpose(Image.Transpose.ROTATE_90).resize((160, 120)))
    preview = preview_of(path)
    assert preview.size == (240, 320)
    assert [preview.getpixel((120, y))[1] > 100 for y in (20, 300)] == [True, False]


@pytest.mark.parametrize("bar", [6, 7, 8, 9])
@pytest.mark.parametrize("orientation", ["1", "6"])
def test_no_line_of_a_thumbnails_black_bars_is_shown(make_picture, bar, orientation):
    path = make_picture("a.jpg", {"Exif.Image.Orientation": orientation}, size=(600, 400))
    thumbnail = Image.new("RGB", (160, 120))
    thumbnail.paste((200, 60, 20), (0, bar, 160, 120 - bar))
    with_thumbnail(path, thumbnail)
    preview = preview_of(path)
    assert 1.4 < max(preview.size) / min(preview.size) < 1.6
    darkest, _brightest = preview.convert("L").getextrema()
    assert darkest > 60


def test_a_dark_picture_is_not_cut_where_its_thumbnail_has_no_bars(make_picture):
    path = make_picture("a.jpg", size=(400, 300))
    thumbnail = Image.new("RGB", (160, 120))
    thumbnail.paste((200, 60, 20), (0, 10, 160, 110))
    with_thumbnail(path, thumbnail)
    assert preview_of(path).size == (160, 120)


def test_answers_without_workers_asked_for_still_come(make_picture):
    assert len(list(answers([make_picture("a.jpg")], workers=0, previews=False, quick=True))) == 1
