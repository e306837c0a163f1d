"""Finding a chart."""

from __future__ import annotations

from blendplan.errors import PhotoError
from blendplan.photo.loading import Photo

__all__ = ["find_chart"]


def find_chart(photo: Photo) -> list[tuple[float, float]]:
    """Find."""
    raise PhotoError("no 24-patch chart was found in {name}; give its four corners.", name=photo.name)
