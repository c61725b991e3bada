"""What is due: requalification, cycle limits, storage and reviews before campaigns."""
