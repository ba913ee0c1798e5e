"""What every other folder may use: errors, estimates, figures, frames and units."""
