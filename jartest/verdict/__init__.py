"""Limits and the decision."""
