"""Campaign reviews: will a bed last through what is planned."""
