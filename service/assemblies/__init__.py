"""Saved assemblies: their versions, checks and sign-offs."""
