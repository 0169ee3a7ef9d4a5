"""Measurements of the program that are too slow or too machine-bound for tests: python -m benchmarks runs them all."""
