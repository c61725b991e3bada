"""People, roles and sign-in."""
