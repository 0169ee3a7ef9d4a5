"""Photo intake: files in, upright sRGB photos and their problems out."""

from vision.intake.distance import no_wood_like_surface, too_far
from vision.intake.limits import Limits
from vision.intake.load import load_photo
from vision.intake.problems import measure_problems

__all__ = ["Limits", "load_photo", "measure_problems", "no_wood_like_surface", "too_far"]
