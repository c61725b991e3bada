"""One package for each thing a user names."""
