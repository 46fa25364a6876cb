"""The same figures for programs: API, metrics, CSV."""
