"""Photos to shades: the loading door, the white reference, the skeins and the reader."""

from blendplan.photo.adjust import nudge
from blendplan.photo.crop import crop_png
from blendplan.photo.loading import Photo, load_photo
from blendplan.photo.reading import PhotoReading, YarnReading, read_photo
from blendplan.photo.white import White

__all__ = ["Photo", "PhotoReading", "White", "YarnReading", "crop_png", "load_photo", "nudge", "read_photo"]
