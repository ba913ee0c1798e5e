"""Film and wax paper: use, waste, reels."""
