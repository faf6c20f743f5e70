"""Warnings about a plan's words."""

from cuelane.lint.rules import CODES, LintWarning, lint

__all__ = ["CODES", "LintWarning", "lint"]
