"""From measurements to probabilities: additive evidence, face and core judged together, sets, and when to say nothing."""

from vision.inference.model import Judgement, Model, load_model

__all__ = ["Judgement", "Model", "load_model"]
