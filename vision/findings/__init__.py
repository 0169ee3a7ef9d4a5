"""Findings: what was seen, where, which way it points and how much it weighs."""

from vision.findings.across import cross_photo_drafts
from vision.findings.base import Draft, PanelContext
from vision.findings.panel import kinds_for, panel_drafts
from vision.findings.weigh import Weight, question, weigh

__all__ = ["Draft", "PanelContext", "Weight", "cross_photo_drafts", "kinds_for", "panel_drafts", "question", "weigh"]
