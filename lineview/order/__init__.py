"""What to order: demand, stock, quantities, dates."""
