"""Errors a user can cause or mend: each names the file or input, the cause and the remedy, and carries an exit code."""

from __future__ import annotations


class GrainassayError(Exception):
    """Base of all expected failures.

    Attributes: `subject` (file or input named), `cause`, `remedy` (plain sentences), `exit_code` (process exit status).
    """

    exit_code = 1

    def __init__(self, subject: str, cause: str, remedy: str) -> None:
        super().__init__(f"{subject}: {cause} {remedy}")
        self.subject = subject
        self.cause = cause
        self.remedy = remedy


class UsageError(GrainassayError):
    """What was asked for makes no sense (bad outline, tap outside the photo ...)."""

    exit_code = 2


class PhotoError(GrainassayError):
    """A photo that cannot be used."""

    exit_code = 3


class NothingUsable(GrainassayError):
    """None of the photos could be used."""

    exit_code = 4


class ModelMismatch(GrainassayError):
    """A model that does not fit this program's feature schema, or a damaged model file."""

    exit_code = 1
