"""From bytes that claim to be a photograph to a picture that is one. Pure: bytes in, bytes out.

What is kept is the pixels, written anew: position, serial numbers, comments, thumbnails and whatever else was
hung on the file, before or behind the picture, are gone with it.
"""

from dataclasses import dataclass
from io import BytesIO

from PIL import Image, ImageOps, UnidentifiedImageError

from common.problems import Problem

TYPES = ("image/jpeg", "image/png", "image/webp")
_FORMATS = ("JPEG", "PNG", "WEBP")
MAX_BYTES = 12_000_000
# A JPEG is decoded at a fraction of its size, the others whole.
MAX_PIXELS_JPEG = 100_000_000
MAX_PIXELS = 25_000_000
LONGEST_EDGE_PX, SMALL_EDGE_PX = 2560, 640
_QUALITY = 85
_UNREADABLE = (OSError, ValueError, SyntaxError, EOFError, IndexError, KeyError, TypeError, OverflowError)


@dataclass(frozen=True)
class Picture:
    """A JPEG of ours, without metadata."""

    data: bytes
    width_px: int
    height_px: int


def picture_of(sent: bytes) -> Picture:
    """The photograph, upright, its longest edge at most 2560 px, as a JPEG that holds nothing but pixels.

    Raises Problem `not_a_photograph` where it is no JPEG, PNG or WebP or cannot be decoded to its end, and
    `too_many_pixels` where it would unfold to more than a device takes.
    """
    try:
        with Image.open(BytesIO(sent), formats=_FORMATS) as image:
            _refuse_if_huge(image)
            if image.format == "JPEG":
                image.draft("RGB", (LONGEST_EDGE_PX, LONGEST_EDGE_PX))
            image.load()
            upright = ImageOps.exif_transpose(image)
            flat = _flattened(upright)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise _too_many() from error
    except UnidentifiedImageError as error:
        raise _unreadable("It is no JPEG, PNG or WebP picture.") from error
    except _UNREADABLE as error:
        raise _unreadable("It cannot be decoded to its end.") from error
    flat.thumbnail((LONGEST_EDGE_PX, LONGEST_EDGE_PX), Image.Resampling.LANCZOS)
    bare = Image.frombytes("RGB", flat.size, flat.tobytes())
    target = BytesIO()
    bare.save(target, "JPEG", quality=_QUALITY, optimize=True)
    return Picture(target.getvalue(), *bare.size)


def small_of(kept: bytes) -> bytes:
    """A kept picture in small, its longest edge at most 640 px, as a page shows it. Takes a JPEG of ours.

    One that was damaged in the store is given as it is: no less can be seen of it than of the whole.
    """
    target = BytesIO()
    try:
        with Image.open(BytesIO(kept), formats=("JPEG",)) as image:
            # decoded at a fraction of its size: some milliseconds
            image.draft("RGB", (SMALL_EDGE_PX, SMALL_EDGE_PX))
            image.thumbnail((SMALL_EDGE_PX, SMALL_EDGE_PX), Image.Resampling.LANCZOS)
            image.save(target, "JPEG", quality=_QUALITY)
    except _UNREADABLE:
        return kept
    return target.getvalue()


def _refuse_if_huge(image: Image.Image) -> None:
    """Before anything is unfolded: the size stands in the head of the file."""
    limit = MAX_PIXELS_JPEG if image.format == "JPEG" else MAX_PIXELS
    if image.width * image.height > limit:
        raise _too_many()


def _flattened(image: Image.Image) -> Image.Image:
    """In plain colours; what is transparent becomes white."""
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        whole = image.convert("RGBA")
        ground = Image.new("RGB", whole.size, "white")
        ground.paste(whole, mask=whole.getchannel("A"))
        return ground
    return image.convert("RGB")


def _too_many() -> Problem:
    detail = f"At most {MAX_PIXELS_JPEG // 10**6} megapixels as JPEG, {MAX_PIXELS // 10**6} otherwise."
    return Problem("too_many_pixels", detail, status=413)


def _unreadable(why: str) -> Problem:
    return Problem("not_a_photograph", f"The file is not a photograph that can be kept. {why}")
