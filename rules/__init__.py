"""The engineering of Lineworthy: parts, joints, fuels and the rules that judge them.

Nothing in this package talks to a database, the web or a clock.
"""
