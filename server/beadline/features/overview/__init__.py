"""Pages over several features: Columns and Column."""
