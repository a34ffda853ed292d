"""Reading text as the trade writes it."""
