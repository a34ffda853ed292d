"""What takes the place of a component, and what screws on to it."""
