"""The stateless check of an assembly."""
