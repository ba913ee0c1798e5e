"""An invented works whose exports come with their truth."""
