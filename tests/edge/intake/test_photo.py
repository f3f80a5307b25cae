"""Photos are opened with care, and written anew without what they say of place and owner."""

from __future__ import annotations

import io
import zipfile
import zlib

import pytest
from PIL import Image

from nozzlewright.edge.intake import photo
from nozzlewright.edge.intake.photo import read_photo
from nozzlewright.errors import UploadFault

GPS_IFD, ORIENTATION, MAKER = 0x8825, 0x0112, 0x010F


def picture(kind="JPEG", size=(60, 40), colour=(200, 30, 30), mode="RGB", **options) -> bytes:
    file = io.BytesIO()
    Image.new(mode, size, colour).save(file, kind, **options)
    return file.getvalue()


def opened(content: bytes) -> Image.Image:
    image = Image.open(io.BytesIO(content))
    image.load()
    return image


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_photo_of_each_usual_kind_becomes_a_jpeg_of_the_same_picture(kind):
    kept = opened(read_photo(picture(kind)))
    assert (kept.format, kept.size) == ("JPEG", (60, 40))
    red, green, blue = kept.getpixel((30, 20))
    assert (abs(red - 200) < 8, abs(green - 30) < 8, abs(blue - 30) < 8) == (True, True, True)


def test_place_and_owner_do_not_get_into_the_record():
    exif = Image.Exif()
    exif[MAKER] = "somebody's camera"
    exif[GPS_IFD] = {1: "N", 2: (51.0, 30.0, 0.0)}
    sent = picture(exif=exif, comment=b"somebody's name")
    assert b"somebody" in sent
    kept = read_photo(sent)
    assert b"somebody" not in kept
    assert b"Exif" not in kept
    assert not dict(opened(kept).getexif())


def test_a_photo_taken_with_the_phone_on_its_side_is_set_upright():
    exif = Image.Exif()
    exif[ORIENTATION] = 6
    assert opened(read_photo(picture(size=(60, 40), exif=exif))).size == (40, 60)


def test_a_large_photo_is_made_as_small_as_is_needed():
    kept = opened(read_photo(picture(size=(4800, 3000))))
    assert kept.size == (photo.LONGEST_SIDE, photo.LONGEST_SIDE * 3000 // 4800)


def test_what_shows_through_is_laid_on_white():
    kept = opened(read_photo(picture("PNG", colour=(0, 0, 0, 0), mode="RGBA")))
    assert kept.getpixel((5, 5)) == (255, 255, 255)


def test_a_file_hidden_behind_a_photo_does_not_get_into_the_record():
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("hidden.txt", "hidden away")
    kept = read_photo(picture() + b"<script>alert(1)</script>" + file.getvalue())
    assert b"<script" not in kept
    assert not zipfile.is_zipfile(io.BytesIO(kept))


@pytest.mark.parametrize(
    "content",
    [b"", b"\xff\xd8\xff", b"GIF89a" + b"\0" * 40, b"<svg xmlns='http://www.w3.org/2000/svg'/>"],
    ids=["empty", "three bytes", "another kind", "a drawing"],
)
def test_what_is_no_photo_is_refused_with_a_remedy(content):
    with pytest.raises(UploadFault) as refused:
        read_photo(content, "photo")
    (fault,) = refused.value.faults
    assert fault.where == "photo"
    assert fault.remedy


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_damaged_photo_is_refused_or_made_whole_but_never_breaks_the_program(kind):
    noise = Image.effect_noise((80, 60), 60)
    file = io.BytesIO()
    noise.convert("RGB").save(file, kind)
    sound = file.getvalue()
    for cut in range(1, len(sound), max(1, len(sound) // 60)):
        for spoilt in (sound[:cut], sound[:cut] + b"\xff\x00" + sound[cut + 2 :]):
            try:
                kept = read_photo(spoilt)
            except UploadFault:
                continue
            assert opened(kept).format == "JPEG"


def bomb(side: int) -> bytes:
    """A PNG of zeros: small on the wire, huge when unpacked (RFC 2083)."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        check = zlib.crc32(kind + body).to_bytes(4, "big")
        return len(body).to_bytes(4, "big") + kind + body + check

    head = side.to_bytes(4, "big") * 2 + bytes((8, 2, 0, 0, 0))
    packed = zlib.compress(bytes(10_000), 9)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", packed) + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize("side", [9_000, 12_000, 60_000])
def test_a_picture_that_unpacks_to_far_more_than_a_photo_is_refused_unopened(side):
    with pytest.raises(UploadFault, match="million pixels"):
        read_photo(bomb(side))


def test_a_file_larger_than_a_photo_is_refused():
    with pytest.raises(UploadFault, match="more than 20 MB"):
        read_photo(picture() + bytes(photo.LARGEST_BYTES))
