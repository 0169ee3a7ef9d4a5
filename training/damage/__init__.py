"""Damaged panels drawn with known regions, kinds and severities: what damage measuring is taught and judged by."""
