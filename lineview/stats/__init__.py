"""General methods with no candy in them."""
