"""Triangles and tetrahedra that stand for a solid."""
