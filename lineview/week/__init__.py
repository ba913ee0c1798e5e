"""What cost most in a week, whether it gets better, and whether what was changed has helped."""
