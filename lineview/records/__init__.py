"""What each shift of each machine came to, worked out from its readings once and kept."""
