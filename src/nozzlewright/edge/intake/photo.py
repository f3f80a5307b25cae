"""Photos from a phone or a camera: opened with care, written anew without what they say of place.

What is kept is a JPEG of our own making. So nothing that stood in the file beside the picture
(place, owner, a second file behind it) gets into the record, and nothing but a picture can.
"""

from __future__ import annotations

from io import BytesIO

from PIL import Image, ImageOps, UnidentifiedImageError

from nozzlewright.errors import Fault, UploadFault
from nozzlewright.said import say

LARGEST_BYTES = 20 * 1024 * 1024
LARGEST_PIXELS = 64_000_000
"""Above what the cameras of phones give by default; a bomb unpacks to more."""
LONGEST_SIDE = 2400
"""Pixels of the longer side that are kept: a crack of 0.1 mm still shows in a picture of 100 mm."""
QUALITY = 85
KINDS = ("JPEG", "PNG", "WEBP")
"""Formats that are opened at all; the decoders of the others are never reached."""


def read_photo(content: bytes, where: str = "photo") -> bytes:
    """Return a photo as a JPEG, upright, at most `LONGEST_SIDE` pixels long, bare of metadata.

    Parameters
    ----------
    content : bytes
        File as it was sent
    where : str
        Name of the field or file, for the fault

    Raises
    ------
    UploadFault
        If it is no photo, too large, or damaged.
    """
    if not content:
        raise _fault(where, say("the file is empty"), say("Take the photo again"))
    if len(content) > LARGEST_BYTES:
        raise _fault(
            where,
            say("the photo has more than {limit} MB", limit=LARGEST_BYTES // 2**20),
            say("Take it with a lower resolution"),
        )
    try:
        with Image.open(BytesIO(content), formats=KINDS) as image:
            if image.width * image.height > LARGEST_PIXELS:
                raise _too_many_pixels(where)
            return _anew(image)
    except UploadFault:
        raise
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise _too_many_pixels(where) from None
    except UnidentifiedImageError:
        raise _fault(
            where,
            say("this file is not a photo that can be opened here"),
            say("Send a JPEG, PNG or WebP; in the camera's settings choose JPEG"),
        ) from None
    except Exception as fault:  # a decoder may raise anything on spoilt bytes
        raise _fault(
            where, say("the photo is damaged and cannot be opened"), say("Take or send it again")
        ) from fault


def _anew(image: Image.Image) -> bytes:
    image.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))  # a large JPEG is unpacked no larger than kept
    upright = ImageOps.exif_transpose(image)
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    if upright.mode in {"RGBA", "LA", "PA"} or "transparency" in upright.info:
        upright = upright.convert("RGBA")
        ground = Image.new("RGBA", upright.size, "white")
        upright = Image.alpha_composite(ground, upright)
    bare = Image.new("RGB", upright.size)
    bare.paste(upright.convert("RGB"))
    file = BytesIO()
    bare.save(file, "JPEG", quality=QUALITY, optimize=True)
    return file.getvalue()


def _too_many_pixels(where: str) -> UploadFault:
    return _fault(
        where,
        say("the photo has more than {limit} million pixels", limit=LARGEST_PIXELS // 1_000_000),
        say("Take it with a lower resolution"),
    )


def _fault(where: str, what: str, remedy: str) -> UploadFault:
    return UploadFault(Fault(what, where, remedy))
