"""Answers for a small sweet works from the counter exports of its machines."""
