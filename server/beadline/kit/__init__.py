"""Plain Python that knows nothing of columns."""
