"""Reviews of the audit trail: who read it up to where, signed."""
