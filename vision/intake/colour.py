"""From whatever colours a file holds to 8-bit sRGB."""

from __future__ import annotations

import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image

#: Largest 8-bit difference on the probe colours that still counts as "this profile is sRGB".
_SAME_AS_SRGB = 1


def to_srgb(image: Image.Image, icc_profile: bytes | None) -> NDArray[np.uint8]:
    """(h, w, 3) uint8 sRGB pixels of a loaded PIL image of any mode.

    The profile is applied when it can be read and fits the picture's colour space, else ignored. Transparency is laid
    over white, after the colours are converted. 16-bit grey is scaled to 8 bits (65535 -> 255), never clipped.
    Raises ValueError for data that is no picture (float or 32-bit samples with no known range).
    """
    image, alpha = _split_alpha(_to_eight_bits(image))
    rgb = _apply_profile(image, icc_profile) if icc_profile else None
    if rgb is None:
        rgb = image if image.mode == "RGB" else image.convert("RGB")
    if alpha is not None:
        white = Image.new("RGB", rgb.size, (255, 255, 255))
        rgb = Image.composite(rgb, white, alpha)
    return np.array(rgb, dtype=np.uint8)


def convert_pixels(pixels: NDArray[np.uint8], icc_profile: bytes) -> NDArray[np.uint8]:
    """(h, w, 3) uint8 RGB pixels in the profile's colours -> sRGB; the same array when the profile changes nothing."""
    if not needs_conversion(icc_profile):
        return pixels
    converted = _apply_profile(Image.fromarray(pixels), icc_profile)
    return pixels if converted is None else np.array(converted, dtype=np.uint8)


def needs_conversion(icc_profile: bytes) -> bool:
    """True when applying the RGB profile moves any of 729 probe colours by more than one grey level."""
    levels = np.linspace(0, 255, 9).round().astype(np.uint8)
    probe = np.stack(np.meshgrid(levels, levels, levels, indexing="ij"), axis=-1).reshape(27, 27, 3)
    moved = _apply_profile(Image.fromarray(probe), icc_profile)
    return moved is not None and int(np.abs(np.asarray(moved).astype(int) - probe).max()) > _SAME_AS_SRGB


def _apply_profile(image: Image.Image, icc_profile: bytes) -> Image.Image | None:
    """RGB image in sRGB, or None when the profile is broken or belongs to another colour space."""
    from PIL import ImageCms  # only photos with a profile pay for the colour engine

    modes = {"RGB ": "RGB", "CMYK": "CMYK", "GRAY": "L"}
    try:
        profile = ImageCms.ImageCmsProfile(io.BytesIO(icc_profile))
        mode = modes.get(profile.profile.xcolor_space)
        if mode is None or (mode == "CMYK") != (image.mode == "CMYK") or (mode == "L" and image.mode != "L"):
            return None
        source = image if image.mode == mode else image.convert(mode)
        return ImageCms.profileToProfile(source, profile, ImageCms.createProfile("sRGB"), outputMode="RGB")
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError, AttributeError):
        return None


def _to_eight_bits(image: Image.Image) -> Image.Image:
    if image.mode.startswith("I;16"):
        deep = np.asarray(image).astype(np.uint32)
        return Image.fromarray(((deep * 255 + 32767) // 65535).astype(np.uint8))
    if image.mode == "I":  # older decoders hand 16-bit grey over in 32-bit samples
        deep = np.asarray(image)
        if deep.min() < 0 or deep.max() > 65535:
            raise ValueError("32-bit samples with no known range")
        return Image.fromarray(((deep.astype(np.uint32) * 255 + 32767) // 65535).astype(np.uint8))
    if image.mode == "F":
        raise ValueError("floating-point samples with no known range")
    return image.convert("L") if image.mode == "1" else image


def _split_alpha(image: Image.Image) -> tuple[Image.Image, Image.Image | None]:
    """Colours and alpha channel apart; alpha None when the picture is opaque."""
    if image.mode in ("RGBa", "La"):
        image = image.convert("RGBA" if image.mode == "RGBa" else "LA")
    if image.mode in ("P", "PA") or (image.mode in ("L", "RGB") and "transparency" in image.info):
        image = image.convert("RGBA" if image.mode == "PA" or "transparency" in image.info else "RGB")
    if image.mode not in ("RGBA", "LA"):
        return image, None
    alpha = image.getchannel("A")
    colours = image.convert("RGB") if image.mode == "RGBA" else image.getchannel("L")
    return colours, None if alpha.getextrema() == (255, 255) else alpha
