"""Picture files taken apart into named parts and put together again: what a structure-aware fuzzer turns about.

Lengths and checksums are written anew, so that a changed part is reached by the decoder and not stopped at its rim.
PNG: ISO/IEC 15948. JPEG: ITU-T T.81, annex B. WebP: RFC 9649. TIFF: revision 6.0. HEIF: ISO/IEC 14496-12 boxes.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable

Part = tuple[bytes, bytes]
"""The kind of a part and its body."""

_PNG = b"\x89PNG\r\n\x1a\n"
# Boxes that hold boxes, and how many bytes of their own come first.
_HOLDERS = {b"meta": 4, b"iprp": 0, b"ipco": 0, b"dinf": 0}
_OPEN, _CLOSE = b"(", b")"


def png_apart(data: bytes) -> list[Part]:
    """Return the chunks; a body that is packed stands unpacked."""
    at, parts = len(_PNG), []
    while at + 12 <= len(data):
        (length,) = struct.unpack_from(">I", data, at)
        kind, body = data[at + 4 : at + 8], data[at + 8 : at + 8 + length]
        parts.append((kind, zlib.decompress(body) if kind == b"IDAT" else body))
        at += 12 + length
    return parts


def png_whole(parts: list[Part]) -> bytes:
    out = [_PNG]
    for kind, plain in parts:
        body = zlib.compress(plain, 1) if kind == b"IDAT" else plain
        out.append(struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body)))
    return b"".join(out)


def jpeg_apart(data: bytes) -> list[Part]:
    """Return the segments by their marker; what follows a start of scan belongs to it, a second picture to the end."""
    at, parts = 2, []
    while at + 4 <= len(data) and data[at] == 0xFF:
        marker = data[at : at + 2]
        (length,) = struct.unpack_from(">H", data, at + 2)
        if marker == b"\xff\xda":
            end = data.find(b"\xff\xd9", at)
            parts.append((marker, data[at + 4 : end]))
            parts.append((b"\xff\xd9", data[end + 2 :]))
            return parts
        parts.append((marker, data[at + 4 : at + 2 + length]))
        at += 2 + length
    return parts


def jpeg_whole(parts: list[Part]) -> bytes:
    out = [b"\xff\xd8"]
    for marker, body in parts:
        if marker == b"\xff\xd9":
            out.append(marker + body)
        elif marker == b"\xff\xda":
            # The head of a scan: a count of components, two bytes each, and three more.
            head = 3 + 2 * (body[0] if body else 0) + 1
            out.append(marker + struct.pack(">H", min(head + 2, 65535)) + body)
        else:
            out.append(marker + struct.pack(">H", min(len(body) + 2, 65535)) + body)
    return b"".join(out)


def webp_apart(data: bytes) -> list[Part]:
    at, parts = 12, []
    while at + 8 <= len(data):
        (length,) = struct.unpack_from("<I", data, at + 4)
        parts.append((data[at : at + 4], data[at + 8 : at + 8 + length]))
        at += 8 + length + length % 2
    return parts


def webp_whole(parts: list[Part]) -> bytes:
    chunks = b"".join(k + struct.pack("<I", len(b)) + b + bytes(len(b) % 2) for k, b in parts)
    return b"RIFF" + struct.pack("<I", len(chunks) + 4) + b"WEBP" + chunks


def tiff_apart(data: bytes) -> list[Part]:
    """Return the entries of the first directory, by tag, as type, count and value; the file itself comes last."""
    order = "<" if data[:2] == b"II" else ">"
    (at,) = struct.unpack_from(order + "I", data, 4)
    (count,) = struct.unpack_from(order + "H", data, at)
    entries = [data[at + 2 + 12 * i : at + 14 + 12 * i] for i in range(count)]
    return [*((e[:2], e[2:]) for e in entries), (b"file", data)]


def tiff_whole(parts: list[Part]) -> bytes:
    """The directory is written anew behind the file, so that offsets into it stay true."""
    data = next((body for kind, body in parts if kind == b"file"), b"II*\x00" + bytes(8))
    order = ">" if data[:2] == b"MM" else "<"
    entries = [(kind + body)[:12].ljust(12, b"\0") for kind, body in parts if kind != b"file"]
    data += bytes(len(data) % 2)
    directory = struct.pack(order + "H", len(entries)) + b"".join(entries) + bytes(4)
    return data[:4] + struct.pack(order + "I", len(data)) + data[8:] + directory


def heif_apart(data: bytes) -> list[Part]:
    """Return the boxes in order; a box that holds boxes is opened, its contents follow, and it is closed."""
    at, parts = 0, []
    while at + 8 <= len(data):
        (length,) = struct.unpack_from(">I", data, at)
        length = length or len(data) - at
        kind, body = data[at + 4 : at + 8], data[at + 8 : at + length]
        if kind in _HOLDERS:
            own = _HOLDERS[kind]
            parts += [(_OPEN + kind, body[:own]), *heif_apart(body[own:]), (_CLOSE, b"")]
        else:
            parts.append((kind, body))
        at += max(length, 8)
    return parts


def heif_whole(parts: list[Part]) -> bytes:
    stack: list[tuple[bytes, list[bytes]]] = [(b"", [])]

    def close() -> None:
        kind, bodies = stack.pop()
        body = b"".join(bodies)
        stack[-1][1].append(struct.pack(">I", len(body) + 8) + kind + body)

    for kind, body in parts:
        if kind == _CLOSE:
            if len(stack) > 1:
                close()
        elif kind.startswith(_OPEN):
            stack.append((kind[1:], [body]))
        else:
            stack[-1][1].append(struct.pack(">I", len(body) + 8) + kind + body)
    while len(stack) > 1:
        close()
    return b"".join(stack[0][1])


KINDS: dict[str, tuple[Callable[[bytes], list[Part]], Callable[[list[Part]], bytes]]] = {
    "png": (png_apart, png_whole),
    "jpeg": (jpeg_apart, jpeg_whole),
    "webp": (webp_apart, webp_whole),
    "tiff": (tiff_apart, tiff_whole),
    "heif": (heif_apart, heif_whole),
}
