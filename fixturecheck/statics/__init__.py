"""Statics of contact, pure numbers: rest, equilibrium, friction, collapse, limit analysis, stiffness."""
