"""The magnetic field solver, pure numbers: elements, gaps, B-H laws, the convex energy."""
