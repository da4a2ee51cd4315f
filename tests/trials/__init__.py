"""Trials: what must not be lost, and ways in that must stay shut, each with its count."""
