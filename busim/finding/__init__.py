"""A finding: one thing to say about a file, with its place and how to mend it."""

from busim.finding.finding import Finding, Findings, Severity, render

__all__ = ["Finding", "Findings", "Severity", "render"]
