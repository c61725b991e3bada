"""Where HTTP meets Python."""
