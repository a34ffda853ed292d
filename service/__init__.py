"""The face of Lineworthy: HTTP, storage, settings and the command line."""
