"""Files of the business that are kept in the data folder beside the rows that name them: photos, papers of gates.

A picture is judged by its content, never by its name: it must begin as a JPEG, PNG or WebP file does and be readable
as one. It is then written anew, so that nothing but the picture is kept: of what a camera adds only which way is up
stays (Exif's Orientation); place, time, device and anything hidden in the file are dropped. A file's name is the
SHA-256 digest of what is kept, so no address from outside ever becomes a path.
"""

from __future__ import annotations

import io
import os
import tempfile
import warnings
from pathlib import Path
from typing import Any, Literal

from PIL import ExifTags, Image, ImageFile, UnidentifiedImageError

from api.http.problems import Problem
from api.languages import gettext

MOST_BYTES = 12 * 1024 * 1024
MOST_PIXELS = 50_000_000  # a phone's largest; a small file can claim far more and fill the memory
MEDIA_TYPES = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}
Folder = Literal["photos", "papers"]


def kind_of(data: bytes) -> str | None:
    """Return which kind of picture `data` begins as: JPEG, PNG or WEBP; None for anything else."""
    if data.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    return "WEBP" if data[:4] == b"RIFF" and data[8:12] == b"WEBP" else None


def clean(data: bytes) -> tuple[bytes, str]:
    """Return the picture in `data` written anew with nothing but its orientation beside it, and its media type.

    Answers 413 where it is too large, 415 where it is no JPEG, PNG or WebP picture, or a broken one.
    """
    if len(data) > MOST_BYTES:
        raise Problem(
            413, gettext("The picture has more than {n} MB: take it smaller.").format(n=MOST_BYTES // 1024**2)
        )
    kind = kind_of(data)
    if kind is None:
        raise Problem(415, gettext("This is no JPEG, PNG or WebP picture."))
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of oddities in what cameras write
            picture = Image.open(io.BytesIO(data), formats=[kind])
            if picture.width * picture.height > MOST_PIXELS:
                raise Problem(
                    413,
                    gettext("The picture has more than {n} million points: take it smaller.").format(
                        n=MOST_PIXELS // 1_000_000
                    ),
                )
            orientation = picture.getexif().get(ExifTags.Base.Orientation)
            # The library of our PDF files has pictures read as far as they go: here one cut off is refused.
            ImageFile.LOAD_TRUNCATED_IMAGES = False
            picture.load()
            return _written(picture, kind, orientation), MEDIA_TYPES[kind]
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError, Image.DecompressionBombError) as fault:
        raise Problem(
            415, gettext("This {kind} picture cannot be read: {fault}.").format(kind=kind, fault=fault)
        ) from None


def _written(picture: Image.Image, kind: str, orientation: Any) -> bytes:
    exif = Image.Exif()
    if orientation in range(2, 9):
        exif[ExifTags.Base.Orientation] = orientation
    # The colour profile belongs to the picture: without it a phone's colours change.
    how: dict[str, Any] = {"exif": exif, "icc_profile": picture.info.get("icc_profile")}
    if kind == "JPEG":
        how |= {"quality": "keep", "optimize": True}  # the camera's own tables: as good as lossless
    elif kind == "WEBP":
        how |= {"quality": 90}
    for hidden in ("comment", "xmp", "exif", "photoshop"):
        picture.info.pop(hidden, None)
    out = io.BytesIO()
    picture.save(out, kind, **how)
    return out.getvalue()


def path_of(folder: Path, what: Folder, digest: str) -> Path:
    """Return where the file with `digest` lies under the data folder."""
    if len(digest) != 64 or set(digest) - set("0123456789abcdef"):
        raise ValueError(f"not a digest: {digest!r}")
    return folder / what / digest


def store(path: Path, data: bytes) -> None:
    """Write a file whole or not at all; one that is there already is the same."""
    if path.exists():
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, part = tempfile.mkstemp(dir=path.parent, prefix="part-")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, path)
    except BaseException:
        Path(part).unlink(missing_ok=True)
        raise
