"""The rope: its diameter, drift, forecast and what follows."""
