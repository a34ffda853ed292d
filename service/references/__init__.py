"""What the reference tables hold: connections, materials and fuels."""
