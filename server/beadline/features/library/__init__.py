"""The Library: what beds are made of and judged by, on one page, and the packings made of it."""
