"""Photographs of what was rejected: made small and bare of everything but the picture, then kept by whoever keeps files.

Keeping attachments is above inspection: records registers how. The original is not kept: it carries where and when it was taken, with
which device, sometimes a name, and a preview that cropping left as it was. What is kept is the picture as it was seen, drawn anew.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable
from datetime import datetime

from PIL import Image, ImageOps, UnidentifiedImageError

from inspection.models import Batch
from shop.finding import Refused, misfit
from shop.people import Person

LONGEST_SIDE = 2560
"""Pixels: four a millimetre over the length of a large terminal and its wire, more than a loupe shows."""
MOST_PIXELS = 80_000_000
"""Beyond that a file of some bytes could fill the memory."""
QUALITY = 88

Keeper = Callable[[Batch, str, str, bytes, Person, datetime], object]
_keepers: list[Keeper] = []


def register(keeper: Keeper) -> None:
    """keeper: keeps a photo with a batch, by title and file name. Called inside the act's transaction."""
    _keepers[:] = [keeper]


def bare_picture(data: bytes, limit_bytes: int) -> bytes:
    """The picture as JPEG, upright, its longest side at most LONGEST_SIDE pixels, without any metadata. Raises Refused.

    What the file is, its bytes say. A picture that is drawn anew carries nothing of the file it came from.
    """
    if len(data) > limit_bytes:
        raise Refused([misfit("photo.size", "photo", limit_mb=limit_bytes // (1024 * 1024))])
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")  # of a picture that unpacks to more than it seems
            with Image.open(io.BytesIO(data), formats=("JPEG", "PNG", "WEBP")) as picture:
                if picture.width * picture.height > MOST_PIXELS:
                    raise Refused([misfit("photo.unreadable", "photo")])
                upright = ImageOps.exif_transpose(picture).convert("RGB")
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError, EOFError, Warning, Image.DecompressionBombError) as error:
        raise Refused([misfit("photo.unreadable", "photo")]) from error
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    # On a canvas of its own: not even the list of what the file knew comes along.
    canvas = Image.new("RGB", upright.size)
    canvas.paste(upright)
    made = io.BytesIO()
    canvas.save(made, "JPEG", quality=QUALITY, optimize=True)
    return made.getvalue()


def keep_photo(*, batch: Batch, title: str, name: str, picture: bytes, by: Person, at: datetime) -> None:
    """Put a picture (from `bare_picture`) to the batch. Raises Refused, and RuntimeError where nobody keeps photos."""
    if not _keepers:
        raise RuntimeError("nobody keeps photos")
    _keepers[0](batch, title[:120], name, picture, by, at)
