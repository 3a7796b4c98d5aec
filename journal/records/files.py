"""What one file of a frame says about itself, as the file has it.

`None` means that the file does not say: nothing here is filled in from elsewhere. Rationals keep the numerator
and the denominator of the file, so that stops group exactly; every quantity that can come from more than one
place says which (`exif`, `apex`, `makernote`, `xmp`). The picture's meaning (which frame, which session) is
decided elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class FileFacts:
    """The facts of one picture file or sidecar; names and numbers are Exif's (CIPA DC-008) and XMP's (ISO 16684)."""

    #: The path exactly as it was asked for.
    path: str
    file_name: str
    #: `jpeg`, `heif`, `avif`, `tiff`, `dng`, `raw` or `sidecar`; found from the content, not from the name.
    kind: str
    size_bytes: int
    mtime_ns: int
    #: Hash of the size, the first 64 KiB and the last 16 KiB: the same after a move or a new name.
    content_key: str

    make: str | None = None
    model: str | None = None
    body_serial_number: str | None = None
    lens_model: str | None = None

    #: The body's clock, `YYYY-MM-DDTHH:MM:SS[.fff]`, without a zone.
    taken_at_local: str | None = None
    #: SubSecTimeOriginal as written.
    subsec: str | None = None
    #: OffsetTimeOriginal: minutes east of UTC.
    offset_minutes: int | None = None

    exposure_time_num: int | None = None
    exposure_time_den: int | None = None
    exposure_time_s: float | None = None
    exposure_time_source: str | None = None
    f_number_num: int | None = None
    f_number_den: int | None = None
    f_number: float | None = None
    f_number_source: str | None = None
    iso: int | None = None
    iso_source: str | None = None

    exposure_bias_num: int | None = None
    exposure_bias_den: int | None = None
    exposure_bias_ev: float | None = None
    exposure_program: int | None = None
    exposure_mode: int | None = None
    metering_mode: int | None = None
    #: Exif's bit field; bit 0 is "the flash fired".
    flash: int | None = None
    white_balance: int | None = None

    focal_length_mm: float | None = None
    focal_length_35mm: float | None = None
    #: `exif`, or `focal_plane` where it follows from the focal-plane resolution.
    focal_length_35mm_source: str | None = None
    #: Infinity where Exif says 0xFFFFFFFF.
    subject_distance_m: float | None = None
    subject_distance_source: str | None = None

    #: Exif's 1 to 8, to be applied to `width_px` × `height_px`.
    orientation: int | None = None
    #: Size of the stored picture before it is turned upright; of a raw file, its largest image.
    width_px: int | None = None
    height_px: int | None = None

    latitude: float | None = None
    longitude: float | None = None
    image_unique_id: str | None = None

    #: xmp:Rating as a number; −1 is XMP's "rejected", 0 its "unrated".
    rating: float | None = None
    #: xmp:Label.
    label: str | None = None
    #: dc:subject.
    keywords: tuple[str, ...] = ()

    stabiliser: bool | None = None
    drive_mode: str | None = None
    shutter_count: int | None = None
