"""The one reader of a solid's faces, edges and vertices."""
