"""The version of busim; `pyproject.toml` has the same, and a test compares them."""

VERSION = "0.1.0"
