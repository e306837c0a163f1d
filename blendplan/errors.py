"""The error kinds of blendplan: one plain line each, kept as a template and its values.

A template is a literal English sentence with named fields.
The page translates the template, then fills it, so every message exists once and in one form.
"""

from __future__ import annotations

LONGEST_VALUE = 240

__all__ = [
    "BlendplanError",
    "ColourError",
    "FabricError",
    "NotKeptError",
    "PhotoError",
    "ProjectError",
    "QuantityError",
    "StripeError",
    "YarnError",
]


class BlendplanError(ValueError):
    """Bad input, said in one line: what was given, what is allowed, what to do next.

    Parameters
    ----------
    template : str
        A literal sentence with `{named}` fields; it is also the key of its translation.
    **values
        The values of the fields.
    """

    def __init__(self, template: str, **values: object) -> None:
        self.template = template
        self.values = {key: _shortened(value) for key, value in values.items()}
        super().__init__(" ".join(template.format(**self.values).split()))


def _shortened(value: object) -> object:
    """Return a text or number that fits into one line: what was given may be a whole book."""
    if isinstance(value, int) and abs(value) >= 10**30:
        return "< -10^30" if value < 0 else "> 10^30"
    if isinstance(value, str) and len(value) > LONGEST_VALUE:
        return f"{value[: LONGEST_VALUE - 40]} ... {value[-30:]}"
    return value


class PhotoError(BlendplanError):
    """A picture file that cannot be read, or a place in it that cannot be used."""


class ColourError(BlendplanError):
    """A colour, share or distance outside its range."""


class YarnError(BlendplanError):
    """A yarn, put-up or palette that does not make sense."""


class StripeError(BlendplanError):
    """A stripe or an order of stripes that cannot be made."""


class FabricError(BlendplanError):
    """A repeat that does not close, or a gauge or size out of range."""


class QuantityError(BlendplanError):
    """A number that is missing, not finite, or out of its range."""


class ProjectError(BlendplanError):
    """A project file, or a folder to write to, that cannot be used."""


class NotKeptError(ProjectError):
    """The library file could not be written or read: locked, full, forbidden, damaged under way."""
