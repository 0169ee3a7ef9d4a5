"""Drawn panels with hardware on them, places known: what vision.hardware learns from and is judged by."""
