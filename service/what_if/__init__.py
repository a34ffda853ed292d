"""The same parts in another application, saved or not."""
