"""Findings: what was seen, where, which way it points and how much it weighs."""

from vision.findings.across import cross_photo_drafts
from vision.findings.base import Draft, PanelContext
from vision.findings.panel import panel_drafts, shows_edge
from vision.findings.weigh import Weight, question, weigh

__all__ = ["Draft", "PanelContext", "Weight", "cross_photo_drafts", "panel_drafts", "question", "shows_edge", "weigh"]
