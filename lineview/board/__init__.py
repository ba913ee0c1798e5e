"""The board in the browser; thin, no arithmetic."""
