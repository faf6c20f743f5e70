"""Warnings about a plan's words."""

from cuelane.lint.rules import LintWarning, lint

__all__ = ["LintWarning", "lint"]
