"""Pure measures of a line, one subject a file."""
