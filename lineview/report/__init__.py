"""The answer contract, and the one place that writes numbers, moments and lists."""
