"""Cues that a careful eye used: gaps and steps between strips, figure over sides, knots in relief, sheen against figure."""
