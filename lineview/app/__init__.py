"""The works folder: what is asked of it, what is taken in, and who may do it at once."""
