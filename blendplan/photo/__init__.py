"""Photos to shades: the loading door, white and other references, the skeins and the reader."""

from blendplan.photo.adjust import drop_part, merge_parts, nudge, reorder_parts, set_by_eye, split_part
from blendplan.photo.crop import crop_png, crop_webp, shades_along
from blendplan.photo.join import SameYarn, merge_yarn_shades, share_light
from blendplan.photo.light import GREY_CARD_LEVEL, PAPER_LEVEL, Light
from blendplan.photo.loading import Photo, load_photo
from blendplan.photo.reading import (
    Opened,
    PhotoReading,
    Place,
    YarnReading,
    opened,
    read_photo,
    swatch_shade,
    yarn_touched,
)
from blendplan.photo.references import Card, Pointed
from blendplan.photo.where import Polygon, Touched
from blendplan.photo.white import White

__all__ = [
    "GREY_CARD_LEVEL",
    "PAPER_LEVEL",
    "Card",
    "Light",
    "Opened",
    "Photo",
    "PhotoReading",
    "Place",
    "Pointed",
    "Polygon",
    "SameYarn",
    "Touched",
    "White",
    "YarnReading",
    "crop_png",
    "crop_webp",
    "drop_part",
    "load_photo",
    "merge_parts",
    "merge_yarn_shades",
    "nudge",
    "opened",
    "read_photo",
    "reorder_parts",
    "set_by_eye",
    "shades_along",
    "share_light",
    "split_part",
    "swatch_shade",
    "yarn_touched",
]
