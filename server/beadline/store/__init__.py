"""Engine, column types and tables."""
