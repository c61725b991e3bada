"""Documents on paper: a pulse test's certificate, an alert, the life of a packing."""
