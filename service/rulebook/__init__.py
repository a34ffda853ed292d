"""The rule book over HTTP: every rule with its source and its examples."""
