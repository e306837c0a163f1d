"""Photos to shades: the loading door, the white reference, the skeins and the reader."""

from blendplan.photo.adjust import drop_part, merge_parts, nudge, reorder_parts, set_by_eye, split_part
from blendplan.photo.chart import Chart
from blendplan.photo.crop import crop_jpeg, crop_png
from blendplan.photo.line import shades_along
from blendplan.photo.loading import Photo, load_photo
from blendplan.photo.reading import PhotoReading, YarnReading, read_photo, swatch_shade
from blendplan.photo.same_yarn import SameYarn, merge_yarn_shades
from blendplan.photo.several import merge_shades, share_light
from blendplan.photo.white import GREY_CARD_LEVEL, PAPER_LEVEL, White

__all__ = [
    "GREY_CARD_LEVEL",
    "PAPER_LEVEL",
    "Chart",
    "Photo",
    "PhotoReading",
    "SameYarn",
    "White",
    "YarnReading",
    "crop_jpeg",
    "crop_png",
    "drop_part",
    "load_photo",
    "merge_parts",
    "merge_shades",
    "merge_yarn_shades",
    "nudge",
    "read_photo",
    "reorder_parts",
    "set_by_eye",
    "shades_along",
    "share_light",
    "split_part",
    "swatch_shade",
]
