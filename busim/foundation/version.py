"""Which busim this is; `pyproject.toml` says the same, and a test holds the two equal."""

VERSION = "0.1.0"
