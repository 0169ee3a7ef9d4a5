"""Evidence on the photo: the annotated picture of a photo and close-ups of single findings."""

from vision.evidence.crops import finding_crop
from vision.evidence.draw import draw_evidence

__all__ = ["draw_evidence", "finding_crop"]
