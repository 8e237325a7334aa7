"""Answers turned into figures; pure functions."""
