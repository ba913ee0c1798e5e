"""From an export as the machine wrote it to tidy readings and refusals."""
