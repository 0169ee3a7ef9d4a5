"""Photo intake: files in, upright sRGB photos and their problems out."""

from vision.intake.limits import Limits
from vision.intake.load import load_photo

__all__ = ["Limits", "load_photo"]
